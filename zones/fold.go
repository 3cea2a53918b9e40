package zones

import (
	"slices"
	"time"

	"rillgate/schedule"
)

const (
	day           = 24 * time.Hour
	crashSpan     = 10 * time.Minute
	crashLimit    = 5 // starts after unclean ends within crashSpan
	pastInstances = 64
)

// NewMemory is the memory of a first start: full budgets.
func NewMemory() *Memory {
	return &Memory{
		Clean:   true,
		Outputs: map[string]*OutputMemory{},
		Zones:   map[string]*ZoneMemory{},
		Probes:  map[string]*ProbeMemory{},
	}
}

// LostMemory is the memory after a loss: epoch is the highest known, every budget
// counts as spent until a person resets it.
func LostMemory(epoch uint32) *Memory {
	m := NewMemory()
	m.Epoch, m.Spent, m.Clean = epoch, true, false
	return m
}

// allSpent reports whether every budget counts as spent: no water was given since a loss,
// and what else was lost before then adds nothing.
func (m *Memory) allSpent() bool {
	for _, om := range m.Outputs { // order: one that is not will do
		if !om.Spent {
			return false
		}
	}
	return m.Spent
}

// output gives what is kept of an output, made when missing.
func (m *Memory) output(o Output) *OutputMemory {
	if m.Outputs == nil {
		m.Outputs = map[string]*OutputMemory{}
	}
	key := o.String()
	om := m.Outputs[key]
	if om == nil {
		om = &OutputMemory{Spent: m.Spent}
		m.Outputs[key] = om
	}
	return om
}

// zone gives what is kept of a zone, made when missing.
func (m *Memory) zone(id string) *ZoneMemory {
	if m.Zones == nil {
		m.Zones = map[string]*ZoneMemory{}
	}
	zm := m.Zones[id]
	if zm == nil {
		zm = &ZoneMemory{}
		m.Zones[id] = zm
	}
	return zm
}

// probe gives what is kept of a place, made when missing.
func (m *Memory) probe(p Place) *ProbeMemory {
	if m.Probes == nil {
		m.Probes = map[string]*ProbeMemory{}
	}
	key := p.String()
	pm := m.Probes[key]
	if pm == nil {
		pm = &ProbeMemory{}
		m.Probes[key] = pm
	}
	return pm
}

// Apply folds one record into the memory. Records come in order of Seq; one that
// was folded already changes nothing.
func (m *Memory) Apply(rec *Record) {
	if rec.Seq <= m.Seq {
		return
	}
	m.Seq = rec.Seq
	m.Age = max(m.Age, rec.Age)
	if rec.Trusted && rec.Wall.After(m.Wall) {
		m.Wall = rec.Wall
	}
	switch rec.Kind {
	case RecIntent:
		m.intend(rec)
	case RecClose:
		m.close(rec)
	case RecSettle:
		m.settle(rec)
	case RecLatch:
		m.latch(rec)
	case RecReset:
		m.unlatch(rec)
	case RecHold:
		z := m.zone(rec.Hold.Zone)
		z.HoldUntil, z.HoldSource, z.HoldOn = rec.Hold.Until, rec.Hold.Source, rec.Hold.Outputs
	case RecEpoch:
		m.Epoch = max(m.Epoch, rec.Epoch)
	case RecStart:
		m.start(rec)
	case RecStop:
		m.Clean = true
	case RecProgress:
		for i := range rec.Zones {
			m.progress(&rec.Zones[i])
		}
	case RecProbe:
		if rec.Probe.Was != nil {
			delete(m.Probes, rec.Probe.Was.String())
		}
		*m.probe(rec.Probe.Place) = rec.Probe.Memory
	case RecWalked:
		m.zone(rec.Walked.Zone).Walked = &WalkMemory{Wiring: rec.Walked.Wiring, Wall: rec.Wall, Against: rec.Walked.Against}
	case RecPlan:
		m.Plan = rec.Plan
	case RecSpent:
		m.Spent = true
		for _, om := range m.Outputs { // order: each output for itself
			om.Spent = true
		}
	}
	if rec.Lease > 0 {
		m.Lease = rec.Lease
	}
}

