package simroom

import (
	"strings"
	"time"

	"rillgate/zones"
)

// Options says what the room is like. The zero value is a usable room; a number that
// is 0 means its default, which stands beside it. Where 0 itself is wanted, any
// negative number gives it.
type Options struct {
	Seed  uint64
	Start time.Time // true time at 0; default 2027-03-01 00:00 UTC

	// Lights tells whether they are on; default: the plan's calendar, which is asked
	// at every whole minute. A Lights of one's own is asked every minute of the room.
	Lights func(at time.Time) bool

	Zones map[string]ZoneOptions // by zone id

	EmitterCV     float64       // coefficient of variation of the emitters, default 0.06
	ProbeSpread   float64       // standard deviation of a probe's own offset, points, default 0.7
	ProbeNoise    float64       // standard deviation of one reading, points, default 0.1
	ProbeStep     float64       // smallest step of a reading, %, default 0.1
	ProbeLag      time.Duration // first-order lag of a probe behind its bucket, default 3 min
	ReadingPeriod time.Duration // default 1 min
	Jitter        time.Duration // each reading is late by up to this much, default 2 s
	NoStamps      bool          // readings carry no time of their own
	Serials       bool          // readings carry a serial number

	ReportPeriod time.Duration  // default 5 s
	IdleReports  time.Duration  // between reports while no valve holds current, default ReportPeriod
	InputPeriod  time.Duration  // default 60 s
	KeepReports  int            // a report may be written over once there were so many later ones; default 0: never
	Meters       []zones.Output // outputs with a flow meter
	MeterAll     bool           // every output has one
	CrystalPPM   float64        // controllers' clocks run off by up to this much, default 20
	Uptime       time.Duration  // of every controller at 0, default 1 h
	CutOffLag    time.Duration  // an output drops this late, default 0; at most 100 ms is allowed
	NoCutOff     bool           // outputs do not drop at their deadline by themselves

	// RefusedAdvances: an opening that is refused still counts as the last command
	// seen. The default is the literal reading of "acted on": it does not.
	RefusedAdvances bool

	Faults []Fault
}

// ZoneOptions says what one zone is like. Numbers are as in Options.
type ZoneOptions struct {
	StartPercent   float64       // moisture at 0, default 52
	UptakeDayLPH   float64       // L/h a plant, lights on; default 1.5 % of the volume
	UptakeNightLPH float64       // L/h a plant, lights off; default 0.15 % of the volume
	EvaporationLPH float64       // L/h a plant, default 0.03 % of the volume
	FieldPercent   float64       // field level: drains above; default by kind, see FieldPercent
	SatPercent     float64       // pore space, default the larger of 88 and the field level + 5
	DryPercent     float64       // no uptake at or under this, default 8
	StressPercent  float64       // uptake falls under this, default 22
	DrainTime      time.Duration // time constant of drainage, default 10 min
	// Response: how much uptake follows moisture, as a share of it a point away from
	// the start; default 0.02. It is what keeps plants with unlike emitters together.
	Response float64
}

// or gives x, its default when 0, and 0 when negative.
func or[T ~int64 | ~float64](x, def T) T {
	switch {
	case x == 0:
		return def
	case x < 0:
		return 0
	}
	return x
}

func (o Options) filled() Options {
	if o.Start.IsZero() {
		o.Start = time.Date(2027, time.March, 1, 0, 0, 0, 0, time.UTC)
	}
	o.EmitterCV = or(o.EmitterCV, 0.06)
	o.ProbeSpread = or(o.ProbeSpread, 0.7)
	o.ProbeNoise = or(o.ProbeNoise, 0.1)
	o.ProbeStep = or(o.ProbeStep, 0.1)
	o.ProbeLag = or(o.ProbeLag, 3*time.Minute)
	o.ReadingPeriod = max(or(o.ReadingPeriod, time.Minute), time.Second)
	o.Jitter = min(or(o.Jitter, 2*time.Second), o.ReadingPeriod/2)
	o.ReportPeriod = max(or(o.ReportPeriod, 5*time.Second), 100*time.Millisecond)
	o.IdleReports = max(or(o.IdleReports, o.ReportPeriod), o.ReportPeriod)
	o.InputPeriod = max(or(o.InputPeriod, time.Minute), time.Second)
	o.CrystalPPM = or(o.CrystalPPM, 20)
	o.Uptime = or(o.Uptime, time.Hour)
	o.CutOffLag = or(o.CutOffLag, 0)
	return o
}

func (o *Options) zone(z *zones.Zone, volume float64) ZoneOptions {
	q := o.Zones[z.ID]
	q.StartPercent = or(q.StartPercent, 52)
	q.UptakeDayLPH = or(q.UptakeDayLPH, 0.015*volume)
	q.UptakeNightLPH = or(q.UptakeNightLPH, 0.0015*volume)
	q.EvaporationLPH = or(q.EvaporationLPH, 0.0003*volume)
	q.FieldPercent = or(q.FieldPercent, FieldPercent(z.Substrate))
	q.SatPercent = min(or(q.SatPercent, max(88, q.FieldPercent+5)), 100)
	q.DryPercent = or(q.DryPercent, 8)
	q.StressPercent = max(or(q.StressPercent, 22), q.DryPercent+1)
	q.DrainTime = max(or(q.DrainTime, 10*time.Minute), time.Second)
	q.Response = or(q.Response, 0.02)
	return q
}

// FieldPercent gives the field level of a kind of substrate, %. The numbers are
// illustrative, chosen here to lie in the commonly described ranges for a bed about
// 15 to 20 cm high; they are no published fits. In stone wool the level is that of a
// slab in use, well under its pore space.
func FieldPercent(kind string) float64 {
	kind = strings.ToLower(kind)
	switch {
	case strings.Contains(kind, "wool"):
		return 80
	case strings.Contains(kind, "peat"):
		return 75
	}
	return 63
}

// lights gives whether they are on at t, and when to ask again.
func (o *Options) lights(p *zones.Plan, t time.Duration) (on bool, until time.Duration) {
	at := o.Start.Add(t)
	if o.Lights != nil {
		return o.Lights(at), t + time.Minute
	}
	past := time.Duration(at.UnixNano() % int64(time.Minute))
	if past < 0 {
		past += time.Minute
	}
	return calendarLights(p, at), t + time.Minute - past
}

// calendarLights reads the lights off the plan's calendar; without one they are on
// from 06:00 to 18:00 UTC.
func calendarLights(p *zones.Plan, at time.Time) bool {
	on, off := 6*time.Hour, 18*time.Hour
	if p.Calendar.Location != nil {
		at = at.In(p.Calendar.Location)
	} else {
		at = at.UTC()
	}
	y, m, d := at.Date()
	for _, day := range p.Calendar.Days {
		f := day.From
		if f.IsZero() || y > f.Year || y == f.Year && (m > f.Month || m == f.Month && d >= f.Day) {
			on, off = day.On, day.Off
		}
	}
	h, min, s := at.Clock()
	x := time.Duration(h)*time.Hour + time.Duration(min)*time.Minute + time.Duration(s)*time.Second
	if on <= off {
		return on <= x && x < off
	}
	return x >= on || x < off
}
