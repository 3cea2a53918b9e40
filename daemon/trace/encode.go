package trace

import (
	"encoding/json"
	"math"
	"strconv"
	"time"

	"rillgate/zones"
)

// The forms in which lines are written; they read back as what they were.

type wireLine struct {
	At         string       `json:"at"`
	Reading    *wireReading `json:"reading,omitempty"`
	Report     *wireReport  `json:"report,omitempty"`
	Controller *Controller  `json:"controller,omitempty"`
	Input      *Input       `json:"input,omitempty"`
	Broker     *Broker      `json:"broker,omitempty"`
	Order      *wireOrder   `json:"order,omitempty"`
	Clock      *wireClock   `json:"clock,omitempty"`
	Restart    *struct{}    `json:"restart,omitempty"`
	Taught     *Taught      `json:"taught,omitempty"`
}

type wireReading struct {
	Controller   string       `json:"controller"`
	Terminal     int          `json:"terminal,omitempty"`
	Address      string       `json:"address"`
	Moisture     *json.Number `json:"moisture,omitempty"`
	Permittivity *float64     `json:"permittivity,omitempty"`
	EC           *float64     `json:"ec,omitempty"`
	Temperature  *float64     `json:"temperature,omitempty"`
	Time         string       `json:"time,omitempty"`
	Serial       string       `json:"serial,omitempty"`
	Retained     bool         `json:"retained,omitempty"`
}

type wireReport struct {
	Valve string   `json:"valve"`
	Open  bool     `json:"open"`
	Flow  *float64 `json:"flow_lpm,omitempty"`
	Obeys bool     `json:"obeys,omitempty"`
}

type wireOrder struct {
	Kind    zones.OrderKind `json:"kind"`
	Zone    string          `json:"zone,omitempty"`
	Subject string          `json:"subject,omitempty"`
	For     string          `json:"for,omitempty"`
	Volume  string          `json:"volume,omitempty"`
	With    string          `json:"with,omitempty"`
	Label   string          `json:"label,omitempty"`
	Keep    bool            `json:"keep_offset,omitempty"`
	By      string          `json:"by,omitempty"`
	Note    string          `json:"note,omitempty"`
}

type wireClock struct {
	Trusted *bool  `json:"trusted,omitempty"`
	Step    string `json:"step,omitempty"`
}

// wire puts a line in the form in which it is written.
func wire(l *Line) wireLine {
	w := wireLine{
		At: l.At.UTC().Format(time.RFC3339Nano), Controller: l.Controller, Input: l.Input, Broker: l.Broker, Taught: l.Taught,
	}
	switch {
	case l.Reading != nil:
		w.Reading = readingWire(l.Reading)
	case l.Report != nil:
		w.Report = &wireReport{Valve: l.Report.Valve, Open: l.Report.Open, Obeys: l.Report.Obeys}
		if l.Report.FlowLPM >= 0 {
			w.Report.Flow = &l.Report.FlowLPM
		}
	case l.Order != nil:
		w.Order = orderWire(l.Order)
	case l.Clock != nil:
		w.Clock = &wireClock{Trusted: l.Clock.Trusted, Step: durationText(l.Clock.Step)}
	case l.Restart:
		w.Restart = &struct{}{}
	}
	return w
}

func readingWire(r *zones.Reading) *wireReading {
	w := &wireReading{
		Controller: r.Place.Controller, Terminal: r.Place.Terminal, Address: r.Place.Address,
		Permittivity: known(r.Permittivity), EC: known(r.EC), Temperature: known(r.Temperature),
		Serial: r.Serial, Retained: r.Retained,
	}
	if r.HasMoisture {
		n := json.Number(percentText(r.Moisture))
		w.Moisture = &n
	}
	if r.HasTime {
		w.Time = time.Unix(0, int64(r.At)).UTC().Format(time.RFC3339Nano)
	}
	return w
}

// percentText writes thousandths as percent, exactly.
func percentText(l zones.Level) string {
	return strconv.FormatFloat(float64(l)/1000, 'f', -1, 64)
}

func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func orderWire(o *zones.Order) *wireOrder {
	w := &wireOrder{Kind: o.Kind, Zone: o.Zone, Subject: o.Subject, For: durationText(o.For), With: o.With, Label: o.Label, Keep: o.KeepOffset, By: o.By, Note: o.Note}
	if o.VolumeML > 0 {
		w.Volume = strconv.FormatFloat(o.VolumeML, 'f', -1, 64) + "mL"
	}
	return w
}

func durationText(d time.Duration) string {
	if d == 0 {
		return ""
	}
	return d.String()
}
