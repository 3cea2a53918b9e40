package zones

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"rillgate/schedule"
)

const unsureWords = "the clock is not trusted: windows wait, runs go on; `rillgate clock trust` says that it is right"

func sprintf(format string, args ...any) string { return fmt.Sprintf(format, args...) }

func itoa(n int) string { return strconv.Itoa(n) }

func compare[T cmp.Ordered](a, b T) int { return cmp.Compare(a, b) }

func compareOutput(a, b Output) int {
	if a.Controller != b.Controller {
		return cmp.Compare(a.Controller, b.Controller)
	}
	return cmp.Compare(a.Number, b.Number)
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m { // order: sorted below
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

func sortedPlaces(m map[Place]*probe) []Place {
	keys := make([]Place, 0, len(m))
	for k := range m { // order: sorted below
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b Place) int { return cmp.Compare(a.String(), b.String()) })
	return keys
}

// parsePlace reads what Place.String wrote.
func parsePlace(s string) (Place, bool) {
	parts := strings.SplitN(s, "/", 3)
	if len(parts) != 3 {
		return Place{}, false
	}
	n, err := strconv.Atoi(parts[1])
	return Place{parts[0], n, parts[2]}, err == nil
}

// words gives a duration as people say it: "45 s", "1 min 30 s", "2 h".
func words(d time.Duration) string {
	if d < 0 {
		d = 0
	}
	if d < time.Minute {
		s := strconv.FormatFloat(d.Round(100*time.Millisecond).Seconds(), 'f', -1, 64)
		return s + " s"
	}
	d = d.Round(time.Second)
	var parts []string
	add := func(n time.Duration, unit string) {
		if n > 0 {
			parts = append(parts, strconv.Itoa(int(n))+" "+unit)
		}
	}
	add(d/time.Hour, "h")
	add(d%time.Hour/time.Minute, "min")
	if d < time.Hour {
		add(d%time.Minute/time.Second, "s")
	}
	return strings.Join(parts, " ")
}

// clockWords gives an instant at age t on the room's clock face.
func (r *Room) clockWords(t time.Duration) string {
	return r.onWall(r.now.Wall, r.t)(t).Format("15:04")
}

// askWords says why a zone asks for water.
func (z *zone) askWords(a *ask) string {
	if w := z.window(); a.because == "" && w != nil {
		return z.whyWater(w, z.trigger)
	}
	return a.because
}

// whyWater says why a window wants water, with the numbers.
func (z *zone) whyWater(w *schedule.Window, trigger schedule.Trigger) string {
	v := percent(z.est.value)
	switch trigger {
	case schedule.BelowThreshold:
		level := w.Below
		if level == 0 {
			level = w.Floor
		}
		if z.est.value < level {
			if v == percent(level) {
				v = sprintf("%.2f", z.est.value.Float()-0.005) // never "45.0 is under 45.0"
			}
			return sprintf("%s: %s %% is under %s %%", w.Name, v, percent(level))
		}
		return sprintf("%s: %s %% is on its way up to %s %%", w.Name, v, percent(w.StopAt))
	case schedule.DriedBack:
		return sprintf("%s: dried back by %s points, %s are due", w.Name, points(z.est.fall), points(w.DryBack))
	case schedule.ToLevel:
		return sprintf("%s: %s %%, on its way to %s %%", w.Name, v, percent(w.StopAt))
	}
	return sprintf("%s: its time has come", w.Name)
}

// watchWords says what an open window waits for.
func (z *zone) watchWords(w *schedule.Window) string {
	v := percent(z.est.value)
	switch {
	case w.DryBack > 0 && z.est.fallKnown:
		return sprintf("%s: dried back by %s points, waters at %s", w.Name, points(z.est.fall), points(w.DryBack))
	case w.DryBack > 0 && z.ran():
		return sprintf("%s: waits for the moisture to settle, 15 min after the last shot", w.Name)
	case w.DryBack > 0:
		return sprintf("%s: marks each probe's highest from now on", w.Name)
	case w.Below > 0:
		return sprintf("%s: %s %%, waters under %s %%", w.Name, v, percent(w.Below))
	case w.StopAt > 0:
		return sprintf("%s: %s %% was reached in this opening", w.Name, percent(w.StopAt))
	}
	return w.Name + ": nothing is due"
}

func startingWords(r *Room, z *zone, _ *ask) string {
	switch {
	case r.ended:
		return "the daemon is ending"
	case r.t < r.holdTo:
		return sprintf("nothing opens for %s after a start: %s left", words(r.holdTo-r.born), words((r.holdTo - r.t).Round(time.Second)))
	case !r.epochSafe:
		return "the ledger has not taken this start down yet"
	}
	for _, c := range z.ctls {
		if c.online && !c.ready {
			return sprintf("controller %s has not yet reported all its outputs closed", c.id)
		}
	}
	if in := r.unheard(z); in != nil {
		return sprintf("input %s of controller %s was not heard yet", in.cfg.ID, in.ctl.id)
	}
	if o := z.unclosed(); o != nil {
		return sprintf("no report of controller %s shows yet that valve %s is closed, as it was told to be", o.ctl.id, o.valve)
	}
	return "starting"
}

func roomLatchWords(code Reason) func(*Room, *zone, *ask) string {
	return func(r *Room, _ *zone, _ *ask) string {
		if l := hasLatch(r.mem.Latches, code); l != nil {
			return l.Because + "; `rillgate reset room` lets water again"
		}
		return ""
	}
}

func latchWords(code Reason) func(*Room, *zone, *ask) string {
	return func(r *Room, z *zone, _ *ask) string {
		l := z.latch(code)
		if l == nil && z.supply != nil && z.supply.master != nil {
			l = hasLatch(z.supply.master.mem.Latches, code)
		}
		if l == nil {
			return ""
		}
		return l.Because + "; `rillgate reset " + z.id + "` lets water again"
	}
}

func stoppedWords(r *Room, z *zone, _ *ask) string {
	if l := hasLatch(r.mem.Latches, StoppedByPerson); l != nil {
		return l.Because + "; `rillgate reset room` lets water again"
	}
	if z != nil && z.latch(StoppedByPerson) != nil {
		return latchWords(StoppedByPerson)(r, z, nil)
	}
	return inputWords(r.forbidding(StopInput))
}

func leakWords(r *Room, z *zone, _ *ask) string {
	if l := hasLatch(r.mem.Latches, LeakFound); l != nil {
		return l.Because + "; `rillgate reset room` lets water again"
	}
	if z != nil && z.latch(LeakFound) != nil {
		return latchWords(LeakFound)(r, z, nil)
	}
	return inputWords(r.forbidding(Leak))
}

// inputWords says why an input forbids.
func inputWords(in *input) string {
	switch {
	case in == nil:
		return ""
	case in.active:
		return "input " + in.cfg.ID + " is active"
	case !in.known:
		return sprintf("input %s was never heard though controller %s reports", in.cfg.ID, in.ctl.id)
	}
	return sprintf("input %s has been silent for more than 3 min", in.cfg.ID)
}

func lowWords(in *input) string {
	if in != nil && in.active {
		return "the supply is low: input " + in.cfg.ID + " is active"
	}
	return inputWords(in)
}

func supplyLowWords(r *Room, z *zone, _ *ask) string { return lowWords(r.lowInput(z.supply)) }

func storeWords(r *Room, _ *zone, _ *ask) string {
	return "the ledger cannot be written: " + r.storeBroken // which says what to do
}

func controllerWords(c *controller) string {
	if c.online && c.driftBad {
		return "controller " + c.id + "'s uptime runs off ours: its deadlines cannot be trusted"
	}
	return "controller " + c.id + ": " + c.offWhy
}

func offlineWords(_ *Room, z *zone, _ *ask) string {
	for _, c := range z.ctls {
		if !c.usable() {
			return controllerWords(c)
		}
	}
	return "the zone has no controller"
}

func heldWords(r *Room, z *zone, _ *ask) string {
	return sprintf("held until %s, %s left", r.clockWords(z.mem.HoldUntil), words((z.mem.HoldUntil - r.t).Round(time.Second)))
}

func overWetWords(_ *Room, z *zone, _ *ask) string {
	return sprintf("%s %% is at or over the limit of %s %%", percent(z.est.value), percent(z.maxMoisture()))
}

func probesLostWords(_ *Room, z *zone, _ *ask) string {
	s := sprintf("%d of %d probes count, %d are needed", z.est.count, z.est.assigned, z.cfg.Moisture.Quorum)
	then := ": "
	if z.est.silent > 0 {
		s += then + sprintf("%d silent for %s or not heard twice yet", z.est.silent, words(z.cfg.Moisture.StaleAfter))
		then = ", "
	}
	if z.est.ignored > 0 {
		s += then + sprintf("%d ignored", z.est.ignored)
	}
	return s
}

func probesImplausibleWords(_ *Room, z *zone, _ *ask) string {
	return sprintf("%d of %d probes count, %d are needed: %d read what cannot be", z.est.count, z.est.assigned, z.cfg.Moisture.Quorum, z.est.bad)
}

// interlockOf finds an interlock by its code.
func interlockOf(code Reason) *interlock {
	for i := range interlocks {
		if interlocks[i].code == code {
			return &interlocks[i]
		}
	}
	return nil
}

func disagreeWords(z *zone, t time.Duration) string {
	lo, hi := "", ""
	var l, h Level = 1 << 30, -1 << 30
	for _, p := range z.probes {
		if !p.counts(t) {
			continue
		}
		if p.value < l {
			l, lo = p.value, p.id
		}
		if p.value > h {
			h, hi = p.value, p.id
		}
	}
	return sprintf("probes are more than 10 points apart: %s reads %s %%, %s reads %s %%", lo, percent(l), hi, percent(h))
}

func dailyWords(r *Room, z *zone, a *ask) string {
	if z.spent() {
		return sprintf("what was given in the last 24 h is not known, so it counts as spent; `rillgate reset budget %s` frees it", z.id)
	}
	if d := z.used(r.t, "") + z.used(r.t, Soak) + a.length; d > MaxPerDayCeiling {
		return sprintf("with %s more it would be %s in 24 h, no zone may have more than %s", words(a.length), words(d), words(MaxPerDayCeiling))
	}
	if a.fallback {
		return sprintf("the fallback gave %s of %s in 24 h, a shot of %s does not fit", words(z.used(r.t, LostProbesTimed)), words(z.cfg.Lost.MaxPerDay), words(a.length))
	}
	if a.soak && z.cfg.Limits.Soak != nil {
		return sprintf("soaks gave %s of %s in 24 h, %s more does not fit", words(z.used(r.t, Soak)), words(z.cfg.Limits.Soak.MaxPerDay), words(a.length))
	}
	return sprintf("%s of %s given in 24 h, a shot of %s does not fit", words(z.used(r.t, "")), words(z.maxPerDay()), words(a.length))
}

func maxRunWords(_ *Room, z *zone, a *ask) string {
	return sprintf("%s is longer than max_run, %s", words(a.length), words(z.maxRun()))
}

func restWords(r *Room, z *zone, a *ask) string {
	t := z.restUntil(a.rest)
	return sprintf("rests until %s, %s left", r.clockWords(t), words((t - r.t).Round(time.Second)))
}

func shotsWords(_ *Room, z *zone, _ *ask) string {
	w := z.window()
	return sprintf("%s has given its %d shots of this opening", w.Name, w.MaxShots)
}

func busyWords(r *Room, z *zone, _ *ask) string {
	if r.walking() {
		because := "the room is being walked: windows and shots wait until it ends; " + r.walkSilence()
		if z.soak != nil {
			because += "; of the soak no run begins after " + r.clockWords(z.soak.until)
		}
		return because
	}
	if z.supply == nil {
		return ""
	}
	for _, o := range z.supply.zones {
		if o != z && o.run != nil {
			return sprintf("supply %s serves %s", z.supply.cfg.ID, o.id)
		}
	}
	for _, o := range r.outputs {
		if o.zone == nil && o.takes(z.supply, r.t) {
			return sprintf("valve %s of supply %s, which no zone uses, is or may be open", o.valve, z.supply.cfg.ID)
		}
	}
	return sprintf("supply %s is taken, or one of its valves may be open", z.supply.cfg.ID)
}

func dryWords(r *Room, z *zone) string {
	rule := z.cfg.Dry
	switch {
	case rule != nil && z.est.known:
		return sprintf("%s %%, under %s %% for %s", percent(z.est.value), percent(rule.Below), words(rule.For))
	case z.mem.Lost != 0 && r.t >= z.mem.Lost+dryBlind && rule == nil:
		return sprintf("no moisture is known for %s", words(dryBlind))
	case z.dry.refused >= dryRefused || z.dry.was:
		return sprintf("refused for %s within its windows, last by %s", words(z.dry.refused), z.told)
	}
	return sprintf("%s %%, more than 5 points under its lowest level for %s", percent(z.est.value), words(dryUnder))
}

func (r *Room) entry(e *Entry) { r.out = append(r.out, e) }

// windowName gives the window's name out of its instance's id, "2027-03-02/evening".
func windowName(instance string) string {
	_, name, _ := strings.Cut(instance, "/")
	return name
}
