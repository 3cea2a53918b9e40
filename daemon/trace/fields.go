package trace

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"rillgate/zones"
)

func lineFields() []field {
	return []field{
		{"at", func(d *decoder) (err error) { d.line.At, err = d.stamp(); return err }, true},
		{"reading", (*decoder).reading, false},
		{"report", (*decoder).report, false},
		{"controller", inside(inController, func(l *Line) { l.Controller = &Controller{} }), false},
		{"input", inside(inInput, func(l *Line) { l.Input = &Input{} }), false},
		{"broker", inside(inBroker, func(l *Line) { l.Broker = &Broker{} }), false},
		{"order", (*decoder).order, false},
		{"clock", inside(inClock, func(l *Line) { l.Clock = &Clock{} }), false},
		{"taught", inside(inTaught, func(l *Line) { l.Taught = &Taught{} }), false},
		{"restart", inside(inRestart, func(l *Line) { l.Restart = true }), false},
	}
}

// reading reads a reading; it has to say where its probe is wired.
func (d *decoder) reading() error {
	at := d.i
	d.parts++
	d.line.Reading = &zones.Reading{Permittivity: math.NaN(), EC: math.NaN(), Temperature: math.NaN()}
	if err := d.object(inReading); err != nil {
		return err
	}
	if d.line.Reading.Place.Address == "" {
		d.i = at
		return d.fault("the reading does not say where its probe is", `give "terminal" and "address", or "place"`)
	}
	return nil
}

// report reads a report; it has to say something of its valve.
func (d *decoder) report() error {
	at := d.i
	d.parts++
	d.line.Report = &Report{FlowLPM: -1}
	if err := d.object(inReport); err != nil {
		return err
	}
	const openOrObeys = 1<<1 | 1<<3
	if d.inner&openOrObeys == 0 {
		d.i = at
		return d.fault("the report does not say what its valve shows", `give "open":true or "open":false`)
	}
	return nil
}

func readingFields() []field {
	return []field{
		{"controller", setName(func(d *decoder) *string { return &d.line.Reading.Place.Controller }), true},
		{"terminal", (*decoder).terminal, false},
		{"address", setName(func(d *decoder) *string { return &d.line.Reading.Place.Address }), false},
		{"place", setName(func(d *decoder) *string { return &d.line.Reading.Place.Address }), false},
		{"moisture", (*decoder).moisture, false},
		{"permittivity", setNumber(func(d *decoder) *float64 { return &d.line.Reading.Permittivity }), false},
		{"ec", setNumber(func(d *decoder) *float64 { return &d.line.Reading.EC }), false},
		{"temperature", setNumber(func(d *decoder) *float64 { return &d.line.Reading.Temperature }), false},
		{"time", (*decoder).ownTime, false},
		{"serial", setName(func(d *decoder) *string { return &d.line.Reading.Serial }), false},
		{"retained", setBool(func(d *decoder) *bool { return &d.line.Reading.Retained }), false},
	}
}

func (d *decoder) terminal() error {
	at := d.i
	v, err := d.number()
	if err != nil {
		return err
	}
	if v < 0 || v > 1<<20 || v != math.Trunc(v) {
		d.i = at
		return d.fault("a terminal is a whole number", "write 1 for terminal 1")
	}
	d.line.Reading.Place.Terminal = int(v)
	return nil
}

func (d *decoder) moisture() error {
	v, err := d.number()
	if err != nil {
		return err
	}
	d.line.Reading.Moisture, d.line.Reading.HasMoisture = level(v), true
	return nil
}

func (d *decoder) ownTime() error {
	t, err := d.stamp()
	if err != nil {
		return err
	}
	d.line.Reading.At, d.line.Reading.HasTime = time.Duration(t.UnixNano()), true
	return nil
}

func reportFields() []field {
	return []field{
		{"valve", setName(func(d *decoder) *string { return &d.line.Report.Valve }), true},
		{"open", setBool(func(d *decoder) *bool { return &d.line.Report.Open }), false},
		{"flow_lpm", setNumber(func(d *decoder) *float64 { return &d.line.Report.FlowLPM }), false},
		{"obeys", setBool(func(d *decoder) *bool { return &d.line.Report.Obeys }), false},
	}
}

func controllerFields() []field {
	return []field{
		{"id", setName(func(d *decoder) *string { return &d.line.Controller.ID }), true},
		{"online", setBool(func(d *decoder) *bool { return &d.line.Controller.Online }), true},
		{"boot", setName(func(d *decoder) *string { return &d.line.Controller.Boot }), false},
	}
}

