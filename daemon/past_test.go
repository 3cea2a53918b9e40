package daemon

import (
	"bytes"
	"context"
	"encoding/csv"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/history"
	"rillgate/daemon/operator"
	"rillgate/daemon/page"
	"rillgate/store"
)

func pastOf(t *testing.T, d *Daemon, a history.Ask) (text string, err error) {
	t.Helper()
	var b bytes.Buffer
	ask(t, d, func(ctx context.Context) { err = d.History(ctx, a, &b) })
	return b.String(), err
}

// linesOfTable counts the lines of a table by what they are of.
func linesOfTable(t *testing.T, table string) map[string]int {
	t.Helper()
	all, err := csv.NewReader(strings.NewReader(table)).ReadAll()
	require.NoError(t, err)
	n := map[string]int{}
	for _, line := range all[1:] {
		n[line[2]+" "+line[3]+line[4]]++
	}
	return n
}

// The table holds what is in the store, what is on its way there and what still waits,
// each once; and the store alone tells the same once the daemon has ended.
func TestHistoryHoldsWhatIsNotWrittenYet(t *testing.T) {
	o, c := inRoom(t)
	d := open(t, o)
	wet(d, "r-1", 3, 50)
	check := func(table string, n int) {
		t.Helper()
		lines := linesOfTable(t, table)
		require.Equal(t, n, lines["run bench-a"], table)
		require.Equal(t, n, lines["zone bench-a"], table)
	}
	table := func() string {
		t.Helper()
		s, err := pastOf(t, d, history.Ask{Zone: "bench-a"})
		require.NoError(t, err)
		return s
	}
	check(table(), 0) // of this very minute, and it ends now
	c.Set(time.Minute)
	_, err := d.Advance()
	require.NoError(t, err)
	check(table(), 1)
	d.keeper.begin(d) // on its way: neither waiting nor surely in the store
	check(table(), 1)

	c.Set(5 * time.Minute)
	_, err = d.Advance()
	require.NoError(t, err)
	wet(d, "r-2", 4, 55)
	c.Set(6 * time.Minute)
	_, err = d.Advance()
	require.NoError(t, err)
	live := table()
	check(live, 2)
	now, plan := d.now.Wall, d.choice.plan
	require.NoError(t, d.Close(nil))

	s, err := store.OpenReadOnly(filepath.Join(o.State, StoreName))
	require.NoError(t, err)
	defer s.Close()
	var kept bytes.Buffer
	require.NoError(t, HistoryOf(s, plan, now, history.Ask{Zone: "bench-a"}, &kept))
	require.Equal(t, live, kept.String())
	kept.Reset()
	require.NoError(t, HistoryOf(s, plan, now, history.Ask{}, &kept))
	check(kept.String(), 2)
	kept.Reset()
	require.NoError(t, HistoryOf(s, plan, now, history.Ask{Zone: "bench-a", Picture: history.AsSVG}, &kept))
	require.Contains(t, kept.String(), "50.0 to 55.0 %. Marks below: 2 shots of its zone.")
}

func TestHistoryRefuses(t *testing.T) {
	o, _ := inRoom(t)
	d := open(t, o)
	for part, a := range map[string]history.Ask{
		"no zone is named attic":   {Zone: "attic"},
		"no probe is named attic":  {Probe: "attic"},
		"a zone and a probe":       {Zone: "bench-a", Probe: "a1"},
		"one zone or one probe":    {Picture: history.AsSVG},
		`read the time "the day"`:  {From: "the day"},
		"it ends before it begins": {From: "today", To: "yesterday"},
	} {
		said, err := pastOf(t, d, a)
		var refused *operator.Refusal
		require.ErrorAs(t, err, &refused, part)
		require.ErrorContains(t, err, part)
		require.Empty(t, said, "nothing is written before a refusal")
	}
}

// What a probe's page draws: the store's minutes, and those that wait, each once.
func TestAProbesPastIsDrawnWithWhatWaits(t *testing.T) {
	o, c := inRoom(t)
	d := open(t, o)
	begin := d.now.Wall
	value := func(at time.Time, percent float64) {
		v := d.view()
		v.Wall = at
		age := 3
		v.Probes[0].Moisture, v.Probes[0].AgeSeconds = &percent, &age
		d.recent.sample(&v)
		d.keeper.sample(&v)
	}
	for i := range 4 {
		value(begin.Add(time.Duration(i)*time.Minute), 40+float64(i))
	}
	id := d.view().Probes[0].ID
	look := func() (out []float64) {
		for _, p := range (source{d}).History(page.Series{Of: page.Moisture, Probe: id}, begin.Add(-72*time.Hour), begin.Add(time.Hour)) {
			out = append(out, p.Value)
		}
		return out
	}
	require.Equal(t, []float64{40, 41, 42, 43}, look())
	d.keeper.begin(d)
	c.Set(5 * time.Minute)
	require.Eventually(t, func() bool {
		d.keeper.look(d)
		return !d.keeper.busy
	}, 5*time.Second, 5*time.Millisecond)
	value(begin.Add(4*time.Minute), 44)
	require.Equal(t, []float64{40, 41, 42, 43, 44}, look())
}
