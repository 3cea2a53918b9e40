package dip_test

import (
	"flag"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
	"rillgate/zones"
	"rillgate/zones/dip"
	"rillgate/zones/simroom"
)

// rooms is how many simulated rooms TestInSimulatedRooms dips a probe in.
var rooms = flag.Int("dip.rooms", 16, "simulated rooms in which a probe is dipped")

var start = time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)

// bench is a room of equal probes at 45 %, each heard every minute.
type bench struct {
	f    dip.Finder
	now  time.Time
	v    zones.View
	said []dip.Word
}

func newBench(n int) *bench {
	b := &bench{now: start}
	b.v.Zones = []zones.ZoneView{{ID: "east"}, {ID: "west"}}
	for i := range n {
		zone := []string{"east", "west"}[i%2]
		b.v.Probes = append(b.v.Probes, zones.ProbeView{ID: fmt.Sprint("p", i), Zone: zone, Place: zones.Place{Controller: "north", Terminal: 1, Address: string(rune('A' + i))}})
		b.read(i, 45)
	}
	return b
}

func (b *bench) read(i int, x float64) {
	age := 0
	b.v.Probes[i].Moisture, b.v.Probes[i].AgeSeconds = &x, &age
}

// minute lets every probe be heard, with some other numbers, and time pass.
func (b *bench) minute(other map[int]float64) {
	for i := range b.v.Probes {
		x := *b.v.Probes[i].Moisture
		if y, ok := other[i]; ok {
			x = y
		}
		b.read(i, x)
	}
	for range 60 {
		b.v.Wall = b.now
		b.said = append(b.said, b.f.Look(&b.v)...)
		b.now = b.now.Add(time.Second)
		for i := range b.v.Probes {
			age := *b.v.Probes[i].AgeSeconds + 1
			b.v.Probes[i].AgeSeconds = &age
		}
	}
}

// kinds gives what was said, and forgets it.
func (b *bench) kinds() (out []string) {
	for _, w := range b.said {
		out = append(out, string(w.Kind)+" "+w.Probe)
	}
	b.said = nil
	return out
}

func (b *bench) ready() *bench {
	b.minute(nil)
	b.minute(nil)
	b.minute(nil)
	b.kinds()
	return b
}

func TestOneOfForty(t *testing.T) {
	b := newBench(40)
	b.minute(nil)
	require.Empty(t, b.kinds())
	b.minute(nil)
	require.Equal(t, []string{"ready "}, b.kinds())
	b.v.Probes[7].Label, b.v.Probes[7].Serial = "back", "SN-7"
	b.minute(nil)
	b.minute(map[int]float64{7: 88})
	require.Contains(t, b.said[0].Text, "p7 (north/1/H, back, SN-7, zone west) rose from 45 to 88: take it out")
	require.Equal(t, []string{"maybe p7"}, b.kinds())
	b.minute(nil)
	b.minute(map[int]float64{7: 3})
	require.Equal(t, []string{"sure p7"}, b.kinds())
	b.minute(map[int]float64{7: 90})
	b.minute(map[int]float64{7: 3})
	require.Equal(t, []string{"maybe p7", "sure p7"}, b.kinds(), "once more, from the air")
	b.minute(map[int]float64{8: 90, 7: 3})
	b.minute(map[int]float64{8: 4})
	require.Equal(t, []string{"maybe p8", "sure p8"}, b.kinds(), "and the next")
}

// What is no cup, or might be something else, is never said to be sure.
func TestNotSure(t *testing.T) {
	for name, c := range map[string]struct {
		rows []map[int]float64 // minute by minute
		want []string
	}{
		"two at a time":         {[]map[int]float64{{1: 88, 3: 86}, {1: 4}, {3: 4}}, []string{"maybe p1", "maybe p3", "several ", "unsure p1", "unsure p3"}},
		"the second comes late": {[]map[int]float64{{1: 88}, {3: 86}, {3: 4}, {1: 4}}, []string{"maybe p1", "maybe p3", "several ", "unsure p3", "unsure p1"}},
		"poured over, drains":   {[]map[int]float64{{1: 75}, {1: 70}, {1: 64}, {1: 58}, {1: 54}}, []string{"maybe p1", "unsure p1"}},
		"out and in again":      {[]map[int]float64{{1: 2}, {}, {}, {}, {}, {}, {1: 44}, {1: 2}}, []string{"maybe p1", "unsure p1"}},
		"a shot":                {[]map[int]float64{{1: 49, 3: 50}, {1: 53, 3: 55}, {1: 56, 3: 59}, {1: 55, 3: 58}}, nil},
		"a shot and a puddle":   {[]map[int]float64{{3: 49, 5: 50}, {1: 68}, {1: 46}}, []string{"maybe p1", "unsure p1"}},
		"left in the cup":       {[]map[int]float64{{1: 88}, {}, {}}, []string{"maybe p1"}},
		"put up to its neck":    {[]map[int]float64{{1: 61}, {1: 44}}, []string{"maybe p1", "sure p1"}},
		"not up to its neck":    {[]map[int]float64{{1: 59}, {1: 44}, {1: 58}, {1: 44}}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(6).ready()
			for _, row := range c.rows {
				b.minute(row)
			}
			require.Equal(t, c.want, b.kinds())
		})
	}
}

