package daemon

import (
	"time"

	"rillgate/store"
	"rillgate/zones"
)

// register is what the store knows of probes: who was heard where, first and last.
type register struct {
	known map[zones.Place]store.Probe
}

// load takes what an earlier process saved; what cannot be read is met anew.
func (g *register) load(s *store.Store) {
	probes, _ := s.Probes()
	g.known = make(map[zones.Place]store.Probe, len(probes))
	for i := range probes {
		g.known[probes[i].Place] = probes[i]
	}
}

// changed gives the probes whose name, zone, label or serial is another than saved.
func (g *register) changed(v *zones.View) []store.Probe {
	return g.see(v, func(was, is *store.Probe) bool {
		return was.ID != is.ID || was.Zone != is.Zone || was.Label != is.Label || was.Serial != is.Serial
	})
}

// all gives every probe that was ever heard, with the time of its last reading.
func (g *register) all(v *zones.View) []store.Probe {
	return g.see(v, func(_, _ *store.Probe) bool { return true })
}

func (g *register) see(v *zones.View, worth func(was, is *store.Probe) bool) (out []store.Probe) {
	if g.known == nil {
		g.known = map[zones.Place]store.Probe{}
	}
	for i := range v.Probes {
		p := &v.Probes[i]
		if p.AgeSeconds == nil {
			continue // not heard by this process
		}
		was, met := g.known[p.Place]
		is := store.Probe{Place: p.Place, ID: p.ID, Serial: p.Serial, Zone: p.Zone, Label: p.Label,
			FirstSeen: was.FirstSeen, LastSeen: v.Wall.Add(-time.Duration(*p.AgeSeconds) * time.Second)}
		if !met {
			is.FirstSeen = is.LastSeen
		}
		if !met || worth(&was, &is) {
			g.known[p.Place] = is
			out = append(out, is)
		}
	}
	return out
}
