package wiring

import (
	"fmt"
	"math"
	"strconv"
)

// Annealed copper of 100 % IACS: 1.7241e-8 ohm m at 20 °C, 0.00393 more a kelvin
// (IEC 60028; the figures from memory, they reproduce the published wire tables).
const (
	copperOhmMetre    = 1.7241e-8
	copperPerKelvin   = 0.00393
	referenceCelsius  = 20.0
	strandedOverSolid = 1.024 // NEC chapter 9 table 8: 1.018 to 1.026 from 18 to 8 AWG
)

// Wire is the size of a conductor. The zero Wire is not given.
type Wire struct {
	Size   string  `json:"size"` // as written: "18 AWG", "0.75 mm2"
	AWG    int     `json:"-"`
	Gauged bool    `json:"-"` // AWG holds; else MM2 is a nominal size
	MM2    float64 `json:"mm2"`
}

// Gauge gives a wire of the American gauge: diameter 0.127 mm x 92^((36-n)/39)
// (ASTM B258).
func Gauge(n int) Wire {
	d := GaugeDiameter(n)
	return Wire{Size: strconv.Itoa(n) + " AWG", AWG: n, Gauged: true, MM2: math.Pi / 4 * d * d}
}

// GaugeDiameter gives the diameter of a gauge, mm.
func GaugeDiameter(n int) float64 { return 0.127 * math.Pow(92, float64(36-n)/39) }

// Metric gives a wire by its nominal cross-section, mm2.
func Metric(mm2 float64) Wire {
	return Wire{Size: strconv.FormatFloat(mm2, 'f', -1, 64) + " mm2", MM2: mm2}
}

// Given reports whether anybody wrote the size.
func (w Wire) Given() bool { return w.MM2 > 0 }

// Finer reports whether the wire has less copper than another.
func (w Wire) Finer(than Wire) bool { return w.MM2 < than.MM2*(1-1e-9) }

// OhmsPerMetre gives the resistance of one stranded conductor at a temperature in
// °C: what a cable maker may deliver at worst, not what the size alone gives.
func (w Wire) OhmsPerMetre(celsius float64) Amount {
	if !w.Given() {
		return Amount{}
	}
	return Known(w.ohms20() * (1 + copperPerKelvin*(celsius-referenceCelsius)))
}

func (w Wire) ohms20() float64 {
	if w.Gauged {
		return copperOhmMetre / (w.MM2 * 1e-6) * strandedOverSolid
	}
	return flexibleOhms(w.MM2)
}

// nominal is one row of a table of greatest resistances.
type nominal struct {
	mm2, ohmsPerKm float64
}

// flexible is the greatest resistance at 20 °C of plain flexible copper, class 5:
// from 0.5 mm2 on IEC 60228 table 3, under it DIN VDE 0295 as a cable maker
// reprints it (the standards themselves were not seen; two reprints agree).
var flexible = [...]nominal{{0.05, 380}, {0.08, 237}, {0.11, 170}, {0.12, 155}, {0.14, 138}, {0.22, 96}, {0.25, 79}, {0.34, 56},
	{0.5, 39}, {0.75, 26}, {1, 19.5}, {1.5, 13.3}, {2.5, 7.98}, {4, 4.95}, {6, 3.30}, {10, 1.91}}

// flexibleOhms gives ohm a metre of a nominal size. Between two rows it is as much
// copper as the size says, and never better than the next row.
func flexibleOhms(mm2 float64) float64 {
	if mm2 < flexible[0].mm2 {
		return flexible[0].ohmsPerKm * flexible[0].mm2 / mm2 / 1000
	}
	at := 0
	for i := range flexible {
		if flexible[i].mm2 <= mm2*(1+1e-9) {
			at = i
		}
	}
	ohms := flexible[at].ohmsPerKm * flexible[at].mm2 / mm2
	if at+1 < len(flexible) {
		ohms = max(ohms, flexible[at+1].ohmsPerKm)
	}
	return ohms / 1000
}

// thicker lists the sizes that are commonly sold over a wire's own, thinnest first.
func (w Wire) thicker() (out []Wire) {
	if w.Gauged {
		for n := (w.AWG - 1) / 2 * 2; n >= 8; n -= 2 {
			out = append(out, Gauge(n))
		}
		return out
	}
	for _, row := range flexible[8:] {
		if row.mm2 > w.MM2 {
			out = append(out, Metric(row.mm2))
		}
	}
	return out
}

// String gives the size as written, or "size not given".
func (w Wire) String() string {
	switch {
	case w.Size != "":
		return w.Size
	case w.Given():
		return fmt.Sprintf("%.3g mm2", w.MM2)
	}
	return "size not given"
}
