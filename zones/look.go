package zones

import (
	"math"
	"time"

	"rillgate/schedule"
)

// View gives the whole room at an instant; it changes nothing. The instant must not
// be before the last Step's.
func (r *Room) View(now Instant) View {
	return r.ViewInto(View{Zones: make([]ZoneView, 0, len(r.zones)), Valves: make([]ValveView, 0, len(r.outputs)), Probes: make([]ProbeView, 0, len(r.probes))}, now)
}

// ViewInto is View; it writes over the lists of an earlier one, which nobody may look at
// any more.
func (r *Room) ViewInto(old View, now Instant) View {
	t := max(r.t, now.Mono+r.base)
	v := View{
		Zones: old.Zones[:0], Valves: old.Valves[:0], Probes: old.Probes[:0], Controllers: old.Controllers[:0], Inputs: old.Inputs[:0],
		Supplies: old.Supplies[:0], Alarms: old.Alarms[:0],
		Wall: now.Wall.In(r.location()), Room: r.plan.Room, Name: r.plan.Name, Trusted: now.Trusted, Plan: r.plan.Hash,
		BrokerUp: r.brokerUp, Stopped: hasLatch(r.mem.Latches, StoppedByPerson) != nil, Starting: t < r.holdTo,
	}
	v.Age, v.LightsOn = t.Seconds(), r.lightsNow()
	for i, z := range r.zones {
		refusals := map[Reason]int{}
		if i < len(old.Zones) {
			refusals = old.Zones[i].Refusals
			clear(refusals)
		}
		v.Zones = append(v.Zones, r.zoneView(z, t, now.Wall, refusals))
	}
	for _, o := range r.outputs {
		v.Valves = append(v.Valves, r.valveView(o, t))
	}
	for _, p := range r.probes {
		v.Probes = append(v.Probes, r.probeView(p, t))
	}
	for _, c := range r.controllers {
		v.Controllers = append(v.Controllers, ControllerView{ID: c.id, Online: c.usable(), Ready: c.ready, Boot: c.boot, Because: r.linkWords(c)})
	}
	for _, in := range r.inputs {
		v.Inputs = append(v.Inputs, InputView{Controller: in.ctl.id, ID: in.cfg.ID, Means: in.cfg.Means, Active: in.active, Known: in.known})
	}
	for _, s := range r.supplies {
		v.Supplies = append(v.Supplies, r.supplyView(s, t))
	}
	v.Standing = r.roomStanding(t)
	v.Healthy = r.healthyView(now.Wall, t)
	for _, a := range r.sortedAlarms() {
		v.Alarms = append(v.Alarms, AlarmView{Code: a.code, Subject: a.subject, Since: a.since.In(r.location()), Because: a.because, Acknowledged: a.acked})
	}
	return v
}

func (r *Room) linkWords(c *controller) string {
	switch {
	case !c.usable():
		return controllerWords(c)
	case !c.ready:
		return "controller " + c.id + " has not yet reported all its outputs closed"
	}
	return "reports, all its outputs were closed first"
}

// zoneView gives one zone; it fills an empty map of refusals.
func (r *Room) zoneView(z *zone, t time.Duration, wall time.Time, refusals map[Reason]int) ZoneView {
	e := z.estimate(t)
	v := ZoneView{
		ID: z.id, Name: z.cfg.Name, State: z.state, Reason: z.told, Because: r.because(z), Window: "none",
		Quality: QualityNone, Counting: e.count, Assigned: e.assigned, Shots: z.mem.Progress.Shots,
		UsedSeconds: z.used(t, "").Seconds(), BudgetSpent: z.spent(), LimitSeconds: z.maxPerDay().Seconds(), Litres24: z.litres24(t), SoakSeconds: z.used(t, Soak).Seconds(),
		LitresTotal: z.mem.Litres, ShotsTotal: z.mem.Shots, RunSeconds: z.mem.RunTime.Seconds(),
		MaxMoisture: shown(z.maxMoisture()), Refusals: refusals, Next: r.nextWords(z, t),
		Stage: z.sit.Stage, CropDay: z.sit.CropDay,
	}
	if e.known {
		z.knownView(&v, &e, t)
	}
	at := r.onWall(wall, t)
	r.dryView(&v, z, t)
	r.walkView(&v, z)
	if w := z.window(); w != nil {
		end := z.sit.Instance.End.In(r.location())
		v.Window, v.WindowEnds, v.Below, v.StopAt = w.Name, &end, shown(max(w.Below, w.Floor)), shown(w.StopAt)
	}
	if z.run != nil && z.run.phase != recording {
		v.OpenUntil = at(z.run.end)
	}
	r.soakView(&v, z, t, at)
	if rest := z.restUntil(z.rest()); rest > t {
		v.RestUntil = at(rest)
	}
	if z.mem.HoldUntil > t {
		v.HoldUntil, v.HoldSource = at(z.mem.HoldUntil), z.mem.HoldSource
	}
	for _, code := range []Reason{StoppedByPerson, LeakFound, ValveMismatch, NoResponse} {
		if l := z.latch(code); l != nil {
			v.Latches = append(v.Latches, LatchView{Code: code, Since: l.Wall.In(r.location()), Because: l.Because})
		}
	}
	for k, n := range z.refusals { // order: a copy
		refusals[k] = n
	}
	for _, o := range z.outs {
		v.Metered = v.Metered || o.flow >= 0
	}
	return v
}

