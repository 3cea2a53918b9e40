package netrig

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"text/tabwriter"
	"time"

	"github.com/stretchr/testify/require"
)

// fault is one way in which the network or the broker fails.
type fault struct {
	name  string
	lease time.Duration
	lasts time.Duration // at least; and until the valve has closed
	// begin makes the fault; once it returns it is in force. It gives the way back.
	begin func(*bench) (heal func())
	// mild: commands still come, if late, so that a run may go on to its end.
	mild bool
	// whole: the run must go on to its end.
	whole bool
}

// rules cuts by rules of the broker's own packet filter. They name its links: gw to
// the gateway, ctl to the controller; in is what comes to the broker.
func rules(lines ...string) func(*bench) func() {
	return func(b *bench) func() {
		b.middle.feed("add rule inet cut "+strings.Join(lines, "\nadd rule inet cut ")+"\n", "nft", "-f", "-")
		return func() { b.middle.feed("flush chain inet cut in\nflush chain inet cut out\n", "nft", "-f", "-") }
	}
}

// settled waits until the broker's kernel has every packet acknowledged, and then begins.
// Cut before that, the kernel says the same packet over and over and holds back all that
// follows: a grant that is renewed in the dark would never come to the controller.
func settled(begin func(*bench) func()) func(*bench) func() {
	return func(b *bench) func() {
		for end := time.Now().Add(2 * time.Second); b.unacknowledged() && time.Now().Before(end); {
			time.Sleep(5 * time.Millisecond)
		}
		return begin(b)
	}
}

// unacknowledged reports whether a connection in the broker's namespace has bytes that
// nobody has acknowledged: column tx_queue of proc_net_tcp(5).
func (b *bench) unacknowledged() bool {
	table, err := os.ReadFile(fmt.Sprintf("/proc/%d/net/tcp", b.broker.Process.Pid))
	require.NoError(b.t, err)
	for _, line := range strings.Split(string(table), "\n")[1:] {
		if f := strings.Fields(line); len(f) > 4 && f[3] == "01" && !strings.HasPrefix(f[4], "00000000:") { // 01: established
			return true
		}
	}
	return false
}

// reset answers every packet from a link, and each new connection, with RST.
func reset(link string) func(*bench) func() {
	return rules("in iifname " + link + " meta l4proto tcp reject with tcp reset")
}

func freeze(b *bench) func() {
	require.NoError(b.t, b.broker.Process.Signal(syscall.SIGSTOP))
	return func() { require.NoError(b.t, b.broker.Process.Signal(syscall.SIGCONT)) }
}

// stutter lets the broker work a tenth of the time.
func stutter(b *bench) func() {
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		stopped := false
		turn := time.NewTicker(100 * time.Millisecond)
		defer turn.Stop()
		for i := 0; ; i++ {
			select {
			case <-stop:
				_ = b.broker.Process.Signal(syscall.SIGCONT) // it lives: the bench owns it
				return
			case <-turn.C:
			}
			if want := i%10 != 0; want != stopped {
				stopped = want
				_ = b.broker.Process.Signal(map[bool]os.Signal{true: syscall.SIGSTOP, false: syscall.SIGCONT}[want]) // as above
			}
		}
	}()
	return func() { close(stop); <-done }
}

// slow lets both directions of a link pass a token bucket of so many kbit/s.
func slow(link string, kbit int) func(*bench) func() {
	return func(b *bench) func() {
		far := map[string]*space{"gw": b.gateway, "ctl": b.field}[link]
		bucket := []string{"root", "tbf", "rate", fmt.Sprintf("%dkbit", kbit), "burst", "2000", "latency", "3s"}
		b.middle.run("tc", append([]string{"qdisc", "add", "dev", link}, bucket...)...)
		far.run("tc", append([]string{"qdisc", "add", "dev", "uplink"}, bucket...)...)
		return func() {
			b.middle.run("tc", "qdisc", "del", "dev", link, "root")
			far.run("tc", "qdisc", "del", "dev", "uplink", "root")
		}
	}
}

