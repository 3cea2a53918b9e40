package simfield

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"sync"
	"time"

	"rillgate/zones"
	"rillgate/zones/simroom"
)

// Options say where the broker is and who the controllers are to it.
type Options struct {
	Broker   string // "mqtt://127.0.0.1:1883"
	Username string // of all controllers; "" = none
	Password string
	ClientID string        // a prefix, default "sim-<room>"; the controller's id follows
	Patience time.Duration // for a connection or a will to come, default 10 s
	// Witness sees, under Run, all that happens in the room, in order: what controllers
	// say, whether or not it reaches the broker, and what they make of commands. It must
	// not call the field.
	Witness Witness
}

// Witness sees a room from inside. Times are those of the real clock at which things
// happened in the room, exact for what a controller does by its own timer.
type Witness interface {
	Said(at time.Time, controller string, ev zones.Event)
	Obeyed(at time.Time, cmd *zones.Command, v simroom.Verdict)
	// Stood comes after each of the others, and whenever time has passed.
	Stood(began time.Time, r *simroom.Room)
}

// Counts are what was sent and what came, since the beginning.
type Counts struct {
	Packs, Readings, Reports, Inputs, Statuses int
	Unsent                                     int // for want of a connection, or room in Run's queue
	Foreign                                    int // readings of probes without a terminal: not sent
	Retained                                   int // commands ignored because they were retained
	Malformed                                  int // commands that could not be read
	LastFault                                  string
	Commands                                   map[simroom.Verdict]int
}

// Field is a simulated room with a connection for each of its controllers.
type Field struct {
	room    string
	options Options
	address string // host:port of the broker
	links   []*link

	mu     sync.Mutex // the simulated room and the counts
	sim    *simroom.Room
	counts Counts
	began  time.Time // the real time of the room's beginning, under Run

	inMu  sync.Mutex
	inbox []arrived
	wake  chan struct{} // something came in, or a connection did
}

// arrived is a command as it came.
type arrived struct {
	cmd *zones.Command
	err error // it could not be read, or it was retained
}

var errRetained = errors.New("ignore command: it was retained")

// inboxSize bounds the commands that wait for a step.
const inboxSize = 4096

// New makes the controllers of a plan's room. Nothing is connected yet.
func New(p *zones.Plan, sim *simroom.Room, o Options) (*Field, error) {
	u, err := url.Parse(o.Broker)
	if err != nil {
		return nil, fmt.Errorf("read the broker's address: %w", err)
	}
	if (u.Scheme != "mqtt" && u.Scheme != "tcp") || u.Port() == "" {
		return nil, fmt.Errorf("read the broker's address %q: mqtt://host:port is due", o.Broker)
	}
	if o.ClientID == "" {
		o.ClientID = "sim-" + p.Room
	}
	if o.Patience <= 0 {
		o.Patience = 10 * time.Second
	}
	f := &Field{room: p.Room, options: o, address: u.Host, sim: sim, wake: make(chan struct{}, 1)}
	f.counts.Commands = map[simroom.Verdict]int{}
	for i := range p.Controllers {
		f.links = append(f.links, newLink(f, p.Controllers[i].ID))
	}
	return f, nil
}

// Start connects every controller and waits until it can be commanded. It goes before
// the first Step; Run does it by itself. The first Step sends what controllers say when
// they come on the air. After an error, Close frees what was begun.
func (f *Field) Start(ctx context.Context) error {
	for _, l := range f.links {
		if err := l.connect(ctx); err != nil {
			return err
		}
	}
	return nil
}

// Close takes every controller off the broker with a last word, `offline`. The field is
// of no use afterwards.
func (f *Field) Close() {
	for _, l := range f.links {
		l.leave()
	}
}

// Step lets the simulated room go on to now (since it began): commands that came are
// obeyed at the time of the step before, then all that is due up to now is sent. It
// gives how many messages left. With the same now again it only obeys and answers.
func (f *Field) Step(ctx context.Context, now time.Duration) (sent int, err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.obey()
	f.introduce()
	for _, m := range f.pack(f.sim.Advance(now)) {
		ok, e := m.link.deliver(ctx, m, true)
		f.tally(m, ok)
		if ok {
			sent++
		}
		err = errors.Join(err, e)
	}
	return sent, err
}

// Next gives the next instant at which the room does something by itself; at once when
// commands wait.
func (f *Field) Next() time.Duration {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.Waiting() {
		return f.sim.Now()
	}
	return f.sim.Next()
}

// Waiting reports whether commands came that no step has obeyed yet.
func (f *Field) Waiting() bool {
	f.inMu.Lock()
	defer f.inMu.Unlock()
	return len(f.inbox) > 0
}

// Look lets the caller see the simulated room, or put a fault into it, while nothing else
// touches it. While Run is on, the room stands at the last thing that happened in it.
func (f *Field) Look(see func(*simroom.Room)) {
	f.mu.Lock()
	defer f.mu.Unlock()
	see(f.sim)
	f.nudge()
}

// Counts gives a copy of the counts.
func (f *Field) Counts() Counts {
	f.mu.Lock()
	defer f.mu.Unlock()
	c := f.counts
	c.Commands = make(map[simroom.Verdict]int, len(f.counts.Commands))
	for v, n := range f.counts.Commands {
		c.Commands[v] = n
	}
	return c
}

// take puts a command into the inbox. It is called from connections and never blocks.
func (f *Field) take(a arrived) {
	f.inMu.Lock()
	if len(f.inbox) < inboxSize {
		f.inbox = append(f.inbox, a)
	}
	f.inMu.Unlock()
	f.nudge()
}

func (f *Field) nudge() {
	select {
	case f.wake <- struct{}{}:
	default:
	}
}

// obey hands what came to the controllers, in order.
func (f *Field) obey() {
	f.inMu.Lock()
	all := f.inbox
	f.inbox = nil
	f.inMu.Unlock()
	for _, a := range all {
		switch {
		case errors.Is(a.err, errRetained):
			f.counts.Retained++
		case a.err != nil:
			f.counts.Malformed++
			f.counts.LastFault = a.err.Error()
		default:
			v := f.sim.Command(a.cmd)
			f.counts.Commands[v]++
			f.obeyed(a.cmd, v)
		}
	}
}

// introduce lets controllers say all anew whose connection was lost and is back.
func (f *Field) introduce() {
	for _, l := range f.links {
		if l.returned() {
			f.sim.Announce(l.id)
		}
	}
}
