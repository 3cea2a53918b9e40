package handover

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"rillgate/daemon/report"
	"rillgate/schedule"
	"rillgate/zones"
)

// Card is how one zone is watered by hand.
type Card struct {
	Zone, Name string
	Valves     []string // each with its output
	Master     string   // what must be open too; "" = nothing
	Shots      []Shots
	Seconds    float64 // of water in a day, as the shots say
	Litres     float64 // of the whole zone in a day; 0 = not known
	MLPlant    float64 // 0 = not known
	Plants     int
	MaxRun     time.Duration // never longer
	MinRest    time.Duration // between two
	MaxPerDay  time.Duration
	Basis      string // where the numbers come from
	Lived      bool   // from a day that was
	Blind      string // what the room gives when its probes are lost; "" = nothing
}

// Shots are some of one length, in order of their times.
type Shots struct {
	Count  int
	Length time.Duration
	Times  []time.Time // empty = any time of From to Until
	From   time.Time
	Until  time.Time
	Apart  time.Duration // at least; 0 = as the times say
	AtMost bool          // the most that the schedule allows
	Asks   string        // what the window waits for; "" = nothing
	Litres float64       // of each; 0 = not known
}

// Deal makes a card for each zone: from the middle one of its last good days by litres,
// or, where there is none, from the schedule. A good day is whole, had shots that all ended
// as meant, and no alarm of the zone or of what it hangs on.
func Deal(p *zones.Plan, days *report.Report, now time.Time) (all []Card) {
	for i := range p.Zones {
		z := &p.Zones[i]
		c := newCard(p, z)
		switch day, n := goodDay(days, z.ID, now); {
		case !watered(p, z, now):
			c.Basis = "The schedule gives it no water in the next 7 days"
		case day != nil:
			c.live(day, n)
		default:
			c.plan(p, z, now)
		}
		all = append(all, c)
	}
	return all
}

func newCard(p *zones.Plan, z *zones.Zone) Card {
	c := Card{Zone: z.ID, Name: z.Name, Plants: z.Plants, MaxRun: min(z.Limits.MaxRun, zones.MaxRunCeiling),
		MinRest: max(z.Limits.MinRest, zones.MinRestFloor), MaxPerDay: min(z.Limits.MaxPerDay, zones.MaxPerDayCeiling), Blind: blind(z)}
	for i := range p.Valves {
		v := &p.Valves[i]
		if !slices.Contains(z.Valves, v.ID) {
			continue
		}
		c.Valves = append(c.Valves, fmt.Sprintf("%s (%s output %d)", v.ID, v.Output.Controller, v.Output.Number))
		for k := range p.Supplies {
			if s := &p.Supplies[k]; s.ID == v.Supply && s.Master != nil {
				c.Master = masterWords(s)
			}
		}
	}
	return c
}

// masterWords says what goes with a supply's valves, and in which order.
func masterWords(s *zones.Supply) string {
	where := fmt.Sprintf("of %s (%s output %d)", s.ID, s.Master.Output.Controller, s.Master.Output.Number)
	if s.Master.Kind == zones.MasterPump {
		return "then the pump " + where + ", which stops before the valve is shut"
	}
	return "and before it the master " + where
}

func watered(p *zones.Plan, z *zones.Zone, now time.Time) bool {
	return len(schedule.Upcoming(&p.Calendar, &z.Schedule, now, now.Add(7*24*time.Hour))) > 0
}

// dated is a zone's day.
type dated struct {
	report.ZoneDay
	date string
}

// goodDay gives the middle one of the good days by litres, the lower of two; n is how
// many there are.
func goodDay(days *report.Report, zone string, now time.Time) (best *dated, n int) {
	if days == nil {
		return nil, 0
	}
	var good []dated
	for i := range days.Days {
		d := &days.Days[i]
		if d.SoFar || d.To.After(now) || slices.ContainsFunc(d.Alarms, ofWater) {
			continue
		}
		for k := range d.Zones {
			if z := &d.Zones[k]; z.Zone == zone && isGood(z) {
				good = append(good, dated{*z, d.Date})
			}
		}
	}
	if len(good) == 0 {
		return nil, 0
	}
	slices.SortStableFunc(good, func(a, b dated) int { return cmp.Compare(a.Litres, b.Litres) })
	return &good[(len(good)-1)/2], len(good)
}

// ofWater leaves out what says nothing of how the room was watered.
func ofWater(a report.Alarm) bool {
	return a.Code != zones.AlarmPlanRejected && a.Code != zones.AlarmStoreDamaged
}

func isGood(z *report.ZoneDay) bool {
	endless := slices.ContainsFunc(z.Runs, func(r report.Run) bool { return r.Closed == nil })
	soaked := slices.ContainsFunc(z.Runs, func(r report.Run) bool { return r.Reason == zones.Soak })
	return z.Shots > 0 && z.Seconds > 0 && !endless && !soaked && len(z.Alarms) == 0 && len(z.CutShort) == 0
}

// live takes the shots of a day that was.
func (c *Card) live(d *dated, n int) {
	c.Lived = true
	c.Basis = fmt.Sprintf("As on %s, the middle one by litres of the %d good days among the last %d", d.date, n, GoodDays)
	if n == 1 {
		c.Basis = fmt.Sprintf("As on %s, the one good day among the last %d", d.date, GoodDays)
	}
	window := ""
	for i := range d.Runs {
		r := &d.Runs[i]
		if r.Seconds <= 0 {
			continue
		}
		length := min(stopwatch(r.Seconds), c.MaxRun)
		last := len(c.Shots) - 1
		if last < 0 || r.Window != window || c.Shots[last].Length != length {
			c.Shots = append(c.Shots, Shots{Length: length, From: r.Opened})
			last++
		}
		s := &c.Shots[last]
		s.Litres = (s.Litres*float64(s.Count) + r.Litres) / float64(s.Count+1)
		s.Count++
		s.Times, s.Until = append(s.Times, r.Opened), r.Opened
		window = r.Window
		c.Seconds += r.Seconds
	}
	c.total(d.Litres)
}

func (c *Card) total(litres float64) {
	c.Litres = litres
	if c.Plants > 0 {
		c.MLPlant = 1000 * litres / float64(c.Plants)
	}
}

// stopwatch rounds a length to what a hand can keep: 5 s from 30 s on, else 1 s.
func stopwatch(seconds float64) time.Duration {
	d := time.Duration(seconds * float64(time.Second))
	if d >= 30*time.Second {
		return d.Round(5 * time.Second)
	}
	return max(d.Round(time.Second), time.Second)
}
