package zonetest

import (
	"fmt"
	"testing"
	"time"

	"rillgate/zones"
)

// bad is one hand-made stream that breaks one invariant. Each begins where ready
// leaves the tape, unless it begins anew.
type bad struct {
	invariant int
	name      string
	play      func(p *tape)
}

// TestBadTapes: each breach is caught under its number.
func TestBadTapes(t *testing.T) {
	for _, list := range [][]bad{grantTapes(), budgetTapes(), evidenceTapes(), latchTapes(), orderTapes(), honestTapes()} {
		for _, b := range list {
			t.Run(fmt.Sprintf("INV-%d %s", b.invariant, b.name), func(t *testing.T) {
				p := ready()
				b.play(p)
				p.caught(t, b.invariant)
			})
		}
	}
}

func grantTapes() []bad {
	return []bad{
		{1, "a grant longer than a lease", func(p *tape) {
			p.step(&zones.Tick{}, p.intent("a", "r-1", time.Minute, zones.BelowThreshold, 1))
			p.durable()
			p.step(&zones.Tick{}, p.grant(valveA, "r-1", 31*time.Second))
		}},
		{1, "a renewal past the run's end", func(p *tape) {
			p.open("r-1", 20*time.Second, 1)
			p.to(50)
			p.step(&zones.Tick{}, p.grant(valveA, "r-1", 15*time.Second))
		}},
		{1, "a run longer than max_run", func(p *tape) {
			p.step(&zones.Tick{}, p.intent("a", "r-1", 121*time.Second, zones.BelowThreshold, 1))
		}},
		{1, "a contact on for longer than its run", func(p *tape) {
			p.open("r-1", 20*time.Second, 1)
			p.to(61)
			p.c.Physical(p.now(), valveA, false)
		}},
		{2, "a contact on without a grant", func(p *tape) { p.c.Physical(p.now(), valveA, true) }},
		{2, "a contact on after its grant", func(p *tape) {
			p.open("r-1", 20*time.Second, 1)
			p.to(61)
			p.step(&zones.Tick{})
		}},
		{2, "an opening after the shutdown", func(p *tape) {
			p.step(&zones.Shutdown{})
			p.open("r-1", 20*time.Second, 1)
		}},
		{3, "a grant before its intent is durable", func(p *tape) {
			p.step(&zones.Tick{}, p.intent("a", "r-1", 20*time.Second, zones.BelowThreshold, 1), p.grant(valveA, "r-1", 20*time.Second))
		}},
		{3, "a grant on an intent of the last process", func(p *tape) {
			p.step(&zones.Tick{}, p.intent("a", "r-1", 20*time.Second, zones.BelowThreshold, 1))
			p.durable()
			p.start()
			p.to(100)
			p.feed(1, 2, 28000)
			p.step(&zones.Tick{}, p.grant(valveA, "r-1", 20*time.Second))
		}},
		{10, "an opening within the boot hold", func(p *tape) {
			p.start()
			p.to(74)
			p.feed(1, 2, 28000)
			p.open("r-1", 20*time.Second, 1)
		}},
		{10, "an opening on a boot heard once", func(p *tape) {
			p.boot = "b2"
			p.report()
			p.open("r-1", 20*time.Second, 1)
		}},
		{10, "an opening before closed was reported", func(p *tape) {
			p.step(&zones.Tick{}, p.shut(valveB, ""))
			p.epoch, p.seq = p.epoch+1, 0
			p.step(&zones.Tick{}, p.shut(valveA, ""))
			p.boot = "b2"
			p.seq--
			p.report()
			p.seq++
			p.open("r-1", 20*time.Second, 1)
		}},
		{11, "a first command that opens", func(p *tape) {
			p.epoch, p.seq = p.epoch+1, 0
			p.open("r-1", 20*time.Second, 1)
		}},
		{12, "a pair twice", func(p *tape) {
			p.seq--
			p.step(&zones.Tick{}, p.shut(valveA, ""))
		}},
		{12, "a grant for another boot", func(p *tape) {
			p.step(&zones.Tick{}, p.intent("a", "r-1", 20*time.Second, zones.BelowThreshold, 1))
			p.durable()
			p.boot = "b0"
			p.step(&zones.Tick{}, p.grant(valveA, "r-1", 20*time.Second))
		}},
	}
}