func taughtFields() []field {
	number := func(of func(t *Taught) *float64) func(*decoder) error {
		return setNumber(func(d *decoder) *float64 { return of(d.line.Taught) })
	}
	return []field{
		{"zone", setName(func(d *decoder) *string { return &d.line.Taught.Zone }), true},
		{"field", number(func(t *Taught) *float64 { return &t.Field }), false},
		{"day", number(func(t *Taught) *float64 { return &t.Day }), false},
		{"day_half", number(func(t *Taught) *float64 { return &t.DayHalf }), false},
		{"night", number(func(t *Taught) *float64 { return &t.Night }), false},
		{"night_half", number(func(t *Taught) *float64 { return &t.NightHalf }), false},
		{"mid", number(func(t *Taught) *float64 { return &t.Mid }), false},
		{"slope", number(func(t *Taught) *float64 { return &t.Slope }), false},
		{"slope_half", number(func(t *Taught) *float64 { return &t.SlopeHalf }), false},
	}
}

func inputFields() []field {
	return []field{
		{"id", setName(func(d *decoder) *string { return &d.line.Input.ID }), true},
		{"active", setBool(func(d *decoder) *bool { return &d.line.Input.Active }), true},
	}
}

func clockFields() []field {
	return []field{
		{"trusted", func(d *decoder) error {
			v, err := d.boolean()
			d.line.Clock.Trusted = &v
			return err
		}, false},
		{"step", setDuration(func(d *decoder) *time.Duration { return &d.line.Clock.Step }), false},
	}
}

func orderFields() []field {
	return []field{
		{"kind", (*decoder).orderKind, true},
		{"zone", setName(func(d *decoder) *string { return &d.line.Order.Zone }), false},
		{"subject", setName(func(d *decoder) *string { return &d.line.Order.Subject }), false},
		{"probe", setName(func(d *decoder) *string { return &d.line.Order.Subject }), false},
		{"for", setDuration(func(d *decoder) *time.Duration { return &d.line.Order.For }), false},
		{"volume", (*decoder).volume, false},
		{"with", setName(func(d *decoder) *string { return &d.line.Order.With }), false},
		{"label", setName(func(d *decoder) *string { return &d.line.Order.Label }), false},
		{"keep_offset", setBool(func(d *decoder) *bool { return &d.line.Order.KeepOffset }), false},
		{"by", setName(func(d *decoder) *string { return &d.line.Order.By }), false},
		{"note", setName(func(d *decoder) *string { return &d.line.Order.Note }), false},
	}
}

// order reads an order and fills in what its command would: a reset or an
// acknowledgement of a zone names it as its subject, a bare reset means the room.
func (d *decoder) order() error {
	d.parts++
	d.line.Order = &zones.Order{Source: "trace"}
	if err := d.object(inOrder); err != nil {
		return err
	}
	o := d.line.Order
	if o.Subject == "" && (o.Kind == zones.OrderReset || o.Kind == zones.OrderAcknowledge) {
		o.Subject = o.Zone
		if o.Kind == zones.OrderReset && o.Zone == "" {
			o.Subject = "room"
		}
	}
	return nil
}

// orderKind reads a kind. The core answers those that are not built yet.
func (d *decoder) orderKind() error {
	at := d.i
	text, err := d.name()
	if err != nil {
		return err
	}
	kind := zones.OrderKind(text)
	if known := zones.OrderKinds(); !slices.Contains(known, kind) {
		d.i = at
		return d.fault(fmt.Sprintf("%q is no kind of order", text), "kinds are named as the commands: "+listed(known))
	}
	d.line.Order.Kind = kind
	return nil
}

func listed(kinds []zones.OrderKind) string {
	var names []string
	for _, k := range kinds {
		names = append(names, string(k))
	}
	return strings.Join(names, ", ")
}

// volume reads "120mL" or "0.5 L", a plant.
func (d *decoder) volume() error {
	at := d.i
	text, err := d.raw()
	if err != nil {
		return err
	}
	ml, ok := millilitres(string(text))
	if !ok {
		d.i = at
		return d.fault(fmt.Sprintf("%q is no volume", text), `write mL or L a plant: "120mL"`)
	}
	d.line.Order.VolumeML = ml
	return nil
}

func millilitres(text string) (float64, bool) {
	number, scale := strings.TrimSuffix(text, "mL"), 1.0
	if number == text {
		number, scale = strings.TrimSuffix(text, "L"), 1000
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	return v * scale, number != text && err == nil && v > 0 && v < 1e9
}
