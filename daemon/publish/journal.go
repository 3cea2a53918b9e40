package publish

import (
	"encoding/json"
	"time"

	"rillgate/zones"
)

// backlogMax bounds the journal entries kept while the wire does not take them; the
// oldest go first, and `seq` shows the gap.
const backlogMax = 1000

type entryJSON struct {
	Seq     uint64       `json:"seq"`
	At      string       `json:"at"`
	Kind    string       `json:"kind"`
	Zone    string       `json:"zone,omitempty"`
	Valve   string       `json:"valve,omitempty"`
	Probe   string       `json:"probe,omitempty"`
	Run     string       `json:"run,omitempty"`
	Reason  zones.Reason `json:"reason,omitempty"`
	Because string       `json:"because,omitempty"`
	Order   string       `json:"order,omitempty"`
	Source  zones.Source `json:"source,omitempty"`
	By      string       `json:"by,omitempty"`
	Note    string       `json:"note,omitempty"`
	Seconds float64      `json:"seconds,omitempty"`
	Litres  float64      `json:"litres,omitempty"`
}

// Journal tells one journal entry, once. Entries that the wire does not take wait in
// a bounded line and leave in order.
func (p *Publisher) Journal(seq uint64, at time.Time, e *zones.Entry) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.backlog = append(p.backlog, entryJSON{
		Seq: seq, At: stamp(at), Kind: e.Kind, Zone: e.Zone, Valve: e.Valve, Probe: e.Probe, Run: e.Run,
		Reason: e.Reason, Because: e.Because, Order: e.Order, Source: e.Source, By: e.By, Note: e.Note,
		Seconds: e.Seconds, Litres: e.Litres,
	})
	if extra := len(p.backlog) - backlogMax; extra > 0 {
		p.backlog = append(p.backlog[:0:0], p.backlog[extra:]...)
		p.counts["journal-dropped"] += extra
	}
	if p.phase == ready && p.wire.Up() {
		p.unload()
	}
}

// unload sends the waiting entries as far as the wire takes them.
func (p *Publisher) unload() {
	n := 0
	for n < len(p.backlog) && p.unloadOne(&p.backlog[n]) {
		n++
	}
	p.backlog = append(p.backlog[:0:0], p.backlog[n:]...)
}

func (p *Publisher) unloadOne(e *entryJSON) bool {
	b, err := json.Marshal(e)
	if err != nil { // a number that is none: the entry stays readable without it
		p.counts["journal-number"]++
		e.Seconds, e.Litres = 0, 0
		b, _ = json.Marshal(e)
	}
	return p.wire.Publish(JournalTopic(p.cfg.Room), 1, false, b)
}
