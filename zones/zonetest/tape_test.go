package zonetest

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
	"rillgate/zones"
)

// tape is a hand-made stream of steps: nothing in it comes from the core. Times are
// seconds since its start.
type tape struct {
	c     *Checker
	at    time.Duration
	epoch uint32
	seq   uint32
	rec   uint64
	boot  string
	off   bool // the clock is not trusted
}

var (
	valveA = zones.Output{Controller: "north", Number: 1}
	valveB = zones.Output{Controller: "north", Number: 2}
)

// tapePlan is two zones on one supply for one valve; quorum 2, stale after 3 min,
// max_run 2 min, rest 5 min, 10 min a day.
func tapePlan() *zones.Plan {
	p := &zones.Plan{
		Room: "bay", Lease: 30 * time.Second, Calendar: schedule.Calendar{Location: time.UTC},
		Controllers: []zones.Controller{{ID: "north", Inputs: []zones.Input{{ID: "button", Means: zones.StopInput}}}},
		Supplies:    []zones.Supply{{ID: "feed", MaxOpen: 1}},
	}
	for i, id := range []string{"a", "b"} {
		p.Valves = append(p.Valves, zones.Valve{ID: id, Output: zones.Output{Controller: "north", Number: i + 1}, Supply: "feed"})
		for n := range 2 {
			p.Probes = append(p.Probes, zones.Probe{ID: id + itoa(n), Zone: id, Place: zones.Place{Controller: "north", Terminal: i + 1, Address: itoa(n)}})
		}
		p.Zones = append(p.Zones, zones.Zone{
			ID: id, Valves: []string{id},
			Moisture: zones.Moisture{Quorum: 2, StaleAfter: 3 * time.Minute, PlausibleLo: 2000, PlausibleHi: 95000},
			Limits:   zones.Limits{MaxRun: 2 * time.Minute, MinRest: 5 * time.Minute, MaxPerDay: 10 * time.Minute, MaxMoisture: 70000},
			Schedule: schedule.Zone{Named: true, Windows: []schedule.Window{{Name: "day", Below: 30000, Shot: schedule.Shot{Value: 60}, MaxShots: 2}}},
		})
	}
	return p
}

func newTape() *tape { return &tape{c: NewChecker(tapePlan()), boot: "b1"} }

func (p *tape) now() zones.Instant {
	return zones.Instant{Wall: time.Date(2027, 3, 1, 6, 0, 0, 0, time.UTC).Add(p.at), Mono: 500*time.Hour + p.at, Trusted: !p.off}
}

// to moves on to a second of the tape.
func (p *tape) to(seconds float64) { p.at = time.Duration(seconds * float64(time.Second)) }

func (p *tape) step(ev zones.Event, effects ...zones.Effect) { p.c.Observe(p.now(), ev, effects) }

// start is a new process with its first closes, confirmed.
func (p *tape) start() {
	p.epoch, p.seq = p.epoch+1, 0
	p.step(nil, p.record(&zones.Record{Kind: zones.RecStart, Epoch: p.epoch, Lease: 30 * time.Second}))
	p.step(&zones.BrokerLink{Up: true})
	p.durable()
	p.step(&zones.Tick{}, p.shut(valveA, ""), p.shut(valveB, ""))
	p.report()
	p.report()
}

func (p *tape) record(r *zones.Record) *zones.Record {
	p.rec++
	r.Seq, r.Age = p.rec, p.at
	return r
}

func (p *tape) durable() { p.step(&zones.Recorded{Seq: p.rec}) }

func (p *tape) uptime() time.Duration { return p.at + time.Minute }

// report says what is open, with the last command acted on.
func (p *tape) report(open ...zones.Output) {
	r := &zones.Report{Controller: "north", Boot: p.boot, Uptime: p.uptime(), Epoch: p.epoch, Seq: p.seq}
	for _, at := range []zones.Output{valveA, valveB} {
		o := zones.OutputReport{Number: at.Number, FlowLPM: -1}
		for _, x := range open {
			o.Open = o.Open || x == at
		}
		r.Outputs = append(r.Outputs, o)
	}
	p.step(r)
}

func (p *tape) shut(at zones.Output, run string) *zones.Command {
	p.seq++
	return &zones.Command{Output: at, Run: run, Epoch: p.epoch, Seq: p.seq, Reason: zones.ShotDone}
}

