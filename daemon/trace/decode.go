package trace

import (
	"fmt"
	"math"
	"strings"
	"time"

	"rillgate/zones"
)

// part names one kind of object in a line.
type part uint8

const (
	inLine part = iota
	inReading
	inReport
	inController
	inInput
	inBroker
	inOrder
	inClock
	inRestart
	inTaught
	parts
)

// field is one key of an object and what reads its value.
type field struct {
	name string
	set  func(*decoder) error
	need bool
}

// decoder turns lines into Line values. It is strict: what it does not know is an
// error that names the column.
type decoder struct {
	scanner
	fields [parts][]field
	line   Line
	have   uint32 // fields seen in the object being read
	inner  uint32 // fields seen in the object read last
	parts  int    // parts seen in the line
}

func newDecoder() *decoder {
	d := &decoder{scanner: scanner{names: map[string]string{}}}
	d.fields = [parts][]field{
		inLine:       lineFields(),
		inReading:    readingFields(),
		inReport:     reportFields(),
		inController: controllerFields(),
		inInput:      inputFields(),
		inBroker:     {{"up", setBool(func(d *decoder) *bool { return &d.line.Broker.Up }), true}},
		inOrder:      orderFields(),
		inClock:      clockFields(),
		inTaught:     taughtFields(),
	}
	return d
}

// decode reads one line, without its line break.
func (d *decoder) decode(b []byte) (Line, error) {
	d.b, d.i, d.line, d.parts = b, 0, Line{}, 0
	if err := d.object(inLine); err != nil {
		return Line{}, err
	}
	if d.peek() != 0 || d.i < len(d.b) {
		return Line{}, d.fault("more follows the object: "+d.here(), "write one object on a line")
	}
	if d.parts != 1 {
		return Line{}, &LineError{What: fmt.Sprintf("%d parts beside \"at\", want one", d.parts), Help: "a line carries one of " + d.names(inLine, 1)}
	}
	return d.line, nil
}

// object reads one object of a kind, each known key at most once.
func (d *decoder) object(p part) error {
	outer := d.have
	d.have = 0
	start := d.i
	if err := d.take('{'); err != nil {
		return err
	}
	for first := true; d.peek() != '}'; first = false {
		if !first {
			if err := d.take(','); err != nil {
				return err
			}
		}
		if err := d.member(p); err != nil {
			return err
		}
	}
	d.i++
	for n, f := range d.fields[p] {
		if f.need && d.have&(1<<n) == 0 {
			d.i = start
			return d.fault(fmt.Sprintf("key %q is missing", f.name), "it has to be there")
		}
	}
	d.inner, d.have = d.have, outer
	return nil
}

// member reads one key and its value.
func (d *decoder) member(p part) error {
	at := d.i
	key, err := d.raw()
	if err != nil {
		return err
	}
	n := d.find(p, key)
	if n < 0 {
		d.i = at
		return d.fault(fmt.Sprintf("unknown key %q", key), "known here: "+d.names(p, 0))
	}
	if d.have&(1<<n) != 0 {
		d.i = at
		return d.fault(fmt.Sprintf("key %q stands twice", key), "keep one of them")
	}
	if err := d.take(':'); err != nil {
		return err
	}
	if err := d.fields[p][n].set(d); err != nil {
		return err
	}
	d.have |= 1 << n
	return nil
}

func (d *decoder) find(p part, key []byte) int {
	for n := range d.fields[p] {
		if d.fields[p][n].name == string(key) {
			return n
		}
	}
	return -1
}

// names lists the known keys of an object, from the nth on.
func (d *decoder) names(p part, from int) string {
	if len(d.fields[p]) == 0 {
		return "none"
	}
	var names []string
	for _, f := range d.fields[p][from:] {
		names = append(names, f.name)
	}
	return strings.Join(names, ", ")
}

// inside reads the part that a line carries.
func inside(p part, begin func(*Line)) func(*decoder) error {
	return func(d *decoder) error {
		d.parts++
		begin(&d.line)
		return d.object(p)
	}
}

func setBool(to func(*decoder) *bool) func(*decoder) error {
	return func(d *decoder) (err error) {
		*to(d), err = d.boolean()
		return err
	}
}

func setName(to func(*decoder) *string) func(*decoder) error {
	return func(d *decoder) (err error) {
		at := d.i
		*to(d), err = d.name()
		if err == nil && len(*to(d)) > 1024 {
			d.i = at
			err = d.fault("the string is longer than 1024 bytes", "shorten it")
		}
		return err
	}
}

func setNumber(to func(*decoder) *float64) func(*decoder) error {
	return func(d *decoder) (err error) {
		*to(d), err = d.number()
		return err
	}
}

func setDuration(to func(*decoder) *time.Duration) func(*decoder) error {
	return func(d *decoder) error {
		at := d.i
		text, err := d.raw()
		if err != nil {
			return err
		}
		if *to(d), err = time.ParseDuration(string(text)); err != nil {
			d.i = at
			return d.fault(fmt.Sprintf("%q is no duration", text), `write a Go duration: "90s", "30m", "-1h"`)
		}
		return nil
	}
}

// stamp reads an RFC 3339 time.
func (d *decoder) stamp() (time.Time, error) {
	at := d.i
	text, err := d.raw()
	if err != nil {
		return time.Time{}, err
	}
	var t time.Time
	if err := t.UnmarshalText(text); err != nil {
		d.i = at
		return t, d.fault(fmt.Sprintf("%q is not RFC 3339", text), `write "2027-03-01T06:00:00Z" or "2027-03-01T06:00:00.250-06:00"`)
	}
	return t.UTC(), nil
}

// level turns percent into thousandths, saturated far outside of what any probe can
// mean, so that a wild number stays wild.
func level(percent float64) zones.Level {
	return zones.Level(math.Round(max(-1e6, min(1e6, percent*1000))))
}
