package field

import (
	"slices"

	"rillgate/zones"
)

const (
	maxReadings  = 512 // readings in one pack
	maxFaults    = 16  // faults told of one pack
	maxNewLabels = 8   // labels of one record that RFC 8428 does not name
	senmlVersion = 10  // RFC 8428, section 4.4
)

// DecodeReadings resolves a SenML pack (RFC 8428, JSON) into one reading per
// probe and time, in order of appearance, moisture rounded to the nearest
// thousandth of a percent. Faults without readings mean that the whole pack is
// refused; with readings, that a part of it is: a wrong moisture refuses its
// probe's reading, another wrong value only itself.
func DecodeReadings(controller string, payload []byte) ([]zones.Reading, []*Fault) {
	var d packDecoder
	return d.decode(controller, payload)
}

// packDecoder keeps its buffers from pack to pack; it serves one goroutine.
type packDecoder struct {
	scanner
	controller string
	base       base
	out        []zones.Reading
	state      []readingState
	faults     []*Fault
}

// base are the base fields in force (RFC 8428, section 4.1): each holds for its
// own record and for those after it, until it is given again.
type base struct {
	name     []byte
	terminal int // of name, when it is "<terminal>:<address>:"; 0 = it is not
	address  byte
	unit     []byte
	value    float64
	time     float64
	hasTime  bool
}

// readingState is what is known of a reading beyond its values.
type readingState struct {
	seen quantity // quantities that it has had
	bad  bool     // its moisture was refused: it is dropped
}

func (d *packDecoder) decode(controller string, payload []byte) ([]zones.Reading, []*Fault) {
	d.controller, d.base = controller, base{}
	d.out, d.state, d.faults = d.out[:0], d.state[:0], nil
	if f := d.pack(payload); f != nil {
		return nil, []*Fault{f}
	}
	return d.finish(), d.faults
}

func (d *packDecoder) pack(payload []byte) (f *Fault) {
	if d.scanner, f = newScanner(payload); f != nil {
		return f
	}
	if !d.eat('[') {
		return d.bad("a SenML pack, an array of records,")
	}
	for first := true; ; first = false {
		another, f := d.more(first, ']')
		if f != nil {
			return f
		}
		if !another {
			break
		}
		if f = d.record(); f != nil {
			return f
		}
	}
	return d.end()
}

// finish copies the readings that stand out of the buffers.
func (d *packDecoder) finish() []zones.Reading {
	n := 0
	for i := range d.state {
		if !d.state[i].bad {
			n++
		}
	}
	if n == 0 {
		return nil
	}
	good := make([]zones.Reading, 0, n)
	for i := range d.state {
		if d.state[i].bad {
			continue
		}
		good = append(good, d.out[i])
	}
	return good
}

// fault notes a fault, the same one only once in a row.
func (d *packDecoder) fault(f *Fault) {
	if n := len(d.faults); n < maxFaults && (n == 0 || *d.faults[n-1] != *f) {
		d.faults = append(d.faults, f)
	}
}

// record reads one record and takes its value in.
func (d *packDecoder) record() *Fault {
	if !d.eat('{') {
		return d.bad("a record, an object,")
	}
	var r record
	for first := true; ; first = false {
		another, f := d.more(first, '}')
		if f != nil {
			return f
		}
		if !another {
			break
		}
		if f = d.member(&r); f != nil {
			return f
		}
	}
	if r.seen&^baseLabels != 0 || r.newLabels > 0 {
		d.take(&r)
	}
	return nil
}

// member reads one member of a record.
func (d *packDecoder) member(r *record) *Fault {
	key, f := d.key()
	if f != nil {
		return f
	}
	l := labelOf(key)
	if l == 0 {
		return d.newLabel(r, key)
	}
	if r.seen&l != 0 {
		return fault(causeDuplicate, "%q stands twice in one record", key)
	}
	r.seen |= l
	d.peek()
	switch {
	case l&textLabels != 0:
		return d.textMember(r, l)
	case l&numberLabels != 0:
		return d.numberMember(r, l)
	}
	if !d.word("true") && !d.word("false") {
		return d.wrongType(r, l, "true or false")
	}
	return nil
}