func TestWhatTheRoomSaysOfWater(t *testing.T) {
	b := newBench(4).ready()
	b.v.Zones[1].State = zones.Watering
	b.minute(nil)
	b.v.Zones[1].State = zones.Idle
	b.minute(map[int]float64{1: 66})
	b.minute(map[int]float64{1: 44})
	require.Equal(t, []string{"maybe p1", "unsure p1"}, b.kinds(), "its zone was watered")
	b.minute(map[int]float64{1: 92})
	b.minute(map[int]float64{1: 3})
	require.Equal(t, []string{"maybe p1", "sure p1"}, b.kinds(), "no shot does that")
	b.v.Alarms = []zones.AlarmView{{Code: zones.FindingAddressTwice, Subject: "p0"}}
	b.minute(map[int]float64{0: 92})
	b.minute(map[int]float64{0: 3})
	require.Equal(t, []string{"maybe p0", "unsure p0"}, b.kinds(), "it does that by itself")
}

// A stranger that sends a permittivity alone is found by it; a silent one holds nothing up.
func TestStrangersAndSilentOnes(t *testing.T) {
	b := newBench(3)
	at := func(x float64) {
		age := 0
		b.v.Probes[2].Moisture, b.v.Probes[2].Permittivity, b.v.Probes[2].Zone, b.v.Probes[2].AgeSeconds = nil, &x, "", &age
	}
	b.v.Probes[1].Moisture, b.v.Probes[1].AgeSeconds = nil, nil
	step := func(x float64) {
		at(x)
		b.read(0, 45)
		for range 60 {
			b.v.Wall = b.now
			b.said = append(b.said, b.f.Look(&b.v)...)
			b.now = b.now.Add(time.Second)
			for _, i := range []int{0, 2} {
				age := *b.v.Probes[i].AgeSeconds + 1
				b.v.Probes[i].AgeSeconds = &age
			}
		}
	}
	for _, x := range []float64{1.1, 1.2, 1.1, 79.5, 1.3} {
		step(x)
	}
	require.Contains(t, b.said[len(b.said)-1].Text, "in no zone")
	require.Equal(t, []string{"ready ", "maybe p2", "sure p2"}, b.kinds())
}

// dice is a SplitMix64 generator (Steele, Lea and Flood 2014; constants from memory).
type dice uint64

func (d *dice) unit() float64 {
	*d += 0x9e3779b97f4a7c15
	z := uint64(*d)
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return float64((z^z>>31)>>11) / (1 << 53)
}

func (d *dice) below(n int) int { return int(d.unit() * float64(n)) }

func (d *dice) between(from, to time.Duration) time.Duration {
	return from + time.Duration(d.unit()*float64(to-from))
}

// forty is four zones of ten probes.
func forty() *zones.Plan {
	p := &zones.Plan{Room: "bay", Lease: 30 * time.Second,
		Calendar:    schedule.Calendar{Location: time.UTC, Days: []schedule.Day{{On: 6 * time.Hour, Off: 18 * time.Hour}}},
		Controllers: []zones.Controller{{ID: "north"}}, Supplies: []zones.Supply{{ID: "feed", MaxOpen: 4}}}
	for i := range 4 {
		id := fmt.Sprint("z", i)
		p.Valves = append(p.Valves, zones.Valve{ID: id, Output: zones.Output{Controller: "north", Number: i + 1}, Supply: "feed"})
		p.Zones = append(p.Zones, zones.Zone{ID: id, Valves: []string{id}, Plants: 48, VolumeML: 6500, EmittersEach: 2, EmitterLPH: 2, Substrate: []string{"coir", "stone wool"}[i%2]})
		for k := range 10 {
			p.Probes = append(p.Probes, zones.Probe{ID: fmt.Sprint(id, "-", k), Zone: id, Place: zones.Place{Controller: "north", Terminal: i + 1, Address: string(rune('0' + k))}})
		}
	}
	return p
}

