package report

import (
	"slices"
	"strings"
	"time"

	"rillgate/schedule"
	"rillgate/zones"
)

// Names that stand in for a window.
const (
	byHand   = "by hand"
	soak     = "soak"
	fallback = "probes lost"
	unnamed  = "not known"
)

// pairRuns joins the begin and the end of each run, by zone.
func pairRuns(lines []Line) map[string][]Run {
	all := map[string][]Run{}
	place := map[string]int{}
	for i := range lines {
		e := &lines[i]
		switch e.Kind {
		case "run-opened":
			place[e.Run] = len(all[e.Zone])
			all[e.Zone] = append(all[e.Zone], Run{ID: e.Run, Zone: e.Zone, Opened: e.At, Window: e.Window, Reason: e.Reason})
		case "run-closed":
			if k, ok := place[e.Run]; ok {
				r := &all[e.Zone][k]
				r.Closed, r.End, r.Seconds, r.Litres = ptr(e.At), e.Reason, e.Seconds, e.Litres
			}
		}
	}
	for _, runs := range all {
		slices.SortStableFunc(runs, func(a, b Run) int { return a.Opened.Compare(b.Opened) })
	}
	return all
}

// water fills in what the zone was given. A run belongs to the day on which it opened,
// with all that it gave.
func (b *bed) water(z *ZoneDay) {
	z.Runs, z.Windows = []Run{}, []WindowShots{}
	for _, r := range b.runs {
		if !b.day.holds(r.Opened) {
			continue
		}
		b.name(&r)
		z.Runs = append(z.Runs, r)
		if r.Closed != nil && r.Seconds == 0 {
			continue // it never opened
		}
		z.Shots++
		if z.FirstShot == nil {
			z.FirstShot = ptr(r.Opened)
		}
		z.LastShot = ptr(r.Opened)
		z.Seconds += r.Seconds
		z.Litres += r.Litres
		z.count(&r)
	}
	if b.zone.Plants > 0 && (z.Litres > 0 || z.Shots == 0) {
		z.MLPlant = ptr(1000 * z.Litres / float64(b.zone.Plants))
	}
}

// name finds the run's window: the journal names it, or did not yet; then the schedule
// in force now has to do.
func (b *bed) name(r *Run) {
	switch {
	case r.Reason == zones.ByHand:
		r.Window = byHand
	case r.Reason == zones.Soak:
		r.Window = soak
	case r.Reason == zones.LostProbesTimed:
		r.Window = fallback
	case r.Window == "":
		r.Window = unnamed
		if s := schedule.At(&b.in.Plan.Calendar, &b.zone.Schedule, r.Opened); s.Open {
			r.ByPlan, r.Window = true, s.Instance.Window.Name
		}
	}
}

func (z *ZoneDay) count(r *Run) {
	i := slices.IndexFunc(z.Windows, func(w WindowShots) bool { return w.Window == r.Window })
	if i < 0 {
		i = len(z.Windows)
		z.Windows = append(z.Windows, WindowShots{Window: r.Window})
	}
	w := &z.Windows[i]
	w.Shots++
	w.Seconds += r.Seconds
	w.Litres += r.Litres
}

// told fills in refusals and runs that were cut short.
func (b *bed) told(z *ZoneDay) {
	refused, cut := map[zones.Reason]int{}, map[zones.Reason]int{}
	for i := range b.in.Lines {
		e := &b.in.Lines[i]
		if e.Zone != b.zone.ID || !b.day.holds(e.At) {
			continue
		}
		switch {
		case e.Kind == "refused":
			refused[e.Reason]++
		case e.Kind == "run-closed" && e.Reason != zones.ShotDone:
			cut[e.Reason]++
		}
	}
	z.Refusals, z.CutShort = counts(refused), counts(cut)
}

func counts(m map[zones.Reason]int) []Count {
	out := []Count{}
	for r, n := range m {
		out = append(out, Count{r, n})
	}
	slices.SortFunc(out, func(a, b Count) int {
		if a.Count != b.Count {
			return b.Count - a.Count
		}
		return strings.Compare(string(a.Reason), string(b.Reason))
	})
	return out
}

// standing pairs the begin and the end of alarms, by zone; "" = the room's. Not
// every end names its subject: of several alarms of one code that name none the oldest is
// over. A start ends
// all: what still stands rises anew.
func standing(lines []Line) map[string][]Alarm {
	all := map[string][]Alarm{}
	for i := range lines {
		e := &lines[i]
		switch e.Kind {
		case "alarm":
			all[e.Zone] = append(all[e.Zone], Alarm{Code: e.Reason, Probe: e.Probe, Since: e.At, Because: e.Because})
		case "alarm-over":
			over(all[e.Zone], e.At, func(a *Alarm) bool { return a.Code == e.Reason && a.Probe == e.Probe }, 1)
		case "started":
			for _, list := range all {
				over(list, e.At, func(*Alarm) bool { return true }, len(list))
			}
		}
	}
	return all
}

// over ends the first n alarms that stand and match.
func over(list []Alarm, at time.Time, match func(*Alarm) bool, n int) {
	for i := range list {
		if a := &list[i]; n > 0 && a.Over == nil && match(a) {
			a.Over = &at
			n--
		}
	}
}

// within gives the alarms that stood on the day.
func within(list []Alarm, d *Day) []Alarm {
	out := []Alarm{}
	for _, a := range list {
		if a.Since.Before(d.To) && (a.Over == nil || a.Over.After(d.From)) {
			out = append(out, a)
		}
	}
	return out
}
