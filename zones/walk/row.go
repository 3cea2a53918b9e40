package walk

import (
	"fmt"
	"math"
	"time"
)

// watched reports whether the watch may end: everything is decided, or it has lasted
// long enough.
func (w *Walk) watched() bool {
	waited := w.age - w.since
	if waited < watchAtLeast {
		return false
	}
	if waited >= watchAtMost {
		return true
	}
	row := &w.res.Valves[w.row]
	own := w.zoneIndex(row.Zone)
	for i := range w.tracks {
		x := w.riseOf(i, w.expected(row), w.tracks[i].zone == own)
		if x.Seen == Doubt || x.Seen == Unheard || w.tracks[i].zone == own && x.Seen == Still {
			return false
		}
	}
	return !w.risingStill(own)
}

// risingStill reports whether a zone surely rises at the end of its watch.
func (w *Walk) risingStill(zone int) bool {
	from := max(w.shutAt, w.age-baseSpan)
	lines := w.ofZone(w.lines(func(t *track) []sample { return t.between(from, w.age) }), zone)
	return trendOf(lines, w.sd).steep(restSlope)
}

// expected gives what a probe under mean emitters should rise by, points; 0 = not known.
func (w *Walk) expected(row *Row) float64 {
	z := w.planned(row.Zone)
	if z == nil || z.VolumeML <= 0 {
		return 0
	}
	return z.PlantLPH() * 1000 * row.Seconds / 3600 / z.VolumeML * 100
}

// judgeRow fills in the cells of the valve that was watched, and what it shows by itself.
func (w *Walk) judgeRow() {
	row := &w.res.Valves[w.row]
	if w.ask.Closings {
		w.judgeClosing()
		return
	}
	row.Expected = math.Round(w.expected(row)*100) / 100
	row.MeantLPM, row.Watched = w.meant(row), true
	own := w.zoneIndex(row.Zone)
	var rises []rise
	row.Cells = row.Cells[:0]
	for i := range w.tracks {
		x := w.riseOf(i, w.expected(row), w.tracks[i].zone == own)
		rises = append(rises, x)
		x.Points, x.Half = math.Round(x.Points*100)/100, math.Round(x.Half*100)/100
		row.Cells = append(row.Cells, x.Cell)
	}
	w.rowFaults(row, rises, own)
	for z := range w.res.Zones {
		if z == own || w.touched(rises, z) {
			w.free[z] = w.shutAt + settling
		}
	}
	w.say("%s: %s", row.Valve, w.shortly(row))
}

// meant gives what the valve's emitters draw, L/min.
func (w *Walk) meant(row *Row) float64 {
	z := w.planned(row.Zone)
	if z == nil {
		return 0
	}
	return z.FlowLPH() / 60 / float64(max(len(z.Valves), 1))
}

// touched reports whether a zone may have risen.
func (w *Walk) touched(rises []rise, zone int) bool {
	for i := range rises {
		if w.tracks[i].zone == zone && (rises[i].Seen == Rose || rises[i].Seen == Doubt) {
			return true
		}
	}
	return false
}

// settling is how long a bed is not looked at for its trend after it was watered.
const settling = 8 * time.Minute

// rowFaults finds what one valve shows without the others: water after the close, more
// than it was given, a faint rise of a whole zone.
func (w *Walk) rowFaults(row *Row, rises []rise, own int) {
	row.Verdict, row.Because = AsConfigured, ""
	tooMuch, misfit := w.tooMuch(row), w.misfit(row)
	switch {
	case row.CutShort != "":
		row.Verdict, row.Because = Unsure, "it was cut short: "+row.CutShort
	case row.AfterLPM >= stillFlow:
		row.Verdict, row.Because = Leak, fmt.Sprintf("%s L/min flow after its close", litres(row.AfterLPM))
	case tooMuch != "":
		row.Verdict, row.Because = Leak, tooMuch
	case w.risingStill(own):
		row.Verdict, row.Because = Leak, fmt.Sprintf("%s still rises %.0f min after the close", row.Zone, (w.age-w.shutAt).Minutes())
	case misfit != "":
		row.Verdict, row.Because = Unsure, misfit
	default:
		w.faint(row, rises, own)
	}
}

// faint puts in doubt a valve under which another zone rose a little as a whole, or its
// own rose by far more than was given. The cells say then what the sentence says: none of
// them is still.
func (w *Walk) faint(row *Row, rises []rise, own int) {
	_, faint := limits(row.Expected)
	for z := range w.res.Zones {
		mean, se, n := pooled(w, rises, z)
		switch {
		case n == 0:
		case z == own && row.Expected > 0 && mean-sure*se > 1.7*row.Expected:
			row.Verdict, row.Because = Unsure, fmt.Sprintf("%s rose by %.1f points, %.1f were given", row.Zone, w.meanCell(row, z), row.Expected)
		case z != own && mean-sure*se >= faint/2:
			w.doubtCells(row, rises, z)
			row.Verdict, row.Because = Unsure, fmt.Sprintf("the probes of %s rose a little too, by %.1f points in the mean: look for a cross connection", w.res.Zones[z].Zone, w.meanCell(row, z))
		}
	}
}

// doubtCells puts the probes of a zone in doubt that none of them, alone, showed clearly.
func (w *Walk) doubtCells(row *Row, rises []rise, zone int) {
	for i := range row.Cells {
		if w.tracks[i].zone == zone && row.Cells[i].Seen == Still && row.Cells[i].Points > 0 {
			row.Cells[i].Seen, rises[i].Seen = Doubt, Doubt
		}
	}
}

// meanCell gives the mean of what the matrix shows of a zone's probes, points.
func (w *Walk) meanCell(row *Row, zone int) float64 {
	sum, n := 0.0, 0
	for i := range row.Cells {
		if w.tracks[i].zone == zone && row.Cells[i].Seen != Unheard {
			sum += row.Cells[i].Points
			n++
		}
	}
	return sum / float64(max(n, 1))
}

// pooled gives the mean rise of a zone at the end of the watch.
func pooled(w *Walk, rises []rise, zone int) (mean, se float64, n int) {
	for i := range rises {
		if w.tracks[i].zone == zone && rises[i].Seen != Unheard {
			mean += rises[i].end
			se += rises[i].endSE * rises[i].endSE
			n++
		}
	}
	if n == 0 {
		return 0, 0, 0
	}
	return mean / float64(n), math.Sqrt(se) / float64(n), n
}

// leaks marks a zone that rises with nothing open.
func (w *Walk) leaks(zone int, perHour float64) {
	z := &w.res.Zones[zone]
	if w.leaking == nil {
		w.leaking = make([]string, len(w.res.Zones))
	}
	if w.leaking[zone] == "" {
		w.leaking[zone] = fmt.Sprintf("%s rises by %.1f points an hour with nothing open", z.Zone, perHour)
		w.say("%s", w.leaking[zone])
	}
}
