package publish

import (
	"maps"
	"slices"
	"sync"
	"time"
)

type phase uint8

const (
	down    phase = iota // not connected, or connected anew: everything is to be told
	birth                // $state is init
	ready                // $state is ready
	stopped              // clean end: nothing more is told
)

// Publisher tells a room's state over a Wire, and takes orders from it. Its methods
// may be called from any goroutine and never block on the wire.
type Publisher struct {
	cfg  Config
	wire Wire

	mu         sync.Mutex
	phase      phase
	tree       *tree
	alarms     value
	walk       string     // JSON; "" = none is kept
	topics     [][]string // of the tree's nodes, one a trait
	shape      string     // of what was last described
	sweep      bool       // something may stand that is no more ours
	version    int64      // of the newest description, also of an earlier process
	described  string
	told       map[string]told  // since the connect
	highest    map[string]value // totals, since the process began
	touched    map[string]bool  // topics of ours that may stand at the broker
	backlog    []entryJSON
	subscribed bool
	begun      time.Duration // of this birth
	heard      bool          // a subscription of ours is known to work, once in a process
	sets       setDesk
	counts     map[string]int
}

// New makes a publisher. Nothing is told before the first Update with the wire up.
func New(c Config, w Wire) *Publisher {
	return &Publisher{
		cfg: c, wire: w,
		told: map[string]told{}, highest: map[string]value{}, touched: map[string]bool{},
		sets: newSetDesk(), counts: map[string]int{},
	}
}

// Connected must be called at each connect and reconnect: the next Update tells
// everything again.
func (p *Publisher) Connected() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.drop()
}

func (p *Publisher) drop() {
	if p.phase != stopped {
		p.phase, p.subscribed = down, false
	}
}

// Update tells what is new in the snapshot and due. Call it on every change, and at
// least every second, so that numbers held back are told in time.
func (p *Publisher) Update(s *Snapshot) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.phase == stopped {
		return
	}
	p.alarms, p.walk = alarmList(s.View.Alarms), s.Walk
	if p.cfg.Homie {
		p.see(build(&p.cfg, s))
	}
	p.settle()
}

// see takes a new tree in; a new shape makes the device go through init again.
func (p *Publisher) see(t *tree) {
	if p.tree == nil || len(t.alerts) != len(p.tree.alerts) {
		p.sweep = true
	}
	for topic := range t.alerts {
		p.sweep = p.sweep || p.tree.alerts[topic].absent()
	}
	p.tree = t
	shape := t.shape()
	if shape == p.shape {
		return
	}
	p.shape, p.topics, p.sweep = shape, t.topics(), true
	p.describe()
	if p.phase == ready {
		p.phase = birth
	}
}

// describe gives the tree a description of a higher version.
func (p *Publisher) describe() {
	p.version = max(p.version, int64(p.cfg.Base)<<20) + 1
	p.described = p.tree.describe(p.version)
}

// settle brings the broker to what is known, as far as the wire takes it.
func (p *Publisher) settle() {
	if !p.wire.Up() {
		p.drop()
		return
	}
	_, now := p.cfg.Clock()
	if p.phase == down {
		clear(p.told)
		p.phase, p.begun = birth, now
	}
	p.put(AlarmsTopic(p.cfg.Room), p.alarms, now)
	if p.walk != "" {
		p.put(WalkTopic(p.cfg.Room), value{text: p.walk}, now)
	}
	if p.tree == nil {
		p.phase = ready
	}
	if p.phase == birth && p.born(now) {
		p.phase = ready
	}
	if p.phase == ready {
		p.tell(now)
		p.unload()
	}
}

// hearWithin bounds the wait for the first sign of a subscription.
const hearWithin = 3 * time.Second

