package field

import (
	"bytes"
	"math"
	"strconv"
	"time"

	"rillgate/zones"
)

// label is a SenML label (RFC 8428, section 12.2), as a bit.
type label uint16

const (
	labelBN label = 1 << iota
	labelBT
	labelBU
	labelBV
	labelBS
	labelBVer
	labelN
	labelU
	labelV
	labelVS
	labelVB
	labelVD
	labelS
	labelT
	labelUT

	baseLabels   = labelBN | labelBT | labelBU | labelBV | labelBS | labelBVer
	textLabels   = labelBN | labelBU | labelN | labelU | labelVS | labelVD
	numberLabels = labelBT | labelBV | labelBS | labelBVer | labelV | labelS | labelT | labelUT
	valueLabels  = labelV | labelVS | labelVB | labelVD
)

func labelOf(key []byte) label {
	switch string(key) {
	case "n":
		return labelN
	case "v":
		return labelV
	case "u":
		return labelU
	case "t":
		return labelT
	case "bn":
		return labelBN
	case "bt":
		return labelBT
	case "bu":
		return labelBU
	case "bv":
		return labelBV
	case "bs":
		return labelBS
	case "bver":
		return labelBVer
	case "vs":
		return labelVS
	case "vb":
		return labelVB
	case "vd":
		return labelVD
	case "s":
		return labelS
	case "ut":
		return labelUT
	}
	return 0
}

// String gives the label as it is written.
func (l label) String() string {
	for _, name := range []string{"bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"} {
		if labelOf([]byte(name)) == l {
			return name
		}
	}
	return "?"
}

// quantity is what a record measures, as a bit.
type quantity uint8

const (
	moisture quantity = 1 << iota
	permittivity
	conductivity
	temperature
	serial
)

func quantityOf(name []byte) quantity {
	switch string(name) {
	case "moisture":
		return moisture
	case "permittivity":
		return permittivity
	case "ec":
		return conductivity
	case "temperature":
		return temperature
	case "serial":
		return serial
	}
	return 0
}

// record is one record as written, before the base fields are applied.
type record struct {
	seen        label
	name        []byte
	unit        []byte
	text        []byte
	value, time float64
	bad         *Fault // what refuses its value
	badTime     bool   // it is the time that is refused
	unknown     [maxNewLabels][]byte
	newLabels   int
}

// take resolves a record and puts its value into the probe's reading.
func (d *packDecoder) take(r *record) {
	var reading zones.Reading
	name, f := d.resolveName(r, &reading.Place)
	if f != nil {
		d.fault(f)
		return
	}
	q := quantityOf(name)
	if q == 0 {
		d.fault(fault(causeUnknownName, "%q: moisture, permittivity, ec, temperature or serial is due", cut(string(name), 40)))
		return
	}
	if r.badTime {
		d.fault(r.bad)
		return
	}
	if f = d.resolveTime(r, &reading); f != nil {
		d.fault(f)
		return
	}
	reading.Permittivity, reading.EC, reading.Temperature = math.NaN(), math.NaN(), math.NaN()
	i, f := d.reading(&reading)
	if f != nil {
		d.fault(f)
		return
	}
	d.put(i, q, r)
}

// put sets one quantity of a reading. A moisture that cannot be believed drops
// the reading, for half a word on water is none.
func (d *packDecoder) put(i int, q quantity, r *record) {
	f := r.bad
	if f == nil && d.state[i].seen&q != 0 {
		f = fault(causeDuplicate, "one probe has two values for one name and time")
		q = moisture // which of the two counts cannot be told
	}
	if f == nil {
		f = d.set(&d.out[i], q, r)
	}
	d.state[i].seen |= q
	if f == nil {
		return
	}
	d.fault(f)
	if q == moisture {
		d.state[i].bad = true
	}
}

// resolveName fills in the place and gives the last part of the full name.
func (d *packDecoder) resolveName(r *record, p *zones.Place) ([]byte, *Fault) {
	p.Controller = d.controller
	if d.base.terminal > 0 && bytes.IndexByte(r.name, ':') < 0 {
		p.Terminal, p.Address = d.base.terminal, addressText(d.base.address)
		return r.name, nil
	}
	full := append(append([]byte(nil), d.base.name...), r.name...)
	terminal, rest, _ := bytes.Cut(full, []byte(":"))
	address, name, ok := bytes.Cut(rest, []byte(":"))
	n, isNumber := plainNumber(terminal, maxTerminal)
	if !ok || !isNumber || len(address) != 1 || !addressChar(address[0]) || bytes.IndexByte(name, ':') >= 0 {
		return nil, fault(causeName, "name %q: <terminal>:<address>:<what> is due, such as 1:0:moisture", cut(string(full), 60))
	}
	p.Terminal, p.Address = n, addressText(address[0])
	return name, nil
}

// addressText gives the address as a string; of one byte that costs no memory.
func addressText(c byte) string { return string([]byte{c}) }

const (
	firstAbsolute = 1 << 28 // RFC 8428, section 4.5.3: times below it are relative
	lastTime      = 1 << 33 // seconds, in the year 2242
)

// resolveTime adds base time and time; a reading without either has none.
func (d *packDecoder) resolveTime(r *record, reading *zones.Reading) *Fault {
	if !d.base.hasTime && r.seen&labelT == 0 {
		return nil
	}
	t := d.base.time + r.time
	switch {
	case !(t >= firstAbsolute):
		return fault(causeTime, "time %s is relative to now: seconds since 1970 are due, or none", number(t))
	case t >= lastTime:
		return fault(causeTime, "time %s: seconds since 1970 are due (milliseconds?)", number(t))
	}
	reading.HasTime = true
	reading.At = time.Duration(math.Round(t*1e6)) * time.Microsecond
	return nil
}

// number writes a number as the sender might have.
func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
