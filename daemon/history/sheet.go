package history

import (
	"cmp"
	"encoding/csv"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"rillgate/store"
)

// The columns, in their order. The second one is called clock_ and the time zone.
const (
	colTime = iota
	colClock
	colRecord
	colZone
	colProbe
	colMoisture
	colHalfWidth
	colPoreEC
	colBulkEC
	colTemperature
	colRun
	colValve
	colWindow
	colOpened
	colClosed
	colEnd
	colSeconds
	colLitres
	columns
)

var names = [columns]string{"time", "clock_", "record", "zone", "probe", "moisture_percent", "moisture_half_width_points",
	"pore_ec_mS_per_cm_at_25_C", "bulk_ec_mS_per_cm", "temperature_C", "run", "valve", "window", "opened_because", "closed_time", "closed_because",
	"water_seconds", "litres"}

// column says where the numbers of a kind of series go.
var column = map[store.Kind]int{
	store.ProbeMoisture: colMoisture, store.ZoneMoisture: colMoisture, store.ZoneHalfWidth: colHalfWidth, store.ZonePoreEC: colPoreEC,
	store.ProbeEC: colBulkEC, store.ProbeTemperature: colTemperature, store.ZoneTemperature: colTemperature,
}

// The records that a line can be.
const (
	recordZone  = "zone"
	recordProbe = "probe"
	recordRun   = "run"
)

// OfProbe reports whether a kind of series is a probe's; else it is a zone's.
func OfProbe(k store.Kind) bool {
	return k == store.ProbeMoisture || k == store.ProbeEC || k == store.ProbeTemperature
}

func recordOf(k store.Kind) string {
	if OfProbe(k) {
		return recordProbe
	}
	return recordZone
}

// Sheet writes a table, stretch of time by stretch of time.
type Sheet struct {
	csv *csv.Writer
	loc *time.Location
}

// NewSheet begins a table in a room's time zone with its header.
func NewSheet(w io.Writer, loc *time.Location) (*Sheet, error) {
	s := &Sheet{csv: csv.NewWriter(w), loc: loc}
	s.csv.UseCRLF = true
	head := names
	head[colClock] += loc.String()
	return s, s.csv.Write(head[:])
}

// Add writes the lines of one stretch in order of time: each series and run may be in no
// stretch before it.
func (s *Sheet) Add(series []store.Sample, runs []store.Run) error {
	lines := s.minutes(series)
	for i := range runs {
		lines = append(lines, s.run(&runs[i]))
	}
	slices.SortStableFunc(lines, func(a, b line) int {
		return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.record, b.record), cmp.Compare(a.id, b.id))
	})
	for i := range lines {
		if err := s.csv.Write(lines[i].cells[:]); err != nil {
			return err
		}
	}
	s.csv.Flush()
	return s.csv.Error()
}

// line is one line of the table.
type line struct {
	lineKey
	cells [columns]string
}

type lineKey struct {
	at     time.Time
	record string
	id     string
}

// minutes joins the series of a zone or probe into a line a minute.
func (s *Sheet) minutes(series []store.Sample) (lines []line) {
	place := map[lineKey]int{}
	for i := range series {
		of := &series[i]
		at, known := column[of.Kind]
		if !known {
			continue
		}
		for _, p := range of.Points {
			key := lineKey{p.At.UTC().Truncate(time.Minute), recordOf(of.Kind), of.ID}
			n, met := place[key]
			if !met {
				n = len(lines)
				place[key] = n
				lines = append(lines, s.line(key))
			}
			lines[n].cells[at] = number(float64(p.Value) / 1000)
		}
	}
	return lines
}

func (s *Sheet) line(key lineKey) line {
	l := line{lineKey: key}
	l.cells[colTime], l.cells[colClock] = s.time(key.at), key.at.In(s.loc).Format(time.DateTime)
	l.cells[colRecord] = key.record
	if key.record == recordProbe {
		l.cells[colProbe] = text(key.id)
	} else {
		l.cells[colZone] = text(key.id)
	}
	return l
}

// run is the line of one run, at its opening. Without an end nothing is known of its water.
func (s *Sheet) run(r *store.Run) line {
	l := s.line(lineKey{r.Opened, recordRun, r.Zone})
	l.cells[colRun], l.cells[colValve], l.cells[colWindow] = text(r.ID), text(r.Valve), text(r.Window)
	l.cells[colOpened] = text(string(r.Why))
	if !r.Closed.IsZero() {
		l.cells[colClosed], l.cells[colEnd] = s.time(r.Closed), text(string(r.End))
		l.cells[colSeconds] = number(r.Seconds)
		if r.Litres > 0 || r.Seconds == 0 { // else its emitters are not known
			l.cells[colLitres] = number(r.Litres)
		}
	}
	return l
}

func (s *Sheet) time(t time.Time) string { return t.In(s.loc).Format(time.RFC3339) }

// number writes at most three decimals, with a point.
func number(x float64) string {
	t := strconv.FormatFloat(x, 'f', 3, 64)
	return strings.TrimSuffix(strings.TrimRight(t, "0"), ".")
}

// text keeps a spreadsheet from taking a name for a formula.
func text(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}
