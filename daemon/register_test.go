package daemon

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/configs"
	"rillgate/daemon/broker"
	"rillgate/daemon/operator"
	"rillgate/zones"
)

// line is the probes of a daemon on a broker, told of over the wire.
type line struct {
	t *testing.T
	d *Daemon
	c *VirtualClock
	b *broker.Broker
}

func onLine(t *testing.T) *line {
	d, c, b := onABroker(t)
	return &line{t, d, c, b}
}

// says lets a place of controller north be heard, a minute later.
func (l *line) says(place, serial string, moisture float64) {
	l.t.Helper()
	l.pass(time.Minute)
	say(l.t, l.d, "north/readings", fmt.Sprintf(`[{"bn":"%s:","n":"moisture","u":"/","v":%g},{"n":"serial","vs":%q}]`, place, moisture, serial))
	l.pass(time.Second)
}

func (l *line) pass(by time.Duration) {
	l.t.Helper()
	l.c.Set(l.c.Since() + by)
	_, err := l.d.Advance()
	require.NoError(l.t, err)
}

func (l *line) order(o zones.Order) (a zones.Answer) {
	l.t.Helper()
	o.Source, o.By = "socket", "ana"
	ask(l.t, l.d, func(ctx context.Context) {
		var err error
		if a, err = l.d.Order(ctx, o); err != nil {
			l.t.Error(err)
		}
	})
	return a
}

func (l *line) alarms() (out []string) {
	v := l.d.view()
	for _, a := range v.Alarms {
		if strings.HasPrefix(string(a.Code), "probe-") || strings.HasSuffix(string(a.Code), "-twice") {
			out = append(out, string(a.Code)+" "+a.Subject)
		}
	}
	return out
}

// life is what `why` says of a probe's past.
func (l *line) life(id string) string {
	l.t.Helper()
	y := &operator.Why{Subject: id, Kind: "probe"}
	ask(l.t, l.d, func(ctx context.Context) {
		e, err := l.d.Evidence(ctx, "probe", id)
		if err != nil {
			l.t.Error(err)
			return
		}
		e.Lived(y, func(kind string) ([]operator.Paper, error) { return l.d.Papers(ctx, kind) })
		e.Told(y)
	})
	var out []string
	for _, n := range y.Numbers {
		out = append(out, n.Value)
	}
	return strings.Join(append(out, y.Warnings...), "\n")
}

// again ends the daemon and opens it anew.
func (l *line) again() {
	l.t.Helper()
	o := l.d.o
	require.NoError(l.t, l.d.Close(nil))
	require.Eventually(l.t, func() bool { return l.b.Clients() == 0 }, 20*time.Second, time.Millisecond, "the broker has not forgotten it")
	l.d = open(l.t, o)
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	require.NoError(l.t, l.d.Await(ctx))
}

// edit changes room.yaml on disk and puts it in force.
func (l *line) edit(was, is string) {
	l.t.Helper()
	path := filepath.Join(l.d.o.Config, configs.RoomFile)
	text, err := os.ReadFile(path)
	require.NoError(l.t, err)
	require.Contains(l.t, string(text), was)
	require.NoError(l.t, os.WriteFile(path, []byte(strings.Replace(string(text), was, is, 1)), 0o600))
	ask(l.t, l.d, func(ctx context.Context) {
		if a, err := l.d.Apply(ctx, "", "ana", ""); err != nil || len(a.Problems) > 0 {
			l.t.Errorf("%v %+v", err, a)
		}
	})
}

