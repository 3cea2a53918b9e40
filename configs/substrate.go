package configs

import (
	"fmt"
	"math"

	"rillgate/zones"
	"rillgate/zones/substrate"
)

const (
	ecAsMeasured = "as-measured"
	ecAt25       = "at-25"

	byDensity = "malicki-1996" // asks for a density or a porosity
	byMixing  = "mixing"       // asks for a porosity
)

// curveNames are the curves that may be named.
var curveNames = append(publishedCurves(), byDensity, byMixing)

func publishedCurves() (names word) {
	for _, c := range substrate.Curves() {
		names = append(names, c.Name)
	}
	return names
}

var sampleShape = &shape{"A sample of this substrate: its permittivity, and its moisture or what it weighed.", []field{
	{"permittivity", decimal{"1.5", "100"}, true, "what the probe read in it"},
	{"moisture", amount(percentage, "0 %", "100 %", "42 %"), false, "its moisture by volume"},
	{"wet", amount(mass, "1 g", "1000 kg", "0.412 kg"), false, "its weight as read"},
	{"dry", amount(mass, "1 g", "1000 kg", "0.105 kg"), false, "its weight dried"},
	{"volume", amount(volume, "10 mL", "1000 L", "0.65 L"), false, "its volume"},
}, "{permittivity: 21.5, moisture: 42 %}"}

func share(percent float64) float64 { return percent / 100 }

// readSamples reads the samples of a calibration.
func readSamples(t *table) item[[]rawSample] {
	out := item[[]rawSample]{at: t.keyAt["samples"], given: t.has("samples"), ok: true}
	if !out.given {
		out.ok = false
		return out
	}
	eachTable(t, "samples", sampleShape, func(e *table) {
		s := rawSample{at: e.at, permittivity: e.decimal("permittivity"), moisture: e.level("moisture"),
			wetKg: e.number("wet"), dryKg: e.number("dry"), sampleMillilitre: e.number("volume")}
		out.ok = out.ok && s.permittivity.ok && s.whole()
		out.v = append(out.v, s)
	})
	out.ok = out.ok && len(out.v) >= 2
	out.text = counted(len(out.v), "sample")
	return out
}

// whole notes a sample that says its moisture in no way, or in two.
func (s *rawSample) whole() bool {
	weighed := s.wetKg.given || s.dryKg.given || s.sampleMillilitre.given
	switch {
	case weighed && s.moisture.given:
		s.moisture.at.fail(CodeConflict, "leave the moisture away, or wet, dry and volume", "a sample says its moisture and what it weighed")
		return false
	case s.moisture.given:
		return s.moisture.ok
	case s.wetKg.given && s.dryKg.given && s.sampleMillilitre.given:
		return s.wetKg.ok && s.dryKg.ok && s.sampleMillilitre.ok
	}
	s.at.fail(CodeMissing, "for example `"+sampleShape.example+"`, or `{permittivity: 21.5, wet: 0.412 kg, dry: 0.105 kg, volume: 0.65 L}`", "a sample says neither its moisture nor what it weighed")
	return false
}

// pickCurve: the zone's own samples put the defaults' curve out of force.
func (k rawKeys) pickCurve(d *rawKeys) item[string] {
	if !k.curve.given && k.samples.given {
		return item[string]{}
	}
	return pick(k.curve, d.curve)
}

// pickSamples: the zone's own curve puts the defaults' samples out of force.
func (k rawKeys) pickSamples(d *rawKeys) item[[]rawSample] {
	if !k.samples.given && k.curve.given {
		return item[[]rawSample]{}
	}
	return pick(k.samples, d.samples)
}

// checkMedia: each zone has one curve, and it fits what the zone is.
func (c *checker) checkMedia() {
	told := map[place]bool{}
	for i := range c.room.zones {
		z := &c.room.zones[i]
		k := &z.keys
		if k.curve.given && k.samples.given && !told[k.samples.at] {
			told[k.samples.at] = true
			k.samples.at.failIn(z.id.v, CodeConflict, "leave one of them away", "`curve` and `samples` both say how a permittivity becomes moisture")
			continue
		}
		curve, at, err := k.curveInForce()
		if err != nil {
			if !told[at] {
				told[at] = true
				at.failIn(z.id.v, CodeRange, curveHint(k), "%s", err)
			}
			continue
		}
		c.checkCurve(z, &curve, at)
	}
}

