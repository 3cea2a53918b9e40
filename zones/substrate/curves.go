package substrate

import (
	"fmt"
	"math"
	"strings"
)

// Curves gives the published curves that need no number of the substrate. Where
// RangeStanding is Ours, the paper's own range was not seen: the curve then holds
// where it rises and stays in the pores of such material.
func Curves() []Curve {
	return []Curve{
		fit("topp-1980", "Topp, Davis & Annan 1980, Water Resour. Res. 16:574-582, eq. 7", Mineral, 0.60,
			-5.3e-2, 2.92e-2, -5.5e-4, 4.3e-6).held(3, 40, Recalled).within(0.013),
		fit("jacobsen-schjonning-1993", "Jacobsen & Schjønning 1993, J. Hydrol. 151:147-157, eq. 2", Mineral, 0.60,
			-0.0701, 0.0347, -11.6e-4, 18.0e-6).held(3, 35, Ours),
		fit("roth-1992-organic", "Roth, Malicki & Plagge 1992, J. Soil Sci. 43:1-13, table 3c; bulk density 0.26 to 0.77", Organic, 0.83,
			-0.0233, 0.0285, -4.31e-4, 3.04e-6),
		fit("kellner-lundin-2001", "Kellner & Lundin 2001, Hydrol. Res. 32:315-332, table 2 pooled; Sphagnum, porosity 0.953 to 0.979", Organic, 0.979,
			0.0390, 0.0317, -4.50e-4, 2.60e-6).within(0.04),
		fit("nagare-2011", "Nagare et al. 2011, Eur. J. Soil Sci. 62:505-515, table 4 combined; bulk density 0.053 to 0.183", Organic, 0.965,
			-0.0189, 0.0320, -4.59e-4, 2.70e-6),
		fit("myllys-simojoki-1996", "Myllys & Simojoki 1996, table 2 pooled; cultivated peat", Organic, 0.90,
			-0.0733, 0.0417, -8.01e-4, 5.56e-6),
		pepin(),
	}
}

// pepin: the transcription seen has the quadratic term with a plus, which gives more
// water than volume at a permittivity of 80. The minus stands here, unverified.
func pepin() Curve {
	c := fit("pepin-1992", "Pepin et al. 1992, Can. J. For. Res. 22:534-540, table 2 pooled; sign of the quadratic term not verified", Organic, 0.95,
		0.085, 0.0192, -0.95e-4, 0)
	c.Standing = Doubtful
	return c
}

// fit makes a polynomial curve that holds from 3 to 60 (ours).
func fit(name, source string, of Material, top, a, b, c, d float64) Curve {
	return Curve{
		Name: name, Source: source, Standing: Transcribed, Material: of,
		Low: 3, High: 60, RangeStanding: Ours, Top: top,
		form: polynomial, coef: [4]float64{a, b, c, d},
	}
}

func (c Curve) held(low, high float64, s Standing) Curve {
	c.Low, c.High, c.RangeStanding = low, high, s
	return c
}

func (c Curve) within(doubt float64) Curve {
	c.Doubt = doubt
	return c
}

// CurveNamed gives one of Curves by its name, in any case. It fails on another name,
// and says which there are.
func CurveNamed(name string) (Curve, error) {
	var names []string
	for _, c := range Curves() {
		if strings.EqualFold(name, c.Name) {
			return c, nil
		}
		names = append(names, c.Name)
	}
	return Curve{}, fmt.Errorf("find curve %q: use one of %s", name, strings.Join(names, ", "))
}

// MalickiByDensity gives the curve of Malicki, Plagge & Roth 1996, Eur. J. Soil Sci.
// 47:357-366, eq. 10, for a bulk density of 0.13 to 2 g/cm3. porosity (0.3 to 0.99)
// bounds what it gives: in loose material the formula exceeds it.
func MalickiByDensity(density, porosity float64) (Curve, error) {
	if !(density >= 0.13 && density <= 2) {
		return Curve{}, fmt.Errorf("use malicki-1996 at %g g/cm3: 0.13 to 2 is due; lighter material is outside its data", density)
	}
	if err := checkPorosity(porosity); err != nil {
		return Curve{}, err
	}
	c := byDensity(density)
	c.Top = porosity
	return c, nil
}

// MalickiByPorosity gives eq. 12 of the same paper, for a porosity of 0.3 to 0.99.
func MalickiByPorosity(porosity float64) (Curve, error) {
	if err := checkPorosity(porosity); err != nil {
		return Curve{}, err
	}
	return byPorosity(porosity), nil
}

func byDensity(d float64) Curve {
	c := malicki("eq. 10, bulk density", 1)
	c.straight(0.819+0.168*d+0.159*d*d, 7.17+1.18*d)
	return c
}

func byPorosity(p float64) Curve {
	c := malicki("eq. 12, porosity", p)
	c.straight(3.47-6.22*p+3.82*p*p, 7.01+6.89*p-7.83*p*p)
	return c
}

func malicki(by string, top float64) Curve {
	return Curve{
		Name: "malicki-1996", Source: "Malicki, Plagge & Roth 1996, Eur. J. Soil Sci. 47:357-366, " + by,
		Standing: Transcribed, Material: Either, Low: 3, High: 60, RangeStanding: Ours, Top: top,
	}
}

// straight sets (root of permittivity - shift) / slope.
func (c *Curve) straight(shift, slope float64) {
	c.form, c.coef = rootLine, [4]float64{-shift / slope, 1 / slope}
}

// Mixing gives the mixing model of Roth et al. 1990, Water Resour. Res. 26:2267-2273
// (the citation from memory), with exponent 0.5: solids, water and air by their share.
// porosity is 0.3 to 0.99, solid the permittivity of the solids, 2 to 8; about 3 to 5
// is usual. It follows the temperature through water's permittivity (Malmberg &
// Maryott), and holds from dry to saturated by itself.
func Mixing(porosity, solid float64) (Curve, error) {
	if err := checkPorosity(porosity); err != nil {
		return Curve{}, err
	}
	if !(solid >= 2 && solid <= 8) {
		return Curve{}, fmt.Errorf("mix solids of permittivity %g: 2 to 8 is due", solid)
	}
	dry := (1-porosity)*math.Sqrt(solid) + porosity
	full := (1-porosity)*math.Sqrt(solid) + porosity*math.Sqrt(waterAt(coldest))
	return Curve{
		Name: "mixing", Source: "Roth et al. 1990, Water Resour. Res. 26:2267-2273, exponent 0.5",
		Standing: Transcribed, Material: Either, Low: dry * dry, High: full * full, RangeStanding: Derived,
		Top: porosity, Thermal: true,
		form: rootMixing, coef: [4]float64{dry},
	}, nil
}

// waterAt is Malmberg & Maryott's, for a temperature already checked.
func waterAt(celsius float64) float64 {
	return cubic(celsius, 87.740, -0.40008, 9.398e-4, -1.410e-6)
}

func checkPorosity(p float64) error {
	if !(p >= 0.3 && p <= 0.99) {
		return fmt.Errorf("use a porosity of %g: 0.3 to 0.99 is due", p)
	}
	return nil
}