// newLabel steps over a label that RFC 8428 does not name; one that ends with an
// underscore must be understood (RFC 8428, section 4.4), so it refuses the pack.
func (d *packDecoder) newLabel(r *record, key []byte) *Fault {
	switch {
	case len(key) > 0 && key[len(key)-1] == '_':
		return fault(causeLabel, "label %q must be understood, and is not", cut(string(key), maxHint))
	case r.newLabels == maxNewLabels:
		return fault(causeTooMany, "more than %d labels of one record are not SenML's", maxNewLabels)
	}
	for _, known := range r.unknown[:r.newLabels] {
		if string(known) == string(key) {
			return fault(causeDuplicate, "%q stands twice in one record", cut(string(key), maxHint))
		}
	}
	r.unknown[r.newLabels] = key
	r.newLabels++
	return d.skip(1)
}

// wrongType steps over a value of another type than its label wants. In a base
// field it refuses the pack, for what follows cannot be told; else the record.
func (d *packDecoder) wrongType(r *record, l label, want string) *Fault {
	f := fault(causeValue, "%s of a record is not %s", l, want)
	if l&baseLabels != 0 {
		return f
	}
	r.bad, r.badTime = f, r.badTime || l == labelT
	return d.skip(1)
}

func (d *packDecoder) textMember(r *record, l label) *Fault {
	if d.peek() != '"' {
		return d.wrongType(r, l, "a string")
	}
	text, f := d.text()
	if f != nil {
		return f
	}
	switch l {
	case labelBN:
		d.setBaseName(text)
	case labelBU:
		d.base.unit = text
	case labelN:
		r.name = text
	case labelU:
		r.unit = text
	case labelVS:
		r.text = text
	}
	return nil
}

func (d *packDecoder) numberMember(r *record, l label) *Fault {
	c := d.peek()
	if c != '-' && (c < '0' || c > '9') {
		return d.wrongType(r, l, "a number")
	}
	start := d.pos
	v, ok, f := d.number()
	if f != nil {
		return f
	}
	if !ok {
		f = fault(causeValue, "%s is a number that nothing can hold", cut(string(d.data[start:d.pos]), 24))
		if l&baseLabels != 0 {
			return f
		}
		r.bad, r.badTime = f, r.badTime || l == labelT
		return nil
	}
	return d.setNumber(r, l, v)
}

func (d *packDecoder) setNumber(r *record, l label, v float64) *Fault {
	switch l {
	case labelBT:
		d.base.time, d.base.hasTime = v, true
	case labelBV:
		d.base.value = v
	case labelBVer:
		if v > senmlVersion {
			return fault(causeVersion, "SenML version %v: %d is understood", v, senmlVersion)
		}
	case labelV:
		r.value = v
	case labelT:
		r.time = v
	}
	return nil
}

// setBaseName takes "<terminal>:<address>:" apart once for all records after it.
func (d *packDecoder) setBaseName(name []byte) {
	d.base.name = name
	d.base.terminal, d.base.address = 0, 0
	n := len(name)
	if n < 4 || name[n-1] != ':' || name[n-3] != ':' {
		return
	}
	if terminal, ok := plainNumber(name[:n-3], maxTerminal); ok && addressChar(name[n-2]) {
		d.base.terminal, d.base.address = terminal, name[n-2]
	}
}

func addressChar(c byte) bool {
	return c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z'
}

// reading finds the reading of a probe and time, or begins it. The newest come
// first, because a pack mostly goes probe by probe.
func (d *packDecoder) reading(r *zones.Reading) (int, *Fault) {
	for i, old := range slices.Backward(d.out) {
		if old.Place.Terminal == r.Place.Terminal && old.Place.Address == r.Place.Address &&
			old.At == r.At && old.HasTime == r.HasTime {
			return i, nil
		}
	}
	if len(d.out) == maxReadings {
		return 0, fault(causeTooMany, "more than %d readings in one pack", maxReadings)
	}
	d.out, d.state = append(d.out, *r), append(d.state, readingState{})
	return len(d.out) - 1, nil
}
