package daemon

import (
	"encoding/json"
	"time"

	"rillgate/daemon/operator"
	"rillgate/store"
	"rillgate/zones"
	lives "rillgate/zones/register"
)

// register is what the store knows of probes: who was heard where, first and last, and
// their lives (package register). All of it is the loop's.
type register struct {
	known  map[zones.Place]store.Probe
	book   *lives.Register
	found  map[alarmName]string // what stands, and its words
	heard  bool                 // a reading came since it was judged
	lookAt time.Duration        // age at which it was judged
}

// load takes what an earlier process saved; what cannot be read is met anew.
func (g *register) load(s *store.Store) {
	probes, _ := s.Probes()
	g.known = make(map[zones.Place]store.Probe, len(probes))
	for i := range probes {
		g.known[probes[i].Place] = probes[i]
	}
	g.book, _ = RegisterIn(s)
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

// fitRegister writes into the lives what files and orders say now.
func (d *Daemon) fitRegister(by string) {
	v := d.room.View(d.now)
	d.register.book.Fit(v.Probes, d.now.Wall, by)
	d.keepLives()
}

// keepLives has the lives that changed written with the next commit.
func (d *Daemon) keepLives() {
	for _, l := range d.register.book.Changed() {
		if body, err := json.Marshal(l); err == nil {
			d.keepPaper(store.Paper{Kind: operator.PaperProbe, Key: l.Key, At: d.now.Wall, Body: body})
		}
	}
}

// hear takes every reading into the register; a probe that was met in this step first
// gets its life.
func (d *Daemon) hear(rd *zones.Reading, effects []zones.Effect) {
	if d.register.book == nil || rd.Retained {
		return
	}
	for _, e := range effects {
		if n, ok := e.(*zones.Entry); ok && n.Kind == "probe-new" {
			d.fitRegister("")
		}
	}
	d.register.book.Heard(rd, d.room.Age(d.now), d.now.Wall)
	d.register.heard = true
}

// lookAtRegister raises what does not fit, and ends what does again. It is called once a
// second.
func (d *Daemon) lookAtRegister() {
	g, age := &d.register, d.room.Age(d.now)
	if !g.heard && age-g.lookAt < time.Minute {
		return
	}
	g.heard, g.lookAt = false, age
	d.keepLives()
	now := map[alarmName]string{}
	for _, f := range g.book.Findings(age) {
		name := alarmName{f.Code, f.Probe}
		if now[name] = f.Because; g.found[name] != f.Because {
			d.trouble(f.Code, f.Probe, f.Because)
		}
	}
	for name := range g.found { // order: each for itself
		if now[name] == "" {
			d.over(name.code, name.subject)
		}
	}
	g.found = now
}

// RegisterIn gives the register of probes that a store keeps; a life that cannot be read is
// left out.
func RegisterIn(s *store.Store) (*lives.Register, error) {
	kept, err := PapersIn(s, operator.PaperProbe)
	return lives.New(operator.Lives(kept)), err
}