// TestInSimulatedRooms dips a probe of forty while zones are watered (unknown to the
// finder), probes are pulled out and pushed back, lost, or dipped by somebody else at the
// same time. No answer may be wrong; a dip that nobody else handles probes beside is found.
func TestInSimulatedRooms(t *testing.T) {
	found, due, unsure := 0, 0, 0
	for seed := 1; seed <= *rooms; seed++ {
		d := dice(seed)
		d.unit()
		plan := forty()
		hand, t0 := d.below(40), d.between(4*time.Minute, 7*time.Minute)
		cup := d.between(125*time.Second, 5*time.Minute)
		dipped := map[string]bool{plan.Probes[hand].ID: true}
		faults := []simroom.Fault{{Kind: simroom.ProbeInAir, Subject: plan.Probes[hand].ID, At: t0, For: cup, Value: 78 + 20*d.unit()}}
		alone := true
		for z := range 4 {
			if d.unit() < 0.5 {
				faults = append(faults, simroom.Fault{Kind: simroom.ValveStuckOpen, Subject: fmt.Sprint("z", z), At: d.between(0, 10*time.Minute), For: d.between(time.Minute, 6*time.Minute)})
			}
		}
		for range d.below(4) {
			k := d.below(40)
			if k == hand {
				continue
			}
			f := simroom.Fault{Kind: simroom.ProbeInAir, Subject: plan.Probes[k].ID, At: d.between(0, 12*time.Minute), For: d.between(time.Minute, 8*time.Minute), Value: 4 * d.unit()}
			switch d.below(4) {
			case 0:
				f.Kind = simroom.ProbeLost
			case 1:
				f.Value, dipped[f.Subject], alone = 80, true, false
			default:
				alone = false // pushed back it rises too
			}
			faults = append(faults, f)
		}
		sim, err := simroom.New(plan, simroom.Options{Seed: uint64(seed), Start: start, ProbeNoise: 0.05 + 0.4*d.unit(), ReadingPeriod: time.Minute,
			Zones: map[string]simroom.ZoneOptions{"z0": {StartPercent: 35}, "z1": {StartPercent: 60}, "z2": {StartPercent: 50}, "z3": {StartPercent: 68}}, Faults: faults})
		require.NoError(t, err)
		sure := false
		for _, w := range watch(sim, plan, 16*time.Minute) {
			switch w.Kind {
			case dip.Sure:
				require.True(t, dipped[w.Probe], "room %d: %s; in hand was %s", seed, w.Text, plan.Probes[hand].ID)
				sure = sure || w.Probe == plan.Probes[hand].ID
			case dip.Unsure:
				unsure++
			}
		}
		if alone {
			due++
			if sure {
				found++
			}
		}
	}
	t.Logf("%d rooms: %d of %d undisturbed dips found, none wrong, %d times not sure", *rooms, found, due, unsure)
	require.GreaterOrEqual(t, float64(found), 0.85*float64(due), "the rest is not sure: beds almost as wet as a cup")
}

// watch looks at a simulated room once a second, and knows nothing of its valves.
func watch(sim *simroom.Room, plan *zones.Plan, long time.Duration) (said []dip.Word) {
	var f dip.Finder
	type reading struct {
		at time.Duration
		x  float64
	}
	heard := map[zones.Place]reading{}
	for t := time.Second; t <= long; t += time.Second {
		for _, o := range sim.Advance(t) {
			if rd, ok := o.Event.(*zones.Reading); ok {
				heard[rd.Place] = reading{o.At, rd.Moisture.Float()}
			}
		}
		v := zones.View{Wall: start.Add(t)}
		for i := range plan.Probes {
			p := zones.ProbeView{ID: plan.Probes[i].ID, Place: plan.Probes[i].Place, Zone: plan.Probes[i].Zone}
			if r, ok := heard[p.Place]; ok {
				age, x := int((t-r.at)/time.Second), r.x
				p.AgeSeconds = &age
				if age <= 180 && !math.IsNaN(x) {
					p.Moisture = &x
				}
			}
			v.Probes = append(v.Probes, p)
		}
		said = append(said, f.Look(&v)...)
	}
	return said
}

// Names stand as in a sentence, however many.
func TestSeveralAreNamed(t *testing.T) {
	b := newBench(6).ready()
	b.minute(map[int]float64{1: 88, 3: 86})
	require.Equal(t, "2 rose at once, p1 and p3: one probe at a time", b.said[2].Text)
	b.minute(map[int]float64{5: 86})
	require.Equal(t, "3 rose at once, p1, p3 and p5: one probe at a time", b.said[len(b.said)-1].Text)
}

// Who looks for the probes of one zone is told when those speak, and of another zone's
// that it is none of them.
func TestOneZone(t *testing.T) {
	b := newBench(3)
	b.f.Zone = "west"
	b.v.Probes[0].Moisture, b.v.Probes[2].AgeSeconds = nil, nil
	look := func(one, two float64) {
		b.read(1, one)
		b.read(2, two)
		b.v.Wall, b.now = b.now, b.now.Add(time.Minute)
		b.said = append(b.said, b.f.Look(&b.v)...)
	}
	look(45, 45)
	look(45, 45)
	require.Equal(t, "1 probe of zone west speaks: put one into the cup", b.said[0].Text)
	look(88, 45)
	look(3, 45)
	look(3, 88)
	look(3, 3)
	require.Len(t, b.said, 5)
	require.NotContains(t, b.said[2].Text, "not one of")
	require.Contains(t, b.said[4].Text, "this is the one in your hand; it is not one of zone west")
}
