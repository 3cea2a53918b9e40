package zones

import (
	"slices"
	"time"
)

// ValveEvidence is what the state of a valve rests on, at one instant. Times are on the
// room's wall clock; nil is "never, by this process".
type ValveEvidence struct {
	Supply string   `json:"supply"`           // "" = none
	Master bool     `json:"master"`           // it opens with the valves of its supply
	Serves []string `json:"serves,omitempty"` // of a master: the zones of its supply

	ToldOpen bool       `json:"told_open"` // our last command
	ToldAt   *time.Time `json:"told_at"`
	ToldWhy  Reason     `json:"told_why"` // of a close
	Run      string     `json:"run"`      // of that command
	Obeyed   bool       `json:"obeyed"`   // a report at or past that command shows it so

	ReportedAt   *time.Time `json:"reported_at"` // the last report that names it
	ReportedOpen bool       `json:"reported_open"`

	GrantUntil *time.Time `json:"grant_until"` // the last grant runs out, or ran out
	Granted    bool       `json:"granted"`     // it has not run out

	Day     []Spending  `json:"day"` // valve time of the last 24 h of powered time
	Spent   bool        `json:"spent"`
	LastEnd *time.Time  `json:"last_end"` // of the last charge that has ended
	RestsTo *time.Time  `json:"rests_to"`
	Latches []LatchView `json:"latches"`
	Reason  Reason      `json:"reason"`
	MaxRunS float64     `json:"max_run_seconds"`
}

// Spending is valve time of one kind in the last 24 h, of its limit.
type Spending struct {
	Kind    string  `json:"kind"`
	Seconds float64 `json:"seconds"`
	Limit   float64 `json:"limit_seconds"`
}

// Location gives the room's time zone; UTC where the plan has none.
func (r *Room) Location() *time.Location { return r.location() }

// onWall gives the instants of ages on the room's wall clock, which shows wall at age t.
func (r *Room) onWall(wall time.Time, t time.Duration) func(time.Duration) *time.Time {
	return func(age time.Duration) *time.Time {
		w := wall.Add(age - t).In(r.location())
		return &w
	}
}

// ValveEvidence gives what is known of a valve, master or the healthy output by its id or
// its output, "north/1"; false = there is none. It changes nothing. The instant must not be before
// the last Step's.
func (r *Room) ValveEvidence(name string, now Instant) (e ValveEvidence, ok bool) {
	o, t := r.outputNamed(name), max(r.t, now.Mono+r.base)
	if o == nil {
		return e, false
	}
	at := r.onWall(now.Wall, t)
	if o.supply != nil {
		e.Supply = o.supply.cfg.ID
		e.served(o)
	}
	e.command(o, at)
	e.Obeyed = o.wanted && o.sawOpen || !o.wanted && o.confirmed
	if o.shown {
		e.ReportedAt, e.ReportedOpen = at(o.repAt), o.open
	}
	if o.granted {
		e.GrantUntil, e.Granted = at(o.deadline), t < o.deadline
	}
	for _, l := range o.mem.Latches {
		e.Latches = append(e.Latches, LatchView{Code: l.Code, Since: l.Wall.In(r.location()), Because: l.Because})
	}
	e.budget(o, t, at)
	return e, true
}

// outputNamed finds an output of ours by its place, "north/1", or by what hangs on it; nil
// = there is none.
func (r *Room) outputNamed(name string) *output {
	all := r.outputs
	if r.healthy != nil {
		all = append(slices.Clip(all), r.healthy.out)
	}
	for _, is := range []func(*output) bool{func(o *output) bool { return o.id.String() == name }, func(o *output) bool { return o.valve == name && name != "" }} {
		if i := slices.IndexFunc(all, is); i >= 0 {
			return all[i]
		}
	}
	return nil
}

// served fills in what a master opens for.
func (e *ValveEvidence) served(o *output) {
	if e.Master = o.supply.master == o; !e.Master {
		return
	}
	for _, z := range o.supply.zones {
		e.Serves = append(e.Serves, z.id)
	}
}

// command fills in what was said last, if anything was.
func (e *ValveEvidence) command(o *output, at func(time.Duration) *time.Time) {
	e.ToldOpen, e.Run = o.wanted, o.run
	switch {
	case o.wanted:
		e.ToldAt = at(o.openAt)
	case o.closeSeq != 0:
		e.ToldAt, e.ToldWhy = at(o.closeAt), o.closeWhy
	}
}

