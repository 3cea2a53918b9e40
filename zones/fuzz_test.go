package zones

import (
	"encoding/json"
	"testing"
	"time"
)

// scriptMost is how many bytes of a script are played: a room that is led through its
// boot hold and a few runs needs some hundred.
const scriptMost = 160

// FuzzStep plays any bytes as a script of events to a room: readings, reports,
// statuses, inputs, orders, plans, failing records, stepped clocks, restarts. After
// each step the room's own check and the books of a bystander (fuzz_books_test.go)
// must hold.
func FuzzStep(f *testing.F) {
	f.Add([]byte{})
	for kind := range byte(kindsOfAct) { // each act, between honest seconds in which zones want water and get it
		for _, rest := range [][]byte{{3, 7, 11, 1}, {0, 0, 0, 0}, {255, 254, 253, 252}, {1, 2, 3, 4}, {5, 4, 6, 8}} {
			run := []byte{1, 20, 2, 1, 9, 1}
			s := append([]byte{rest[0] | 1}, run...)
			s = append(append(append(s, kind), rest...), run...)
			f.Add(append(append(append(s, kind), rest[2:]...), run...))
		}
	}
	for order := range byte(16) {
		for zone := range byte(5) {
			f.Add([]byte{1, 1, 20, 2, 11, order, zone, zone + order, zone % 2, zone, 0, 1, 20, 2, 11, order, zone, order, 1, 1, 1})
		}
	}
	plans := fuzzPlans()
	f.Fuzz(func(t *testing.T, script []byte) {
		if len(script) > scriptMost {
			return
		}
		first := play(t, plans, script)
		if len(script)%8 == 0 { // the same events give the same effects
			if again := play(t, plans, script); first != again {
				t.Fatalf("the same script gave effects %x, then %x", first, again)
			}
		}
	})
}

// play plays a script and gives a number that stands for all its effects.
func play(t *testing.T, plans []*Plan, script []byte) uint64 {
	w := newStage(t, plans, &chance{script})
	for w.dice.left() {
		w.act()
	}
	if len(script)%4 == 0 { // dear
		w.books.end(w.room, w.now)
	}
	return w.books.sum.Sum64()
}

// chance turns fuzzed bytes into choices; past their end it always gives 0.
type chance struct{ bytes []byte }

func (c *chance) left() bool { return len(c.bytes) > 0 }

func (c *chance) roll(sides int) int {
	if len(c.bytes) == 0 {
		return 0
	}
	b := c.bytes[0]
	c.bytes = c.bytes[1:]
	return int(b) % sides
}

// span gives a duration from under a second to a month, most of them short.
func (c *chance) span() time.Duration {
	n := time.Duration(c.roll(256))
	switch c.roll(8) {
	case 0:
		return n * time.Millisecond
	case 1:
		return n * time.Minute
	case 2:
		return n * time.Hour
	case 3:
		return n * 3 * time.Hour
	}
	return n * time.Second
}

func choose[T any](c *chance, list ...T) T { return list[c.roll(len(list))] }

// fuzzPlans are three plans of one room that a script changes between: one valve at
// a time, no more than ten minutes a day on an output in any of them.
func fuzzPlans() []*Plan {
	var plans []*Plan
	for n := range 3 {
		p := benchPlan(3, 2)
		p.Hash = string(rune('0' + n))
		p.Controllers = []Controller{{ID: "north", Inputs: []Input{{ID: "tank", Means: SupplyLow}, {ID: "floor", Means: Leak}, {ID: "stop", Means: StopInput}}}, {ID: "south"}}
		p.Supplies = append(p.Supplies, Supply{ID: "well", MaxOpen: 1, Master: &Master{Output: Output{"south", 9}, Kind: MasterValve, Lead: 2 * time.Second}})
		p.Supplies[0].Low = "tank"
		p.Valves[1].Output, p.Valves[1].Supply = Output{"south", 2}, "well"
		p.Valves[2].Supply = "well"
		for i := range p.Zones {
			p.Zones[i].Limits.MaxPerDay, p.Zones[i].Limits.MaxRun = 10*time.Minute, 2*time.Minute
			p.Zones[i].Limits.MinRest = 10 * time.Second
			p.Zones[i].Schedule.Windows[0].Rest = 30 * time.Second
		}
		plans = append(plans, p)
	}
	plans[0].Zones[1].Lost = &Fallback{Shot: plans[0].Zones[1].Schedule.Windows[0].Shot, Every: time.Hour, MaxPerDay: 5 * time.Minute}
	plans[0].Zones[2].Schedule.Windows[0].Below = 0 // by time
	plans[1].Zones, plans[1].Lease = plans[1].Zones[:2], LeaseMin
	plans[2].Zones[0].Limits.MaxRun, plans[2].Lease = 20*time.Second, LeaseMax
	plans[2].Zones[0].Schedule.Windows[0].Shot.Value = 20
	plans[2].Supplies[1].Master.Kind = MasterPump
	return plans
}

// remembered gives what a restart finds: the memory as the ledger writes it.
func remembered(t *testing.T, m *Memory) *Memory {
	text, err := json.Marshal(m)
	if err != nil {
		t.Fatalf("the memory is no JSON: %v", err)
	}
	back := &Memory{}
	if err := json.Unmarshal(text, back); err != nil {
		t.Fatalf("the memory does not read back: %v", err)
	}
	return back
}
