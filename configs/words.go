package configs

import (
	"slices"
	"time"

	"rillgate/schedule"
	"rillgate/zones"
)

// PlanWords is the plan in other words: what `check` says beside the problems.
type PlanWords struct {
	Plan     string       `json:"plan"`
	Room     string       `json:"room"`
	Name     string       `json:"name"`
	At       time.Time    `json:"at"`
	TimeZone string       `json:"time_zone"`
	Lease    float64      `json:"lease_seconds"`
	Broker   string       `json:"broker"`
	Healthy  string       `json:"healthy"` // the output that is held while all is well; "" = none
	Zones    []ZoneWords  `json:"zones"`
	Queues   []Queue      `json:"queues"`
	Clock    *ClockChange `json:"next_clock_change"` // nil = none is known
	Week     []Opening    `json:"next_seven_days"`
}

// ZoneWords is what one zone may get.
type ZoneWords struct {
	Zone    string        `json:"zone"`
	Name    string        `json:"name"`
	Follows string        `json:"follows"` // "crop `first`, day 12", "nothing: no water"
	Limits  LimitWords    `json:"limits"`
	Windows []WindowWords `json:"windows"`
	Busiest Busiest       `json:"busiest_24h"`
	Dry     []Span        `json:"no_water_next_24h"` // no window is open
	Lost    string        `json:"lost_probes"`
	Walk    bool          `json:"require_walk"` // no window waters it before a good walk
}

// LimitWords are a zone's limits.
type LimitWords struct {
	MaxRun      float64 `json:"max_run_seconds"`
	MinRest     float64 `json:"min_rest_seconds"`
	MaxPerDay   float64 `json:"max_per_day_seconds"`
	MaxMoisture float64 `json:"max_moisture"` // %

	Soak *SoakWords `json:"soak,omitempty"` // nil = it may not be soaked
}

// SoakWords are the limits of a zone's soaks.
type SoakWords struct {
	MaxRun      float64 `json:"max_run_seconds"`
	MaxPerDay   float64 `json:"max_per_day_seconds"`
	MaxMoisture float64 `json:"max_moisture"` // %
}

// WindowWords is one window, its numbers scaled.
type WindowWords struct {
	Stage    string    `json:"stage,omitempty"`
	FromDay  int       `json:"from_day,omitempty"`
	Window   string    `json:"window"`
	When     string    `json:"when"`
	Clock    []string  `json:"clock"` // "07:00 to 10:00", one for each length of day; empty for cron
	Asks     string    `json:"asks"`
	Timed    bool      `json:"timed"`
	Dated    bool      `json:"dated"`
	Shot     ShotWords `json:"shot"`
	Rest     float64   `json:"rest_seconds"` // the longer of rest and min_rest
	Shots    int       `json:"shots_at_most"`
	MaxShots int       `json:"max_shots,omitempty"`
}

// Span is a time on the room's clock.
type Span struct {
	From  time.Time `json:"from"`
	Until time.Time `json:"until"`
}

// ClockChange is the next step of the room's clock.
type ClockChange struct {
	At     time.Time `json:"at"`     // the first instant of the new time
	Before string    `json:"before"` // what the clock would have shown: "02:00"
	After  string    `json:"after"`  // what it shows: "03:00"
	By     float64   `json:"by_seconds"`
}

// Opening is one window's opening in one zone.
type Opening struct {
	Zone     string    `json:"zone"`
	Window   string    `json:"window"`
	Instance string    `json:"instance"`
	From     time.Time `json:"from"`
	Until    time.Time `json:"until"`
	Timed    bool      `json:"timed"`
}

// Words says the plan in other words, as from an instant on.
func Words(l *Loaded, now time.Time) PlanWords {
	p := l.Plan
	now = now.In(p.Calendar.Location)
	w := PlanWords{Plan: l.Hash, Room: p.Room, Name: p.Name, At: now, TimeZone: p.Calendar.Location.String(),
		Lease: p.Lease.Seconds(), Broker: l.Gateway.Broker.URL, Clock: nextChange(now), Week: []Opening{}, Healthy: healthyWords(p)}
	m := newDemand(p)
	for i := range p.Zones {
		w.Zones = append(w.Zones, m.zoneWords(&p.Zones[i], now))
		w.Week = append(w.Week, upcoming(p, &p.Zones[i], now, 7*wholeDay)...)
	}
	for i := range p.Supplies {
		w.Queues = append(w.Queues, m.queueOf(&p.Supplies[i]))
	}
	slices.SortStableFunc(w.Week, func(a, b Opening) int { return a.From.Compare(b.From) })
	return w
}

// mostOpenings bounds the list of one zone: a cron window may open every minute.
const mostOpenings = 500

func upcoming(p *zones.Plan, z *zones.Zone, now time.Time, ahead time.Duration) (out []Opening) {
	for _, in := range schedule.Upcoming(&p.Calendar, &z.Schedule, now, now.Add(ahead)) {
		if len(out) == mostOpenings {
			break
		}
		out = append(out, Opening{z.ID, in.Window.Name, in.ID, in.Start, in.End, in.Window.Timed()})
	}
	return out
}