// grant opens or renews for a time from now.
func (p *tape) grant(at zones.Output, run string, ahead time.Duration) *zones.Command {
	p.seq++
	return &zones.Command{
		Output: at, Run: run, Epoch: p.epoch, Seq: p.seq, Open: true, Boot: p.boot,
		UntilMS: (p.uptime() + ahead).Milliseconds(), Reason: zones.BelowThreshold,
	}
}

// feed sends n readings of each probe of a zone's terminal, within the instant.
func (p *tape) feed(terminal, n int, moisture zones.Level) {
	for range n {
		for a := range 2 {
			p.step(&zones.Reading{
				Place: zones.Place{Controller: "north", Terminal: terminal, Address: itoa(a)}, Moisture: moisture, HasMoisture: true,
				EC: math.NaN(), Temperature: math.NaN(), Permittivity: math.NaN(),
			})
		}
	}
}

func (p *tape) intent(zone, run string, length time.Duration, why zones.Reason, shot int) *zones.Record {
	at := valveA
	if zone == "b" {
		at = valveB
	}
	return p.record(&zones.Record{Kind: zones.RecIntent, Run: &zones.RunRecord{
		ID: run, Zone: zone, Outputs: []zones.Output{at}, Length: length, Reason: why,
		Progress: schedule.Progress{Instance: "2027-03-01/day", Shots: shot},
	}})
}

func (p *tape) closed(run string) *zones.Record {
	return p.record(&zones.Record{Kind: zones.RecClose, Run: &zones.RunRecord{ID: run, Reason: zones.ShotDone}})
}

func (p *tape) settled(run string, amount time.Duration) *zones.Record {
	return p.record(&zones.Record{Kind: zones.RecSettle, Run: &zones.RunRecord{ID: run, Amount: amount}})
}

// open begins a run of zone a as it should be begun.
func (p *tape) open(run string, length time.Duration, shot int) {
	p.step(&zones.Tick{}, p.intent("a", run, length, zones.BelowThreshold, shot))
	p.durable()
	p.step(&zones.Tick{}, p.grant(valveA, run, min(length, 30*time.Second)))
	p.c.Physical(p.now(), valveA, true)
	p.report(valveA)
}

// close ends a run of zone a as it should be ended.
func (p *tape) close(run string, amount time.Duration) {
	p.step(&zones.Tick{}, p.shut(valveA, run), p.closed(run))
	p.c.Physical(p.now(), valveA, false)
	p.report()
	p.step(&zones.Tick{}, p.settled(run, amount), &zones.Entry{Kind: "run-closed", Run: run, Seconds: amount.Seconds()})
}

// ready is a started room with fresh probes, past its boot hold.
func ready() *tape {
	p := newTape()
	p.start()
	p.to(40)
	p.feed(1, 2, 28000)
	p.feed(2, 2, 28000)
	p.report()
	return p
}

// caught asserts that the checker found this invariant broken.
func (p *tape) caught(t *testing.T, invariant int) {
	t.Helper()
	err := p.c.Err()
	require.Error(t, err, "INV-%d went unseen", invariant)
	require.Contains(t, err.Error(), "INV-"+itoa(invariant)+" ")
}

// TestGoodTape: a day's piece as it should be, with a second run after the rest, a
// crash and a run by hand, breaks nothing.
func TestGoodTape(t *testing.T) {
	p := ready()
	p.open("r-1", 25*time.Second, 1)
	p.to(65)
	p.close("r-1", 25*time.Second)
	p.to(400)
	p.feed(1, 2, 28000)
	p.open("r-2", 60*time.Second, 2)
	p.to(410)
	p.step(&zones.Tick{}, p.grant(valveA, "r-2", 30*time.Second))
	p.report(valveA)
	p.to(430)
	p.step(&zones.Tick{}, p.grant(valveA, "r-2", 30*time.Second))
	p.report(valveA)
	p.to(460)
	p.close("r-2", 60*time.Second)
	p.to(500)
	p.start()
	p.to(800)
	p.report()
	p.step(&zones.Order{ID: "o", Kind: zones.OrderShot, Zone: "a"}, &zones.Answer{Order: "o", Accepted: true},
		p.intent("a", "r-3", 20*time.Second, zones.ByHand, 0))
	p.durable()
	p.step(&zones.Tick{}, p.grant(valveA, "r-3", 20*time.Second))
	p.c.Physical(p.now(), valveA, true)
	p.to(820)
	p.close("r-3", 20*time.Second)
	p.c.View(p.now(), zones.View{Valves: []zones.ValveView{{ID: "a", Output: valveA, State: zones.ValveClosed}}})
	p.step(&zones.Shutdown{})
	p.c.End()
	require.NoError(t, p.c.Err())
}
