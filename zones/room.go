// Package zones is the core of Rillgate: a pure, deterministic state machine over
// one growing room.
//
// The way of a reading to a valve:
//
//	Step(Instant, Event)
//	  -> probe.take        plausible, live, fresh?            probe.go
//	  -> zone.estimate     the probes of a zone as one number estimate.go
//	  -> zone.want         window open, trigger met?          want.go (schedule decides)
//	  -> permit            the interlocks, in order           permit.go
//	  -> start             Record{intent}: the whole charge   run.go
//	  -> Recorded          Command{open}: a grant, renewed    run.go
//	  -> close             Command{close}, then Record        run.go
//	  -> settle            a report confirms: charge trimmed  run.go, link.go
//
// Time inside is age: powered time, carried over restarts. Wall clock reaches only
// the schedule. Every map is visited in sorted order or where order cannot matter.
package zones

import (
	"time"

	"rillgate/schedule"
)

const forever = time.Duration(1<<63 - 1)

// Room is the core: a deterministic state machine over one growing room.
type Room struct {
	plan *Plan
	mem  *Memory
	now  Instant
	t    time.Duration // age now
	base time.Duration // t - Mono
	born time.Duration // t at the start of this process
	out  []Effect

	zones       []*zone
	outputs     []*output
	controllers []*controller
	supplies    []*supply
	inputs      []*input
	probes      []*probe
	zoneBy      map[string]*zone
	outputBy    map[Output]*output
	controlBy   map[string]*controller
	probeBy     map[Place]*probe

	alarms   []*alarm
	gathered []*alarm // of one subject, while it is looked at

	healthy *healthy // nil = the plan names none

	dirty    bool
	next     time.Duration // age before which a tick has nothing to do
	brokerUp bool
	ended    bool // Shutdown came

	fresh       bool // nothing was remembered at the start
	unknown     bool // a controller remembers more than we do: budgets were set to spent, or were so at the start
	epoch       uint32
	epochSafe   bool   // the epoch is durable: commands may bear it
	epochRec    uint64 // record that makes it so
	highest     uint32 // highest epoch seen in reports
	seq         uint32
	runs        int
	holdTo      time.Duration // boot hold
	recSeq      uint64
	durable     uint64
	looked      time.Duration // age of the last look
	storeBroken string
	ageRec      time.Duration // when age was last recorded
	progRec     time.Duration
	settling    []*run // closed, not settled yet
	leakSince   time.Duration
	walkTo      time.Duration // age until which windows and shots wait for a walk

	noAsk     ask       // of the zone that is looked at and asks for nothing
	lightsFor time.Time // from when lightsOn tells the times of the lights
	lightsTo  time.Time // and until when
	lightsOn  []schedule.Instance
}

// NewRoom starts a room from what is remembered (which it takes over). The effects
// begin with the record of the start, which carries a new epoch: nothing is
// commanded before it is answered.
func NewRoom(p *Plan, m *Memory, now Instant) (*Room, []Effect) {
	base := max(m.Age, time.Second)
	r := &Room{
		plan: p, mem: m, now: now, t: base, born: base, base: base - now.Mono,
		zoneBy: map[string]*zone{}, controlBy: map[string]*controller{}, probeBy: map[Place]*probe{},
		recSeq: m.Seq, durable: m.Seq,
		fresh: m.Seq == 0 && !m.Spent, unknown: m.allSpent(), ageRec: base, progRec: base, leakSince: forever,
	}
	r.holdTo = base + 5*time.Second + max(p.Lease, m.Lease)
	unfinished := r.unfinished()
	r.epoch = m.Epoch + 1
	r.epochRec = r.record(&Record{Kind: RecStart, Epoch: r.epoch, Lease: p.Lease, Plan: p.Hash, Wait: true})
	r.build(p)
	if n := len(r.mem.Starts); n > crashLimit {
		r.latchRoom(CrashLoop, sprintf("%d starts after unclean ends within 10 minutes", n))
	}
	r.entry(&Entry{Kind: "started", Because: sprintf("the gateway starts under epoch %d", r.epoch)})
	for _, u := range unfinished {
		r.raise(AlarmUnfinishedRun, u.zone, u.because)
	}
	r.dirty = true
	r.evaluate()
	return r, r.out
}

// Step takes one event and gives the effects in order; the slice is reused by the
// next Step. now.Mono never goes back (an earlier one counts as the last).
func (r *Room) Step(now Instant, ev Event) []Effect {
	r.out = r.out[:0]
	r.advance(now)
	switch e := ev.(type) {
	case *Tick:
	case *Reading:
		r.reading(e)
	case *Report:
		r.report(e)
	case *Status:
		r.status(e)
	case *InputState:
		r.inputState(e)
	case *BrokerLink:
		r.broker(e.Up)
	case *Order:
		r.order(e)
	case *Taught:
		r.teach(e)
	case *NewPlan:
		r.newPlan(e.Plan)
	case *Recorded:
		r.recorded(e.Seq)
	case *RecordFailed:
		r.recordFailed(e)
	case *Shutdown:
		r.shutdown()
	}
	if r.dirty || r.t >= r.due() {
		r.evaluate()
	}
	return r.out
}

// due gives the age of the next look: what the last one found out, or a controller or
// an input that falls silent. Each word from those puts it off, without a look.
func (r *Room) due() time.Duration { return min(r.next, r.silence()) }