// shown gives a level in percent; nil where it is not set.
func shown(l Level) *float64 {
	if l == 0 {
		return nil
	}
	f := l.Float()
	return &f
}

// rest gives the rest of what waters next: a soak that is on, else the open window.
func (z *zone) rest() time.Duration {
	if z.soak != nil {
		return z.ask.rest
	}
	if w := z.window(); w != nil {
		return w.Rest
	}
	return 0
}

// knownView adds what only an estimate gives.
func (z *zone) knownView(v *ZoneView, e *estimate, t time.Duration) {
	m := e.value.Float()
	v.Moisture, v.Quality = &m, QualityPartial
	if e.count == e.assigned {
		v.Quality = QualityGood
	}
	age := int((t - e.newest).Seconds())
	v.AgeSeconds = &age
	vals := e.moistures(z, t, make([]float64, 0, len(z.probes)))
	pore, celsius := z.rootNumbers(e, t)
	if len(pore) > 0 {
		ec := middle(pore)
		v.PoreEC, v.PoreProbes = &ec, len(pore)
	}
	if n := len(celsius); n > 0 {
		mean := 0.0
		for _, c := range celsius {
			mean += c / float64(n)
		}
		v.Temperature = &mean
	}
	if h, ok := halfWidth(vals); ok {
		v.HalfWidth = &h
		sd := spread(vals)
		v.Spread = &sd
	}
}

// student holds the two-sided 95 % points of Student's t for 1 to 10 degrees of
// freedom (any statistics handbook, e.g. NIST/SEMATECH e-Handbook, table 1.3.6.7.2).
var student = [...]float64{12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228}

// halfWidth gives the half-width of the 95 % interval of the mean of the values.
func halfWidth(v []float64) (float64, bool) {
	n := len(v)
	if n < 2 {
		return 0, false
	}
	t := 1.96 + 2.7/float64(n-1)
	if n-2 < len(student) {
		t = student[n-2]
	}
	return t * spread(v) / math.Sqrt(float64(n)), true
}

// spread gives the standard deviation of two values at least.
func spread(v []float64) float64 {
	mean, ss := 0.0, 0.0
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		ss += (x - mean) * (x - mean)
	}
	return math.Sqrt(ss / float64(len(v)-1))
}

// litres24 gives the litres of the last 24 h of powered time.
func (z *zone) litres24(t time.Duration) float64 {
	sum := 0.0
	for _, o := range z.outs {
		for i := range o.mem.Charges {
			if c := &o.mem.Charges[i]; c.Open || t < c.End+day {
				sum += c.Litres
			}
		}
	}
	return sum
}

// valveState gives the honest state of an output: closed only when a report of this
// boot says so, or the grant has run out.
func (r *Room) valveState(o *output, t time.Duration) ValveState {
	heard := r.brokerUp && o.ctl.online && o.repAt >= o.ctl.arrived // the newest report names it
	switch {
	case hasLatch(o.mem.Latches, ValveMismatch) != nil:
		return ValveLatched
	case o.wanted && o.sawOpen && heard:
		return ValveOpen
	case o.wanted && t <= o.deadline:
		return ValveMaybeOpen
	case o.confirmed && heard:
		return ValveClosed
	case o.shown && o.open && heard:
		return ValveOpen
	case o.granted && t < o.deadline+settleGrace:
		return ValveMaybeOpen
	case o.granted || o.confirmed:
		return ValveClosed // the grant has run out
	case t < o.born+silentOpen:
		return ValveUnknown
	}
	return ValveUnknown
}

func (r *Room) valveView(o *output, t time.Duration) ValveView {
	v := ValveView{ID: o.valve, Output: o.id, Zone: zoneID(o.zone), Master: o.master, State: r.valveState(o, t), Wanted: o.wanted}
	if o.shown && o.flow >= 0 && o.ctl.online {
		f := o.flow
		v.FlowLPM = &f
	}
	return v
}