// start notes a new process: its epoch, and whether the one before ended badly.
func (m *Memory) start(rec *Record) {
	if !m.Clean {
		m.Starts = append(m.Starts, rec.Age)
	}
	m.Starts = slices.DeleteFunc(m.Starts, func(a time.Duration) bool { return a+crashSpan < rec.Age })
	m.Clean = false
	m.Epoch = max(m.Epoch, rec.Epoch)
	// What was open when the last process ended counts whole, and may have been open
	// until now and one lease more.
	for _, om := range m.Outputs { // order: each output for itself
		for i := range om.Charges {
			if c := &om.Charges[i]; c.Open {
				c.Open = false
				c.End = rec.Age + m.Lease
				om.Rested, om.Ran = c.End, true
			}
		}
	}
}

// intend charges a whole run to each of its outputs.
func (m *Memory) intend(rec *Record) {
	run := rec.Run
	for i, o := range run.Outputs {
		om := m.output(o)
		om.Charges = slices.DeleteFunc(om.Charges, func(c Charge) bool { return !c.Open && c.End+day <= rec.Age })
		c := Charge{Run: run.ID, Zone: run.Zone, Amount: run.Length, End: run.End, Open: true, Kind: run.Reason}
		if i == 0 {
			c.Litres = run.Litres
		}
		om.Charges = append(om.Charges, c)
		om.Ran = true
	}
	z := m.zone(run.Zone)
	m.enter(z, run.Progress)
}

// close notes the end of a run; its charge stands whole until it is settled.
func (m *Memory) close(rec *Record) {
	for _, o := range rec.Run.Outputs {
		om := m.output(o)
		om.Rested = max(om.Rested, rec.Age)
		if c := om.charge(rec.Run.ID); c != nil {
			c.End = rec.Age
		}
	}
}

// settle gives back what a run did not use and adds it to the totals.
func (m *Memory) settle(rec *Record) {
	run := rec.Run
	for i, o := range run.Outputs {
		om := m.output(o)
		om.Rested = max(om.Rested, run.End)
		c := om.charge(run.ID)
		if c == nil {
			continue
		}
		// A close that was confirmed late came late too: water may have run until then.
		c.Open, c.Amount, c.End = false, run.Amount, max(run.End, min(rec.Age, run.End+confirmWithin))
		if i == 0 {
			c.Litres = run.Litres
		}
	}
	z := m.zone(run.Zone)
	if run.Amount > 0 {
		z.Shots++
		z.Litres += run.Litres
		z.RunTime += run.Amount
	}
	m.enter(z, run.Progress)
}

// charge finds the charge of a run.
func (om *OutputMemory) charge(run string) *Charge {
	for i := range om.Charges {
		if om.Charges[i].Run == run {
			return &om.Charges[i]
		}
	}
	return nil
}

// used gives the valve time charged in the 24 h before an age: of one kind, or with "" of
// all but soaks. Open charges count.
func (om *OutputMemory) used(age time.Duration, kind Reason) time.Duration {
	var sum time.Duration
	for i := range om.Charges {
		c := &om.Charges[i]
		if (c.Open || age < c.End+day) && (kind == "" && c.Kind != Soak || c.Kind == kind) {
			sum += c.Amount
		}
	}
	return sum
}

func (m *Memory) latch(rec *Record) {
	l := LatchMemory{Code: rec.Latch.Code, Age: rec.Age, Wall: rec.Wall, Because: rec.Latch.Because}
	if len(rec.Latch.Outputs) == 0 {
		m.Latches = setLatch(m.Latches, l)
		return
	}
	for _, o := range rec.Latch.Outputs {
		om := m.output(o)
		om.Latches = setLatch(om.Latches, l)
	}
}