// A probe is broken and exchanged: seen by its serial number, told, confirmed; its life
// goes on over a restart.
func TestAnExchangeIsSeenToldAndKept(t *testing.T) {
	l := onLine(t)
	l.says("1:0", "S1", 0.44)
	require.Contains(t, l.life("a1"), "first heard: north/1/0, 44.0 %, serial number S1")
	for range 3 {
		l.says("1:0", "S2", 0.44)
	}
	require.Equal(t, []string{"probe-exchanged a1"}, l.alarms())
	lines := l.d.trail.recent(0, 1000)
	last := lines[len(lines)-1]
	require.Equal(t, "alarm", last.Kind)
	require.Equal(t, "a1", last.Probe)
	require.Equal(t, "bench-a", last.Zone)

	l.again()
	l.says("1:0", "S2", 0.44)
	require.Empty(t, l.alarms(), "one reading may be a stray")
	l.says("1:0", "S2", 0.44)
	l.says("1:0", "S2", 0.44)
	require.Equal(t, []string{"probe-exchanged a1"}, l.alarms(), "after a restart too")

	a := l.order(zones.Order{Kind: zones.OrderExchange, Subject: "a1", Note: "rod broken"})
	require.True(t, a.Accepted, a.Because)
	require.Empty(t, l.alarms())
	l.says("1:0", "S2", 0.44)
	l.again()
	life := l.life("a1")
	require.Contains(t, life, "S2\n")
	require.Contains(t, life, "exchanged: S2 at north/1/0 for S1 at north/1/0, by ana, rod broken")
	require.Contains(t, life, "first heard: north/1/0, 44.0 %, serial number S2")
	require.NoError(t, l.d.Close(nil))
}

// A probe that answers unasked is given to a zone and labelled; the files name it later
// otherwise, and lead; taken out of them it is what orders made it. Nothing is lost.
func TestFilesAndRegisterLoseNothing(t *testing.T) {
	l := onLine(t)
	l.says("1:7", "S7", 0.31)
	require.Contains(t, l.life("north-1-7"), "first heard: north/1/7, 31.0 %, serial number S7")
	a := l.order(zones.Order{Kind: zones.OrderAssign, Subject: "north/1/7", Zone: "bench-a", Label: "by the door"})
	require.True(t, a.Accepted, a.Because)
	require.Contains(t, a.Because, `- {id: north-1-7, address: "7", zone: bench-a, label: "by the door"}`)

	const after = `label: A back}`
	l.edit(after, after+"\n          - {id: a5, address: \"7\", zone: bench-b}")
	is := func(id, zone string) {
		t.Helper()
		v := l.d.view()
		p := v.Probe(id)
		require.NotNil(t, p)
		require.Equal(t, zone, p.Zone)
		require.Equal(t, "by the door", p.Label)
	}
	is("a5", "bench-b")
	require.Contains(t, l.life("a5"), "id: north-1-7 -> a5, by ana")
	require.Contains(t, l.life("a5"), "zone: bench-a -> bench-b, by ana")
	l.again()
	is("a5", "bench-b")

	l.edit("\n          - {id: a5, address: \"7\", zone: bench-b}", "")
	is("north-1-7", "bench-a")
	l.again()
	is("north-1-7", "bench-a")
	life := l.life("north-1-7")
	require.Contains(t, life, "room.yaml: named no more, by ana")
	require.Contains(t, life, "S7")
	require.NoError(t, l.d.Close(nil))
}

// The same probe at another plug keeps its offset: its serial number says that it is.
func TestAMovedProbeKeepsItsOffset(t *testing.T) {
	l := onLine(t)
	l.edit("tail: 5 m, label: A front}", "tail: 5 m, label: A front, offset: 2 points}")
	l.says("1:0", "S1", 0.44)
	for range 3 {
		l.says("1:9", "S1", 0.44)
	}
	require.Equal(t, []string{"probe-moved a1"}, l.alarms())
	a := l.order(zones.Order{Kind: zones.OrderExchange, Subject: "a1", With: "north/1/9"})
	require.True(t, a.Accepted, a.Because)
	require.NotContains(t, a.Because, "went with the old one")
	require.Empty(t, l.alarms())
	v := l.d.view()
	p := v.Probe("a1")
	require.Equal(t, "north/1/9", p.Place.String())
	require.InDelta(t, 2, p.Offset, 1e-9)

	for range 4 {
		l.says("1:9", "S1", 0.44)
		l.says("1:9", "S3", 0.44)
	}
	require.Equal(t, []string{"address-twice a1"}, l.alarms())
	a = l.order(zones.Order{Kind: zones.OrderExchange, Subject: "a1"})
	require.False(t, a.Accepted)
	require.Contains(t, a.Because, "S1 and S3 answer by turns at north/1/9: take the old one off the line")
	for range 2 {
		l.says("1:9", "S3", 0.44)
	}
	a = l.order(zones.Order{Kind: zones.OrderExchange, Subject: "a1"})
	require.Contains(t, a.Because, "the offset of 2.0 points went with the old one")
	require.NoError(t, l.d.Close(nil))
}