// born goes through the steps of a birth in their order; each one is skipped when it
// was done, so that a full queue only delays the rest. The first description of a
// process waits until the broker has answered a subscription: by then it has also
// handed over the description that an earlier process left, which tells what to
// remove.
func (p *Publisher) born(now time.Duration) bool {
	if !p.put(p.tree.prefix+"$state", value{text: "init"}, now) {
		return false
	}
	p.subscribe()
	if !p.heard && now-p.begun < hearWithin {
		return false
	}
	return p.put(p.tree.prefix+"$description", value{text: p.described}, now) &&
		p.leave(now) && p.tell(now) &&
		p.put(p.tree.prefix+"$state", value{text: "ready"}, now)
}

// leave removes what stood under a node, property or alert that is no more.
func (p *Publisher) leave(now time.Duration) bool {
	if !p.sweep {
		return true
	}
	for _, topic := range slices.Sorted(maps.Keys(p.touched)) {
		if p.tree.stands(topic) {
			continue
		}
		if !p.put(topic, gone, now) {
			return false
		}
		delete(p.touched, topic)
	}
	p.sweep = false
	return true
}

// tell puts every value that is due; false when the wire did not take one.
func (p *Publisher) tell(now time.Duration) bool {
	if p.tree == nil {
		return true
	}
	if !p.leave(now) {
		return false
	}
	for i := range p.tree.nodes {
		if !p.tellNode(&p.tree.nodes[i], p.topics[i], now) {
			return false
		}
	}
	for _, topic := range slices.Sorted(maps.Keys(p.tree.alerts)) {
		if !p.place(topic, p.tree.alerts[topic], now) {
			return false
		}
	}
	return true
}

func (p *Publisher) tellNode(n *node, topics []string, now time.Duration) bool {
	moisture, quality := n.index("moisture"), n.index("quality")
	if moisture >= 0 && quality >= 0 && n.values[moisture].absent() {
		if !p.place(topics[quality], n.values[quality], now) { // before the number goes
			return false
		}
	}
	for i := range n.traits {
		t := &n.traits[i]
		if t.momentary || i == quality && moisture >= 0 && p.withheld(topics[moisture], n.values[moisture]) {
			continue
		}
		if !p.place(topics[i], p.raised(topics[i], n.values[i]), now) {
			return false
		}
		if t.target && !p.place(topics[i]+"/$target", n.target, now) {
			return false
		}
	}
	return true
}

// withheld reports whether a number that is known again is not told yet, for its
// pace: what is said of its quality waits with it (INV-28).
func (p *Publisher) withheld(topic string, v value) bool {
	prev, known := p.told[topic]
	return known && prev.absent() && !v.absent()
}

// place puts a value of the tree, and remembers that its topic may stand.
func (p *Publisher) place(topic string, v value, now time.Duration) bool {
	if !p.put(topic, v, now) {
		return false
	}
	if !v.absent() {
		p.touched[topic] = true
	}
	return true
}

// raised keeps a total from falling below what was told before.
func (p *Publisher) raised(topic string, v value) value {
	if v.pace != total {
		return v
	}
	if high, ok := p.highest[topic]; ok && v.num < high.num {
		return high
	}
	return v
}

// put tells one retained value if it is due. A topic that was never told since the
// connect is told in any case, also when it is to be removed.
func (p *Publisher) put(topic string, v value, now time.Duration) bool {
	prev, known := p.told[topic]
	if known && !due(prev, v, now) {
		return true
	}
	if !p.wire.Publish(topic, qosState, true, []byte(v.text)) {
		p.counts["not-taken"]++
		return false
	}
	if v.pace == total {
		p.highest[topic] = v
	}
	at := now
	if v.absent() && known {
		at = prev.at // a number that comes back keeps its pace
	}
	p.told[topic] = told{value: v, at: at}
	return true
}

// Stop tells the clean end: $state disconnected. The wire must carry it before it
// closes. Nothing is told afterwards.
func (p *Publisher) Stop() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.phase == stopped {
		return
	}
	if p.cfg.Homie && p.wire.Up() {
		topic, _ := Will(p.cfg.Root, p.cfg.Room)
		p.wire.Publish(topic, qosState, true, []byte("disconnected"))
	}
	p.phase = stopped
}

// Counts gives what was refused or dropped since the process began, by cause.
func (p *Publisher) Counts() map[string]int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return maps.Clone(p.counts)
}
