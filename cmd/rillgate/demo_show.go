package main

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"rillgate/zones"
	"rillgate/zones/simroom"
)

// show prints what happens in the demonstration, a line each, and keeps what the
// summary needs.
type show struct {
	out     io.Writer
	told    int // happenings of the room told so far
	sampled time.Duration
	tallies map[string]*tally
	quality map[string]zones.ProbeQuality // of each probe, as told last
}

// tally is what the summary says of one zone.
type tally struct {
	known     bool
	low, high float64
	top       float64 // highest since the last shot began
	dryBack   float64 // largest fall between two shots
	shots     int
	litres    float64
	seconds   float64
}

func newShow(out io.Writer) *show {
	return &show{out: out, tallies: map[string]*tally{}, quality: map[string]zones.ProbeQuality{}, sampled: -time.Hour}
}

func (s *show) greet(page, state string, o *demoOptions) {
	fmt.Fprintf(s.out, "a room with two benches, eight probes and one tank; its clock runs up to %g times faster than yours\n", o.speed)
	if page != "" {
		fmt.Fprintf(s.out, "page: http://%s\n", page)
	}
	fmt.Fprintf(s.out, "ask it: rillgate why bench-a --state %s\n\n", state)
}

// step prints the journal's lines as the daemon's loop makes them.
func (s *show) step(now zones.Instant, _ zones.Event, effects []zones.Effect) {
	for _, e := range effects {
		entry, ok := e.(*zones.Entry)
		if !ok {
			continue
		}
		s.count(entry)
		s.line(now.Wall, entry.Kind, entry.Zone, detail(entry))
	}
}

// detail is the sentence of a line.
func detail(e *zones.Entry) string {
	var parts []string
	if e.Probe != "" {
		parts = append(parts, e.Probe)
	}
	if e.Reason != "" && e.Reason != zones.NoReason {
		parts = append(parts, string(e.Reason))
	}
	if e.Because != "" {
		parts = append(parts, e.Because)
	}
	if e.Kind == "run-closed" {
		parts = append(parts, fmt.Sprintf("%.0f s, %.1f L", e.Seconds, e.Litres))
	}
	return strings.Join(parts, ": ")
}

func (s *show) line(at time.Time, kind, zone, text string) {
	fmt.Fprintf(s.out, "%s  %-18s %-8s %s\n", at.Format("Mon 15:04:05"), kind, zone, text)
}

// room prints what the simulated room did of itself.
func (s *show) room(r *simroom.Room) {
	all := r.Happened()
	for _, h := range all[s.told:] {
		s.line(r.Wall(h.At), "in the room", "", h.String())
	}
	s.told = len(all)
}

func (s *show) count(e *zones.Entry) {
	t := s.tally(e.Zone)
	switch e.Kind {
	case "run-opened":
		t.top = 0
	case "run-closed":
		if e.Seconds > 0 {
			t.shots++
			t.litres += e.Litres
			t.seconds += e.Seconds
		}
	}
}

func (s *show) tally(zone string) *tally {
	t := s.tallies[zone]
	if t == nil {
		t = &tally{}
		s.tallies[zone] = t
	}
	return t
}

// look takes the zones' moisture once a minute of the room's time.
func (s *show) look(now time.Duration, view func() zones.View) {
	if now-s.sampled < time.Minute {
		return
	}
	s.sampled = now
	v := view()
	for i := range v.Zones {
		if z := &v.Zones[i]; z.Moisture != nil {
			s.tally(z.ID).moisture(*z.Moisture, z.State == zones.Watering)
		}
	}
	for i := range v.Probes {
		s.probe(v.Wall, &v.Probes[i])
	}
}

// probe prints when one that counted does so no more, and when it does again.
func (s *show) probe(at time.Time, p *zones.ProbeView) {
	was, told := s.quality[p.ID]
	if was == p.Quality || !told && p.Quality != zones.ProbeGood {
		return
	}
	s.quality[p.ID] = p.Quality
	if told {
		s.line(at, "probe "+p.ID, p.Zone, string(p.Quality)+because(p.Because))
	}
}

func because(s string) string {
	if s == "" {
		return ""
	}
	return ": " + s
}

func (t *tally) moisture(m float64, watering bool) {
	if !t.known {
		t.known, t.low, t.high = true, m, m
	}
	t.low, t.high = min(t.low, m), max(t.high, m)
	if watering {
		t.top = 0
		return
	}
	t.top = max(t.top, m)
	t.dryBack = max(t.dryBack, t.top-m)
}

// summary prints the table at the end.
func (s *show) summary(v zones.View) {
	fmt.Fprintln(s.out)
	w := tabwriter.NewWriter(s.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "ZONE\tSHOTS\tLITRES\tLOWEST\tHIGHEST\tDRY-BACK\tREFUSALS")
	for i := range v.Zones {
		z := &v.Zones[i]
		t := s.tally(z.ID)
		fmt.Fprintf(w, "%s\t%d\t%.1f\t%.1f %%\t%.1f %%\t%.1f points\t%s\n", z.ID, t.shots, t.litres, t.low, t.high, t.dryBack, refusals(z.Refusals))
	}
	_ = w.Flush()
}

// refusals lists how often each reason refused, by code.
func refusals(m map[zones.Reason]int) string {
	if len(m) == 0 {
		return "none"
	}
	var parts []string
	for _, r := range slices.Sorted(maps.Keys(m)) {
		parts = append(parts, fmt.Sprintf("%s %d", r, m[r]))
	}
	return strings.Join(parts, ", ")
}