func budgetTapes() []bad {
	return []bad{
		{4, "more comes back than was unused", func(p *tape) {
			p.open("r-1", 60*time.Second, 1)
			p.to(60)
			p.close("r-1", 15*time.Second)
		}},
		{4, "it comes back before the close is known", func(p *tape) {
			p.open("r-1", 60*time.Second, 1)
			p.to(50)
			p.step(&zones.Tick{}, p.shut(valveA, "r-1"), p.closed("r-1"), p.settled("r-1", 10*time.Second))
		}},
		{5, "a run that does not fit the day", func(p *tape) {
			for n := range 6 {
				p.to(float64(40 + 500*n))
				p.feed(1, 2, 28000)
				p.open("r-"+itoa(n), 25*time.Second, n)
				p.to(float64(65 + 500*n))
				p.close("r-"+itoa(n), 25*time.Second)
			}
			p.c.plan.Zones[0].Limits.MaxPerDay = 160 * time.Second
			p.to(4000)
			p.feed(1, 2, 28000)
			p.open("r-9", 25*time.Second, 9)
		}},
		{6, "a second valve on a supply for one", func(p *tape) {
			p.open("r-1", 25*time.Second, 1)
			p.step(&zones.Tick{}, p.intent("b", "r-2", 25*time.Second, zones.BelowThreshold, 1))
			p.durable()
			p.step(&zones.Tick{}, p.grant(valveB, "r-2", 25*time.Second))
		}},
		{6, "a second valve while the first may be open", func(p *tape) {
			p.open("r-1", 25*time.Second, 1)
			p.to(45)
			p.step(&zones.Tick{}, p.shut(valveA, "r-1"), p.closed("r-1"))
			p.c.Physical(p.now(), valveA, false) // true, but nobody said so
			p.step(&zones.Tick{}, p.intent("b", "r-2", 25*time.Second, zones.BelowThreshold, 1))
			p.durable()
			p.step(&zones.Tick{}, p.grant(valveB, "r-2", 25*time.Second))
		}},
		{9, "a run before the rest is over", func(p *tape) {
			p.open("r-1", 25*time.Second, 1)
			p.to(65)
			p.close("r-1", 25*time.Second)
			p.to(364)
			p.feed(1, 2, 28000)
			p.open("r-2", 25*time.Second, 2)
		}},
		{15, "a window's run on an unsure clock", func(p *tape) {
			p.off = true
			p.open("r-1", 25*time.Second, 1)
		}},
		{16, "a shot of an instance twice", func(p *tape) {
			p.open("r-1", 25*time.Second, 1)
			p.to(65)
			p.close("r-1", 25*time.Second)
			p.to(400)
			p.feed(1, 2, 28000)
			p.open("r-2", 25*time.Second, 1)
		}},
		{16, "more shots than max_shots", func(p *tape) {
			for n := range 3 {
				p.to(float64(40 + 500*n))
				p.feed(1, 2, 28000)
				p.open("r-"+itoa(n), 25*time.Second, n)
				p.to(float64(65 + 500*n))
				p.close("r-"+itoa(n), 25*time.Second)
			}
		}},
		{17, "a plan that cannot shorten a run", func(p *tape) {
			p.step(&zones.Tick{}, p.intent("gone", "r-1", 25*time.Second, zones.BelowThreshold, 1))
			p.durable()
			p.step(&zones.Tick{}, p.grant(valveA, "r-1", 25*time.Second))
		}},
		{18, "a run longer than an hour", func(p *tape) {
			p.step(&zones.Tick{}, p.intent("a", "r-1", 61*time.Minute, zones.BelowThreshold, 1))
		}},
		{18, "a hold longer than a day", func(p *tape) {
			p.step(&zones.Order{ID: "o", Kind: zones.OrderHold, Zone: "a"}, &zones.Answer{Order: "o", Accepted: true},
				p.record(&zones.Record{Kind: zones.RecHold, Hold: &zones.HoldRecord{Zone: "a", Until: p.at + 25*time.Hour}}))
		}},
	}
}

