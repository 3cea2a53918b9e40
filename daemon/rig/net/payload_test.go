package netrig

import (
	"bytes"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker/realbroker"
)

// memoryMost is what the daemon may ever hold, under whatever it is sent.
const memoryMost = 64 << 20

// hostile is one payload that nobody should send.
type hostile struct {
	name string
	body []byte
}

func (h hostile) giant() bool { return len(h.body) > 1<<20 }

// hostiles are made so that none is a right message on any topic.
func hostiles() []hostile {
	times := strings.Repeat
	senml := func(value string) []byte { return []byte(`[{"bn":"1:0:","n":"moisture","u":"/","v":` + value + `}]`) }
	report := func(outputs string) []byte {
		return []byte(`{"boot":"x","uptime_ms":1,"epoch":0,"seq":0,"outputs":` + outputs + `}`)
	}
	all := []hostile{
		{"nothing", nil},
		{"NUL", []byte{0}},
		{"64 KiB of NUL", make([]byte, 64<<10)},
		{"64 KiB and one", bytes.Repeat([]byte{'x'}, 64<<10+1)},
		{"1 MiB", bytes.Repeat([]byte{'['}, 1<<20)},
		{"arrays 32000 deep", []byte(times("[", 32000) + times("]", 32000))},
		{"arrays 65000 deep, no end", []byte(times("[", 65000))},
		{"objects 10000 deep", []byte(times(`{"a":`, 10000) + "1" + times("}", 10000))},
		{"report 10000 deep", report(times(`{"1":`, 10000) + "1" + times("}", 10000))},
		{"bad UTF-8", []byte("[{\"bn\":\"1:0:\",\"n\":\"\xff\xc0\x80\xed\xa0\x80\",\"v\":0.2}]")},
		{"half a surrogate", senml(`"\ud800"`)},
		{"1e400", senml("1e400")},
		{"-1e400", senml("-1e400")},
		{"a number of 60000 digits", senml("0." + times("9", 60000))},
		{"an exponent of 60000 digits", senml("1e" + times("9", 60000))},
		{"NaN", senml("NaN")},
		{"1e400 as uptime", []byte(`{"boot":"x","uptime_ms":1e400,"epoch":0,"seq":0,"outputs":{}}`)},
		{"same key twice", []byte(`[{"bn":"1:0:","n":"moisture","u":"/","v":0.2,"v":0.9}]`)},
		{"same output twice", report(`{"1":{"open":true,"run":"x"},"1":{"open":false}}`)},
		{"active twice", []byte(`{"active":false,"active":true}`)},
		{"20000 empty records", []byte("[" + times("{},", 20000) + "{}]")},
		{"3000 outputs", report("{" + times(`"9999":{"open":true},`, 3000) + `"1":{}}`)},
		{"no end", []byte(`[{"bn":"1:0:","n":"moisture","u":"/","v":0.2`)},
		{"two documents", []byte(`[]{"active":true} `)},
		{"a mark before it", append([]byte("\xef\xbb\xbf"), senml("0.2")...)},
		{"60000 spaces", []byte(times(" ", 60000))},
	}
	all = append(all, hostile{"16 MiB", bytes.Repeat([]byte{'['}, 16<<20)}, hostile{"100 MB", make([]byte, 100_000_000)})
	return slices.DeleteFunc(all, func(h hostile) bool { return *netOnly != "" && h.name != *netOnly })
}

// refusals are what the daemon must have told of, and a payload that makes it do so.
var refusals = []struct{ cause, payload string }{{"json", "nothing"}, {"duplicate-key", "same key twice"}, {"too-long", "64 KiB and one"}, {"value", "1e400"}}

// hostileTopics are those that the daemon hears, and neighbours of them.
var hostileTopics = []string{
	fieldRoot + "readings", fieldRoot + "report", fieldRoot + "status", fieldRoot + "input/low-0", fieldRoot + "input/stranger",
	fieldRoot + "valve/1/command", "rillgate/bay-2/field/stranger/report", "rillgate/bay-2/field/-_-/readings",
	"rillgate/bay-2/gateway/echo", "homie/5/bay-2/$state", "homie/5/bay-2/zone-z0/hold/set", "homie/5/bay-2/gateway/stop/set",
	"homie/5/bay-2/zone-z0/shot/set", "homie/5/bay-2/nowhere/nothing/set",
}

