package handover

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"rillgate/schedule"
	"rillgate/zones"
)

// plan takes the most that the schedule allows from now on for a day, within the zone's
// limits.
func (c *Card) plan(p *zones.Plan, z *zones.Zone, now time.Time) {
	c.Basis = fmt.Sprintf("From the schedule: no good day is known among the last %d", GoodDays)
	left := c.MaxPerDay
	for _, in := range schedule.Upcoming(&p.Calendar, &z.Schedule, now, now.Add(24*time.Hour)) {
		s := c.opening(z, &in, left)
		if in.Start.Before(now) || s.Count == 0 {
			continue // the same one comes again within the day
		}
		left -= time.Duration(s.Count) * s.Length
		c.Shots = append(c.Shots, s)
		c.Seconds += float64(s.Count) * s.Length.Seconds()
	}
	slices.SortStableFunc(c.Shots, func(a, b Shots) int { return cmp.Compare(ofDay(a.From), ofDay(b.From)) })
	c.total(c.Seconds / 3600 * z.FlowLPH())
	if len(c.Shots) == 0 {
		c.Basis += none(p, z, now)
	}
}

// ofDay gives the time of day, so that a card reads from the morning on.
func ofDay(t time.Time) time.Duration {
	h, m, s := t.Clock()
	return time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(s)*time.Second
}

// none says why the next 24 h have no shot to name.
func none(p *zones.Plan, z *zones.Zone, now time.Time) string {
	next, ok := schedule.Next(&p.Calendar, &z.Schedule, now)
	if ok && next.Start.Sub(now) >= 24*time.Hour {
		return "; the next window, " + next.Window.Name + ", opens " + next.Start.Format("Monday 2006-01-02 15:04")
	}
	return "; the length of its shots cannot be reckoned: room.yaml gives no emitters or no substrate"
}

// opening gives the shots of one opening, of what is left of the day's limit.
func (c *Card) opening(z *zones.Zone, in *schedule.Instance, left time.Duration) Shots {
	w := &in.Window
	length, ok := z.RunTime(w.Shot)
	if !ok {
		return Shots{}
	}
	length = min(stopwatch(length.Seconds()), c.MaxRun)
	rest := max(w.Rest, c.MinRest)
	n := int((in.End.Sub(in.Start)-1)/(length+rest)) + 1
	if w.MaxShots > 0 {
		n = min(n, w.MaxShots)
	}
	n = min(n, int(left/length))
	return Shots{Count: n, Length: length, From: in.Start, Until: in.End, Apart: rest, AtMost: true, Asks: asks(w),
		Litres: length.Hours() * z.FlowLPH()}
}

// asks says what a window waits for; nothing for one that goes by the clock.
func asks(w *schedule.Window) string {
	switch {
	case w.DryBack > 0 && w.Floor > 0:
		return fmt.Sprintf("after each fall of %g points, and under %g %%", w.DryBack.Float(), w.Floor.Float())
	case w.DryBack > 0:
		return fmt.Sprintf("after each fall of %g points", w.DryBack.Float())
	case w.Below > 0 && w.StopAt > 0:
		return fmt.Sprintf("from under %g %% to %g %%", w.Below.Float(), w.StopAt.Float())
	case w.Below > 0:
		return fmt.Sprintf("while under %g %%", w.Below.Float())
	case w.StopAt > 0:
		return fmt.Sprintf("up to %g %%", w.StopAt.Float())
	}
	return ""
}

// blind says what a zone gets whose probes are lost: its grower's own word on watering
// without looking.
func blind(z *zones.Zone) string {
	if z.Lost == nil {
		return ""
	}
	length, ok := z.RunTime(z.Lost.Shot)
	if !ok {
		return ""
	}
	return fmt.Sprintf("%s every %s while a window is open, at most %s in 24 h", span(stopwatch(length.Seconds())), span(z.Lost.Every), span(z.Lost.MaxPerDay))
}
