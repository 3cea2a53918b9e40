package simfield

import (
	"fmt"
	"testing"
	"time"

	"rillgate/daemon/broker/realbroker"
	"rillgate/zones"
	"rillgate/zones/simroom"

	"github.com/stretchr/testify/require"
)

// A controller in real time on a real broker: it obeys, drops at its deadline within
// 100 ms by itself, and says offline at the end.
func TestRunOnARealBroker(t *testing.T) {
	b := realbroker.Start(t, realbroker.Options{})
	f, stop := running(t, b.URL(), plan("north"), simroom.Options{ReadingPeriod: time.Second, ReportPeriod: time.Second, Jitter: -1})
	w := newPeer(t, b.URL())
	r := readReport(t, w.await("north/report", func(string) bool { return true }))
	w.await("north/readings", func(string) bool { return true })
	w.send("north/valve/1/command", fmt.Sprintf(
		`{"epoch":1,"seq":1,"run":"r-1","open":true,"boot":"%s","until_ms":%d}`, r.Boot, r.UptimeMS+2500), false)
	w.await("north/report", func(s string) bool { return readReport(t, s).Outputs["1"].Open })
	closed := readReport(t, w.await("north/report", func(s string) bool { return !readReport(t, s).Outputs["1"].Open }))
	require.InDelta(t, r.UptimeMS+2500, closed.UptimeMS, 100)
	require.Equal(t, uint32(1), closed.Seq)
	f.Look(func(s *simroom.Room) {
		runs := s.Opened(zones.Output{Controller: "north", Number: 1})
		require.Len(t, runs, 1)
		require.Less(t, runs[0].To-runs[0].From, 2600*time.Millisecond)
	})
	stop()
	w.await("north/status", func(s string) bool { return s == "offline" })
}

// A broker that dies and comes back is told all anew, and its commands are obeyed.
func TestRunOutlivesItsBroker(t *testing.T) {
	b := realbroker.Start(t, realbroker.Options{})
	f, _ := running(t, b.URL(), plan("north"), simroom.Options{ReportPeriod: time.Second})
	w := newPeer(t, b.URL())
	w.await("north/report", func(string) bool { return true })
	b.Kill()
	b.Restart()
	w = newPeer(t, b.URL())
	w.await("north/status", func(s string) bool { return s == "online" })
	w.send("north/valve/1/command", `{"epoch":1,"seq":1,"open":false}`, false)
	w.await("north/report", func(s string) bool { return readReport(t, s).Seq == 1 })
	require.Equal(t, 1, f.Counts().Commands[simroom.Acted])
}

// Offline and back in real time, by a fault put in while it runs: the broker gives the
// will, then the controller speaks itself, with the same boot.
func TestRunGoesOffAndComesBack(t *testing.T) {
	at := embedded(t)
	f, _ := running(t, at, plan("north"), simroom.Options{ReportPeriod: time.Second})
	w := newPeer(t, at)
	boot := readReport(t, w.await("north/report", func(string) bool { return true })).Boot
	f.Look(func(r *simroom.Room) {
		require.NoError(t, r.Inject(simroom.Fault{Kind: simroom.Offline, Subject: "north", At: r.Now(), For: 1500 * time.Millisecond}))
	})
	w.await("north/status", func(s string) bool { return s == "offline" })
	w.await("north/status", func(s string) bool { return s == "online" })
	require.Equal(t, boot, readReport(t, w.await("north/report", func(string) bool { return true })).Boot)
}