func (r *Room) probeView(p *probe, t time.Duration) ProbeView {
	v := ProbeView{ID: p.id, Place: p.place, Zone: zoneID(p.zone), Label: p.label, Serial: p.serial, InFiles: p.inFiles, Quality: p.quality(t)}
	if z := p.zone; z != nil && v.Quality == ProbeGood {
		for i, q := range z.probes {
			if q == p && z.est.outliers&(1<<uint(i)) != 0 {
				v.Quality = ProbeOutlier
			}
		}
	}
	v.Because, v.Offset = p.words(v.Quality, t), p.signal.offset.Float()
	v.Kept = r.keptOf(p)
	if !p.heard {
		p.strangerView(&v, t)
		return v
	}
	age := int(p.age(t).Seconds())
	v.AgeSeconds = &age
	if v.Quality == ProbeLost || v.Quality == ProbeStale {
		return v // a number that is not known is not shown
	}
	m := p.value.Float()
	v.Moisture = &m
	v.EC, v.Temperature = known(p.ec), known(p.temperature)
	v.Permittivity = known(p.signal.permittivity)
	v.EC25, v.PoreEC, v.PoreWhy = p.salts()
	return v
}

// strangerView shows what a probe of no zone says beside moisture: it may be all there is
// to know it by.
func (p *probe) strangerView(v *ProbeView, t time.Duration) {
	if !p.spoke || p.zone != nil {
		return
	}
	age := int((t - p.spokeAt).Seconds())
	v.AgeSeconds = &age
	if t-p.spokeAt <= p.stale {
		v.EC, v.Temperature, v.Permittivity = known(p.ec), known(p.temperature), known(p.signal.permittivity)
	}
}

func known(x float64) *float64 {
	if math.IsNaN(x) {
		return nil
	}
	return &x
}

// words says why the probe counts or not.
func (p *probe) words(q ProbeQuality, t time.Duration) string {
	switch q {
	case ProbeIgnored:
		return "left out by a person for " + words((p.ignoredTo - t).Round(time.Second))
	case ProbeLost, ProbeStale:
		if p.noMoisture {
			return "sends nothing that moisture could be told from: it counts for nothing"
		}
		if !p.heard && p.anew {
			return "not heard since it was exchanged"
		}
		if !p.heard {
			return "not heard since the start"
		}
		return "silent for " + words(p.age(t).Round(time.Second))
	case ProbeImplausible:
		if p.outside && p.signal.tooDry() {
			return sprintf("permittivity %.1f: %s", p.signal.permittivity, p.signal.flags)
		}
		if p.outside {
			return sprintf("reads %s %%, outside %s to %s %%", percent(p.value), percent(p.lo), percent(p.hi))
		}
		return sprintf("fell from %s %%: it counts again within 5 points of that, or after `rillgate acknowledge %s`", percent(p.level), p.id)
	case ProbeOutlier:
		return "more than 10 points from the middle of its zone"
	case ProbeNew:
		if p.zone == nil {
			return sprintf("given to no zone: `rillgate assign %s ZONE`", p.id)
		}
		return "heard, but not often enough yet to count"
	}
	return "counts" + p.signal.words()
}

// nextWords says what happens next in the zone.
func (r *Room) nextWords(z *zone, t time.Duration) string {
	switch {
	case z.run != nil && z.run.phase != recording:
		return "closes at " + r.clockWords(z.run.end)
	case z.state == Latched || z.state == Stopped:
		return "nothing, until a reset"
	case z.state == Held:
		return "the hold ends at " + r.clockWords(z.mem.HoldUntil)
	case z.soak != nil:
		return z.soakNext(r, t)
	}
	if w := z.window(); w != nil {
		end := z.sit.Instance.End.In(r.location()).Format("15:04")
		if rest := z.restUntil(w.Rest); rest > t {
			return sprintf("may be watered again at %s; %s is open until %s", r.clockWords(rest), w.Name, end)
		}
		return sprintf("%s is open until %s", w.Name, end)
	}
	if in, ok := r.nextOpening(z); ok {
		return sprintf("%s opens at %s", in.Window.Name, in.Start.In(r.location()).Format("Mon 15:04"))
	}
	return "no window comes"
}

// nextOpening gives the zone's next instance. It is looked up once for each
// situation, since it may lie months away.
func (r *Room) nextOpening(z *zone) (*schedule.Instance, bool) {
	if !z.sitSet {
		return nil, false
	}
	if !z.nextSet {
		z.nextIn, z.nextOK = schedule.Next(&r.plan.Calendar, &z.cfg.Schedule, r.now.Wall)
		z.nextSet = true
	}
	return &z.nextIn, z.nextOK
}

func (r *Room) location() *time.Location { return r.plan.Location() }
