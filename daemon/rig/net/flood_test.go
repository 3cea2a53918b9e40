package netrig

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker/realbroker"
	"rillgate/daemon/operator"
	"rillgate/zones"
)

const (
	floodZones = 24
	// floodBatch is how many probes one pack carries; each says three values.
	floodBatch = 16
	// closeWithin is what a close may take from its cause to the controller.
	closeWithin = 50 * time.Millisecond
)

// flood publishes readings of all probes of the house at a rate, until it is stopped.
type flood struct {
	out   *bufio.Writer
	conn  *raw
	batch int
	rate  int
	mu    sync.Mutex
	says  []float64 // by zone
	packs [][]byte
	wrote func(zone int, at time.Duration) // a changed value went to the kernel
	fresh []int                            // zones whose value changed
	sent  atomic.Int64                     // readings
}

func newFlood(t *testing.T, address string, batch, rate int) *flood {
	t.Helper()
	conn, err := dialRaw(address, "flood")
	require.NoError(t, err)
	f := &flood{conn: conn, out: bufio.NewWriterSize(conn, 16<<10), batch: batch, rate: rate, says: make([]float64, floodZones)}
	for zone := range f.says {
		f.says[zone] = dry
	}
	f.packs = make([][]byte, 2*floodZones/batch)
	for i := range f.packs {
		f.pack(i)
	}
	return f
}

// pack makes pack i anew.
func (f *flood) pack(i int) {
	var all []string
	for probe := i * f.batch; probe < (i+1)*f.batch; probe++ {
		one := packOf(probe, f.says[probe/2])
		all = append(all, one[1:len(one)-1])
	}
	var b strings.Builder
	_ = publication(fieldRoot+"readings", false, []byte("["+strings.Join(all, ",")+"]")).Write(&b) // a builder takes all
	f.packs[i] = []byte(b.String())
}

// say changes what a zone's probes say from the next pack on.
func (f *flood) say(zone int, moisture float64) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.says[zone] = moisture
	for probe := 2 * zone; probe < 2*zone+2; probe++ {
		f.pack(probe / f.batch)
	}
	f.fresh = append(f.fresh, zone)
}

// pour keeps to the rate as well as the broker lets it. A full socket holds it up: what
// was not sent in time is not made up for.
func (f *flood) pour(ctx context.Context) error {
	defer f.conn.Close()
	tick := time.NewTicker(time.Millisecond)
	defer tick.Stop()
	due, last := 0.0, mono()
	for i := 0; ; {
		select {
		case <-ctx.Done():
			return f.out.Flush()
		case <-tick.C:
		}
		now := mono()
		due = min(due+(now-last).Seconds()*float64(f.rate), float64(f.rate)/10)
		last = now
		for ; due >= float64(f.batch); due -= float64(f.batch) {
			if err := f.one(i % len(f.packs)); err != nil {
				return err
			}
			i++
		}
		if err := f.out.Flush(); err != nil {
			return err
		}
	}
}

// one writes the next pack, and tells of a changed value that is in it before that.
func (f *flood) one(i int) error {
	f.mu.Lock()
	pack := f.packs[i]
	news := slices.DeleteFunc(slices.Clone(f.fresh), func(zone int) bool { return 2*zone/f.batch != i })
	f.fresh = slices.DeleteFunc(f.fresh, func(zone int) bool { return 2*zone/f.batch == i })
	f.mu.Unlock()
	for _, zone := range news {
		if f.wrote != nil {
			f.wrote(zone, mono())
		}
	}
	if _, err := f.out.Write(pack); err != nil {
		return err
	}
	f.sent.Add(int64(f.batch))
	return nil
}

// floodLeast is the rate that a run must reach, in readings a second, unless it asked
// for less.
const floodLeast = 100_000

// causes are what a close follows.
var causes = []string{"contact", "order", "reading"}

