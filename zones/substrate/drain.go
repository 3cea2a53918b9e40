package substrate

import "fmt"

// DrainSample is the drain of some plants, collected over some shots, and what those
// plants were given meanwhile. Volumes are of the same plants, in mL.
type DrainSample struct {
	AppliedML, DrainML float64
	In, Out            Conductivity // of the feed and of the drain, both at 25 °C
	PH                 float64      // of the drain; 0 = not measured
}

// Drain is what a drain sample says.
type Drain struct {
	// Share is drain / applied by volume, 0 to 1: the drain share, and the leaching
	// fraction as it is used for containers.
	Share float64
	// SteadyShare is EC in / EC out: the leaching fraction that a conservative salt
	// would show in the long run (Ayers & Westcot 1985, FAO-29). Share below it means
	// that salts build up; 0 = no drain to tell from.
	SteadyShare float64
	// SaltIn, SaltOut and SaltKept are in dS/m x L: what came, what left, what stayed
	// or was taken up.
	SaltIn, SaltOut, SaltKept float64
	// Uptake is the concentration at which the rest was kept: salt kept / water kept.
	Uptake Conductivity
}

// Judge gives what the sample says. It fails without a feed, with more drain than
// feed, with drain of no EC, and on a pH outside 0 to 14.
func (s DrainSample) Judge() (Drain, error) {
	if err := s.check(); err != nil {
		return Drain{}, err
	}
	d := Drain{
		Share:  s.DrainML / s.AppliedML,
		SaltIn: s.AppliedML / 1000 * float64(s.In), SaltOut: s.DrainML / 1000 * float64(s.Out),
	}
	d.SaltKept = d.SaltIn - d.SaltOut
	if s.DrainML > 0 {
		d.SteadyShare = float64(s.In / s.Out)
	}
	if kept := (s.AppliedML - s.DrainML) / 1000; kept > 0 {
		d.Uptake = Conductivity(d.SaltKept / kept)
	}
	return d, nil
}

func (s DrainSample) check() error {
	switch {
	case !(s.AppliedML > 0 && s.AppliedML < 1e9):
		return fmt.Errorf("judge drain: %g mL applied; what the sampled plants were given is due", s.AppliedML)
	case !(s.DrainML >= 0 && s.DrainML <= s.AppliedML):
		return fmt.Errorf("judge drain: %g mL of drain from %g mL; both must be of the same plants and shots", s.DrainML, s.AppliedML)
	case !(s.In >= 0 && s.In <= 100):
		return fmt.Errorf("judge drain: a feed of %g dS/m; 0 to 100 is due", float64(s.In))
	case s.DrainML > 0 && !(s.Out > 0 && s.Out <= 100):
		return fmt.Errorf("judge drain: a drain of %g dS/m; above 0 to 100 is due", float64(s.Out))
	case !(s.PH >= 0 && s.PH <= 14):
		return fmt.Errorf("judge drain: a pH of %g; 0 to 14 is due", s.PH)
	}
	return nil
}

// SteadyDrainEC gives the EC of the drain in the long run, at a drain share above 0
// to 1, when plants take up water of EC uptake (0: none): (in - (1 - share) uptake) /
// share, from the balance of salts. It fails when plants would take up more than comes.
func SteadyDrainEC(in, uptake Conductivity, share float64) (Conductivity, error) {
	if !(share > 0 && share <= 1 && in >= 0 && uptake >= 0) {
		return 0, fmt.Errorf("reckon drain EC at a drain share of %g: above 0 to 1 is due", share)
	}
	rest := in - Conductivity(1-share)*uptake
	if rest < 0 {
		return 0, fmt.Errorf("reckon drain EC: an uptake of %g dS/m takes more salt than %g dS/m brings", float64(uptake), float64(in))
	}
	return rest / Conductivity(share), nil
}

// GrossML gives what must be applied so that net mL stay at a drain share of 0 to
// below 1: net / (1 - share).
func GrossML(netML, share float64) (float64, error) {
	if !(netML >= 0 && share >= 0 && share < 1) {
		return 0, fmt.Errorf("reckon the gross of %g mL at a drain share of %g: 0 to below 1 is due", netML, share)
	}
	return netML / (1 - share), nil
}

// LeachingRequirement gives the leaching fraction that keeps the root zone at soil EC
// under water of an EC: water / (5 soil - water) (Rhoades 1974, in Ayers & Westcot
// 1985, FAO-29, eq. 9). It is made for soils. It fails when no leaching suffices.
func LeachingRequirement(water, soil Conductivity) (float64, error) {
	if !(water >= 0 && 5*soil > water) || 5*soil-water < water {
		return 0, fmt.Errorf("reckon leaching for water of %g dS/m and soil of %g dS/m: no leaching suffices", float64(water), float64(soil))
	}
	return float64(water / (5*soil - water)), nil
}
