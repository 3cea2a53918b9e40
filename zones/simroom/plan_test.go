package simroom

import (
	"strconv"
	"testing"
	"time"

	"rillgate/schedule"
	"rillgate/zones"

	"github.com/stretchr/testify/require"
)

// testPlan has n zones of 48 plants in 6.5 L of coir with two emitters of 2 L/h, each
// with `probes` probes on a terminal of its own and one valve; one controller; one
// supply with a master on output 8; inputs of every kind.
func testPlan(n, probes int) *zones.Plan {
	p := &zones.Plan{
		Room: "bay", Lease: 30 * time.Second,
		Calendar: schedule.Calendar{
			Location: time.UTC,
			Days:     []schedule.Day{{On: 6 * time.Hour, Off: 18 * time.Hour}},
		},
		Controllers: []zones.Controller{{ID: "north", Inputs: []zones.Input{
			{ID: "tank-low", Means: zones.SupplyLow}, {ID: "floor", Means: zones.Leak}, {ID: "lamps", Means: zones.Lights},
		}}},
		Supplies: []zones.Supply{{ID: "feed", MaxOpen: 1, Low: "tank-low"}},
	}
	for i := 1; i <= n; i++ {
		id := "z" + strconv.Itoa(i)
		p.Valves = append(p.Valves, zones.Valve{ID: id, Output: zones.Output{Controller: "north", Number: i}, Supply: "feed"})
		p.Zones = append(p.Zones, zones.Zone{
			ID: id, Valves: []string{id}, Plants: 48, VolumeML: 6500, EmittersEach: 2, EmitterLPH: 2, Substrate: "coir",
		})
		for k := 0; k < probes; k++ {
			p.Probes = append(p.Probes, zones.Probe{
				ID: id + "-" + strconv.Itoa(k), Zone: id,
				Place: zones.Place{Controller: "north", Terminal: i, Address: strconv.Itoa(k)},
			})
		}
	}
	return p
}

// still takes chance out: what is left is arithmetic.
func still() Options {
	return Options{
		Start: at("00:00"), EmitterCV: -1, ProbeSpread: -1, ProbeNoise: -1, ProbeLag: -1, Jitter: -1, CrystalPPM: -1,
	}
}

func at(clock string) time.Time {
	t, err := time.Parse(time.RFC3339, "2027-03-01T"+clock+":00Z")
	if err != nil {
		panic(err)
	}
	return t
}

func newRoom(t testing.TB, p *zones.Plan, o Options) *Room {
	t.Helper()
	r, err := New(p, o)
	require.NoError(t, err)
	return r
}

// hand speaks to a room as a gateway would.
type hand struct {
	t    testing.TB
	r    *Room
	seq  uint32
	last *zones.Report
	in   map[string]bool
	got  []Out
}

func newHand(t testing.TB, r *Room) *hand {
	h := &hand{t: t, r: r, in: map[string]bool{}}
	h.to(0)
	return h
}

// to lets time pass up to an instant and takes what was sent.
func (h *hand) to(at time.Duration) []Out {
	h.got = append(h.got[:0], h.r.Advance(at)...)
	for _, o := range h.got {
		switch m := o.Event.(type) {
		case *zones.Report:
			h.last = m
		case *zones.InputState:
			h.in[m.ID] = m.Active
		}
	}
	return h.got
}

func (h *hand) pass(d time.Duration) []Out { return h.to(h.r.Now() + d) }

// open gives a grant of a length from now on, for the boot and uptime last reported.
func (h *hand) open(output int, run string, long time.Duration) Verdict {
	h.seq++
	return h.r.Command(&zones.Command{
		Output: zones.Output{Controller: "north", Number: output}, Epoch: 1, Seq: h.seq, Run: run, Open: true,
		Boot: h.last.Boot, UntilMS: h.r.controllers[0].uptime(h.r.Now()) + long.Milliseconds(),
	})
}

func (h *hand) close(output int, run string) Verdict {
	h.seq++
	return h.r.Command(&zones.Command{
		Output: zones.Output{Controller: "north", Number: output}, Epoch: 1, Seq: h.seq, Run: run,
	})
}

// shot waters a zone's output for a length and stops at its end.
func (h *hand) shot(output int, run string, long time.Duration) {
	h.t.Helper()
	h.pass(0)
	require.Equal(h.t, Acted, h.open(output, run, long))
	h.pass(long)
	require.Equal(h.t, Acted, h.close(output, run))
}

func (h *hand) truth(zone string) Truth {
	h.t.Helper()
	x, ok := h.r.Truth(zone)
	require.True(h.t, ok)
	return x
}

func reports(outs []Out) (n int, last *zones.Report) {
	for _, o := range outs {
		if m, ok := o.Event.(*zones.Report); ok {
			n, last = n+1, m
		}
	}
	return n, last
}

func readings(outs []Out, address string) (all []*zones.Reading) {
	for _, o := range outs {
		if m, ok := o.Event.(*zones.Reading); ok && m.Place.Address == address {
			all = append(all, m)
		}
	}
	return all
}

var out1 = zones.Output{Controller: "north", Number: 1}
