package trace

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// recording is a recorder that watches a replay as the daemon's would watch a room.
type recording struct {
	t       *testing.T
	r       *Recorder
	started bool
}

func (w *recording) Stepped(_ time.Time, now zones.Instant, ev zones.Event, effects []zones.Effect) {
	if ev == nil && w.started {
		require.NoError(w.t, w.r.Restart(now))
	}
	w.started = true
	require.NoError(w.t, w.r.Observe(now, ev, effects))
}

func (w *recording) Physical(zones.Instant, zones.Output, bool) {}

// record replays a trace and gives its output and the trace that a recorder took.
func record(t *testing.T, plan *zones.Plan, trace string) (out, recorded string) {
	t.Helper()
	var b, rec bytes.Buffer
	r := NewRecorder(plan, &rec)
	require.NoError(t, replay(plan, strings.NewReader(trace), &b, &recording{t: t, r: r}, false))
	require.NoError(t, r.Flush())
	return b.String(), rec.String()
}

var lineID = regexp.MustCompile(`line-\d+`)

// TestRecorderRoundTrip: a trace that is recorded while another is replayed leads to
// the same bytes, but for the numbers of its lines.
func TestRecorderRoundTrip(t *testing.T) {
	plan := benches(2)
	s := newScript(plan)
	s.at = start.Add(55 * time.Minute)
	s.minutes(4, "west", 47)
	for _, part := range []string{
		`"clock":{"trusted":true,"step":"-30m"}`, `"clock":{"trusted":false,"step":"30m"}`, `"clock":{"trusted":true}`,
		`"input":{"id":"tank-low","active":true}`, `"input":{"id":"tank-low","active":false}`,
		`"order":{"kind":"hold","zone":"west","for":"2m","by":"ann","note":"net"}`, `"order":{"kind":"shot","zone":"east","for":"40s"}`,
		`"controller":{"id":"north","online":false}`, `"controller":{"id":"north","online":true}`,
		`"broker":{"up":false}`, `"broker":{"up":true}`, `"restart":{}`,
		`"controller":{"id":"north","online":true,"boot":"9f31c2"}`,
		`"reading":{"controller":"north","terminal":9,"address":"z","moisture":31.25,"ec":0.5,"serial":"A1","time":"2027-03-01T06:00:00.5Z"}`,
		`"order":{"kind":"shot","zone":"west","volume":"30mL"}`,
	} {
		s.half(part)
		s.at = s.at.Add(time.Minute)
		s.minutes(4, "west", 47.5)
	}
	out, recorded := record(t, plan, s.b.String())
	require.Greater(t, strings.Count(out, `"open":true`), 20)
	again, twice := record(t, plan, recorded)
	sameLines(t, lineID.ReplaceAllString(out, "line"), lineID.ReplaceAllString(again, "line"))
	sameLines(t, recorded, twice)
	for _, kind := range []string{"reading", "controller", "input", "broker", "order", "clock", "restart"} {
		require.Contains(t, recorded, `,"`+kind+`":`)
	}
	require.NotContains(t, recorded, `"report"`, "obeying valves need no lines")
}

// TestRecorderOfAStuckValve: a valve that shows open against its close leaves a line,
// and its replay latches at the same second.
func TestRecorderOfAStuckValve(t *testing.T) {
	plan := benches(1)
	s := newScript(plan)
	s.minutes(10, "east", 52)
	s.line(`"report":{"valve":"east","open":true}`)
	s.minutes(2, "east", 52)
	s.line(`"report":{"valve":"east","open":false}`)
	s.minutes(2, "east", 52)
	latched := func(out string) *outLine {
		return first(parse(t, out), func(l outLine) bool { return l.Kind == "alarm" && l.Code == zones.ValveMismatch })
	}
	out, recorded := record(t, plan, s.b.String())
	require.Equal(t, 2, strings.Count(recorded, `"report"`))
	require.Contains(t, recorded, `"report":{"valve":"east","open":false,"obeys":true}`)
	again, _ := record(t, plan, recorded)
	require.NotNil(t, latched(out))
	require.Equal(t, latched(out), latched(again))
}

// TestRecorderOfASilentController: one that says nothing for 15 s without a word is
// written as off the line, and as back when it reports again.
func TestRecorderOfASilentController(t *testing.T) {
	var rec bytes.Buffer
	r := NewRecorder(benches(1), &rec)
	at := func(seconds int) zones.Instant {
		d := time.Duration(seconds) * time.Second
		return zones.Instant{Wall: start.Add(d), Mono: d, Trusted: true}
	}
	report := &zones.Report{Controller: "north", Boot: "b"}
	require.NoError(t, r.Observe(at(0), report, nil))
	require.NoError(t, r.Observe(at(15), &zones.Tick{}, nil))
	require.NoError(t, r.Observe(at(16), &zones.Tick{}, nil))
	require.NoError(t, r.Observe(at(17), &zones.Tick{}, nil))
	require.NoError(t, r.Observe(at(20), report, nil))
	require.NoError(t, r.Flush())
	require.Equal(t, strings.Join([]string{
		`{"at":"2027-03-01T06:00:00Z","clock":{"trusted":true}}`,
		`{"at":"2027-03-01T06:00:16Z","controller":{"id":"north","online":false}}`,
		`{"at":"2027-03-01T06:00:20Z","controller":{"id":"north","online":true}}`, "",
	}, "\n"), rec.String())
}

// TestRecorderForgivesSlewing: small differences between the clocks leave no line,
// a step leaves one.
func TestRecorderForgivesSlewing(t *testing.T) {
	var rec bytes.Buffer
	r := NewRecorder(benches(1), &rec)
	for n, off := range []time.Duration{0, 100 * time.Millisecond, 200 * time.Millisecond, time.Hour, time.Hour} {
		d := time.Duration(n) * time.Second
		require.NoError(t, r.Observe(zones.Instant{Wall: start.Add(d + off), Mono: d, Trusted: true}, &zones.Tick{}, nil))
	}
	require.NoError(t, r.Flush())
	require.Equal(t, 2, strings.Count(rec.String(), "\n"))
	require.Contains(t, rec.String(), `{"at":"2027-03-01T06:00:03Z","clock":{"step":"1h0m0s"}}`)
}

// TestLinesReadBack: every line that can be written reads back as it was.
func TestLinesReadBack(t *testing.T) {
	plan := benches(1)
	s := newScript(plan)
	s.minutes(1, "east", 46.2)
	s.line(`"report":{"valve":"east","open":true,"flow_lpm":6.7}`)
	s.line(`"order":{"kind":"ignore","probe":"e1","for":"48h0m0s","by":"ann"}`)
	var rec bytes.Buffer
	r := NewRecorder(plan, &rec)
	want, err := readAll(t, s.b.String())
	require.NoError(t, err)
	for i := range want {
		require.NoError(t, r.Line(&want[i]))
	}
	require.NoError(t, r.Flush())
	got, err := readAll(t, rec.String())
	require.NoError(t, err)
	require.Equal(t, fmt.Sprintf("%+v", wires(want)), fmt.Sprintf("%+v", wires(got)))
}

func wires(lines []Line) []string {
	var w []string
	for i := range lines {
		b, _ := jsonLine(&lines[i])
		w = append(w, b)
	}
	return w
}
