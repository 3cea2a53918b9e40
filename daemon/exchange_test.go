package daemon

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/history"
	"rillgate/daemon/operator"
	"rillgate/zones"
)

// An exchange is no exchange while the old probe answers, or nothing does: it is refused,
// the offset stays, and the answer says what to do. What is dropped is said.
func TestAnExchangeThatIsNone(t *testing.T) {
	l := onLine(t)
	l.edit("tail: 5 m, label: A front}", "tail: 5 m, label: A front, offset: 2 points}")
	exchange := func(o zones.Order) zones.Answer {
		o.Kind = zones.OrderExchange
		return l.order(o)
	}
	offset := func() float64 {
		v := l.d.view()
		return v.Probe("a1").Offset
	}
	a := exchange(zones.Order{Subject: "a1"})
	require.False(t, a.Accepted, "nothing was heard")
	require.Equal(t, "nothing answers at north/1/0: plug the new one in first, and wait until `rillgate probes` shows a reading of it", a.Because)

	l.says("1:0", "S1", 0.44)
	a = exchange(zones.Order{Subject: "S1", Note: "by mistake"})
	require.False(t, a.Accepted)
	require.Contains(t, a.Because, "S1 still answers at north/1/0, and that is a1 already: plug the new one in first")
	require.Contains(t, a.Because, "`rillgate exchange a1 --anyway`")
	lines := l.d.trail.recent(0, 1000)
	last := lines[len(lines)-1]
	require.Equal(t, "order-refused a1 ana by mistake", strings.Join([]string{last.Kind, last.Probe, last.By, last.Note}, " "))
	require.InDelta(t, 2, offset(), 1e-9)

	a = exchange(zones.Order{Subject: "a1", With: "north/1/0"})
	require.False(t, a.Accepted)
	require.Contains(t, a.Because, "a1 is the probe at north/1/0 already")
	l.pass(20 * time.Minute)
	a = exchange(zones.Order{Subject: "a1"})
	require.False(t, a.Accepted)
	require.Contains(t, a.Because, "nothing answers at north/1/0")
	require.InDelta(t, 2, offset(), 1e-9)

	l.says("1:0", "S1", 0.44)
	a = exchange(zones.Order{Subject: "a1", Anyway: true})
	require.True(t, a.Accepted)
	require.Contains(t, a.Because, "the offset of 2.0 points went with the old one")
	require.Contains(t, a.Because, "done on your word, though S1 still answers at north/1/0")
	require.Zero(t, offset())
	l.says("1:0", "S1", 0.44)
	require.Contains(t, l.life("a1"), "serial number S1", "the new one says the same")
	a = exchange(zones.Order{Subject: "a1", Anyway: true, KeepOffset: true})
	require.Contains(t, a.Because, "the offset of 2.0 points is added, as room.yaml says")
	require.InDelta(t, 2, offset(), 1e-9)

	l.says("1:0", "S1", 0.44)
	l.says("1:0", "S2", 0.44)
	a = exchange(zones.Order{Subject: "a1"})
	require.Contains(t, a.Because, "it is S2, in the place of S1")
	require.NoError(t, l.d.Close(nil))
}

// Probes that tell no serial number are exchanged on a person's word, and it is said.
func TestAnExchangeOfProbesWithoutNumbers(t *testing.T) {
	l := onLine(t)
	say(t, l.d, "north/readings", `[{"bn":"1:0:","n":"moisture","u":"/","v":0.44}]`)
	a := l.order(zones.Order{Kind: zones.OrderExchange, Subject: "a1"})
	require.True(t, a.Accepted, a.Because)
	require.Contains(t, a.Because, "no serial number tells whether it is another probe: that is your word")
	require.NoError(t, l.d.Close(nil))
}