func evidenceTapes() []bad {
	return []bad{
		{7, "a grant on one probe of two", func(p *tape) {
			p.to(400)
			p.step(&zones.Reading{Place: zones.Place{Controller: "north", Terminal: 1, Address: "0"}, Moisture: 28000, HasMoisture: true})
			p.step(&zones.Reading{Place: zones.Place{Controller: "north", Terminal: 1, Address: "0"}, Moisture: 28000, HasMoisture: true})
			p.open("r-1", 25*time.Second, 1)
		}},
		{7, "a grant on single readings after a restart", func(p *tape) {
			p.start()
			p.to(100)
			p.feed(1, 1, 28000)
			p.open("r-1", 25*time.Second, 1)
		}},
		{7, "a grant on what is not plausible", func(p *tape) {
			p.feed(1, 1, 1000)
			p.open("r-1", 25*time.Second, 1)
		}},
		{7, "a grant on times that stand still", func(p *tape) {
			p.start()
			p.to(100)
			for _, address := range []string{"0", "1", "0", "1"} {
				p.step(&zones.Reading{Place: zones.Place{Controller: "north", Terminal: 1, Address: address}, Moisture: 28000, HasMoisture: true, At: time.Hour, HasTime: true})
			}
			p.open("r-1", 25*time.Second, 1)
		}},
		{7, "a renewal on stale probes", func(p *tape) {
			p.to(215)
			p.open("r-1", 100*time.Second, 1)
			p.to(225)
			p.step(&zones.Tick{}, p.grant(valveA, "r-1", 30*time.Second))
		}},
		{8, "a run that goes on without probes", func(p *tape) {
			p.to(210)
			p.open("r-1", 100*time.Second, 1)
			p.to(222)
			p.step(&zones.Tick{})
			p.to(225)
			p.step(&zones.Tick{})
		}},
	}
}

func latchTapes() []bad {
	mismatch := func(p *tape) *zones.Record {
		return p.record(&zones.Record{Kind: zones.RecLatch, Latch: &zones.LatchRecord{Code: zones.ValveMismatch, Outputs: []zones.Output{valveA}}})
	}
	return []bad{
		{22, "open against our close, and nothing is latched", func(p *tape) {
			for n := range 8 {
				p.to(float64(41 + n))
				p.report(valveA)
			}
		}},
		{23, "an opening under a latch", func(p *tape) {
			p.step(&zones.Tick{}, mismatch(p))
			p.durable()
			p.open("r-1", 25*time.Second, 1)
		}},
		{23, "a latch that ends by itself", func(p *tape) {
			p.step(&zones.Tick{}, mismatch(p))
			p.durable()
			p.to(60)
			p.step(&zones.Tick{}, p.record(&zones.Record{Kind: zones.RecReset, Latch: &zones.LatchRecord{Code: zones.ValveMismatch, Outputs: []zones.Output{valveA}}}))
		}},
		{23, "a latch that a restart lost", func(p *tape) {
			p.step(&zones.Tick{}, mismatch(p))
			p.durable()
			p.start()
			p.to(100)
			p.feed(1, 2, 28000)
			p.open("r-1", 25*time.Second, 1)
		}},
		{24, "an opening on a ledger that failed", func(p *tape) {
			p.step(&zones.Tick{}, p.intent("a", "r-1", 20*time.Second, zones.BelowThreshold, 1))
			p.durable()
			p.step(&zones.RecordFailed{Seq: p.rec + 1, Err: "disk full"})
			p.step(&zones.Tick{}, p.grant(valveA, "r-1", 20*time.Second))
		}},
		{24, "a run that goes on when the ledger failed", func(p *tape) {
			p.open("r-1", 60*time.Second, 1)
			p.step(&zones.RecordFailed{Seq: p.rec + 1, Err: "disk full"})
			p.to(43)
			p.step(&zones.Tick{})
		}},
		{27, "a close written down before it is told", func(p *tape) {
			p.open("r-1", 60*time.Second, 1)
			p.step(&zones.Tick{}, p.closed("r-1"), p.shut(valveA, "r-1"))
		}},
		{30, "an opening in a crash loop", func(p *tape) {
			for n := range 6 {
				p.to(float64(50 + 60*n))
				p.start()
			}
			p.to(500)
			p.feed(1, 2, 28000)
			p.report()
			p.open("r-1", 25*time.Second, 1)
		}},
	}
}