func (m *demand) zoneWords(z *zones.Zone, now time.Time) ZoneWords {
	w := ZoneWords{Zone: z.ID, Name: z.Name, Follows: follows(m.plan, z, now), Busiest: m.busiestOf(z), Lost: lostWords(z), Walk: z.RequireWalk,
		Limits: limitWords(&z.Limits),
		Dry:    gaps(m.plan, z, now), Windows: []WindowWords{}}
	for _, st := range stagesIn(z) {
		for i := range st.windows {
			w.Windows = append(w.Windows, m.windowWords(z, st, &st.windows[i]))
		}
	}
	return w
}

func (m *demand) windowWords(z *zones.Zone, st stagePlan, w *schedule.Window) WindowWords {
	out := WindowWords{Stage: st.name, FromDay: st.from, Window: w.Name, When: timesWords(w), Asks: asksWords(w) + m.evidence(z, w), Timed: w.Timed(), Dated: w.Dated(),
		Shot: shotWords(z, w.Shot), Rest: max(w.Rest, z.Limits.MinRest).Seconds(), MaxShots: w.MaxShots}
	for _, d := range daysOf(m.plan) {
		n, _ := shotsIn(z, w, openLength(w, d))
		out.Shots = max(out.Shots, n)
		if text := clockSpan(w, d); w.Cron == "" && !slices.Contains(out.Clock, text) {
			out.Clock = append(out.Clock, text)
		}
	}
	return out
}

// evidence says what a timed window needs beside the time.
func (m *demand) evidence(z *zones.Zone, w *schedule.Window) string {
	switch {
	case !w.Timed():
		return ""
	case !slices.ContainsFunc(m.plan.Probes, func(p zones.Probe) bool { return p.Zone == z.ID }):
		return ", without probes"
	case w.WithoutProbes:
		return ", also while its probes are lost"
	}
	return ", while its quorum counts"
}

func clockSpan(w *schedule.Window, d schedule.Day) string {
	return clockWords(edgeOn(w.From, d)) + " to " + clockWords(edgeOn(w.Until, d))
}

// follows says what a zone goes by at an instant.
func follows(p *zones.Plan, z *zones.Zone, now time.Time) string {
	s := &z.Schedule
	at := schedule.At(&p.Calendar, s, now)
	switch {
	case !s.Named:
		return "nothing: the schedule does not name it, so it gets no water"
	case s.Crop != nil && at.CropDay < 1:
		return "crop `" + s.Crop.Name + "`, whose day 1 is " + dateWords(s.Crop.Day1)
	case s.Crop != nil && at.Fallow:
		return "crop `" + s.Crop.Name + "`, which has ended: no water"
	case s.Crop != nil:
		return "crop `" + s.Crop.Name + "`, day " + itoa(at.CropDay) + ": `" + at.Stage + "`"
	case s.Routine != "":
		return "routine `" + s.Routine + "`"
	case len(s.Windows) > 0:
		return "windows of its own"
	}
	return "none: no water"
}

func dateWords(d schedule.Date) string {
	return time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
}

func lostWords(z *zones.Zone) string {
	if z.Lost == nil {
		return "close"
	}
	return shotWords(z, z.Lost.Shot).String() + " every " + spanWords(z.Lost.Every) + ", at most " + spanWords(z.Lost.MaxPerDay) + " in 24 h"
}

// gaps gives the times of the next 24 h in which no window of a zone is open.
func gaps(p *zones.Plan, z *zones.Zone, now time.Time) []Span {
	out := []Span{}
	at, end := now, now.Add(wholeDay)
	for _, in := range schedule.Upcoming(&p.Calendar, &z.Schedule, now, end) {
		if in.Start.After(at) {
			out = append(out, Span{at, in.Start})
		}
		if in.End.After(at) {
			at = in.End
		}
	}
	if at.Before(end) {
		out = append(out, Span{at, end})
	}
	return out
}

// nextChange finds the next step of the room's clock: a change of name alone is none.
func nextChange(now time.Time) *ClockChange {
	for at := now; ; {
		_, end := at.ZoneBounds()
		if end.IsZero() {
			return nil
		}
		_, before := end.Add(-time.Second).Zone()
		_, after := end.Zone()
		if before != after {
			old := end.In(time.FixedZone("", before))
			return &ClockChange{At: end, Before: old.Format("15:04"), After: end.Format("15:04"), By: float64(after - before)}
		}
		at = end
	}
}

func limitWords(l *zones.Limits) LimitWords {
	w := LimitWords{MaxRun: l.MaxRun.Seconds(), MinRest: l.MinRest.Seconds(), MaxPerDay: l.MaxPerDay.Seconds(), MaxMoisture: l.MaxMoisture.Float()}
	if s := l.Soak; s != nil {
		w.Soak = &SoakWords{s.MaxRun.Seconds(), s.MaxPerDay.Seconds(), s.MaxMoisture.Float()}
	}
	return w
}

// healthyWords says which output is held while all is well, and what hangs on it.
func healthyWords(p *zones.Plan) string {
	if p.Healthy == nil {
		return ""
	}
	if p.HealthyPart.Drives == "" {
		return p.Healthy.String()
	}
	return p.Healthy.String() + ", " + p.HealthyPart.Drives
}