// Who was told that an exchange is done finds it after a power cut, with name and note,
// whatever the store's pace.
func TestAnExchangeIsOnTheDiskWhenItIsAnswered(t *testing.T) {
	l := onLine(t)
	l.says("1:0", "S1", 0.44)
	l.says("1:0", "S2", 0.44)
	l.d.keeper.early = 0
	a := l.order(zones.Order{Kind: zones.OrderExchange, Subject: "a1", Note: "rod broken"})
	require.True(t, a.Accepted, a.Because)
	onDisk := func() string {
		t.Helper()
		kept, err := PapersIn(l.d.files.store, operator.PaperProbe)
		require.NoError(t, err)
		var out []string
		for _, one := range operator.Lives(kept) {
			for _, e := range one.Events {
				out = append(out, one.ID+" "+e.Sentence())
			}
		}
		return strings.Join(out, "\n")
	}
	require.Contains(t, onDisk(), "a1 exchanged: S2 at north/1/0 for S1 at north/1/0, by ana, rod broken")
	require.True(t, l.order(zones.Order{Kind: zones.OrderLabel, Subject: "a1", Label: "A front"}).Accepted)

	l.d.keeper.failing = true
	l.says("1:0", "S3", 0.44)
	l.d.keeper.failing = true
	a = l.order(zones.Order{Kind: zones.OrderExchange, Subject: "a1"})
	require.True(t, a.Accepted)
	require.Contains(t, a.Because, "the store cannot be written now")
	l.d.keeper.failing = false
	require.NoError(t, l.d.Close(nil))
}

// A probe's line is taken out of room.yaml and put back, with readings and a restart
// between: it is one life, and its serial number is known before it is heard again.
func TestALineOutAndInIsOneLife(t *testing.T) {
	l := onLine(t)
	l.says("1:0", "S1", 0.44)
	const line = "\n          - {id: a1, address: \"0\", zone: bench-a, lead: 0 m, tail: 5 m, label: A front}"
	l.edit(line, "")
	l.says("1:0", "S1", 0.45)
	l.again()
	l.says("1:0", "S1", 0.45)
	v := l.d.view()
	require.Nil(t, v.Probe("a1"))
	require.Equal(t, "north-1-0", v.Probe("S1").ID)
	l.edit("        probes:", "        probes:"+line)
	l.says("1:0", "S1", 0.45)
	l.again()
	v = l.d.view()
	require.Equal(t, "S1", v.Probe("a1").Serial, "not heard yet")
	all := l.d.register.book.Lives("S1")
	require.Len(t, all, 1)
	life := ""
	for _, e := range all[0].Events {
		life += e.Sentence() + "\n"
	}
	require.Contains(t, life, "first heard: north/1/0, 44.0 %, serial number S1")
	require.Contains(t, life, "id: a1 -> north-1-0")
	require.Contains(t, life, "id: north-1-0 -> a1")
	require.NoError(t, l.d.Close(nil))
}

// A place and a serial number name a probe in orders and in history as its id does.
func TestAProbeHasThreeNames(t *testing.T) {
	l := onLine(t)
	for range 3 {
		l.says("1:7", "S7", 0.31)
	}
	a := l.order(zones.Order{Kind: zones.OrderAssign, Subject: "S7", Zone: "bench-a"})
	require.True(t, a.Accepted, a.Because)
	require.True(t, l.order(zones.Order{Kind: zones.OrderLabel, Subject: "S7", Label: "by the door"}).Accepted)
	l.says("1:7", "S7", 0.31)
	tables := map[string]string{}
	for _, word := range []string{"north-1-7", "north/1/7", "S7"} {
		table, err := pastOf(t, l.d, history.Ask{Probe: word})
		require.NoError(t, err, word)
		tables[table] = word
		require.Positive(t, linesOfTable(t, table)["probe north-1-7"])
	}
	require.Len(t, tables, 1, "they say the same")
	_, err := pastOf(t, l.d, history.Ask{Probe: "S9"})
	require.ErrorContains(t, err, "no probe is named S9")
	require.NoError(t, l.d.Close(nil))
}
