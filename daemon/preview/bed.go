package preview

import (
	"fmt"
	"math"

	"rillgate/schedule"
	"rillgate/zones"
	"rillgate/zones/response"
	"rillgate/zones/simroom"
	"rillgate/zones/substrate"
)

// Basis is one number that a bed is simulated with, and where it comes from.
type Basis struct {
	What    string `json:"what"`
	Value   string `json:"value"`
	From    string `json:"from"` // "learned ...", "as it is now", "from the files", "assumed ..."
	Assumed bool   `json:"assumed"`
}

// What is assumed where nothing was taught. The shares are of the substrate's volume;
// chosen here, common practice, no source. They are those of package simroom, with its
// evaporation in them, since what a zone teaches holds both.
const (
	assumedVolumeL  = 4.0
	assumedPlantLPH = 4.0
	assumedDay      = 0.0153 // of the volume, an hour
	assumedNight    = 0.0018
	assumedSlope    = 0.02 // of the uptake, a point
	assumedStart    = 52.0 // %
	leastShots      = 3    // taught points a litre count from so many shots on
	shortOfWater    = 22.0 // %; uptake fails under it (simroom's StressPercent)
)

// bed is how one zone answers.
type bed struct {
	zone    *zones.Zone
	taught  response.Learned
	volumeL float64 // of substrate a plant: 100 / volumeL points a litre
	o       simroom.ZoneOptions
	basis   []Basis
}

func newBed(z *zones.Zone, l response.Learned, level *float64) *bed {
	b := &bed{zone: z, taught: l}
	b.gain()
	b.flow()
	b.field()
	b.start(level)
	b.uptake()
	return b
}

func (b *bed) learned(what, value, from string) {
	b.basis = append(b.basis, Basis{What: what, Value: value, From: from})
}

func (b *bed) assumed(what, value, from string) {
	b.basis = append(b.basis, Basis{What: what, Value: value, From: "assumed" + from, Assumed: true})
}

// gain settles by how much a litre raises the bed.
func (b *bed) gain() {
	const what = "a litre a plant raises it by"
	points := func() string { return fmt.Sprintf("%.1f points", 100/b.volumeL) }
	l := b.taught.PointsPerLitre
	switch {
	case l.N >= leastShots && l.Value > 0:
		b.volumeL = 100 / l.Value
		b.learned(what, points(), told(l, "shot"))
	case b.zone.VolumeML > 0:
		b.volumeL = b.zone.VolumeML / 1000
		b.learned(what, points(), "from the files: volume_per_plant")
	default:
		b.volumeL = assumedVolumeL
		b.assumed(what, points(), ": the files name no volume_per_plant")
	}
}

// flow says so where nobody knows what the emitters give.
func (b *bed) flow() {
	if !(b.zone.PlantLPH() > 0) {
		b.assumed("emitters give each plant", fmt.Sprintf("%g L/h", assumedPlantLPH), ": the files name no emitters")
	}
}

func (b *bed) field() {
	const what = "drains above"
	if f := b.taught.Field; f.Known() && f.Value > 0 && f.Value < 95 {
		b.o.FieldPercent = f.Value
		b.learned(what, fmt.Sprintf("%.1f %%", f.Value), told(f, "shot"))
		return
	}
	kind := b.zone.Substrate
	if kind == "" {
		kind = "a soilless substrate"
	}
	b.o.FieldPercent = simroom.FieldPercent(b.zone.Substrate)
	if m, known := substrate.MediumOf(b.zone.Substrate); known && m.Fitted != "" && b.zone.HeightM > 0 {
		if c, err := m.Retention.In(100 * b.zone.HeightM); err == nil { // as check --explain has it
			b.o.FieldPercent = math.Round(100 * c.Capacity)
			kind += fmt.Sprintf(", %.0f cm high", 100*b.zone.HeightM)
		}
	}
	b.assumed(what, fmt.Sprintf("%.0f %%", b.o.FieldPercent), " for "+kind)
}

