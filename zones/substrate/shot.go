package substrate

import (
	"fmt"
	"math"
)

// LitresPerUSGallon is exact.
const LitresPerUSGallon = 3.785411784

// Drip is what a plant stands in and is watered by.
type Drip struct {
	VolumeML   float64 // substrate a plant
	Emitters   float64 // emitters a plant
	EmitterLPH float64 // L/h an emitter
}

// Dose is one shot at one plant, in the three ways that it is spoken of.
type Dose struct {
	ML      float64
	Seconds float64 // of valve time
	Points  float64 // rise in percent by volume, if nothing drains or is taken up; also % of the substrate's volume
}

// OfML gives the dose of a volume in mL.
func (d Drip) OfML(ml float64) (Dose, error) {
	lph := d.Emitters * d.EmitterLPH
	if !(d.VolumeML > 0 && lph > 0) || math.IsInf(d.VolumeML+lph, 0) {
		return Dose{}, fmt.Errorf("reckon a shot: %g mL of substrate and %g L/h a plant; both above 0 are due", d.VolumeML, lph)
	}
	if !(ml >= 0) || math.IsInf(ml, 0) {
		return Dose{}, fmt.Errorf("reckon a shot of %g mL: 0 or more is due", ml)
	}
	return Dose{ML: ml, Seconds: ml * 3.6 / lph, Points: 100 * ml / d.VolumeML}, nil
}

// OfSeconds gives the dose of a valve time.
func (d Drip) OfSeconds(seconds float64) (Dose, error) {
	return d.OfML(seconds * d.Emitters * d.EmitterLPH / 3.6)
}

// OfPoints gives the dose that is so many percent of the substrate's volume.
func (d Drip) OfPoints(points float64) (Dose, error) {
	return d.OfML(points / 100 * d.VolumeML)
}

// DryBack is a fall of moisture from the last peak to the low before the first shot.
// Points and Relative are different numbers: say which.
type DryBack struct {
	Points   float64 // peak less low, percent by volume
	Relative float64 // Points as a percentage of the peak
}

// DryBackOf gives the dry-back from a peak to a low, both in percent by volume. It
// fails unless 0 <= low <= peak <= 100 with a peak above 0.
func DryBackOf(peak, low float64) (DryBack, error) {
	if !(low >= 0 && low <= peak && peak > 0 && peak <= 100) {
		return DryBack{}, fmt.Errorf("reckon a dry-back from %g to %g %%: a low from 0 up to the peak is due", peak, low)
	}
	return DryBack{Points: peak - low, Relative: 100 * (peak - low) / peak}, nil
}

// Balance is the water of a bed over a time, all in one unit.
type Balance struct {
	Start, End, Applied, Taken, Evaporated, Drained float64
}

// Gap gives what is unaccounted for: 0 but for rounding. Above 0 water came in that
// was not applied.
func (b Balance) Gap() float64 {
	return (b.End - b.Start) - (b.Applied - b.Taken - b.Evaporated - b.Drained)
}