func (m *Memory) unlatch(rec *Record) {
	if b := rec.Budget; b != nil {
		for _, o := range b.Outputs {
			om := m.output(o)
			om.Spent = false
			om.Charges = slices.DeleteFunc(om.Charges, func(c Charge) bool { return !c.Open })
		}
		return
	}
	l := rec.Latch
	if len(l.Outputs) == 0 {
		m.Latches = dropLatch(m.Latches, l.Code)
		if l.Code == CrashLoop {
			m.Starts = nil
		}
		return
	}
	for _, o := range l.Outputs {
		om := m.output(o)
		om.Latches = dropLatch(om.Latches, l.Code)
	}
}

// setLatch adds a latch unless its code is set: the first cause stands.
func setLatch(ls []LatchMemory, l LatchMemory) []LatchMemory {
	if hasLatch(ls, l.Code) != nil {
		return ls
	}
	return append(ls, l)
}

func dropLatch(ls []LatchMemory, code Reason) []LatchMemory {
	return slices.DeleteFunc(ls, func(l LatchMemory) bool { return l.Code == code })
}

// hasLatch finds a latch by its code.
func hasLatch(ls []LatchMemory, code Reason) *LatchMemory {
	for i := range ls {
		if ls[i].Code == code {
			return &ls[i]
		}
	}
	return nil
}

func (m *Memory) progress(p *ZoneProgress) {
	z := m.zone(p.Zone)
	m.enter(z, p.Progress)
	z.Highs = p.Highs
	z.Response = p.Response
	z.Lost, z.DayHigh, z.DayOf = p.Lost, p.DayHigh, p.DayOf
	z.Level, z.LevelAt, z.LevelHalf = p.Level, p.LevelAt, p.LevelHalf
}

// enter makes p the zone's progress; that of another instance goes to Past.
func (m *Memory) enter(z *ZoneMemory, p schedule.Progress) {
	if z.Progress.Instance == p.Instance {
		z.Progress = p
		return
	}
	if old := z.Progress; old.Instance != "" && (old.Shots > 0 || old.Reached || old.Series) {
		z.Past = append(z.Past, old)
	}
	z.Past = slices.DeleteFunc(z.Past, func(o schedule.Progress) bool { return o.Instance == p.Instance })
	if n := len(z.Past) - pastInstances; n > 0 {
		z.Past = slices.Delete(z.Past, 0, n)
	}
	z.Progress = p
}

// recall gives what an instance had so far.
func (z *ZoneMemory) recall(instance string) schedule.Progress {
	if z.Progress.Instance == instance {
		return z.Progress
	}
	for i := range z.Past {
		if z.Past[i].Instance == instance {
			return z.Past[i]
		}
	}
	return schedule.Progress{Instance: instance}
}

// Clone gives a copy that shares nothing.
func (m *Memory) Clone() *Memory {
	c := *m
	c.Starts = slices.Clone(m.Starts)
	c.Latches = slices.Clone(m.Latches)
	c.Outputs = make(map[string]*OutputMemory, len(m.Outputs))
	for k, v := range m.Outputs { // order: a copy
		o := *v
		o.Charges, o.Latches = slices.Clone(v.Charges), slices.Clone(v.Latches)
		c.Outputs[k] = &o
	}
	c.Zones = make(map[string]*ZoneMemory, len(m.Zones))
	for k, v := range m.Zones { // order: a copy
		z := *v
		z.Past = slices.Clone(v.Past)
		z.Highs = cloneHighs(v.Highs)
		if v.Walked != nil {
			w := *v.Walked
			z.Walked = &w
		}
		c.Zones[k] = &z
	}
	c.Probes = make(map[string]*ProbeMemory, len(m.Probes))
	for k, v := range m.Probes { // order: a copy
		p := *v
		c.Probes[k] = &p
	}
	return &c
}

func cloneHighs(h map[string]Level) map[string]Level {
	if h == nil {
		return nil
	}
	c := make(map[string]Level, len(h))
	for k, v := range h { // order: a copy
		c[k] = v
	}
	return c
}
