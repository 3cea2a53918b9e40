package main

import (
	"flag"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/configs"
	"rillgate/daemon/simfield"
	"rillgate/zones/simroom"
)

var memoryFor = flag.Duration("rillgate.memory", 0, "watch the memory of `run` for so long (1h for docs/performance.md)")

// residentMost is what `run` may hold in memory with 40 probes, KiB.
const residentMost = 30 << 10

// TestMemory runs the daemon on four zones with forty probes, one reading a minute
// each, while somebody reads the page once a minute, and looks at what it holds.
func TestMemory(t *testing.T) {
	if *memoryFor == 0 {
		t.Skip("watches only with -rillgate.memory")
	}
	r := newRig(t)
	page := freeAddress(t)
	r.write("room.yaml", benchRoom(4, 10, "max_run: 6 min, min_rest: 5 min, max_per_day: 60 min, max_moisture: 70 %", 2))
	r.write("schedule.yaml", benchSchedule(4, "below: 45 %, stop_at: 52 %, shot: 60 s, rest: 10 min"))
	r.write("gateway.yaml", fmt.Sprintf("mqtt: {broker: \"%s\"}\nlease: 30 s\npage: {listen: %s}\n", r.broker.URL(), page))
	r.start()
	f := dryRoom(t, r)
	watchMemory(t, r, page)
	counts := f.Counts()
	t.Logf("readings sent %d, reports %d, commands obeyed %d", counts.Readings, counts.Reports, counts.Commands[simroom.Acted])
	require.Positive(t, counts.Commands[simroom.Acted])
}

// dryRoom puts the rig's room, dry enough to be watered, on the field topics.
func dryRoom(t *testing.T, r *rig) *simfield.Field {
	loaded, problems := configs.Load(r.config)
	require.NotNil(t, loaded, "%v", problems)
	o := simroom.Options{Start: time.Now(), Zones: map[string]simroom.ZoneOptions{}}
	for i := range loaded.Plan.Zones {
		o.Zones[loaded.Plan.Zones[i].ID] = simroom.ZoneOptions{StartPercent: 44}
	}
	sim, err := simroom.New(loaded.Plan, o)
	require.NoError(t, err)
	f, err := simfield.New(loaded.Plan, sim, simfield.Options{Broker: r.broker.URL()})
	require.NoError(t, err)
	done := make(chan error, 1)
	go func() { done <- f.Run(t.Context()) }()
	t.Cleanup(func() { require.NoError(t, <-done) })
	return f
}

func watchMemory(t *testing.T, r *rig, page string) {
	t.Helper()
	look := time.NewTicker(min(time.Minute, max(*memoryFor/10, time.Second)))
	defer look.Stop()
	began := time.Now()
	for time.Since(began) < *memoryFor {
		select {
		case <-look.C:
		case err := <-r.ended:
			require.FailNow(t, "the daemon ended", "%v: %s", err, r.said)
		}
		m := memoryOf(t, r.daemon.Process.Pid)
		// Not t.Log: who waits an hour wants to see it.
		fmt.Printf("after %5s: resident %5d KiB (of the program's own %5d, of files %5d), highest %5d KiB\n",
			time.Since(began).Round(time.Second), m["VmRSS"], m["RssAnon"], m["RssFile"], m["VmHWM"])
		require.Less(t, m["VmRSS"], residentMost)
		readPage(t, page)
	}
}

// memoryOf gives the KiB values of /proc/PID/status.
func memoryOf(t *testing.T, pid int) map[string]int {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	require.NoError(t, err)
	m := map[string]int{}
	for line := range strings.Lines(string(text)) {
		name, value, _ := strings.Cut(line, ":")
		if kb, ok := strings.CutSuffix(strings.TrimSpace(value), " kB"); ok {
			m[name], err = strconv.Atoi(kb)
			require.NoError(t, err)
		}
	}
	require.Positive(t, m["VmRSS"])
	return m
}

func readPage(t *testing.T, address string) {
	t.Helper()
	answer, err := http.Get("http://" + address + "/")
	require.NoError(t, err)
	defer answer.Body.Close()
	n, err := io.Copy(io.Discard, answer.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, answer.StatusCode)
	require.Positive(t, n)
}

func freeAddress(t *testing.T) string {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer ln.Close()
	return ln.Addr().String()
}

// benchRoom is a room of so many zones, each with a valve and so many probes, ten
// probes a terminal, on one controller.
func benchRoom(zones, probes int, limits string, quorum int) string {
	var b strings.Builder
	b.WriteString("room: {id: bay-2, name: Bay 2, time_zone: UTC, units: metric}\ncontrollers:\n  - id: north\n    terminals:\n")
	for i := range zones * probes {
		if i%10 == 0 {
			fmt.Fprintf(&b, "      - number: %d\n        layout: chain\n        home_run: 18 m\n        cable: 22 AWG\n        probes:\n", 1+i/10)
		}
		fmt.Fprintf(&b, "          - {id: p%d, address: \"%d\", zone: z%d, lead: 1 m, tail: 5 m}\n", i, i%10, i/probes)
	}
	fmt.Fprintf(&b, "supplies:\n  - {id: feed, max_open: %d}\nvalves:\n", zones)
	for i := range zones {
		fmt.Fprintf(&b, "  - {id: v%d, controller: north, output: %d, supply: feed}\n", i, 1+i)
	}
	fmt.Fprintf(&b, `defaults:
  substrate: {kind: coir, volume_per_plant: 6.5 L, height: 20 cm}
  emitters: {per_plant: 2, flow: 2 L/h}
  moisture: {combine: median, quorum: %d, stale_after: 10 min, plausible: 2 %% to 95 %%}
  limits: {%s}
zones:
`, quorum, limits)
	for i := range zones {
		fmt.Fprintf(&b, "  - {id: z%d, name: Bench %d, plants: 48, valves: [v%d]}\n", i, i, i)
	}
	return b.String()
}

// benchSchedule waters every zone at any time of day by the same words.
func benchSchedule(zones int, words string) string {
	var b strings.Builder
	fmt.Fprintf(&b, `day: {lights_on: "06:00", lights_off: "18:00"}
routines:
  all: [{window: first, from: "00:00", until: "12:00", %s}, {window: second, from: "12:00", until: "00:00", %s}]
zones:
`, words, words)
	for i := range zones {
		fmt.Fprintf(&b, "  z%d: {routine: all}\n", i)
	}
	return b.String()
}
