package response_test

import (
	"flag"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones/simroom"
)

// healthyWeeks is how many room-weeks TestHealthyRooms simulates; 100 for the figure in
// docs/response.md.
var healthyWeeks = flag.Int("response.weeks", 3, "healthy room-weeks that may hold no more than one false finding in a hundred")

var healthyFirst = flag.Uint64("response.first", 1, "seed of the first of them")

// dice is a SplitMix64 generator (Steele, Lea and Flood 2014; constants from memory).
type dice uint64

func (d *dice) unit() float64 {
	*d += 0x9e3779b97f4a7c15
	z := uint64(*d)
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return float64((z^z>>31)>>11) / (1 << 53)
}

func (d *dice) between(from, to float64) float64 { return from + d.unit()*(to-from) }

// healthyRoom draws a room in which nothing is wrong: two to four zones, three to six
// probes in each, habits of all kinds, some that water until it drains.
func healthyRoom(t testing.TB, seed uint64) (*rig, *dice) {
	d := dice(seed)
	d.unit()
	n := 2 + int(d.unit()*3)
	p := rigPlan(n, 3+int(d.unit()*4))
	o := simroom.Options{
		Seed: seed, EmitterCV: d.between(0.03, 0.09), ProbeNoise: d.between(0.05, 0.2), ProbeSpread: d.between(0.3, 1.5),
		ProbeLag: time.Duration(d.between(1, 5) * float64(time.Minute)), Zones: map[string]simroom.ZoneOptions{},
	}
	var habits []habit
	for i := range p.Zones {
		habits = append(habits, anyHabit(&d))
		o.Zones[p.Zones[i].ID] = simroom.ZoneOptions{
			UptakeDayLPH: 6.5 * d.between(0.006, 0.022), UptakeNightLPH: 6.5 * d.between(0.0008, 0.003),
			StartPercent: d.between(habits[i].Low-3, habits[i].Stop), DrainTime: time.Duration(d.between(5, 20) * float64(time.Minute)),
		}
	}
	return newRig(t, p, o, habits...), &d
}

func anyHabit(d *dice) habit {
	stop := d.between(45, 65)
	return habit{
		Stop: stop, Low: stop - d.between(2, 9), Shot: d.between(1.5, 5), Back: d.between(1.5, 5), Day: d.between(1, 4),
		From: time.Duration(d.between(6.3, 8) * float64(time.Hour)), Noon: time.Duration(d.between(9, 11) * float64(time.Hour)),
		Until: time.Duration(d.between(14, 17) * float64(time.Hour)), Rest: time.Duration(d.between(10, 30) * float64(time.Minute)),
	}
}

// healthyWeek lets a week pass with what people and networks do: a habit that changes,
// shots by hand, and probes that are silent for a while.
func healthyWeek(r *rig, d *dice) {
	for k := 0; k < 7; k++ {
		b := r.beds[r.plan.Zones[int(d.unit()*float64(len(r.plan.Zones)))].ID]
		r.to(time.Duration(k)*day + time.Duration(d.between(1, 20)*float64(time.Hour)))
		switch int(d.unit() * 5) {
		case 0:
			b.habit = anyHabit(d)
		case 1:
			r.shot(b, time.Duration(d.between(30, 400)*float64(time.Second)))
		case 2:
			id := b.probes[int(d.unit()*float64(len(b.probes)))]
			r.inject(simroom.Fault{Kind: simroom.ProbeLost, Subject: id, At: r.now(), For: time.Duration(d.between(0.1, 8) * float64(time.Hour))})
		case 3:
			r.again()
		}
		r.to(time.Duration(k+1) * day)
	}
}

func TestHealthyRooms(t *testing.T) {
	var told int
	for i := 0; i < *healthyWeeks; i++ {
		seed := *healthyFirst + uint64(i)
		r, d := healthyRoom(t, seed)
		healthyWeek(r, d)
		told += len(r.told)
		for _, f := range r.told {
			t.Logf("room %d: %s %s since %s: %s", seed, f.Code, f.Subject(), f.Found, f.Because)
		}
	}
	t.Logf("%d false findings in %d room-weeks", told, *healthyWeeks)
	require.LessOrEqual(t, told, int(math.Floor(float64(*healthyWeeks)/100)), "false findings")
}
