package wiring

import "fmt"

// What is assumed where the file is silent.
const (
	AssumedVolts   = 12.0  // V feeding probes; SDI-12 asks for 9.6 V to 16 V
	AssumedDrawA   = 0.025 // A a probe while it measures: common practice, no source
	ProbeWires     = 3     // supply, ground, data (SDI-12 section 3)
	hotCelsius     = 75.0
	coolCelsius    = 20.0
	finestTailWire = 24 // AWG of a probe's own cable: common practice, no source
)

// A segment is one piece of cable between two ends; amps flow in it when every
// probe draws.
type segment struct {
	name, from, to string
	m              Amount
	wire           Wire
	tail           bool // a probe's own cable
	amps           float64
}

// A build is one terminal as it will be built: segments, and for each probe the
// segments on its way, from the controller on, and the box that it hangs on.
type build struct {
	segments []segment
	paths    [][]int
	boxOf    []int // from 1
	boxes    int
	joints   []bool // by probe: its lead ends in a joint of its own (star)
}

// BoxLabel names a box: "north/1/B2".
func BoxLabel(controller string, terminal, box int) string {
	return fmt.Sprintf("%s/%d/B%d", controller, terminal, box)
}

// plan lays the terminal out.
func (t *Terminal) plan(controller string) *build {
	b := &build{paths: make([][]int, len(t.Probes)), boxOf: make([]int, len(t.Probes)), joints: make([]bool, len(t.Probes))}
	if len(t.Probes) == 0 {
		return b
	}
	place := fmt.Sprintf("%s/%d", controller, t.Number)
	b.boxes = 1
	trunk := []int{b.add(segment{name: "home run", from: place, to: BoxLabel(controller, t.Number, 1), m: length(t.HomeRunM), wire: t.Cable})}
	for i := range t.Probes {
		p := &t.Probes[i]
		lead := segment{name: "lead", from: BoxLabel(controller, t.Number, b.boxes), to: p.ID, m: length(p.LeadM), wire: t.Cable}
		path := append([]int(nil), trunk...)
		switch {
		case t.Star:
			if p.LeadM != 0 {
				path = append(path, b.add(lead))
				b.joints[i] = p.LeadM > 0
			}
		case p.LeadM > 0 || p.LeadM < 0 && i > 0:
			b.boxes++
			lead.to = BoxLabel(controller, t.Number, b.boxes)
			trunk = append(trunk, b.add(lead))
			path = append([]int(nil), trunk...)
		case p.LeadM < 0: // the first of a chain: its box is not known
			trunk = append(trunk, b.add(lead))
			path = append([]int(nil), trunk...)
		}
		b.boxOf[i] = b.boxes
		tail := segment{name: "own cable", from: BoxLabel(controller, t.Number, b.boxes), to: p.ID, m: length(p.TailM), wire: t.tailWire(), tail: true}
		if t.Star && p.LeadM != 0 {
			tail.from = p.ID // the end of its lead, not the box
		}
		b.paths[i] = append(path, b.add(tail))
	}
	b.load(t)
	return b
}

func (b *build) add(s segment) int {
	b.segments = append(b.segments, s)
	return len(b.segments) - 1
}

// load gives every segment the current of all probes behind it.
func (b *build) load(t *Terminal) {
	for i, path := range b.paths {
		for _, s := range path {
			b.segments[s].amps += t.draw(i)
		}
	}
}

// tailWire is the wire that a probe's own cable is reckoned with: the terminal's,
// or a finer one, which is what probes come with.
func (t *Terminal) tailWire() Wire {
	if tail := Gauge(finestTailWire); !t.Cable.Given() || tail.Finer(t.Cable) {
		return tail
	}
	return t.Cable
}

func (t *Terminal) draw(i int) float64 {
	switch {
	case t.Probes[i].DrawA > 0:
		return t.Probes[i].DrawA
	case t.DrawA > 0:
		return t.DrawA
	}
	return AssumedDrawA
}

func (t *Terminal) volts() float64 {
	if t.Volts > 0 {
		return t.Volts
	}
	return AssumedVolts
}

// Run gives the length of cable from the controller to a probe, by its place in
// the list, along the real path: its own cable counts.
func (t *Terminal) Run(i int) Amount {
	b := t.plan("")
	return b.length(b.paths[i])
}

func (b *build) length(path []int) Amount {
	sum := Known(0)
	for _, s := range path {
		sum = sum.plus(b.segments[s].m)
	}
	return sum
}

// oneWire gives the fall of voltage in one conductor on a path, every probe drawing.
func (b *build) oneWire(path []int, celsius float64) Amount {
	sum := Known(0)
	for _, s := range path {
		seg := &b.segments[s]
		sum = sum.plus(seg.wire.OhmsPerMetre(celsius).times(seg.m).scaled(seg.amps))
	}
	return sum
}

// bought gives the cable of the terminal without, or only, the probes' own.
func (b *build) bought(tails bool) Amount {
	sum := Known(0)
	for i := range b.segments {
		if b.segments[i].tail == tails {
			sum = sum.plus(b.segments[i].m)
		}
	}
	return sum
}