func curveHint(k *rawKeys) string {
	switch {
	case k.samples.given:
		return "weigh two samples at least, one drier and one wetter; see docs/substrate.md"
	case k.curve.v == byDensity:
		return "give `density` (from 0.13 g/cm3) or `porosity` beside it"
	}
	return "give `porosity: 88 %` beside it"
}

// checkCurve: a curve that a person chose should tell the moistures that matter, and be of
// this kind of substrate. Wetter than it can tell counts as max_moisture and so closes;
// drier than it can tell counts for nothing, so a zone that waters there would never.
func (c *checker) checkCurve(z *rawZone, curve *substrate.Curve, at place) {
	k := &z.keys
	c.checkKind(z)
	if !at.ok() {
		return
	}
	if top := reach(curve); k.maxMoisture.ok && k.maxMoisture.v > top {
		at.warnIn(z.id.v, CodeConflict, "take samples that go further, or know that the page shows no moisture between the two",
			"this curve tells no moisture over %s: what is wetter counts as the max_moisture of zone `%s`, %s", levelWords(top), z.id.v, levelWords(k.maxMoisture.v))
	}
	if least, what := c.lowest(z); least > 0 && least <= bottom(curve) {
		at.failIn(z.id.v, CodeConflict, "take a drier sample too, or a curve that goes further down",
			"this curve tells no moisture under %s, and %s of zone `%s` is %s: its probes would be left out before", levelWords(bottom(curve)), what, z.id.v, levelWords(least))
	}
	if m, known := substrate.MediumOf(k.substrate.v); k.curve.ok && curve.Material == substrate.Mineral && (m.Soilless || !known) {
		at.warnIn(z.id.v, CodeConflict, "take the zone's own samples, or a curve for organic material", "`%s` was made for mineral soil: in a soilless substrate it tells far less water than there is", curve.Name)
	}
}

// checkKind: a kind of which nothing is known is taken as a soilless one.
func (c *checker) checkKind(z *rawZone) {
	kind := z.keys.substrate
	if _, known := substrate.MediumOf(kind.v); !kind.ok || known {
		return
	}
	kind.at.warnIn(z.id.v, CodeReference, "kinds are coir, peat, stone wool, bark, perlite and mineral soil; or give `samples` of your own, which go before",
		"nothing is known of the substrate `%s`: a permittivity is read as in a soilless one", shorten(kind.v))
}

// lowest gives the driest level that the zone's schedule or alarm asks for, and its name.
func (c *checker) lowest(z *rawZone) (least zones.Level, what string) {
	take := func(l item[zones.Level], name string) {
		if l.ok && l.v > 0 && (least == 0 || l.v < least) {
			least, what = l.v, name
		}
	}
	if p := c.followed(z.id.v); p != nil && c.follows(p) {
		for _, windows := range c.stagesOf(p) {
			for i := range windows {
				take(windows[i].below, "`below`")
				take(windows[i].floor, "`floor`")
			}
		}
	}
	below, _ := c.dryOf(z.id.v)
	take(below, "the dry alarm")
	return least, what
}

// follows reports whether the zone follows something that is there.
func (c *checker) follows(p *rawZonePlan) bool {
	switch {
	case p.crop.given && p.routine.given:
		return false
	case p.crop.ok:
		return c.schedule.crop(p.crop.v) != nil
	case p.routine.ok:
		return c.schedule.routine(p.routine.v) != nil
	}
	return p.isList
}

// bottom gives the driest that a curve can tell.
func bottom(c *substrate.Curve) zones.Level {
	m, err := c.Moisture(c.Low, 20)
	if err != nil {
		return 0
	}
	return zones.Level(math.Ceil(m.Theta*1000)) * 100
}

// reach gives the wettest that a curve can tell, in whole tenths of a percent.
func reach(c *substrate.Curve) zones.Level {
	m, err := c.Moisture(c.High, 20)
	if err != nil {
		return 0
	}
	return zones.Level(math.Floor(m.Theta*1000)) * 100
}