// TestFlood pours readings at the program and closes valves meanwhile: for a contact, for
// a person's hold, and for a reading in the flood itself.
func TestFlood(t *testing.T) {
	if *netFlood == 0 {
		t.Skip("floods only with -net.flood")
	}
	h := newHouse(t, floodZones, realbroker.Options{Extra: "max_queued_messages 4000\nmax_queued_bytes 4194304\nsys_interval 1\n"})
	h.connected()
	f := newFlood(t, h.address(), floodBatch, *netRate)
	tide := watchBroker(t, h.address())
	ctx, stop := context.WithCancel(t.Context())
	poured := make(chan error, 1)
	go func() { poured <- f.pour(ctx) }()
	_, ok := h.seen.await(0, firstWithin, 0, "open")
	require.True(t, ok, "no water in the flood; the daemon said: %s", &h.said)
	began, sent, tideBefore, cpu := mono(), f.sent.Load(), tide.now(), h.cpu(h.daemon.Process.Pid)
	brokerCPU := h.cpu(h.broker.PID())
	took := h.closings(f, began+*netFlood)
	span := (mono() - began).Seconds()
	fmt.Printf("flood: %.0f readings/s published in %.0f packs/s of %d probes for %.0f s; broker: %s, %.2f cores; daemon: %.2f cores, highest memory %.1f MiB, %d connections\n",
		float64(f.sent.Load()-sent)/span, float64(f.sent.Load()-sent)/span/floodBatch, floodBatch, span,
		tide.since(tideBefore, span), (h.cpu(h.broker.PID())-brokerCPU).Seconds()/span, (h.cpu(h.daemon.Process.Pid)-cpu).Seconds()/span, float64(h.memory("VmHWM"))/(1<<20), h.connections())
	stop()
	require.NoError(t, <-poured)
	require.Greater(t, float64(f.sent.Load()-sent)/span, 0.9*float64(min(*netRate, floodLeast)), "that was no flood")
	for _, cause := range causes {
		all := took[cause]
		require.NotEmpty(t, all, cause)
		slices.Sort(all)
		fmt.Printf("close after a %-8s median %5.1f ms, most %5.1f ms of %d\n", cause+":", ms(all[len(all)/2]), ms(all[len(all)-1]), len(all))
	}
	require.Less(t, h.memory("VmHWM"), memoryMost)
	for _, cause := range causes {
		require.LessOrEqual(t, took[cause][len(took[cause])-1], closeWithin, "close after a %s", cause)
	}
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// closings closes open zones one after the other until an instant, each by the next
// cause, and gives how long each close took from its cause to the controller.
func (h *house) closings(f *flood, until time.Duration) map[string][]time.Duration {
	h.t.Helper()
	took := map[string][]time.Duration{}
	wrote := make(chan time.Duration, 4)
	f.wrote = nil
	f.mu.Lock()
	f.fresh = nil
	f.mu.Unlock()
	for i := 0; mono() < until; i++ {
		zone, ok := h.openZone()
		if !ok {
			<-time.After(100 * time.Millisecond)
			continue
		}
		cause := causes[i%len(causes)]
		began, undo := h.cause(f, wrote, cause, zone)
		m, ok := h.seen.await(began, 5*time.Second, zone+1, "close")
		require.True(h.t, ok, "%s does not close z%d", cause, zone)
		took[cause] = append(took[cause], m.At-began)
		undo()
	}
	return took
}

// cause makes a zone close, and gives when, and the way back.
func (h *house) cause(f *flood, wrote chan time.Duration, cause string, zone int) (began time.Duration, undo func()) {
	h.t.Helper()
	switch cause {
	case "contact":
		began = mono()
		h.controller.input(zone, true)
		return began, func() { h.controller.input(zone, false) }
	case "order":
		began = mono()
		h.order(zones.OrderHold, zone)
		return began, func() { h.order(zones.OrderRelease, zone) }
	}
	f.mu.Lock()
	f.wrote = func(z int, at time.Duration) {
		if z == zone {
			wrote <- at
		}
	}
	f.mu.Unlock()
	f.say(zone, wet)
	began = <-wrote
	return began, func() { f.say(zone, dry); <-wrote }
}

func (h *house) order(kind zones.OrderKind, zone int) {
	h.t.Helper()
	o := &operator.Order{Kind: kind, Zone: fmt.Sprintf("z%d", zone)}
	err := operator.Ask(h.t.Context(), filepath.Join(h.dir, "state", operator.SocketName), operator.Request{Kind: operator.AskOrder, Order: o},
		func(operator.Reply) error { return nil })
	require.NoError(h.t, err)
}

// openZone gives the zone that has been open for longest, half a second at least.
func (h *house) openZone() (zone int, ok bool) {
	h.controller.mu.Lock()
	defer h.controller.mu.Unlock()
	first := mono() - 500*time.Millisecond
	for n := 1; n < len(h.controller.outputs); n++ {
		o := &h.controller.outputs[n]
		if o.open && o.opened < first {
			first, zone, ok = o.opened, n-1, true
		}
	}
	return zone, ok
}

// cpu gives the processor time that a process has used.
func (h *house) cpu(pid int) time.Duration {
	h.t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	require.NoError(h.t, err)
	rest := strings.Fields(string(text[strings.LastIndexByte(string(text), ')')+1:])) // proc(5): from field 3 on
	user, err := strconv.Atoi(rest[11])
	require.NoError(h.t, err)
	system, err := strconv.Atoi(rest[12])
	require.NoError(h.t, err)
	return time.Duration(user+system) * 10 * time.Millisecond // USER_HZ is 100 on Linux
}

// tide is what the broker says of its traffic.
type tide struct {
	mu    sync.Mutex
	count map[string]int
}

func watchBroker(t *testing.T, address string) *tide {
	t.Helper()
	w := &tide{count: map[string]int{}}
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + address).SetClientID("tide").SetProtocolVersion(4))
	heard := func(_ mqtt.Client, m mqtt.Message) {
		n, err := strconv.Atoi(string(m.Payload()))
		if err != nil {
			return
		}
		w.mu.Lock()
		defer w.mu.Unlock()
		w.count[strings.TrimPrefix(m.Topic(), "$SYS/broker/publish/messages/")] = n
	}
	for _, begin := range []func() mqtt.Token{c.Connect, func() mqtt.Token { return c.Subscribe("$SYS/broker/publish/messages/+", 0, heard) }} {
		token := begin()
		require.True(t, token.WaitTimeout(10*time.Second))
		require.NoError(t, token.Error())
	}
	t.Cleanup(func() { c.Disconnect(50) })
	return w
}

func (w *tide) now() map[string]int {
	w.mu.Lock()
	defer w.mu.Unlock()
	now := map[string]int{}
	for k, v := range w.count {
		now[k] = v
	}
	return now
}

func (w *tide) since(before map[string]int, span float64) string {
	now := w.now()
	rate := func(name string) float64 { return float64(now[name]-before[name]) / span }
	return fmt.Sprintf("%.0f messages/s taken, %.0f/s delivered, %.0f/s dropped", rate("received"), rate("sent"), rate("dropped"))
}
