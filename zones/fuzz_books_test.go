package zones

import (
	"encoding/json"
	"fmt"
	"hash"
	"hash/fnv"
	"testing"
	"time"
)

// books are what a bystander writes down of a room: events and effects alone.
type books struct {
	t       *testing.T
	plan    *Plan
	begun   time.Duration // Mono of the process's start
	hold    time.Duration
	now     time.Duration
	last    [2]uint32 // epoch and number of the last command
	told    map[Output]bool
	failed  bool
	ended   bool
	broker  bool
	places  map[Place]*spoken
	boots   map[string]string
	left    map[string]bool // controller and boot that ended
	counts  map[string]int  // reports of the newest boot
	shadow  *Memory         // the fold of the records
	needs   map[string]RunRecord
	seqOf   map[string]uint64
	durable uint64
	asked   map[string]bool
	sum     hash.Hash64
}

// spoken is what a place said that may count as evidence.
type spoken struct {
	live  int
	last  time.Duration
	level Level
}

func newBooks(t *testing.T, p *Plan) *books { return &books{t: t, plan: p, sum: fnv.New64a()} }

// begin forgets what a process forgets.
func (b *books) begin(now Instant, m *Memory) {
	if b.shadow != nil {
		b.sameMemory(m)
	}
	lease := max(m.Lease, b.plan.Lease)
	*b = books{t: b.t, plan: b.plan, begun: now.Mono, hold: 5*time.Second + lease, now: now.Mono, last: b.last, sum: b.sum,
		told: map[Output]bool{}, places: map[Place]*spoken{}, boots: map[string]string{}, left: map[string]bool{}, counts: map[string]int{},
		shadow: remembered(b.t, m), needs: map[string]RunRecord{}, seqOf: map[string]uint64{}, durable: m.Seq, asked: map[string]bool{}}
}

func (b *books) newPlan(p *Plan) { b.plan = p }

func (b *books) observe(r *Room, now Instant, ev Event, effects []Effect) {
	b.now = max(b.now, now.Mono)
	b.event(r, ev)
	for _, e := range effects {
		b.effect(r, e)
	}
	if len(b.asked) > 0 {
		b.t.Fatalf("an order has no answer: %+v", ev)
	}
	if next := r.Next(); r.dirty || next <= r.now.Mono {
		b.t.Fatalf("after %T the room is not done: next look at %s, now %s", ev, next, r.now.Mono)
	}
}

func (b *books) event(r *Room, ev Event) {
	switch ev := ev.(type) {
	case *Reading:
		b.reading(ev)
	case *Report:
		b.report(r, ev)
	case *BrokerLink:
		b.broker = ev.Up
	case *Recorded:
		b.durable = max(b.durable, ev.Seq)
	case *RecordFailed:
		b.failed = true
	case *Shutdown:
		b.ended = true
	case *Order:
		b.asked[ev.ID] = true
	}
}

// report counts the reports of a controller's newest boot; one that ended is over, unless
// the room finds that it goes on.
func (b *books) report(r *Room, ev *Report) {
	name := ev.Controller
	if ev.Retained || ev.Boot == "" {
		return
	}
	if c := r.controlBy[name]; b.left[name+" "+ev.Boot] && (c == nil || c.boot != ev.Boot) {
		return
	}
	delete(b.left, name+" "+ev.Boot)
	if b.boots[name] != ev.Boot {
		b.left[name+" "+b.boots[name]] = true
		b.boots[name], b.counts[name] = ev.Boot, 0
	}
	b.counts[name]++
}

func (b *books) reading(ev *Reading) {
	if ev.Retained || !ev.HasMoisture {
		return
	}
	h := b.places[ev.Place]
	if h == nil {
		h = &spoken{}
		b.places[ev.Place] = h
	}
	h.live++
	h.last, h.level = b.now, ev.Moisture
}

func (b *books) effect(r *Room, e Effect) {
	switch e := e.(type) {
	case *State:
		b.sum.Write([]byte(e.Because))
	case *Breach:
		b.t.Fatalf("%s: %s", e.Invariant, e.Detail)
	case *Answer:
		if !b.asked[e.Order] {
			b.t.Fatalf("order %q is answered twice, or was not asked", e.Order)
		}
		delete(b.asked, e.Order)
		b.sum.Write([]byte(e.Because))
	case *Record:
		b.record(e)
	case *Command:
		b.command(r, e)
	}
}

