package configs

import (
	"slices"
	"time"

	"rillgate/schedule"
	"rillgate/zones"
)

// What the windows may ask for at most, by time alone: as if the moisture asked for
// water all the while. Moisture, budgets and interlocks only take away from it.

// stagePlan is a list of windows that a zone follows for a while, scaled.
type stagePlan struct {
	name    string // "" outside a crop
	from    int    // first day of the crop
	windows []schedule.Window
}

// stagesIn gives the lists of windows that a zone goes through, with its scale.
func stagesIn(z *zones.Zone) (out []stagePlan) {
	s := &z.Schedule
	if s.Crop == nil {
		if len(s.Windows) == 0 {
			return nil
		}
		return []stagePlan{{s.Routine, 0, scaled(s, s.Windows)}}
	}
	for _, st := range s.Crop.Stages {
		out = append(out, stagePlan{st.Routine, st.FromDay, scaled(s, st.Windows)})
	}
	return out
}

// scaled asks the schedule for the numbers of each window as they are in force; the
// times stay as written.
func scaled(s *schedule.Zone, windows []schedule.Window) []schedule.Window {
	plain := make([]schedule.Window, len(windows))
	for i, w := range windows {
		opens := time.Duration(i) * time.Minute
		plain[i] = w
		plain[i].From, plain[i].Until = schedule.Edge{Offset: opens}, schedule.Edge{Offset: opens + time.Minute}
		plain[i].Cron, plain[i].For, plain[i].On = "", 0, 0
	}
	one := schedule.Zone{Named: true, Scale: s.Scale, Crop: &schedule.Crop{
		Day1: schedule.Date{Year: 2026, Month: time.January, Day: 1}, Stages: []schedule.Stage{{FromDay: 1, Windows: plain}}}}
	out := numbersOn(&one, 1)
	for i := range out {
		w := &windows[i]
		out[i].From, out[i].Until, out[i].Cron, out[i].For, out[i].On = w.From, w.Until, w.Cron, w.For, w.On
	}
	return out
}

// shotsIn gives the most shots that begin in an opening of a length: each waits for
// the one before it and its rest.
func shotsIn(z *zones.Zone, w *schedule.Window, length time.Duration) (n int, run time.Duration) {
	run, ok := z.RunTime(w.Shot)
	if !ok || length <= 0 {
		return 0, 0
	}
	each := run + max(w.Rest, z.Limits.MinRest)
	n = int((length + each - 1) / each)
	if w.MaxShots > 0 {
		n = min(n, w.MaxShots)
	}
	return n, run
}

// openLength gives how long a window is open on a day.
func openLength(w *schedule.Window, d schedule.Day) time.Duration {
	if w.Cron != "" {
		return w.For
	}
	length := edgeOn(w.Until, d) - edgeOn(w.From, d)
	for length < 0 {
		length += wholeDay
	}
	return length
}

func edgeOn(e schedule.Edge, d schedule.Day) time.Duration {
	switch e.Anchor {
	case schedule.LightsOn:
		return d.On + e.Offset
	case schedule.LightsOff:
		return d.Off + e.Offset
	}
	return e.Offset
}

// demand reckons for one plan; how often a cron expression comes due is kept.
type demand struct {
	plan  *zones.Plan
	opens map[string]int
}

func newDemand(p *zones.Plan) *demand { return &demand{p, map[string]int{}} }

// openings gives how often a window opens in 24 h at most.
func (m *demand) openings(w *schedule.Window) int {
	if w.Cron == "" {
		return 1
	}
	if _, known := m.opens[w.Cron]; !known {
		m.opens[w.Cron] = mostInADay(w.Cron)
	}
	return m.opens[w.Cron]
}

func mostInADay(cron string) (most int) {
	var starts []time.Time
	raw := rawWindow{cron: item[string]{v: cron}}
	raw.eachCron(func(start, _ time.Time) bool {
		starts = append(starts, start)
		for start.Sub(starts[0]) >= wholeDay {
			starts = starts[1:]
		}
		most = max(most, len(starts))
		return true
	})
	return most
}

// busiest gives the most valve time that the windows may ask for in 24 h.
func (m *demand) busiest(z *zones.Zone, windows []schedule.Window, d schedule.Day) (total time.Duration) {
	byWeekday := [7]time.Duration{}
	for i := range windows {
		w := &windows[i]
		n, run := shotsIn(z, w, openLength(w, d))
		need := time.Duration(n*m.openings(w)) * run
		if w.On == 0 {
			total += need
			continue
		}
		for j := range byWeekday {
			if w.On.Has(time.Weekday(j)) {
				byWeekday[j] += need
			}
		}
	}
	return total + slices.Max(byWeekday[:])
}

// Busiest is the busiest 24 h of a zone.
type Busiest struct {
	Seconds      float64 `json:"seconds"`       // at most, by time alone
	LimitSeconds float64 `json:"limit_seconds"` // max_per_day
	Stage        string  `json:"stage"`
	need         time.Duration
}

// daysOf gives the calendar's lengths of day; where it has none, one without lights.
func daysOf(p *zones.Plan) []schedule.Day {
	if len(p.Calendar.Days) == 0 {
		return []schedule.Day{{}}
	}
	return p.Calendar.Days
}

func (m *demand) busiestOf(z *zones.Zone) (b Busiest) {
	for _, st := range stagesIn(z) {
		for _, d := range daysOf(m.plan) {
			if need := m.busiest(z, st.windows, d); need > b.need {
				b.need, b.Stage = need, st.name
			}
		}
	}
	b.Seconds, b.LimitSeconds = b.need.Seconds(), z.Limits.MaxPerDay.Seconds()
	return b
}

// checkDemand warns of what the windows ask for beyond budgets and supplies.
func (c *checker) checkDemand(p *zones.Plan) {
	m := newDemand(p)
	for i := range p.Zones {
		z := &p.Zones[i]
		b := m.busiestOf(z)
		if b.need <= z.Limits.MaxPerDay {
			continue
		}
		stage := ""
		if z.Schedule.Crop != nil {
			stage = " in stage `" + b.Stage + "`"
		}
		at := c.zone(z.ID).keys.maxPerDay.at
		at.warnIn(z.ID, CodeBudget, "shots over it are refused: fewer or smaller shots (max_shots, rest), or a larger max_per_day",
			"the windows of zone `%s` may ask for %s in 24 h%s, max_per_day is %s", z.ID, spanWords(b.need), stage, spanWords(z.Limits.MaxPerDay))
	}
	for i := range p.Supplies {
		if q := m.queueOf(&p.Supplies[i]); !q.Fits {
			at := c.room.suppliesAt
			if i < len(c.room.supplies) {
				at = c.room.supplies[i].at
			}
			at.warn(CodeQueue, "spread the windows over the day, fewer or smaller shots, or a larger max_open", "supply `%s`: %s", p.Supplies[i].ID, q.Because)
		}
	}
}
