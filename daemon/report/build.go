package report

import (
	"slices"
	"time"

	"rillgate/zones"
)

// Build reckons the days between edges, which are midnights of the room's time zone.
func Build(in *Input, edges []time.Time) *Report {
	p := in.Plan
	r := &Report{Room: p.Room, Name: p.Name, Plan: p.Hash, US: p.US, Made: in.Now, TimeZone: p.Calendar.Location.String()}
	runs := pairRuns(in.Lines)
	alarms := standing(in.Lines)
	for i := 0; i+1 < len(edges); i++ {
		d := Day{Date: edges[i].Format(time.DateOnly), From: edges[i], To: edges[i+1], SoFar: in.Now.Before(edges[i+1])}
		for k := range p.Zones {
			z := &p.Zones[k]
			if in.Zone == "" || in.Zone == z.ID {
				b := bed{in: in, zone: z, day: &d, runs: runs[z.ID]}
				d.Zones = append(d.Zones, b.reckon(alarms[z.ID]))
			}
		}
		d.Alarms = within(alarms[""], &d)
		r.Days = append(r.Days, d)
	}
	return r
}

// bed is one zone on one day, while it is reckoned.
type bed struct {
	in   *Input
	zone *zones.Zone
	day  *Day
	runs []Run // of the zone, in order of their opening
}

func (b *bed) reckon(alarms []Alarm) ZoneDay {
	z := ZoneDay{Zone: b.zone.ID, Name: b.zone.Name, Plants: b.zone.Plants, Alarms: within(alarms, b.day)}
	b.water(&z)
	b.moisture(&z)
	b.uptake(&z)
	b.told(&z)
	b.papers(&z)
	return z
}

// holds reports whether an instant is of the day.
func (d *Day) holds(t time.Time) bool { return !t.Before(d.From) && t.Before(d.To) }

// end is the day's end, or now on a day that is not over.
func (b *bed) end() time.Time {
	if b.day.SoFar {
		return b.in.Now
	}
	return b.day.To
}

// between gives the samples of [from, to).
func between(s []Sample, from, to time.Time) []Sample {
	at := func(t time.Time) int {
		i, _ := slices.BinarySearchFunc(s, t, func(x Sample, t time.Time) int { return x.At.Compare(t) })
		return i
	}
	lo, hi := at(from), at(to)
	if lo >= hi {
		return nil
	}
	return s[lo:hi]
}

func ptr[T any](v T) *T { return &v }