func (b *books) record(e *Record) {
	text, err := json.Marshal(e)
	if err != nil {
		b.t.Fatalf("record %d (%s) is no JSON: %v", e.Seq, e.Kind, err)
	}
	b.sum.Write(text)
	back := &Record{}
	if err := json.Unmarshal(text, back); err != nil {
		b.t.Fatalf("record %d (%s) does not read back: %v", e.Seq, e.Kind, err)
	}
	if back.Seq != b.shadow.Seq+1 {
		b.t.Fatalf("record %d after %d", back.Seq, b.shadow.Seq)
	}
	b.shadow.Apply(back)
	if e.Kind == RecIntent {
		b.needs[back.Run.ID], b.seqOf[back.Run.ID] = *back.Run, e.Seq
	}
	b.budget(e)
}

// budget: no run begins that takes an output over its day's limit, whatever was asked.
func (b *books) budget(e *Record) {
	if e.Kind != RecIntent {
		return
	}
	for _, id := range e.Run.Outputs {
		used := time.Duration(0)
		for _, c := range b.shadow.Outputs[id.String()].Charges {
			if c.Open || c.End+day > e.Age {
				used += c.Amount
			}
		}
		if used > 10*time.Minute {
			b.t.Fatalf("INV-5: %s is charged for %s of 10 min", id, used)
		}
	}
}

func (b *books) command(r *Room, e *Command) {
	fmt.Fprint(b.sum, *e)
	pair := [2]uint32{e.Epoch, e.Seq}
	if pair[0] < b.last[0] || pair[0] == b.last[0] && pair[1] <= b.last[1] {
		if !b.failed { // an epoch that no ledger wrote down comes again, for closes
			b.t.Fatalf("INV-12: command %v after %v", pair, b.last)
		}
	}
	b.last = pair
	if !e.Open {
		b.told[e.Output] = true
		return
	}
	b.opening(e)
	if left := r.outputBy[e.Output].deadline - r.t; left > r.plan.Lease {
		b.t.Fatalf("INV-1: a grant of %s, the lease is %s", left, r.plan.Lease)
	}
}

// opening: what must be so whenever a grant leaves.
func (b *books) opening(e *Command) {
	run, charged := b.needs[e.Run]
	for what, wrong := range map[string]bool{
		"after the shutdown": b.ended, "on a failed ledger": b.failed, "without the broker": !b.broker,
		"in the boot hold":       b.now-b.begun < b.hold,
		"before it was closed":   !b.told[e.Output],
		"on one report":          b.counts[e.Output.Controller] < 2,
		"for another boot":       b.boots[e.Output.Controller] != e.Boot,
		"without a charge":       !charged,
		"before it was durable":  b.seqOf[e.Run] > b.durable,
		"without evidence":       charged && b.needsEvidence(&run) && !b.evidence(run.Zone),
		"in the past of its own": e.UntilMS <= 0,
	} {
		if wrong {
			b.t.Fatalf("%s opens %s: %+v", e.Output, what, *e)
		}
	}
}

func (b *books) needsEvidence(run *RunRecord) bool {
	return run.Reason == BelowThreshold || run.Reason == DriedBack || run.Reason == ToLevel
}

// evidence reports whether a quorum of the zone's probes spoke at least twice, live,
// lately and plausibly: more is asked inside, less never.
func (b *books) evidence(zone string) bool {
	n, quorum := 0, 1
	for i := range b.plan.Zones {
		z := &b.plan.Zones[i]
		if z.ID != zone {
			continue
		}
		quorum = z.Moisture.Quorum
		for place, h := range b.places {
			if pm := b.shadow.Probes[place.String()]; pm != nil && pm.Zone != "" && pm.Zone != zone {
				continue
			}
			if h.live >= 2 && b.now-h.last <= z.Moisture.StaleAfter && h.level >= z.Moisture.PlausibleLo && h.level <= z.Moisture.PlausibleHi && b.inZone(place, zone) {
				n++
			}
		}
	}
	return n >= quorum
}

func (b *books) inZone(at Place, zone string) bool {
	for i := range b.plan.Probes {
		if b.plan.Probes[i].Place == at {
			return b.plan.Probes[i].Zone == zone
		}
	}
	pm := b.shadow.Probes[at.String()]
	return pm != nil && pm.Zone == zone
}
