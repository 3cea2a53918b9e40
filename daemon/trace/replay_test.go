package trace

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
	"rillgate/zones/zonetest"
)

var update = flag.Bool("update", false, "write what traces lead to into their files")

// outLine is what the tests read from a replay's lines.
type outLine struct {
	At     time.Time    `json:"at"`
	Kind   string       `json:"kind"`
	Valve  string       `json:"valve"`
	Open   bool         `json:"open"`
	Run    string       `json:"run"`
	Reason zones.Reason `json:"reason"`
	Zone   string       `json:"zone"`
	State  string       `json:"state"`
	Code   zones.Reason `json:"code"`
	Active bool         `json:"active"`
	Order  string       `json:"order"`
	OK     bool         `json:"accepted"`
}

// play replays under the checker; a breach fails the test.
func play(t *testing.T, plan *zones.Plan, trace string, everySecond bool) (string, []outLine) {
	t.Helper()
	var out bytes.Buffer
	c := zonetest.NewChecker(plan)
	require.NoError(t, replay(plan, strings.NewReader(trace), &out, c, everySecond))
	c.End()
	require.NoError(t, c.Err())
	return out.String(), parse(t, out.String())
}

func parse(t *testing.T, text string) []outLine {
	t.Helper()
	var lines []outLine
	d := json.NewDecoder(strings.NewReader(text))
	for {
		var l outLine
		err := d.Decode(&l)
		if err == io.EOF {
			return lines
		}
		require.NoError(t, err)
		lines = append(lines, l)
	}
}

// first finds the first line that a test looks for.
func first(lines []outLine, want func(l outLine) bool) *outLine {
	for i := range lines {
		if want(lines[i]) {
			return &lines[i]
		}
	}
	return nil
}

func opening(valve string) func(outLine) bool {
	return func(l outLine) bool { return l.Kind == "command" && l.Valve == valve && l.Open }
}

// script builds a trace: readings of every probe of the plan each minute, and other
// lines in between.
type script struct {
	b    strings.Builder
	plan *zones.Plan
	at   time.Time
}

func newScript(plan *zones.Plan) *script { return &script{plan: plan, at: start} }

func (s *script) line(part string) {
	fmt.Fprintf(&s.b, "{\"at\":%q,%s}\n", s.at.Format(time.RFC3339Nano), part)
}

// minutes lets n minutes pass with all probes of a zone at a moisture.
func (s *script) minutes(n int, zone string, moisture float64) {
	for range n {
		for i := range s.plan.Probes {
			if p := s.plan.Probes[i]; p.Zone == zone {
				s.line(fmt.Sprintf(`"reading":{"controller":"north","terminal":%d,"address":%q,"moisture":%g}`, p.Place.Terminal, p.Place.Address, moisture))
			}
		}
		s.at = s.at.Add(time.Minute)
	}
}

// half writes a line half a second later, beside everything that comes on the second.
func (s *script) half(part string) {
	s.at = s.at.Add(500 * time.Millisecond)
	s.line(part)
	s.at = s.at.Add(-500 * time.Millisecond)
}

// sameLines compares two texts and shows only the first lines that differ.
func sameLines(t *testing.T, want, got string) {
	t.Helper()
	if want == got {
		return
	}
	a, b := strings.Split(want, "\n"), strings.Split(got, "\n")
	for i := range a {
		require.Less(t, i, len(b), "only one goes on: %s", a[i])
		require.Equal(t, a[i], b[i], "line %d", i+1)
	}
	require.Equal(t, len(a), len(b))
}

// TestReplayWaters: the zone is dry when its window opens at 07:00; nothing opens
// before, the shot is 3 % of 6.5 L at 4 L/h = 175.5 s, and it is renewed within it.
func TestReplayWaters(t *testing.T) {
	plan := benches(2)
	s := newScript(plan)
	s.minutes(70, "west", 47)
	s.line(`"clock":{}`)
	_, lines := play(t, plan, s.b.String(), false)

	open := first(lines, opening("west"))
	require.NotNil(t, open)
	require.Equal(t, start.Add(time.Hour+2*time.Second), open.At, "the master leads by two seconds")
	require.Equal(t, zones.BelowThreshold, open.Reason)
	require.Equal(t, start.Add(time.Hour), first(lines, opening("feed-0-master")).At)
	closed := first(lines, func(l outLine) bool {
		return l.Kind == "command" && l.Valve == "west" && !l.Open && l.Run == open.Run
	})
	require.NotNil(t, closed)
	require.WithinDuration(t, open.At.Add(175500*time.Millisecond), closed.At, time.Second)
	renewals := 0
	for _, l := range lines {
		if opening("west")(l) && l.Run == open.Run {
			renewals++
		}
	}
	require.Greater(t, renewals, 10)
}

// TestReplaySameBytes: the same input gives the same bytes.
func TestReplaySameBytes(t *testing.T) {
	plan := benches(2)
	var trace bytes.Buffer
	require.NoError(t, writeReadings(&trace, plan, start, 150))
	a, _ := play(t, plan, trace.String(), false)
	b, _ := play(t, plan, trace.String(), false)
	require.NotEmpty(t, a)
	sameLines(t, a, b)
}

// TestReplaySkipsIdleSeconds: skipping the ticks that the room says are idle changes
// not one byte against ticking each second, under random traces of every kind of line.
func TestReplaySkipsIdleSeconds(t *testing.T) {
	openings := 0
	for seed := range uint64(6) {
		plan := benches(2)
		trace := randomTrace(plan, rand.New(rand.NewPCG(seed, 7)), 120)
		skipped, lines := play(t, plan, trace, false)
		for _, l := range lines {
			if opening("east")(l) || opening("west")(l) {
				openings++
			}
		}
		ticked, _ := play(t, plan, trace, true)
		sameLines(t, ticked, skipped)
	}
	require.Greater(t, openings, 30, "the traces have to water")
}

