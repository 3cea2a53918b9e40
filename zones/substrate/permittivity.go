package substrate

import (
	"fmt"
	"math"
)

// WaterModel names a published formula for the relative permittivity of water.
type WaterModel string

// The models. They agree within 0.5 from 0 to 40 °C.
const (
	// Malmberg & Maryott 1956, J. Res. NBS 56:1-8.
	MalmbergMaryott WaterModel = "malmberg-maryott-1956"
	// Weast, CRC Handbook, after Wyman & Ingalls 1938.
	WymanIngalls WaterModel = "wyman-ingalls-1938"
	// Kaatze 1989, J. Chem. Eng. Data 34:371-374 (from memory).
	Kaatze WaterModel = "kaatze-1989"
	// The straight line used with Hilhorst's pore-water formula (from memory).
	LinearWater WaterModel = "linear"
)

// Root zones are between these, °C; the formulas are not asked beyond them.
const (
	coldest = 0.0
	hottest = 50.0
)

// Permittivity gives the relative permittivity of water at a temperature from 0 to
// 50 °C. It fails beyond that, and on an unknown model.
func (m WaterModel) Permittivity(celsius float64) (float64, error) {
	if err := checkCelsius(celsius); err != nil {
		return 0, err
	}
	switch t := celsius; m {
	case MalmbergMaryott:
		return waterAt(t), nil
	case WymanIngalls:
		return 78.54 * cubic(t-25, 1, -4.579e-3, 1.19e-5, -2.8e-8), nil
	case Kaatze:
		return math.Pow(10, 1.94404-1.991e-3*t), nil
	case LinearWater:
		return 80.3 - 0.37*(t-20), nil
	}
	return 0, fmt.Errorf("reckon water's permittivity: no model %q", string(m))
}

func checkCelsius(t float64) error {
	if !(t >= coldest && t <= hottest) {
		return fmt.Errorf("use a temperature of %g °C: %g to %g °C is due", t, coldest, hottest)
	}
	return nil
}

func cubic(x, a, b, c, d float64) float64 { return a + x*(b+x*(c+x*d)) }