// start settles where the bed stands when the simulation begins.
func (b *bed) start(level *float64) {
	const what = "moisture at the start"
	if level != nil && *level > 0 {
		b.o.StartPercent = *level
		b.learned(what, fmt.Sprintf("%.1f %%", *level), "as it is now")
		return
	}
	b.o.StartPercent = assumedLevel(&b.zone.Schedule, b.o.FieldPercent)
	b.assumed(what, fmt.Sprintf("%.1f %%", b.o.StartPercent), ", a day before what is shown")
}

// assumedLevel is a level at which the schedule would keep a zone: that at which its
// windows stop or begin to ask, else the usual one, but under the field level.
func assumedLevel(s *schedule.Zone, field float64) float64 {
	level := assumedStart
	windows := s.Windows
	if s.Crop != nil && len(windows) == 0 && len(s.Crop.Stages) > 0 {
		windows = s.Crop.Stages[0].Windows
	}
	for i := range windows {
		if w := &windows[i]; w.StopAt > 0 || w.Below > 0 {
			level = max(w.StopAt, w.Below).Float()
			break
		}
	}
	return math.Min(level, field-1)
}

// uptake settles what plants and air take, L an hour and plant, at the moisture of the
// start, and how that follows the moisture.
func (b *bed) uptake() {
	l := &b.taught
	slope := assumedSlope
	if l.UptakeSlope.Known() {
		slope = math.Max(l.UptakeSlope.Value, 0)
	}
	bounded := slope
	if d := b.o.StartPercent - shortOfWater; d > 0 {
		bounded = math.Min(slope, 0.7/d) // the room bends no further
	}
	b.o.Response = notZero(bounded)
	b.o.EvaporationLPH = -1
	b.o.UptakeDayLPH = notZero(b.drinks("uptake with the lights on", l.UptakeDayML, l.UptakeDay, assumedDay, bounded))
	b.o.UptakeNightLPH = notZero(b.drinks("uptake with the lights off", l.UptakeNightML, l.UptakeNight, assumedNight, bounded))
	value := fmt.Sprintf("%.1f %% a point of moisture", 100*bounded)
	switch {
	case !l.UptakeSlope.Known():
		b.assumed("uptake falls with moisture by", value, "")
	case bounded < slope:
		b.learned("uptake falls with moisture by", value, fmt.Sprintf("%s; it taught %.1f %%, the simulation bends no further", told(l.UptakeSlope, "pair"), 100*slope))
	default:
		b.learned("uptake falls with moisture by", value, told(l.UptakeSlope, "pair"))
	}
}

// drinks gives one uptake, L/h a plant.
func (b *bed) drinks(what string, ml, points response.Number, share, slope float64) float64 {
	var lph float64
	switch {
	case ml.Known():
		lph = ml.Value / 1000
	case points.Known():
		lph, ml = points.Value/100*b.volumeL, points
	default:
		lph = share * b.volumeL
		b.assumed(what, b.millilitres(lph), fmt.Sprintf(", %g %% of the substrate an hour", 100*share))
		return lph
	}
	lph = math.Max(lph, 0)
	if b.taught.UptakeAt > 0 {
		lph *= math.Max(1+slope*(b.o.StartPercent-b.taught.UptakeAt), 0.1)
	}
	b.learned(what, b.millilitres(lph), told(ml, "dry spell"))
	return lph
}

func (b *bed) millilitres(lph float64) string {
	return fmt.Sprintf("%.0f mL a plant and hour at %.1f %%", 1000*lph, b.o.StartPercent)
}

// told says what a number was learned from.
func told(n response.Number, of string) string {
	if n.N != 1 {
		of += "s"
	}
	return fmt.Sprintf("learned from %d %s", n.N, of)
}

// notZero gives a number as simroom takes it: 0 would be its default.
func notZero(x float64) float64 {
	if x > 0 {
		return x
	}
	return -1
}
