package daemon

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/configs"
	"rillgate/daemon/field"
	"rillgate/daemon/publish"
	"rillgate/zones"
)

// bubbleClock is the time of a synctest bubble.
type bubbleClock struct{ begun time.Time }

func (c bubbleClock) Now() (time.Time, time.Duration) {
	return time.Now(), time.Hour + time.Since(c.begun)
}
func (bubbleClock) Synchronised() bool { return true }

// diary is what happened, in order, with the time at which it did.
type diary struct {
	mu    sync.Mutex
	begun time.Time
	lines []string
	at    []time.Duration
}

func (d *diary) write(format string, args ...any) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.lines = append(d.lines, fmt.Sprintf(format, args...))
	d.at = append(d.at, time.Since(d.begun))
}

// find gives the time of the first line from an index on that begins so; -1 = none.
func (d *diary) find(from int, begin string) (index int, at time.Duration) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for i := from; i < len(d.lines); i++ {
		if strings.HasPrefix(d.lines[i], begin) {
			return i, d.at[i]
		}
	}
	return -1, 0
}

// since gives the lines from an index on.
func (d *diary) since(from int) []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]string(nil), d.lines[from:]...)
}

func (d *diary) len() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return len(d.lines)
}

// bench is a link with a controller at its end that obeys, closes when a grant runs
// out, and reports.
type bench struct {
	diary   *diary
	clock   Clock
	wake    chan struct{}
	stop    chan struct{}
	lasts   time.Duration // how long Close takes
	mu      sync.Mutex
	up      bool
	deaf    bool // hears no command
	silent  bool // says nothing
	epoch   uint32
	seq     uint32
	until   map[int]int64
	waiting []field.Arrival
}

func newBench(d *diary, c Clock) *bench {
	b := &bench{diary: d, clock: c, wake: make(chan struct{}, 1), stop: make(chan struct{}), up: true, until: map[int]int64{}}
	b.say(&zones.BrokerLink{Up: true})
	go b.live()
	return b
}

// live reports every second and tells every probe's moisture every ten.
func (b *bench) live() {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for n := 0; ; n++ {
		select {
		case <-b.stop:
			return
		case <-tick.C:
		}
		b.report()
		if n%10 == 0 {
			for _, id := range []string{"tank-low", "floor"} {
				b.say(&zones.InputState{Controller: "north", ID: id})
			}
		}
	}
}

func (b *bench) uptime() int64 {
	_, mono := b.clock.Now()
	return (mono - time.Minute).Milliseconds()
}

func (b *bench) report() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.silent || !b.up {
		return
	}
	r := &zones.Report{Controller: "north", Boot: "1", Uptime: time.Duration(b.uptime()) * time.Millisecond, Epoch: b.epoch, Seq: b.seq}
	for _, n := range []int{1, 2, 8} {
		r.Outputs = append(r.Outputs, zones.OutputReport{Number: n, Open: b.until[n] > b.uptime(), FlowLPM: -1})
	}
	b.put(r)
}

func (b *bench) say(ev zones.Event) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.put(ev)
}

// put is called with mu held.
func (b *bench) put(ev zones.Event) {
	_, mono := b.clock.Now()
	b.waiting = append(b.waiting, field.Arrival{Event: ev, Arrived: mono})
	signal(b.wake)
}

// set takes the connection down, or up.
func (b *bench) set(up bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.up = up
	b.put(&zones.BrokerLink{Up: up})
}

func (b *bench) Send(c *zones.Command) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	what := map[bool]string{true: "open", false: "close"}[c.Open]
	if !b.up {
		b.diary.write("lost %s %d", what, c.Output.Number)
		return false
	}
	b.diary.write("%s %d", what, c.Output.Number)
	if !b.deaf {
		b.epoch, b.seq, b.until[c.Output.Number] = c.Epoch, c.Seq, c.UntilMS
	}
	return true
}

// open reports whether water flows at an output.
func (b *bench) open(n int) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.until[n] > b.uptime()
}

func (b *bench) Wake() <-chan struct{} { return b.wake }

func (b *bench) Drain(into []field.Arrival) []field.Arrival {
	b.mu.Lock()
	defer b.mu.Unlock()
	into = append(into, b.waiting...)
	b.waiting = nil
	return into
}

func (b *bench) Close(context.Context) {
	b.diary.write("link closes")
	time.Sleep(b.lasts) // the bubble's time: what the last words take
	close(b.stop)
	b.diary.write("link closed")
}

// air is a publisher's wire that writes the room's state down.
type air struct{ diary *diary }

