package simfield

import (
	"context"

	"rillgate/zones"
	"rillgate/zones/simroom"
)

// message is one message ready for a controller's connection.
type message struct {
	link     *link
	kind     kind
	topic    string
	qos      byte
	retained bool
	payload  []byte
	probes   int
}

type kind uint8

const (
	packed kind = iota
	reported
	input
	online
	offline
)

// pack turns what the room sent into messages: readings of one controller and one
// instant go together.
func (f *Field) pack(outs []simroom.Out) []message {
	var all []message
	for i := 0; i < len(outs); i++ {
		l := f.link(outs[i].Controller)
		if l == nil {
			continue
		}
		if _, ok := outs[i].Event.(*zones.Reading); ok {
			n := together(outs[i:])
			if m, ok := f.packReadings(l, outs[i:i+n]); ok {
				all = append(all, m)
			}
			i += n - 1
			continue
		}
		all = append(all, l.message(outs[i].Event))
	}
	return all
}

// together counts the readings at the head of outs that one pack takes.
func together(outs []simroom.Out) int {
	for n := 1; n < len(outs); n++ {
		_, reading := outs[n].Event.(*zones.Reading)
		if !reading || n == packProbes || outs[n].At != outs[0].At || outs[n].Controller != outs[0].Controller {
			return n
		}
	}
	return len(outs)
}

func (f *Field) packReadings(l *link, outs []simroom.Out) (message, bool) {
	var all []*zones.Reading
	for _, o := range outs {
		m := o.Event.(*zones.Reading)
		if m.Place.Terminal == 0 {
			f.counts.Foreign++
			continue
		}
		all = append(all, m)
	}
	m := message{link: l, kind: packed, topic: l.root + "readings", probes: len(all)}
	if len(all) > 0 {
		m.payload = encodeReadings(all)
	}
	return m, len(all) > 0
}

// message gives the message for an event that is no reading.
func (l *link) message(ev zones.Event) message {
	m := message{link: l, qos: 1}
	switch e := ev.(type) {
	case *zones.Report:
		m.kind, m.topic, m.payload = reported, l.root+"report", encodeReport(e)
	case *zones.InputState:
		m.kind, m.topic, m.payload, m.retained = input, l.root+"input/"+e.ID, encodeInput(e.Active), true
	case *zones.Status:
		m.kind, m.topic, m.payload, m.retained = offline, l.root+"status", encodeStatus(e.Online), true
		if e.Online {
			m.kind = online
		}
	}
	return m
}

func (f *Field) link(id string) *link {
	for _, l := range f.links {
		if l.id == id {
			return l
		}
	}
	return nil
}

// deliver sends one message; a status moves the connection too. It reports whether the
// message left.
func (l *link) deliver(ctx context.Context, m message, awaitWill bool) (bool, error) {
	switch m.kind {
	case offline:
		return true, l.drop(ctx, awaitWill) // the broker says it
	case online:
		if err := l.connect(ctx); err != nil {
			return false, err
		}
	}
	return l.publish(m), nil
}

// tally counts a message.
func (f *Field) tally(m message, left bool) {
	c := &f.counts
	if !left {
		c.Unsent++
		return
	}
	switch m.kind {
	case packed:
		c.Packs++
		c.Readings += m.probes
	case reported:
		c.Reports++
	case input:
		c.Inputs++
	default:
		c.Statuses++
	}
}
