package configs

// maxStages bounds a crop.
const maxStages = 40

// checkCrop: stages in order, from day 1 on; an ease fits its stage.
func (s *rawSchedule) checkCrop(c *rawCrop) {
	if !s.hasDay {
		c.at.fail(CodeMissing, `write day: {lights_on: "06:00", lights_off: "18:00"}`, "the stages of a crop change at lights on, but `day` is missing")
	}
	if len(c.stages) > maxStages {
		c.stages[maxStages].at.fail(CodeRange, "a stage is a part of the crop's life", "a crop has at most %d stages", maxStages)
		return
	}
	for i := range c.stages {
		s.checkStage(c, i)
	}
	if n := len(c.stages); n > 0 && c.ends.ok && c.stages[n-1].from.ok && c.ends.v < c.stages[n-1].from.v {
		c.ends.at.fail(CodeConflict, "let it end after its last stage has begun", "the crop ends on day %d, before its last stage begins on day %d", c.ends.v, c.stages[n-1].from.v)
	}
}

func (s *rawSchedule) checkStage(c *rawCrop, i int) {
	st := &c.stages[i]
	if st.routine.ok && s.routine(st.routine.v) == nil {
		st.routine.at.fail(CodeReference, knownHint("routines", s.routineNames(), st.routine.v), "there is no routine `%s`", st.routine.v)
	}
	switch {
	case i == 0 && st.from.ok && st.from.v != 1:
		st.from.at.fail(CodeConflict, "write `from: day 1`", "the first stage begins on day %d: a crop begins with a stage", st.from.v)
	case i > 0 && st.from.ok && c.stages[i-1].from.ok && st.from.v <= c.stages[i-1].from.v:
		st.from.at.fail(CodeConflict, "put the stages in the order of their days; week 3 is day 15", "this stage begins on day %d, not after the one before it (day %d)", st.from.v, c.stages[i-1].from.v)
	}
	s.checkEase(c, i)
}

func (s *rawSchedule) checkEase(c *rawCrop, i int) {
	st := &c.stages[i]
	if !st.ease.ok {
		return
	}
	next := c.ends.v + 1
	if i+1 < len(c.stages) {
		next = c.stages[i+1].from.v
	}
	days := int(st.ease.v / wholeDay)
	switch {
	case st.ease.v%wholeDay != 0:
		st.ease.at.fail(CodeRange, "write whole days: `5 days`", "`%s` is not a number of whole days", st.ease.text)
	case i == 0:
		st.ease.at.fail(CodeConflict, "leave it away in the first stage", "there is no stage before the first to ease from")
	case st.from.ok && next > st.from.v && st.from.v+days > next:
		st.ease.at.fail(CodeConflict, "a shorter ease, or a longer stage", "the ease takes %d days, its stage only %d", days, next-st.from.v)
	}
}

func (s *rawSchedule) routine(name string) *rawRoutine {
	for i := range s.routines {
		if s.routines[i].name == name {
			return &s.routines[i]
		}
	}
	return nil
}

func (s *rawSchedule) routineNames() (names []string) {
	for _, r := range s.routines {
		names = append(names, r.name)
	}
	return names
}