// curveInForce gives the curve and the place that asks for it; the zero place where
// it is the default of the substrate's kind.
func (k *rawKeys) curveInForce() (substrate.Curve, place, error) {
	medium, _ := substrate.MediumOf(k.substrate.v)
	pores := k.porosity.or(medium.Porosity.Value)
	switch {
	case k.samples.given && k.samples.ok:
		curve, err := ownCurve(k.samples.v, k.porosity.v)
		return curve, k.samples.at, err
	case k.curve.ok && k.curve.v == byMixing:
		curve, err := substrate.Mixing(pores, substrate.UsualSolid)
		return curve, k.curve.at, err
	case k.curve.ok && k.curve.v == byDensity && k.density.ok:
		curve, err := substrate.MalickiByDensity(k.density.v, pores)
		return curve, k.curve.at, err
	case k.curve.ok && k.curve.v == byDensity:
		curve, err := substrate.MalickiByPorosity(pores)
		return curve, k.curve.at, err
	case k.curve.ok:
		curve, err := substrate.CurveNamed(k.curve.v)
		if pores > 0 {
			curve.Top = min(curve.Top, pores)
		}
		return curve, k.curve.at, err
	}
	curve := substrate.DefaultCurve(k.substrate.v)
	if k.porosity.ok {
		curve.Top = min(curve.Top, k.porosity.v)
	}
	return curve, place{}, nil
}

// ownCurve calibrates by the samples.
func ownCurve(samples []rawSample, pores float64) (substrate.Curve, error) {
	var list []substrate.Sample
	for _, s := range samples {
		theta := s.moisture.v.Float() / 100
		if !s.moisture.ok {
			var err error
			if theta, err = substrate.GravimetricTheta(s.wetKg.v, s.dryKg.v, s.sampleMillilitre.v/1000); err != nil {
				return substrate.Curve{}, err
			}
		}
		list = append(list, substrate.Sample{Permittivity: s.permittivity.v, Theta: theta})
	}
	fit, err := substrate.Calibrate(list)
	if err != nil {
		return substrate.Curve{}, err
	}
	return fit.Curve("samples", pores), nil
}

// medium gives how the zone's probes are read.
func (c *checker) medium(z *rawZone) zones.Medium {
	k := &z.keys
	curve, _, err := k.curveInForce()
	if err != nil {
		curve = substrate.DefaultCurve(k.substrate.v)
	}
	kind, _ := substrate.MediumOf(k.substrate.v)
	return zones.Medium{Curve: curve, PoreOff: k.poreOffset.or(kind.PoreShift.Value), ECAt25: k.ec.v == ecAt25}
}

func curveOrigins(l *originList, k, o *rawKeys) {
	kind, _ := substrate.MediumOf(k.substrate.v)
	silent := substrate.DefaultCurve(k.substrate.v).Name
	if k.samples.given {
		origin(l, "substrate.samples", k.samples, o.samples, "")
	} else {
		origin(l, "substrate.curve", k.curve, o.curve, silent)
	}
	origin(l, "substrate.porosity", k.porosity, o.porosity, "")
	if k.curve.v == byDensity {
		origin(l, "substrate.density", k.density, o.density, "")
	}
	if holds, ok := holdsWords(&kind, k.height); ok {
		l.list = append(l.list, Origin{"substrate holds", holds, "reckoned: " + string(kind.Fitted)},
			Origin{"easily available", fmt.Sprintf("%.0f %%", 100*kind.Retention.Available().Easily), "reckoned, from 1 to 5 kPa: " + string(kind.Fitted)})
	}
	origin(l, "substrate.pore_offset", k.poreOffset, o.poreOffset, fmt.Sprintf("%g", kind.PoreShift.Value))
}

// holdsWords says what a container of such a medium holds after it has drained, with the
// standing of the retention curve behind it.
func holdsWords(m *substrate.Medium, height item[float64]) (string, bool) {
	if !height.ok || m.Fitted == "" {
		return "", false
	}
	c, err := m.Retention.In(height.v * 100)
	if err != nil {
		return "", false
	}
	return fmt.Sprintf("%.0f %%, %.0f %% air", 100*c.Capacity, 100*c.AirSpace), true
}
