package register

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

func TestDifferences(t *testing.T) {
	age := 3
	file := func(change func(p *zones.Probe)) []zones.Probe {
		p := zones.Probe{ID: "a1", Place: place("0"), Zone: "east"}
		if change != nil {
			change(&p)
		}
		return []zones.Probe{p}
	}
	room := func(change func(p *zones.ProbeView)) []zones.ProbeView {
		p := zones.ProbeView{ID: "a1", Place: place("0"), Zone: "east", InFiles: true, Kept: &zones.KeptProbe{}}
		change(&p)
		return []zones.ProbeView{p}
	}
	for name, c := range map[string]struct {
		files []zones.Probe
		room  []zones.ProbeView
		says  string // "" = they agree
	}{
		"agree": {file(nil), room(func(p *zones.ProbeView) { p.Kept.Zone = "east" }), ""},
		"moved": {file(nil), room(func(p *zones.ProbeView) { p.Place, p.Kept.Instead, p.Label = place("7"), "north/1/0", "front" }),
			`room.yaml names a1 at north/1/0; since it was exchanged it is at north/1/7: in its line ` + "`address: \"0\"` becomes `address: \"7\"`"},
		"moved, and the files on disk have it": {file(func(p *zones.Probe) { p.Place = place("7") }), room(func(p *zones.ProbeView) { p.Place, p.Kept.Instead = place("7"), "north/1/0" }), ""},
		"files of another place, not in force": {file(func(p *zones.Probe) { p.Place = place("8") }), room(func(p *zones.ProbeView) { p.Kept.Label = "front" }), ""},
		"offset of the one before": {file(func(p *zones.Probe) { p.Offset = -1500 }), room(func(p *zones.ProbeView) { p.Kept.Void = -1500 }),
			"the offset of -1.5 points that room.yaml gives a1 went with the probe before"},
		"offset taken out": {file(nil), room(func(p *zones.ProbeView) { p.Kept.Void = -1500 }), ""},
		"label":            {file(nil), room(func(p *zones.ProbeView) { p.Kept.Label = "front" }), "put `label: \"front\"` into its line"},
		"two labels": {file(func(p *zones.Probe) { p.Label = "back" }), room(func(p *zones.ProbeView) { p.Kept.Label = "front" }),
			`room.yaml labels a1 "back", and it leads; the register has "front": ` + "`rillgate label a1 \"back\"`"},
		"two zones":         {file(nil), room(func(p *zones.ProbeView) { p.Kept.Zone = "west" }), "an order gave it to west: `rillgate assign a1 east` makes them agree"},
		"zone by order":     {file(func(p *zones.Probe) { p.Zone = "" }), room(func(p *zones.ProbeView) { p.Kept.Zone = "west" }), "to no zone, and it leads; an order gave it to west: put `zone`"},
		"assigned":          {nil, room(func(p *zones.ProbeView) { p.InFiles = false }), `a1 is given to east by an order, and room.yaml does not name it: under terminal 1 of north goes - {id: a1, address: "0", zone: east}`},
		"unasked":           {nil, room(func(p *zones.ProbeView) { p.InFiles, p.Zone, p.AgeSeconds = false, "", &age }), "`rillgate assign a1 ZONE`"},
		"known, and silent": {nil, room(func(p *zones.ProbeView) { p.InFiles, p.Zone = false, "" }), ""},
		"leaving the files": {nil, room(func(*zones.ProbeView) {}), ""},
		"coming into them":  {file(func(p *zones.Probe) { p.ID = "e9" }), room(func(p *zones.ProbeView) { p.InFiles = false }), ""},
	} {
		t.Run(name, func(t *testing.T) {
			got := Differences(c.files, c.room)
			if c.says == "" {
				require.Empty(t, got)
				return
			}
			require.Len(t, got, 1)
			require.Equal(t, "a1", got[0].Probe)
			require.Contains(t, got[0].Because, c.says)
		})
	}
}