func orderTapes() []bad {
	return []bad{
		{20, "a shot by hand that nobody asked for", func(p *tape) {
			p.step(&zones.Tick{}, p.intent("a", "r-1", 20*time.Second, zones.ByHand, 0))
		}},
		{20, "two shots by hand on one order", func(p *tape) {
			p.step(&zones.Order{ID: "o", Kind: zones.OrderShot, Zone: "a"}, &zones.Answer{Order: "o", Accepted: true},
				p.intent("a", "r-1", 20*time.Second, zones.ByHand, 0), p.intent("a", "r-2", 20*time.Second, zones.ByHand, 0))
		}},
		{20, "a shot by hand that a crash should have forgotten", func(p *tape) {
			p.step(&zones.Order{ID: "o", Kind: zones.OrderShot, Zone: "a"}, &zones.Answer{Order: "o", Accepted: true})
			p.start()
			p.step(&zones.Tick{}, p.intent("a", "r-1", 20*time.Second, zones.ByHand, 0))
		}},
		{20, "a hold out of nothing", func(p *tape) {
			p.step(&zones.Tick{}, p.record(&zones.Record{Kind: zones.RecHold, Hold: &zones.HoldRecord{Zone: "a", Until: p.at + time.Hour}}))
		}},
		{20, "a retained message that begins a run", func(p *tape) {
			p.step(&zones.Tick{})
			p.step(&zones.InputState{Controller: "north", ID: "button", Retained: true}, p.intent("a", "r-1", 20*time.Second, zones.BelowThreshold, 1))
		}},
		{21, "an order answered twice", func(p *tape) {
			p.step(&zones.Order{ID: "o", Kind: zones.OrderNote}, &zones.Answer{Order: "o"}, &zones.Answer{Order: "o"})
		}},
		{21, "an order never answered", func(p *tape) {
			p.step(&zones.Order{ID: "o", Kind: zones.OrderNote})
			p.c.End()
		}},
	}
}

func honestTapes() []bad {
	shown := func(s zones.ValveState) zones.View {
		return zones.View{Valves: []zones.ValveView{{ID: "a", Output: valveA, State: s}}}
	}
	return []bad{
		{28, "an open valve shown closed", func(p *tape) {
			p.open("r-1", 60*time.Second, 1)
			p.c.View(p.now(), shown(zones.ValveClosed))
		}},
		{28, "a valve that may be open shown closed", func(p *tape) {
			p.open("r-1", 60*time.Second, 1)
			p.to(45)
			p.step(&zones.Tick{}, p.shut(valveA, "r-1"))
			p.c.Physical(p.now(), valveA, false)
			p.c.View(p.now(), shown(zones.ValveClosed))
		}},
		{28, "a state that is none", func(p *tape) { p.c.View(p.now(), shown("ajar")) }},
		{28, "a moisture of stale probes", func(p *tape) {
			p.to(300)
			m := 28.0
			p.c.View(p.now(), zones.View{Zones: []zones.ZoneView{{ID: "a", Moisture: &m}}})
		}},
		{29, "a run closed twice", func(p *tape) {
			p.open("r-1", 25*time.Second, 1)
			p.to(65)
			p.close("r-1", 25*time.Second)
			p.step(&zones.Tick{}, p.closed("r-1"))
		}},
		{29, "a run never closed", func(p *tape) {
			p.open("r-1", 25*time.Second, 1)
			p.to(65)
			p.c.Physical(p.now(), valveA, false)
			p.c.End()
		}},
		{29, "a run whose length the journal gets wrong", func(p *tape) {
			p.open("r-1", 110*time.Second, 1)
			p.to(50)
			p.step(&zones.Tick{}, p.shut(valveA, "r-1"), p.closed("r-1"), &zones.Entry{Kind: "run-closed", Run: "r-1", Seconds: 100})
		}},
		{29, "an intent twice", func(p *tape) {
			p.open("r-1", 25*time.Second, 1)
			p.step(&zones.Tick{}, p.intent("a", "r-1", 25*time.Second, zones.BelowThreshold, 1))
		}},
	}
}
