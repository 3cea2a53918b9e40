package publish

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"rillgate/daemon/publish/homiecheck"
	"rillgate/zones"
)

// fakeWire keeps what is published as a broker would, and takes only as much as its
// room allows.
type fakeWire struct {
	up       bool
	room     int // messages still taken; negative = no limit
	log      []homiecheck.Message
	standing map[string]string
	subs     map[string]func(string, []byte, bool)
}

func newFakeWire() *fakeWire {
	return &fakeWire{up: true, room: -1, standing: map[string]string{}, subs: map[string]func(string, []byte, bool){}}
}

func (w *fakeWire) Up() bool { return w.up }

func (w *fakeWire) Publish(topic string, qos byte, retained bool, payload []byte) bool {
	if !w.up || w.room == 0 {
		return false
	}
	w.room--
	w.log = append(w.log, homiecheck.Message{Topic: topic, Payload: string(payload), Retained: retained})
	if retained && len(payload) == 0 {
		delete(w.standing, topic)
	} else if retained {
		w.standing[topic] = string(payload)
	}
	return true
}

func (w *fakeWire) Subscribe(filter string, qos byte, h func(string, []byte, bool)) {
	w.subs[filter] = h
}

// since gives what was published from message n on, as "topic=payload".
func (w *fakeWire) since(n int) []string {
	var out []string
	for _, m := range w.log[n:] {
		out = append(out, m.Topic+"="+m.Payload)
	}
	return out
}

func (w *fakeWire) index(topic, payload string) int {
	return slices.IndexFunc(w.log, func(m homiecheck.Message) bool { return m.Topic == topic && m.Payload == payload })
}

// rig is a publisher on a fake wire with clocks that the test moves.
type rig struct {
	*testing.T
	wire   *fakeWire
	pub    *Publisher
	view   zones.View
	err    string
	wall   time.Time
	mono   time.Duration
	orders []zones.Order
	full   bool // the core takes no order
}

const device = "homie/5/bay-2/"

func newRig(t *testing.T) *rig {
	r := &rig{T: t, wire: newFakeWire(), view: roomView(), wall: time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC), mono: time.Hour}
	r.pub = New(r.config(), r.wire)
	return r
}

func (r *rig) config() Config {
	return Config{
		Homie: true, Root: "homie", Room: "bay-2", Version: "0.1.0", Base: 7, Orders: []string{"stop", "hold", "shot"},
		Clock: func() (time.Time, time.Duration) { return r.wall, r.mono },
		Submit: func(o zones.Order) bool {
			if !r.full {
				r.orders = append(r.orders, o)
			}
			return !r.full
		},
	}
}

// update lets the publisher look, and hear its own state as a broker would send it.
func (r *rig) update() {
	s := &Snapshot{View: r.view, PlanError: r.err}
	r.pub.Update(s)
	if h := r.wire.subs[device+"$state"]; h != nil && !r.pub.heard {
		h(device+"$state", []byte("init"), true)
		r.pub.Update(s)
	}
}

func (r *rig) pass(d time.Duration) {
	r.wall, r.mono = r.wall.Add(d), r.mono+d
	r.update()
}

// told runs f and gives what was published meanwhile.
func (r *rig) told(f func()) []string {
	n := len(r.wire.log)
	f()
	return r.wire.since(n)
}

// set sends a set message and gives what was published on it.
func (r *rig) set(property, payload string) []string {
	return r.told(func() {
		r.wire.subs[device+"+/+/set"](device+property+"/set", []byte(payload), false)
	})
}

// standingAt is what a fresh subscriber would get.
func (r *rig) standingAt(topic string) string { return r.wire.standing[device+topic] }

func ptr[T any](x T) *T { return &x }

// roomView is a room of two zones with everything in it that the tree can show.
func roomView() zones.View {
	v := zones.View{
		Wall: time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC), Room: "bay-2", Name: "Bay 2",
		Trusted: true, Plan: "5f1c", BrokerUp: true,
		Zones: []zones.ZoneView{
			{ID: "east", Name: "East bench", State: zones.Watching, Reason: zones.NoReason,
				Because: "46.2 % is over the 45.0 % of ramp-up", Moisture: ptr(46.24), Temperature: ptr(22.04),
				Quality: zones.QualityGood, Counting: 2, Assigned: 2, AgeSeconds: ptr(12), Window: "ramp-up",
				LitresTotal: 120.5, ShotsTotal: 14, RunSeconds: 1260, Litres24: 12.3},
			{ID: "west", Name: "West bench", State: zones.Held, Reason: zones.HeldByPerson, Because: "held until 13:00",
				Quality: zones.QualityNone, Assigned: 1, HoldUntil: ptr(time.Date(2027, 3, 1, 13, 0, 0, 0, time.UTC)), HoldSource: "socket", Metered: true},
		},
		Valves: []zones.ValveView{
			{ID: "east", Zone: "east", State: zones.ValveClosed},
			{ID: "west", Zone: "west", State: zones.ValveUnknown},
			{ID: "feed-master", Master: true, State: zones.ValveOpen, Wanted: true, FlowLPM: ptr(6.72)},
		},
		Alarms: []zones.AlarmView{{Code: zones.ProbesLost, Subject: "west", Since: time.Date(2027, 3, 1, 11, 0, 0, 0, time.UTC), Because: "0 of 1 probes count"}},
	}
	for i, id := range []string{"e1", "e2", "w1"} {
		v.Probes = append(v.Probes, zones.ProbeView{ID: id, Place: zones.Place{Controller: "north", Terminal: 1, Address: fmt.Sprint(i)},
			Zone: "east", Label: "Probe " + id, Quality: zones.ProbeGood, Moisture: ptr(46.1), EC: ptr(1.853), Temperature: ptr(22.0), AgeSeconds: ptr(12), InFiles: true})
	}
	v.Probes[2].Zone, v.Probes[2].Quality = "west", zones.ProbeLost
	v.Probes = append(v.Probes, zones.ProbeView{Place: zones.Place{Controller: "north", Terminal: 2, Address: "A"}, Quality: zones.ProbeNew, Moisture: ptr(40.0)})
	return v
}
