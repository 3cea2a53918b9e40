package publish

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"rillgate/zones"
)

const (
	repeatGap  = 10 * time.Second // the same value on a set-topic within it is one order
	asksMax    = 64               // orders waiting for their answer
	valueMax   = 64               // bytes of a payload that are repeated in an answer
	sourceMQTT = zones.Source("mqtt")
)

// Reasons of refusals that are made here; all others are the core's.
const (
	reasonNotAllowed = "not-allowed" // the orders in the configuration, or the property, do not allow it
	reasonBadValue   = "bad-value"   // the payload is none of the property's values
	reasonUnknown    = "unknown"     // no such property
	reasonBusy       = "busy"        // too many orders wait for their answer
)

// ask is one set message: what was asked, and how it ended.
type ask struct {
	property string // "<node>/<property>"
	value    string
	at       time.Duration
	order    zones.Order
	repeats  int // that came before the end
	end      *verdict
}

type verdict struct {
	accepted        bool
	reason, because string
}

// setDesk keeps the orders that came in over set-topics.
type setDesk struct {
	last    uint64
	waiting map[string]*ask // by order id
	recent  map[string]*ask // by property and value
}

func newSetDesk() setDesk {
	return setDesk{waiting: map[string]*ask{}, recent: map[string]*ask{}}
}

// onSet takes one message of `<node>/<property>/set`.
func (p *Publisher) onSet(topic string, payload []byte, retained bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.tree == nil || p.phase == stopped {
		return
	}
	property, ok := setProperty(p.tree.prefix, topic)
	if !ok {
		p.counts["set-topic"]++
		return
	}
	if retained {
		p.counts["set-retained"]++
		return
	}
	_, now := p.cfg.Clock()
	p.take(&ask{property: property, value: quotable(payload), at: now}, string(payload))
}

// setProperty cuts "<node>/<property>" out of a set-topic.
func setProperty(prefix, topic string) (string, bool) {
	rest, ok := strings.CutPrefix(topic, prefix)
	if !ok {
		return "", false
	}
	rest, ok = strings.CutSuffix(rest, "/set")
	node, id, two := strings.Cut(rest, "/")
	return rest, ok && two && validID(node) && validID(id)
}

// quotable is a payload as it may stand in an answer.
func quotable(payload []byte) string {
	if len(payload) > valueMax {
		payload = payload[:valueMax]
	}
	return clean(string(payload))
}

func (p *Publisher) take(a *ask, payload string) {
	if v := p.judge(a, payload); v != nil {
		p.counts["set-"+v.reason]++
		p.conclude(a, v)
		return
	}
	if p.repeated(a) {
		return
	}
	if len(p.sets.waiting) >= asksMax {
		p.counts["set-busy"]++
		p.conclude(a, &verdict{false, reasonBusy, "too many orders wait for their answer: try again in a moment"})
		return
	}
	p.submit(a)
}

// repeated answers a value that came before within the gap, and does nothing else.
func (p *Publisher) repeated(a *ask) bool {
	p.forget(a.at)
	before := p.sets.recent[a.property+"="+a.value]
	if before == nil {
		return false
	}
	p.counts["set-repeated"]++
	if before.end == nil {
		before.repeats++
		return true
	}
	p.answer(before, once(before.end))
	return true
}

func once(v *verdict) *verdict {
	return &verdict{v.accepted, v.reason, "the same value came within 10 s and acts once: " + v.because}
}

// forget drops what is older than the gap.
func (p *Publisher) forget(now time.Duration) {
	for key, a := range p.sets.recent {
		if now-a.at >= repeatGap {
			delete(p.sets.recent, key)
		}
	}
}

func (p *Publisher) submit(a *ask) {
	p.sets.last++
	a.order.ID = "mqtt-" + strconv.FormatUint(p.sets.last, 10)
	p.sets.waiting[a.order.ID] = a
	if a.order.Kind != zones.OrderShot {
		p.overrule(a)
	}
	p.sets.recent[a.property+"="+a.value] = a
	if !p.cfg.Submit(a.order) {
		delete(p.sets.waiting, a.order.ID)
		delete(p.sets.recent, a.property+"="+a.value)
		p.counts["set-busy"]++
		p.conclude(a, &verdict{false, reasonBusy, "the gateway is busy: try again in a moment"})
	}
}

// overrule lets the other value of a state act again: true, false, true within the
// gap are three orders. What gives water has no such way back.
func (p *Publisher) overrule(a *ask) {
	for key, b := range p.sets.recent {
		if b.property == a.property && b.value != a.value {
			delete(p.sets.recent, key)
		}
	}
}

// Answer takes the core's answer to an order. Answers to orders from elsewhere are
// not told here.
func (p *Publisher) Answer(an *zones.Answer) {
	p.mu.Lock()
	defer p.mu.Unlock()
	a := p.sets.waiting[an.Order]
	if a == nil {
		return
	}
	delete(p.sets.waiting, an.Order)
	p.conclude(a, &verdict{an.Accepted, string(an.Reason), an.Because})
	for range a.repeats {
		p.answer(a, once(a.end))
	}
}

func (p *Publisher) conclude(a *ask, v *verdict) {
	a.end = v
	p.answer(a, v)
	p.echo(a)
}

// echo shows what became of a set value, as the convention asks: an accepted event is
// repeated as such; a state is told again with the next Update as it then is, also
// when it did not change, so that whoever set it sees the truth.
func (p *Publisher) echo(a *ask) {
	topic := p.tree.prefix + a.property
	if p.tree.stands(topic) {
		delete(p.told, topic)
		return
	}
	if a.end.accepted && p.phase == ready {
		p.wire.Publish(topic, 0, false, []byte(a.value))
	}
}

type answerJSON struct {
	At       string `json:"at"`
	Property string `json:"property"`
	Value    string `json:"value"`
	Accepted bool   `json:"accepted"`
	Reason   string `json:"reason"`
	Because  string `json:"because"`
}

func (p *Publisher) answer(a *ask, v *verdict) {
	wall, _ := p.cfg.Clock()
	reason := v.reason
	if reason == "" {
		reason = string(zones.NoReason)
	}
	b := mustJSON(answerJSON{stamp(wall), a.property, a.value, v.accepted, reason, clean(v.because)})
	if !p.wire.Publish(p.tree.prefix+"gateway/answer", 1, false, b) {
		p.counts["answer-not-taken"]++
	}
}

// judge fills in the order that a set message stands for, or says why it is refused.
func (p *Publisher) judge(a *ask, payload string) *verdict {
	n, t := p.tree.property(a.property)
	switch {
	case t == nil:
		return &verdict{false, reasonUnknown, "there is no property " + a.property}
	case !t.settable:
		return &verdict{false, reasonNotAllowed, a.property + " cannot be set"}
	case !p.allows(t.id):
		return &verdict{false, reasonNotAllowed, fmt.Sprintf("orders in gateway.yaml do not name %q: add it there and apply", t.id)}
	}
	a.order = zones.Order{Zone: n.zone, Source: sourceMQTT, By: "mqtt"}
	switch t.id {
	case "stop":
		return judgeStop(a, payload)
	case "hold":
		return judgeHold(a, payload)
	}
	return judgeShot(a, payload)
}
