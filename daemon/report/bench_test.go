package report

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"rillgate/zones"
)

// A week of twelve zones, ten shots a day each.
func BenchmarkWeek(b *testing.B) {
	k := newBook(&testing.T{}, "Europe/Berlin", "2027-03-08 00:00")
	base := k.in.Plan.Zones[0]
	k.in.Plan.Zones = nil
	for z := range 12 {
		one := base
		one.ID = fmt.Sprintf("zone-%d", z)
		k.in.Plan.Zones = append(k.in.Plan.Zones, one)
		for at := k.at("2027-02-27 12:00"); at.Before(k.in.Now); at = at.Add(time.Minute) {
			k.in.Moisture[one.ID] = append(k.in.Moisture[one.ID], Sample{at, 50})
		}
	}
	for d := range 7 {
		for s := range 10 {
			for z := range 12 {
				at := k.at("2027-03-01 07:00").Add(time.Duration(d*24+s)*time.Hour + time.Duration(z)*time.Minute)
				id, zone := fmt.Sprintf("r-%d-%d-%d", d, s, z), fmt.Sprintf("zone-%d", z)
				k.in.Lines = append(k.in.Lines, Line{at, zones.Entry{Kind: "run-opened", Zone: zone, Run: id, Window: "daytime"}},
					Line{at.Add(time.Minute), zones.Entry{Kind: "run-closed", Zone: zone, Run: id, Reason: zones.ShotDone, Seconds: 60, Litres: 1}})
			}
		}
	}
	edges, err := Ask{Day: "2027-03-01", Days: 7}.Edges(k.in.Now, k.in.Plan.Calendar.Location)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		var out bytes.Buffer
		if err := Build(k.in, edges).HTML(&out); err != nil {
			b.Fatal(err)
		}
	}
}
