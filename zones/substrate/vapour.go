package substrate

import (
	"fmt"
	"math"
)

// Equations here are those of Allen, Pereira, Raes & Smith 1998, FAO Irrigation and
// Drainage Paper 56 (FAO-56).

// SaturationKPa gives the saturation vapour pressure at a temperature in °C (eq. 11).
func SaturationKPa(celsius float64) float64 {
	return 0.6108 * math.Exp(17.27*celsius/(celsius+237.3))
}

// SaturationSlope gives how it rises, kPa/°C (eq. 13).
func SaturationSlope(celsius float64) float64 {
	return 4098 * SaturationKPa(celsius) / ((celsius + 237.3) * (celsius + 237.3))
}

// MeanSaturationKPa gives a day's saturation vapour pressure (eq. 12): of its highest
// and lowest temperature, not of their mean.
func MeanSaturationKPa(most, least float64) float64 {
	return (SaturationKPa(most) + SaturationKPa(least)) / 2
}

// ActualKPa gives a day's vapour pressure from its temperatures (°C) and relative
// humidities (%) (eq. 17).
func ActualKPa(most, least, mostHumid, leastHumid float64) float64 {
	return (SaturationKPa(least)*mostHumid + SaturationKPa(most)*leastHumid) / 200
}

// VPD gives the vapour pressure deficit of a leaf in air, kPa: saturation at the
// leaf's temperature less the vapour of the air (°C and % relative humidity). For
// the air's own deficit give its temperature twice. Under 0 water condenses on the
// leaf. It fails on a humidity outside 0 to 100 and on temperatures outside 0 to 50.
func VPD(leaf, air, humidity float64) (float64, error) {
	if !(humidity >= 0 && humidity <= 100) {
		return 0, fmt.Errorf("reckon a vapour deficit at %g %% humidity: 0 to 100 is due", humidity)
	}
	for _, t := range []float64{leaf, air} {
		if err := checkCelsius(t); err != nil {
			return 0, fmt.Errorf("reckon a vapour deficit: %w", err)
		}
	}
	return SaturationKPa(leaf) - SaturationKPa(air)*humidity/100, nil
}

// PressureKPa gives the air's pressure at a height above the sea in m (eq. 7).
func PressureKPa(metres float64) float64 {
	return 101.3 * math.Pow((293-0.0065*metres)/293, 5.26)
}

// Psychrometric gives the psychrometric constant at a pressure, kPa/°C (eq. 8).
func Psychrometric(kPa float64) float64 { return 0.665e-3 * kPa }

// WindAt2M brings a wind speed measured at a height in m, above 0.1, to 2 m (eq. 47).
func WindAt2M(speed, metres float64) float64 {
	return speed * 4.87 / math.Log(67.8*metres-5.42)
}

// Weather is what the reference evapotranspiration of a day is reckoned from.
type Weather struct {
	Radiation, SoilHeat float64 // MJ/m2 a day: net radiation, heat into the ground
	Celsius             float64 // mean
	Wind                float64 // m/s at 2 m
	SaturationKPa       float64
	ActualKPa           float64
	Slope               float64 // kPa/°C
	Psychrometric       float64 // kPa/°C
}

// ETo gives the reference evapotranspiration in two parts, by radiation and by wind
// and dry air, mm a day (eq. 6). It is made for grass outdoors: in a room with lamps
// it tells how demand moves, not what a plant drinks.
func (w Weather) ETo() (radiative, aerodynamic float64) {
	under := w.Slope + w.Psychrometric*(1+0.34*w.Wind)
	radiative = 0.408 * w.Slope * (w.Radiation - w.SoilHeat) / under
	aerodynamic = w.Psychrometric * 900 / (w.Celsius + 273) * w.Wind * (w.SaturationKPa - w.ActualKPa) / under
	return radiative, aerodynamic
}

// Stress gives what is left of uptake, 0 to 1, when depleted of the total available
// water is gone (same unit) and a share p of it comes without stress (eq. 84). It
// fails unless total is above 0 and p is from 0 to below 1.
func Stress(total, depleted, p float64) (float64, error) {
	if !(total > 0 && depleted >= 0 && p >= 0 && p < 1) {
		return 0, fmt.Errorf("reckon stress at %g of %g with p %g: a total above 0 and p from 0 to below 1 are due", depleted, total, p)
	}
	return min(1, max(0, (total-depleted)/((1-p)*total))), nil
}