// Next gives the Mono before which a Tick has nothing to do.
func (r *Room) Next() time.Duration {
	if r.dirty {
		return r.now.Mono
	}
	if due := r.due(); due != forever {
		return due - r.base
	}
	return forever
}

// Memory gives a copy of what is remembered, for a mirror.
func (r *Room) Memory() *Memory {
	m := r.mem.Clone()
	m.Age = r.t
	return m
}

// Age gives the powered time of the room at an instant.
func (r *Room) Age(now Instant) time.Duration { return max(r.t, now.Mono+r.base) }

// advance lets time pass. A step of the wall clock makes every zone look again at
// its schedule; nothing else reads the wall.
func (r *Room) advance(now Instant) {
	if now.Mono < r.now.Mono {
		now.Mono = r.now.Mono
	}
	drift := now.Wall.Sub(r.now.Wall) - (now.Mono - r.now.Mono)
	if drift > time.Second || drift < -time.Second || now.Trusted != r.now.Trusted {
		r.dirty = true
	}
	r.now = now
	r.t = now.Mono + r.base
}

// record emits a record, folds it into the memory and gives its number.
func (r *Room) record(rec *Record) uint64 {
	r.recSeq++
	rec.Seq, rec.Age, rec.Wall, rec.Trusted = r.recSeq, r.t, r.now.Wall.UTC(), r.now.Trusted
	r.mem.Apply(rec)
	r.out = append(r.out, rec)
	return rec.Seq
}

// recorded takes the ledger's answer. Only an epoch and a run that is to open wait for one.
func (r *Room) recorded(seq uint64) {
	r.durable = max(r.durable, seq)
	if !r.epochSafe && r.durable >= r.epochRec {
		r.epochSafe, r.dirty = true, true
	}
	for _, z := range r.zones {
		r.dirty = r.dirty || z.run != nil && z.run.phase == recording
	}
}

// recordFailed stands until a restart: after a failed sync nothing that the file
// says can be trusted to be there.
func (r *Room) recordFailed(e *RecordFailed) {
	if r.storeBroken == "" {
		r.storeBroken = e.Err
		if r.storeBroken == "" {
			r.storeBroken = "no reason given"
		}
	}
	r.epochSafe = true // closings need no disk; nothing opens any more
	r.dirty = true
}

func (r *Room) broker(up bool) {
	if r.brokerUp == up {
		return
	}
	r.brokerUp = up
	r.dirty = true
	if up {
		for _, o := range r.outputs {
			o.lastClose = neverHeard // say the closes again at once
		}
		if r.healthy != nil {
			r.healthy.out.lastClose = neverHeard
		}
	}
}

// shutdown closes everything; nothing opens afterwards.
func (r *Room) shutdown() {
	if r.ended {
		return
	}
	r.ended = true
	for _, z := range r.zones {
		if z.run != nil {
			r.closeRun(z.run, StoppedByPerson, "the daemon is told to end")
		}
	}
	for _, o := range r.outputs {
		r.closeOutput(o, "", StoppedByPerson)
	}
	r.dropHealthy(StoppedByPerson, "the daemon is told to end")
	r.record(&Record{Kind: RecStop})
	r.entry(&Entry{Kind: "ended", Because: "the gateway is told to end and closes everything"})
	r.dirty = true
}

// Quiet reports whether every output is known to be closed: what a stop waits for.
func (r *Room) Quiet() bool {
	for _, o := range r.outputs {
		if !o.confirmed {
			return false
		}
	}
	return true
}

// evaluate looks at everything until nothing changes any more: what one look finds
// (a latch, a silent controller) closes valves in the same step.
func (r *Room) evaluate() {
	for i := 0; i < 4; i++ {
		r.dirty = false
		r.look()
		if !r.dirty {
			break
		}
	}
	r.lookAtAlarms()
	r.lookAtHealthy()
	for _, z := range r.zones {
		r.tellState(z)
	}
	r.keepRecords()
	r.check()
}

// look is one look at everything, in the order of the rules.
func (r *Room) look() {
	r.next, r.looked = forever, r.t
	r.lookAtLinks()
	for _, z := range r.zones {
		r.lookAtZone(z)
	}
	r.leaks()
	r.lookAtRuns()
	r.lookAtOutputs()
	for _, z := range r.zones {
		r.judgeResponse(z)
	}
	r.lookAtWants()
}

// at makes sure that the next look comes no later than age t. What was due by now
// has been looked at.
func (r *Room) at(t time.Duration) {
	if t > r.t && t < r.next {
		r.next = t
	}
}

// keepsRecords reports whether anything is still written down.
func (r *Room) keepsRecords() bool { return !r.ended && r.storeBroken == "" }

// keepRecords writes down age every 10 minutes and progress at most every minute.
func (r *Room) keepRecords() {
	if !r.keepsRecords() {
		return
	}
	var changed []ZoneProgress
	due, urgent := r.t >= r.progRec+time.Minute, false
	for _, z := range r.zones {
		if z.urgent || (z.changed && due) {
			changed = append(changed, z.progress())
			urgent = urgent || z.urgent
			z.urgent, z.changed = false, false
		} else if z.changed {
			r.at(r.progRec + time.Minute)
		}
	}
	if len(changed) > 0 {
		r.progRec = r.t
		r.record(&Record{Kind: RecProgress, Zones: changed, Lazy: !urgent})
	}
	if r.t >= r.ageRec+10*time.Minute {
		r.ageRec = r.t
		r.record(&Record{Kind: RecAge})
	}
	r.at(r.ageRec + 10*time.Minute)
}