func (a air) Up() bool                                           { return true }
func (a air) Subscribe(string, byte, func(string, []byte, bool)) {}
func (a air) Publish(topic string, _ byte, _ bool, p []byte) bool {
	if strings.HasSuffix(topic, "/$state") {
		a.diary.write("state %s", p)
	}
	return true
}

// drawer is a store that writes down when it is written.
type drawer struct{ diary *diary }

func (s drawer) save(*batch) error {
	s.diary.write("store saves")
	return nil
}

// bubble is a daemon of the demonstration's room whose link, ledger and store are
// the test's. It runs until the test's context ends; done gives how it ended.
type bubble struct {
	*Daemon
	t      *testing.T
	diary  *diary
	bench  *bench
	notes  *net.UnixConn
	end    context.CancelFunc
	reload chan struct{}
	done   chan error
	dials  atomic.Int32
}

func inBubble(t *testing.T) *bubble {
	t.Helper()
	o, _ := inRoom(t)
	clock := bubbleClock{time.Now()}
	o.Clock, o.Past, o.NoTrace = clock, time.Now().AddDate(-1, 0, 0), true
	b := &bubble{t: t, diary: &diary{begun: time.Now()}, reload: make(chan struct{}), done: make(chan error, 1)}
	b.bench = newBench(b.diary, clock)
	d := &Daemon{o: o.filled(), recent: newRecent(), posts: make(chan func(), postsWaiting), ended: make(chan struct{}),
		asked: map[string]chan zones.Answer{}, publishEvery: publishEvery, gatherFor: gatherFor}
	d.dial = func(field.Config) (*field.Link, error) {
		b.dials.Add(1)
		return nil, fmt.Errorf("no broker in a test")
	}
	b.Daemon, d.clock, d.files.missing = d, clock, os.ErrNotExist
	d.trust = &trust{floor: o.Past, synced: clock.Synchronised}
	d.out = outlets{entry: d.entry, answer: d.answered, seen: d.seen, alarm: d.alarm, state: func(*zones.State) {}}
	d.recorder = newRecorder(&paper{})
	d.look()
	d.remember()
	d.keeper = newKeeper(drawer{b.diary}, d.now.Mono)
	d.choosePlan()
	d.field, d.publisher = b.bench, publish.New(publish.Config{Homie: true, Root: "homie", Room: "demo", Clock: clock.Now, Submit: d.submit}, air{b.diary})
	var effects []zones.Effect
	d.room, effects = zones.NewRoom(d.choice.plan, zones.NewMemory(), d.now)
	d.carry(effects)
	d.show()
	return b
}

// run drives the daemon; every is how often the watchdog is fed, 0 = never. Who asks
// for it must listen: a socket that nobody reads holds a dozen messages.
func (b *bubble) run(every time.Duration) {
	b.t.Helper()
	path := filepath.Join(b.t.TempDir(), "notify")
	var err error
	b.notes, err = net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	require.NoError(b.t, err)
	b.t.Cleanup(func() { b.notes.Close() })
	b.notify = notifier{address: path, every: every}
	ctx, cancel := context.WithCancel(b.t.Context())
	b.end = cancel
	go func() { b.done <- b.Run(ctx, b.reload) }()
}

// heard gives how often a message came to the service manager since the last look.
func (b *bubble) heard(message string) (n int) {
	raw, err := b.notes.SyscallConn()
	require.NoError(b.t, err)
	buf := make([]byte, 200)
	for more := true; more; {
		require.NoError(b.t, raw.Read(func(fd uintptr) bool {
			size, _, err := syscall.Recvfrom(int(fd), buf, syscall.MSG_DONTWAIT)
			if more = err == nil; more && strings.Contains(string(buf[:size]), message) {
				n++
			}
			return true
		}))
	}
	return n
}

// shot asks for water by hand and lets the answer come.
func (b *bubble) shot(zone string, long time.Duration) zones.Answer {
	a, err := b.Order(b.t.Context(), zones.Order{Kind: zones.OrderShot, Zone: zone, For: long, Source: "socket", By: "test"})
	require.NoError(b.t, err)
	return a
}

// edit changes a file on disk.
func (b *bubble) edit(name, from, to string) {
	path := filepath.Join(b.o.Config, name)
	text, err := os.ReadFile(path)
	require.NoError(b.t, err)
	require.Contains(b.t, string(text), from)
	require.NoError(b.t, os.WriteFile(path, []byte(strings.ReplaceAll(string(text), from, to)), 0o600))
}

const gatewayFile, roomFile = configs.GatewayFile, configs.RoomFile