// budget fills in what it gave, and its zone's word.
func (e *ValveEvidence) budget(o *output, t time.Duration, at func(time.Duration) *time.Time) {
	last := time.Duration(-1)
	for i := range o.mem.Charges {
		if c := &o.mem.Charges[i]; !c.Open {
			last = max(last, c.End)
		}
	}
	if last >= 0 {
		e.LastEnd = at(last)
	}
	e.Spent = o.mem.Spent
	z := o.zone
	if z == nil {
		return
	}
	e.Reason, e.MaxRunS = z.told, z.maxRun().Seconds()
	e.Day = append(e.Day, Spending{"shots", o.mem.used(t, "").Seconds(), z.maxPerDay().Seconds()})
	if l := z.cfg.Limits.Soak; l != nil {
		e.Day = append(e.Day, Spending{"soaks", o.mem.used(t, Soak).Seconds(), l.MaxPerDay.Seconds()})
	}
	if l := z.cfg.Lost; l != nil {
		e.Day = append(e.Day, Spending{"without probes", o.mem.used(t, LostProbesTimed).Seconds(), l.MaxPerDay.Seconds()})
	}
	if rest := z.restUntil(z.rest()); rest > t {
		e.RestsTo = at(rest)
	}
}

// ProbeEvidence is what the judgement of a probe rests on, at one instant.
type ProbeEvidence struct {
	HeardAt  *time.Time `json:"heard_at"`  // its last reading with a moisture; nil = none
	OwnTime  bool       `json:"own_time"`  // its readings bear a time of their own
	Readings int        `json:"readings"`  // in a row, since the start or the last loss
	Stale    float64    `json:"stale"`     // s, the oldest that a reading may be
	Counts   bool       `json:"counts"`    // for its zone, as the zone combines now
	Lowest   float64    `json:"plausible"` // %, the plausible range
	Highest  float64    `json:"plausible_to"`
	FellFrom *float64   `json:"fell_from"` // %; where it stood before it fell, while it is left out for that
	LeftOut  *time.Time `json:"left_out"`  // by a person, until then

	Sent        bool     `json:"sent"`  // it sends moisture itself: no curve is asked
	Curve       string   `json:"curve"` // of its zone's substrate; "" = it is in no zone
	CurveSource string   `json:"curve_source"`
	CurveOwn    bool     `json:"curve_own"`   // by samples of this substrate
	CurveDoubt  float64  `json:"curve_doubt"` // points, as its source gives it; 0 = not known
	Offset      float64  `json:"offset"`      // points, added to each moisture
	ZoneValue   *float64 `json:"zone_value"`  // %, of its zone; nil = not known
	ZoneCounts  int      `json:"zone_counts"` // probes that count there
	ZoneHas     int      `json:"zone_has"`
	Quorum      int      `json:"quorum"`
}

// ProbeEvidence gives what is known of a probe by its id or place, as ValveEvidence does
// of a valve.
func (r *Room) ProbeEvidence(name string, now Instant) (e ProbeEvidence, ok bool) {
	i := slices.IndexFunc(r.probes, func(p *probe) bool { return p.id == name && name != "" || p.place.String() == name })
	if i < 0 {
		return e, false
	}
	p, t := r.probes[i], max(r.t, now.Mono+r.base)
	at := r.onWall(now.Wall, t)
	e = ProbeEvidence{OwnTime: p.timed, Readings: p.live, Stale: p.stale.Seconds(), Lowest: p.lo.Float(), Highest: p.hi.Float(),
		Sent: p.signal.sent, Offset: p.signal.offset.Float()}
	if p.heard {
		e.HeardAt = at(p.arrived - p.extra)
	}
	if p.excluded {
		from := p.level.Float()
		e.FellFrom = &from
	}
	if p.ignoredTo > t {
		e.LeftOut = at(p.ignoredTo)
	}
	if c := p.signal.medium; c != nil {
		e.Curve, e.CurveSource, e.CurveOwn, e.CurveDoubt = c.Curve.Name, c.Curve.Source, c.Curve.Own, 100*c.Curve.Doubt
	}
	e.amongOthers(p, t)
	return e, true
}

// amongOthers fills in how the probe stands in its zone.
func (e *ProbeEvidence) amongOthers(p *probe, t time.Duration) {
	z := p.zone
	if z == nil {
		return
	}
	est := z.estimate(t)
	e.ZoneCounts, e.ZoneHas, e.Quorum = est.count, est.assigned, z.cfg.Moisture.Quorum
	if est.known {
		v := est.value.Float()
		e.ZoneValue = &v
	}
	for i, q := range z.probes {
		if q == p {
			e.Counts = p.counts(t) && est.outliers&(1<<uint(i)) == 0
		}
	}
}