// forget cuts both links and starts the broker anew behind the cut: the others' ends
// of their connections stand, and nobody is at the other end.
func forget(b *bench) func() {
	heal := rules("in iifname { gw, ctl } drop", "out oifname { gw, ctl } drop")(b)
	b.killBroker()
	b.startBroker()
	return heal
}

// gone kills the broker; healing starts it anew.
func gone(b *bench) func() {
	b.killBroker()
	return b.startBroker
}

const (
	shortLease = 10 * time.Second // the shortest that gateway.yaml takes
	spell      = 25 * time.Second
	longSpell  = 75 * time.Second
)

var faults = []fault{
	{name: "gateway-broker, both ways", lease: shortLease, lasts: spell, begin: rules("in iifname gw drop", "out oifname gw drop")},
	{name: "gateway-broker, both ways, long", lease: shortLease, lasts: longSpell, begin: rules("in iifname gw drop", "out oifname gw drop")},
	{name: "gateway-broker, to the broker", lease: shortLease, lasts: spell, begin: rules("in iifname gw drop")},
	{name: "gateway-broker, from the broker", lease: shortLease, lasts: 2 * spell, begin: rules("out oifname gw drop")},
	{name: "gateway-broker, RST", lease: shortLease, lasts: spell, begin: reset("gw")},
	{name: "gateway-broker, RST, long", lease: shortLease, lasts: longSpell, begin: reset("gw")},
	{name: "gateway-broker, RST, a minute", lease: shortLease, lasts: 62 * time.Second, begin: reset("gw")},
	{name: "gateway-broker, 4 kbit/s", lease: shortLease, lasts: spell, begin: slow("gw", 4), mild: true},
	{name: "broker-controller, both ways", lease: shortLease, lasts: spell, begin: rules("in iifname ctl drop", "out oifname ctl drop")},
	{name: "broker-controller, both ways, long", lease: shortLease, lasts: longSpell, begin: rules("in iifname ctl drop", "out oifname ctl drop")},
	{name: "broker-controller, to the controller", lease: shortLease, lasts: spell, begin: rules("out oifname ctl drop")},
	{name: "broker-controller, from the controller", lease: shortLease, lasts: 2 * spell, begin: settled(rules("in iifname ctl drop"))},
	{name: "broker-controller, RST", lease: shortLease, lasts: spell, begin: reset("ctl")},
	{name: "broker-controller, 4 kbit/s", lease: shortLease, lasts: spell, begin: slow("ctl", 4), mild: true},
	{name: "frozen broker", lease: shortLease, lasts: spell, begin: freeze},
	{name: "frozen broker, long", lease: shortLease, lasts: longSpell, begin: freeze},
	{name: "broker at work a tenth of the time", lease: shortLease, lasts: spell, begin: stutter, mild: true},
	{name: "half-open: broker anew behind a cut", lease: shortLease, lasts: spell, begin: forget},
	// Without a fault the valve is open for the whole shot: else nothing above shows anything.
	{name: "none", lease: shortLease, lasts: shot + 5*time.Second, begin: func(*bench) func() { return func() {} }, mild: true, whole: true},
	{name: "broker killed", lease: shortLease, lasts: spell, begin: gone},
}

const (
	closeSlack = 200 * time.Millisecond // over the lease
	// offlineAfter is for how long reports may be missing: interlock controller-offline.
	offlineAfter = 15 * time.Second
	resumesIn    = 15 * time.Second
	firstWithin  = 60 * time.Second // the boot hold, and a slow machine
)

// result is what one case showed.
type result struct {
	closed  time.Duration // after the fault was in force
	cause   string        // deadline or close
	resumed time.Duration // after healing began
	farther time.Duration // of all grants, how far the farthest reached ahead
	longest time.Duration // of all runs
}

