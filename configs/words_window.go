package configs

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"rillgate/schedule"
	"rillgate/zones"
)

// clockWords gives a time of day as the files write it: "06:00".
func clockWords(d time.Duration) string {
	d = mod(d, wholeDay)
	return fmt.Sprintf("%02d:%02d", d/time.Hour, d%time.Hour/time.Minute)
}

// edgeWords gives an edge as the files write it: `lights_on + 1 h`, `06:00`.
func edgeWords(e schedule.Edge) string {
	name := map[schedule.Anchor]string{schedule.LightsOn: "lights_on", schedule.LightsOff: "lights_off"}[e.Anchor]
	switch {
	case name == "":
		return clockWords(e.Offset)
	case e.Offset > 0:
		return name + " + " + spanWords(e.Offset)
	case e.Offset < 0:
		return name + " - " + spanWords(-e.Offset)
	}
	return name
}

// spanWords gives a length of time for sentences: "90 s", "15 min", "1 h 30 min".
func spanWords(d time.Duration) string {
	if d < 2*time.Minute && d%time.Minute != 0 {
		return timeWords(d)
	}
	var parts []string
	for _, u := range []struct {
		d    time.Duration
		name string
	}{{wholeDay, "d"}, {time.Hour, "h"}, {time.Minute, "min"}, {time.Second, "s"}} {
		if n := d / u.d; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, u.name))
			d -= n * u.d
		}
	}
	if len(parts) == 0 {
		return "0 s"
	}
	return strings.Join(parts, " ")
}

// timesWords says when a window is open.
func timesWords(w *schedule.Window) string {
	if w.Cron != "" {
		return fmt.Sprintf("cron \"%s\" for %s", w.Cron, spanWords(w.For))
	}
	s := edgeWords(w.From) + " to " + edgeWords(w.Until)
	if w.On == 0 {
		return s
	}
	var days []string
	for i := range weekdays {
		if d := (i + 1) % len(weekdays); w.On.Has(time.Weekday(d)) {
			days = append(days, weekdays[d])
		}
	}
	return strings.Join(days, ", ") + ": " + s
}

// asksWords says what a window waits for.
func asksWords(w *schedule.Window) string {
	switch {
	case w.DryBack > 0 && w.Floor > 0:
		return fmt.Sprintf("a shot after each fall of %s, and under %s", pointWords(w.DryBack), levelWords(w.Floor))
	case w.DryBack > 0:
		return "a shot after each fall of " + pointWords(w.DryBack)
	case w.Below > 0 && w.StopAt > 0:
		return fmt.Sprintf("under %s shots until %s, then again under %s", levelWords(w.Below), levelWords(w.StopAt), levelWords(w.Below))
	case w.Below > 0:
		return "a shot whenever under " + levelWords(w.Below)
	case w.StopAt > 0:
		return "shots from the opening until " + levelWords(w.StopAt) + " is reached once"
	}
	return "timed: shots by the clock"
}

// ShotWords is one shot in every measure; what is not known is nil.
type ShotWords struct {
	Percent *float64 `json:"percent"`      // of the substrate's volume
	ML      *float64 `json:"ml_per_plant"` // mL
	Seconds *float64 `json:"seconds"`      // of valve time
	Litres  *float64 `json:"litres"`       // for the whole zone
	Written string   `json:"written"`      // as the schedule gives it, scaled
	run     time.Duration
}

func known(v float64) *float64 {
	if v <= 0 {
		return nil
	}
	return &v
}

// shotWords reckons a shot for a zone.
func shotWords(z *zones.Zone, s schedule.Shot) ShotWords {
	out := ShotWords{Written: shotText(s)}
	d, ok := z.RunTime(s)
	if !ok {
		return out
	}
	ml := s.Value
	switch s.Kind {
	case schedule.BySeconds:
		ml = s.Value / 3600 * z.PlantLPH() * 1000
	case schedule.ByPercent:
		ml = s.Value / 100 * z.VolumeML
	}
	out.run = d
	out.Seconds, out.ML = known(d.Seconds()), known(ml)
	if z.VolumeML > 0 {
		out.Percent = known(ml / z.VolumeML * 100)
	}
	out.Litres = known(ml / 1000 * float64(z.Plants))
	return out
}

func shotText(s schedule.Shot) string {
	n := number(s.Value, 3)
	switch s.Kind {
	case schedule.ByMillilitres:
		return n + " mL"
	case schedule.ByPercent:
		return n + " %"
	}
	return n + " s"
}

// number gives at most so many decimals.
func number(v float64, decimals int) string {
	return trimZeros(strconv.FormatFloat(v, 'f', decimals, 64))
}

// String gives "2.7 % of the substrate = 175.5 mL a plant = 157.9 s = 8.42 L".
func (s ShotWords) String() string {
	part := func(v *float64, decimals int, unit string) string {
		if v == nil {
			return ""
		}
		return number(*v, decimals) + " " + unit
	}
	var parts []string
	for _, p := range []string{part(s.Percent, 2, "% of the substrate"), part(s.ML, 1, "mL a plant"), part(s.Seconds, 1, "s"), part(s.Litres, 2, "L in all")} {
		if p != "" {
			parts = append(parts, p)
		}
	}
	return strings.Join(parts, " = ")
}

// windowLine gives a window whole, in the words of the files.
func windowLine(w *schedule.Window) string {
	parts := []string{timesWords(w)}
	for _, l := range []struct {
		key   string
		level schedule.Level
	}{{"below", w.Below}, {"stop_at", w.StopAt}, {"floor", w.Floor}} {
		if l.level > 0 {
			parts = append(parts, l.key+" "+levelWords(l.level))
		}
	}
	if w.DryBack > 0 {
		parts = append(parts, "dry_back "+pointWords(w.DryBack))
	}
	parts = append(parts, "shot "+shotText(w.Shot))
	if w.Rest > 0 {
		parts = append(parts, "rest "+spanWords(w.Rest))
	}
	if w.MaxShots > 0 {
		parts = append(parts, fmt.Sprintf("max_shots %d", w.MaxShots))
	}
	if w.WithoutProbes {
		parts = append(parts, "without_probes")
	}
	return strings.Join(parts, ", ")
}