// randomTrace mixes readings with every other kind of line.
func randomTrace(plan *zones.Plan, rng *rand.Rand, minutes int) string {
	s := newScript(plan)
	s.at = start.Add(50 * time.Minute)
	parts := []string{
		`"controller":{"id":"north","online":false}`, `"controller":{"id":"north","online":true}`, `"controller":{"id":"north","online":true}`,
		`"input":{"id":"tank-low","active":true}`, `"input":{"id":"tank-low","active":false}`, `"input":{"id":"tank-low","active":false}`,
		`"broker":{"up":false}`, `"broker":{"up":true}`, `"broker":{"up":true}`,
		`"order":{"kind":"hold","zone":"east","for":"4m"}`, `"order":{"kind":"release","zone":"east"}`, `"order":{"kind":"shot","zone":"west","for":"45s"}`,
		`"order":{"kind":"stop","zone":"east"}`, `"order":{"kind":"reset","zone":"east"}`, `"order":{"kind":"reset"}`,
		`"clock":{"step":"-20m"}`, `"clock":{"trusted":false}`, `"clock":{"trusted":true}`, `"clock":{"trusted":true,"step":"20m"}`,
		`"restart":{}`, `"report":{"valve":"west","open":false}`, `"report":{"valve":"west","obeys":true}`, `"controller":{"id":"north","online":true,"boot":"b7"}`,
	}
	level := 49.0
	for range minutes {
		level += rng.Float64() - 0.55
		for i := range plan.Probes {
			p := plan.Probes[i].Place
			if rng.IntN(12) > 0 {
				s.line(fmt.Sprintf(`"reading":{"controller":"north","terminal":%d,"address":%q,"moisture":%.2f}`, p.Terminal, p.Address, level+rng.Float64()))
			}
		}
		if rng.IntN(5) == 0 {
			s.at = s.at.Add(time.Duration(rng.IntN(20000)) * time.Millisecond)
			s.line(parts[rng.IntN(len(parts))])
		}
		s.at = s.at.Add(time.Duration(20000+rng.IntN(40000)) * time.Millisecond)
	}
	return s.b.String()
}

// TestReplayStopsAtABadLine: what came before stands, nothing is written after.
func TestReplayStopsAtABadLine(t *testing.T) {
	plan := benches(1)
	s := newScript(plan)
	s.minutes(3, "east", 47)
	var whole, cut bytes.Buffer
	require.NoError(t, Replay(plan, strings.NewReader(s.b.String()), &whole))
	s.line(`"order":{"kind":"stop"}`)
	good := s.b.String()
	s.line(`"oder":{"kind":"reset"}`)
	s.line(`"order":{"kind":"shot","zone":"east"}`)
	err := Replay(plan, strings.NewReader(s.b.String()), &cut)
	var le *LineError
	require.ErrorAs(t, err, &le)
	require.Equal(t, strings.Count(good, "\n")+1, le.Line)
	require.Contains(t, le.Hint(), "order")
	lines := parse(t, cut.String())
	require.NotNil(t, first(lines, func(l outLine) bool { return l.Kind == "answer" && l.Order == "stop" }))
	require.Nil(t, first(lines, func(l outLine) bool { return l.Kind == "answer" && l.Order == "shot" }))
	require.NotContains(t, cut.String(), `"record":"stop"`, "it does not go on to a shutdown")
}

func TestReplayNamesWhatThePlanLacks(t *testing.T) {
	for part, want := range map[string]string{
		`"report":{"valve":"nowhere","open":true}`:  `line 1: find valve "nowhere": the plan has east, feed-0-master`,
		`"controller":{"id":"south","online":true}`: `line 1: find controller "south": the plan has north`,
		`"input":{"id":"leak","active":true}`:       `line 1: find input "leak": the plan has tank-low`,
	} {
		err := Replay(benches(1), strings.NewReader(at+part+"}\n"), io.Discard)
		require.ErrorContains(t, err, want)
	}
}

func TestReplayOfNothing(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, Replay(benches(1), strings.NewReader("\n\n"), &out))
	require.Empty(t, out.String())
}

// TestReplayEndsClosed: a trace that ends in the middle of a shot ends as SIGTERM does.
func TestReplayEndsClosed(t *testing.T) {
	plan := benches(1)
	s := newScript(plan)
	s.at = start.Add(70 * time.Minute)
	s.minutes(2, "east", 47)
	s.line(`"clock":{}`)
	out, lines := play(t, plan, s.b.String(), false)
	require.NotNil(t, first(lines, opening("east")))
	last := map[string]bool{}
	for _, l := range lines {
		if l.Kind == "command" {
			last[l.Valve] = l.Open
		}
	}
	require.Equal(t, map[string]bool{"east": false, "feed-0-master": false}, last)
	require.Contains(t, out, `"record":"stop"`)
}

// TestReplayGoldens: the traces in testdata lead to the lines beside them.
func TestReplayGoldens(t *testing.T) {
	const dir = "../../testdata/traces/"
	for name, plan := range goldenPlans() {
		trace, err := os.ReadFile(dir + name + ".jsonl")
		require.NoError(t, err)
		got, _ := play(t, plan, string(trace), false)
		if *update {
			require.NoError(t, os.WriteFile(dir+name+".out.jsonl", []byte(got), 0o644))
			continue
		}
		want, err := os.ReadFile(dir + name + ".out.jsonl")
		require.NoError(t, err)
		sameLines(t, string(want), got)
	}
}

func goldenPlans() map[string]*zones.Plan {
	return map[string]*zones.Plan{"dry-morning": benches(1), "tank-and-restart": benches(2)}
}