// TestNetwork cuts the network right after a grant was renewed, in each of the ways,
// and looks at the controller's outputs by its own clock.
func TestNetwork(t *testing.T) {
	if !*netAll {
		t.Skip("cuts only with -net.all")
	}
	if !needSpaces(t) {
		return
	}
	program(t)
	var mu sync.Mutex
	results := map[string]result{}
	t.Cleanup(func() { table(results) })
	for _, f := range faults {
		t.Run(f.name, func(t *testing.T) {
			t.Parallel()
			r := suffer(t, newBench(t, f.lease), f)
			mu.Lock()
			results[f.name] = r
			mu.Unlock()
			f.judge(t, r)
		})
	}
}

func suffer(t *testing.T, b *bench, f fault) (r result) {
	t.Helper()
	_, ok := b.seen.await(0, firstWithin, 1, "renew")
	require.True(t, ok, "no grant was renewed; the daemon said: %s\nbroker: %s", &b.daemonSaid, &b.brokerSaid)
	heal := f.begin(b)
	began := mono()
	wait := f.lasts
	if !f.mild {
		m, ok := b.seen.await(began, f.bound()+20*time.Second, 1, "close deadline")
		require.True(t, ok, "the valve stays open; the daemon said: %s", &b.daemonSaid)
		r.closed, r.cause = m.At-began, m.Kind
		wait -= r.closed
	}
	<-time.After(wait)
	healed := mono()
	heal()
	r.resumed = b.resumed(healed)
	r.farther, r.longest = b.extremes()
	return r
}

// resumed gives how long after healing a grant comes: an opening, or what renews a
// run that went on.
func (b *bench) resumed(healed time.Duration) time.Duration {
	b.t.Helper()
	m, ok := b.seen.await(healed, resumesIn+45*time.Second, 1, "open renew")
	require.True(b.t, ok, "no water after healing; the daemon said: %s", &b.daemonSaid)
	return m.At - healed
}

// extremes gives how far a grant ever reached ahead, and how long a run ever was open.
func (b *bench) extremes() (farther, longest time.Duration) {
	opened := time.Duration(0)
	for _, m := range b.seen.copy() {
		switch m.Kind {
		case "open":
			opened = m.At
			farther = max(farther, m.Ahead)
		case "renew":
			farther = max(farther, m.Ahead)
		case "close", "deadline":
			longest = max(longest, m.At-opened)
		}
	}
	return farther, longest
}

// bound is how long after the fault the valve may be open at most.
func (f fault) bound() time.Duration {
	return f.lease + closeSlack
}

func (f fault) judge(t *testing.T, r result) {
	t.Helper()
	if !f.mild {
		require.LessOrEqual(t, r.closed, f.bound(), "closed too late")
	}
	if f.whole {
		require.GreaterOrEqual(t, r.longest, shot-closeSlack, "a run was cut short")
	}
	require.LessOrEqual(t, r.resumed, resumesIn, "resumed too late")
	require.LessOrEqual(t, r.farther, f.lease+closeSlack, "a grant reached too far ahead")
	require.LessOrEqual(t, r.longest, shot+closeSlack, "a run was open for longer than it was charged")
}

// table prints what was measured, in the order of the cases.
func table(results map[string]result) {
	w := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "fault\tlease\tclosed after\tby\twater again after\tfarthest grant\tlongest run")
	for _, f := range faults {
		r, ok := results[f.name]
		if !ok {
			continue
		}
		closed, by := r.closed.Round(10*time.Millisecond).String(), r.cause
		if f.mild {
			closed, by = "goes on", "-"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", f.name, f.lease, closed, by, r.resumed.Round(10*time.Millisecond),
			r.farther.Round(10*time.Millisecond), r.longest.Round(10*time.Millisecond))
	}
	w.Flush()
}

// TestFaultNamesDiffer: results are told apart by them.
func TestFaultNamesDiffer(t *testing.T) {
	seen := []string{}
	for _, f := range faults {
		require.False(t, slices.Contains(seen, f.name), f.name)
		seen = append(seen, f.name)
	}
}
