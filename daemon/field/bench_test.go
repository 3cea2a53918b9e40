package field

import (
	"encoding/json"
	"flag"
	"math"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker/realbroker"
	"rillgate/zones"
)

var (
	benchWanted = flag.Bool("rillgate.bench", false, "measure readings taken in per second against a bare subscriber")
	benchRounds = flag.Int("rillgate.rounds", 5, "rounds of that measurement")
	benchPacks  = flag.Int("rillgate.packs", 100_000, "packs a round and side")
)

// benchWindow is how many packs may be on their way: enough to keep all busy, and
// fewer than the inbox holds of each probe, so that none is shed.
const benchWindow = 800

// tally counts what one side has taken in, and signals now and then.
type tally struct {
	count, sum atomic.Int64
	moved      chan struct{}
}

// tallyStep is how many packs lie between two signals.
const tallyStep = 100

func newTally() *tally { return &tally{moved: make(chan struct{}, 1)} }

func (k *tally) add(n, sum int64) {
	k.sum.Add(sum)
	if c := k.count.Add(n); c/tallyStep != (c-n)/tallyStep {
		select {
		case k.moved <- struct{}{}:
		default:
		}
	}
}

// drainInto is a loop that drains the link and looks at every reading.
func (k *tally) drainInto(l *Link, stop <-chan struct{}) {
	var batch []Arrival
	for {
		select {
		case <-stop:
			return
		case <-l.Wake():
		}
		batch = l.Drain(batch[:0])
		n, sum := int64(0), int64(0)
		for _, a := range batch {
			if r, ok := a.Event.(*zones.Reading); ok {
				n++
				sum += int64(r.Moisture)
			}
		}
		k.add(n, sum)
	}
}

// bareRecord is what a plain client decodes each record to, with encoding/json.
type bareRecord struct {
	BN string  `json:"bn"`
	BT float64 `json:"bt"`
	N  string  `json:"n"`
	U  string  `json:"u"`
	V  float64 `json:"v"`
}

func (k *tally) onMessage(_ mqtt.Client, m mqtt.Message) {
	var pack []bareRecord
	if json.Unmarshal(m.Payload(), &pack) != nil || len(pack) == 0 {
		return
	}
	k.add(1, int64(math.Round(pack[0].V*100_000)))
}

// pace pours n packs, never more than the window ahead, and gives packs a second.
func pace(t testing.TB, url string, k *tally, n int) float64 {
	t.Helper()
	p, err := newPourer(url)
	require.NoError(t, err)
	began := time.Now()
	for sent := 0; ; {
		seen := int(k.count.Load())
		if seen == n {
			break
		}
		for ; sent < n && sent-seen < benchWindow; sent++ {
			p.publish(sent)
		}
		require.NoError(t, p.flush())
		select {
		case <-k.moved:
		case <-time.After(soon):
			require.FailNow(t, "the packs stopped coming", "%d of %d", seen, n)
		}
	}
	rate := float64(n) / time.Since(began).Seconds()
	require.NoError(t, p.close())
	require.Equal(t, int64(n)*46200, k.sum.Load(), "every reading was understood")
	return rate
}

func benchLink(t testing.TB, url string, n int) float64 {
	t.Helper()
	cfg := config(url)
	cfg.times = defaultTimings()
	l, err := Dial(cfg)
	require.NoError(t, err)
	stop := make(chan struct{})
	k := newTally()
	done := make(chan struct{})
	go func() { defer close(done); k.drainInto(l, stop) }()
	require.Eventually(t, func() bool { up, _ := l.ReadingsUp(); return up }, soon, often)
	rate := pace(t, url, k, n)
	require.Zero(t, l.Stats().ReadingsShed)
	close(stop)
	<-done
	closeSoon(l)
	return rate
}

func benchBare(t testing.TB, url string, n int) float64 {
	t.Helper()
	k := newTally()
	o := mqtt.NewClientOptions().AddBroker("tcp://" + url[len("mqtt://"):]).SetClientID("bare").
		SetProtocolVersion(4).SetCleanSession(true).SetAutoReconnect(false)
	c := mqtt.NewClient(o)
	require.True(t, c.Connect().WaitTimeout(soon))
	require.True(t, c.Subscribe(root+"readings", 0, k.onMessage).WaitTimeout(soon))
	rate := pace(t, url, k, n)
	c.Disconnect(100)
	return rate
}

// TestReadingsTakenInPerSecond compares both sides, in turn, in one run.
func TestReadingsTakenInPerSecond(t *testing.T) {
	if !*benchWanted {
		t.Skip("measures only with -rillgate.bench")
	}
	b := realbroker.Start(t, realbroker.Options{Extra: "max_queued_messages 0\n"})
	var ratios, links, bares []float64
	for round := range *benchRounds {
		var link, bare float64
		if round%2 == 0 {
			bare, link = benchBare(t, b.URL(), *benchPacks), benchLink(t, b.URL(), *benchPacks)
		} else {
			link, bare = benchLink(t, b.URL(), *benchPacks), benchBare(t, b.URL(), *benchPacks)
		}
		t.Logf("round %d: link %.0f packs/s, bare subscriber with encoding/json %.0f packs/s, ratio %.2f", round+1, link, bare, link/bare)
		ratios, links, bares = append(ratios, link/bare), append(links, link), append(bares, bare)
	}
	t.Logf("median: link %.0f packs/s, bare %.0f packs/s, ratio %.2f", median(links), median(bares), median(ratios))
	require.GreaterOrEqual(t, median(ratios), 0.7)
}

func median(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	return v[len(v)/2]
}

func BenchmarkDecodeReadings(b *testing.B) {
	payload := []byte(samplePack(11))
	b.Run("field", func(b *testing.B) {
		var d packDecoder
		b.ReportAllocs()
		for b.Loop() {
			if r, f := d.decode("north", payload); len(r) != 1 || f != nil {
				b.Fatal(f)
			}
		}
	})
	b.Run("encoding-json", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			var pack []bareRecord
			if err := json.Unmarshal(payload, &pack); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func BenchmarkDecodeReport(b *testing.B) {
	payload := []byte(`{"boot":"9f31c2","uptime_ms":8123456,"epoch":12,"seq":345,"outputs":{"1":{"open":true,"run":"r-51","flow_lpm":6.7},"2":{"open":false}}}`)
	b.ReportAllocs()
	for b.Loop() {
		if _, f := DecodeReport("north", payload); f != nil {
			b.Fatal(f)
		}
	}
}

func BenchmarkInbox(b *testing.B) {
	in := newInbox(func() time.Duration { return 0 })
	var batch []Arrival
	n := 0
	b.ReportAllocs()
	for b.Loop() {
		in.putReadings([]zones.Reading{{Place: zones.Place{Controller: "north", Terminal: n % 20, Address: "0"}}})
		if n++; n%20 == 0 {
			batch = in.drain(batch[:0])
		}
	}
}