// TestPayloads sends each payload on each topic, live and retained, to the program as
// it stands behind a real mosquitto without a bound on sizes. After each the program
// still opens a valve for a dry zone and closes it for a wet one.
func TestPayloads(t *testing.T) {
	if !*netGiants {
		t.Skip("half a minute: -net.payloads runs it")
	}
	t.Parallel()
	const zones = 24
	h := newHouse(t, zones, realbroker.Options{})
	good, err := dialRaw(h.address(), "readings")
	require.NoError(t, err)
	defer good.Close()
	h.connected()
	for range 2 { // a probe counts from its second reading
		for zone := range zones {
			h.reads(good, zone, usual)
		}
	}
	h.drink(good, 0, firstWithin)
	all := hostiles()
	for i, bad := range all {
		h.attack(bad)
		took := h.drink(good, 1+i%(zones-1), 5*time.Second+rest)
		t.Logf("after %-28s (%9d bytes): opened and closed in %3d ms, resident %4.1f MiB, highest %4.1f MiB", bad.name, len(bad.body),
			took.Milliseconds(), float64(h.memory("VmRSS"))/(1<<20), float64(h.memory("VmHWM"))/(1<<20))
		require.Less(t, h.memory("VmHWM"), memoryMost, "memory after %s", bad.name)
	}
	h.noOrder()
	for _, r := range refusals {
		if *netOnly == "" || *netOnly == r.payload {
			h.refused(r.cause)
		}
	}
	require.Equal(t, 2, h.connections(), "the daemon lost a connection: %s", &h.said)
}

// refused shows that the payloads arrived: the daemon tells of them by cause, at once
// and then once a minute.
func (h *house) refused(cause string) {
	h.t.Helper()
	patience := 70 * time.Second
	if *netOnly != "" {
		patience = 10 * time.Second
	}
	require.Eventually(h.t, func() bool { return strings.Contains(h.said.String(), `msg="message refused" cause=`+cause) },
		patience, 100*time.Millisecond, "nothing was refused as %s: %s", cause, &h.said)
}

// noOrder shows in the journal that no payload was taken for an order.
func (h *house) noOrder() {
	h.t.Helper()
	out, err := exec.Command(program(h.t), "journal", "--config", h.dir, "--state", filepath.Join(h.dir, "state"), "-n", "1000").CombinedOutput()
	require.NoError(h.t, err, "%s", out)
	require.Contains(h.t, string(out), "run-opened")
	require.NotRegexp(h.t, `(?m)^\S+ \S+ order `, string(out))
}

// reads publishes what both probes of a zone say.
func (h *house) reads(out *raw, zone int, moisture float64) {
	h.t.Helper()
	for probe := 2 * zone; probe < 2*zone+2; probe++ {
		require.NoError(h.t, publication(fieldRoot+"readings", false, []byte(packOf(probe, moisture))).Write(out))
	}
}

// drink makes a zone dry, awaits the opening, makes it wet and awaits the close. It
// gives how long both took.
func (h *house) drink(out *raw, zone int, within time.Duration) time.Duration {
	h.t.Helper()
	began := mono()
	h.reads(out, zone, dry)
	_, ok := h.seen.await(began, within, zone+1, "open")
	require.True(h.t, ok, "zone z%d gets no water; highest memory %d MiB; the daemon said: %s", zone, h.memory("VmHWM")>>20, &h.said)
	h.reads(out, zone, wet)
	m, ok := h.seen.await(began, 5*time.Second, zone+1, "close")
	require.True(h.t, ok, "zone z%d is not closed; the daemon said: %s", zone, &h.said)
	h.reads(out, zone, usual)
	return m.At - began
}

// attack sends a payload everywhere. The connection is its own: a broker may cut it.
func (h *house) attack(bad hostile) {
	h.t.Helper()
	out, err := dialRaw(h.address(), "hostile")
	require.NoError(h.t, err)
	defer out.Close()
	topics, ways := hostileTopics, []bool{false, true}
	if bad.giant() { // one for each of the daemon's connections: gigabytes would show no more
		topics, ways = []string{fieldRoot + "readings", "rillgate/bay-2/gateway/echo"}, ways[:1]
	}
	for _, topic := range topics {
		for _, retained := range ways {
			require.NoError(h.t, publication(topic, retained, bad.body).Write(out), "%s on %s", bad.name, topic)
			if retained { // no broker need hold it
				require.NoError(h.t, publication(topic, true, nil).Write(out))
			}
		}
	}
	require.NoError(h.t, out.settle(), "the broker after %s", bad.name)
}
