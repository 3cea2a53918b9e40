package main

import (
	"encoding/json"
	"flag"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/simfield"
	"rillgate/zones"
	"rillgate/zones/simroom"
)

// lease is that of testGateway; within it and a controller's tenth of a second what nobody
// renews has dropped. The machine that runs the tests may take some seconds more to look.
const lease, toLook = 10 * time.Second, 3 * time.Second

// The minute for which it stays dropped is waited for only when asked: the rest is the
// same room, and the core's own tests have that minute.
var healthyBack = flag.Bool("rillgate.healthy", false, "wait until the healthy output is held again after a broker's death and an alarm")

// hornAt is where the guarded room has its horn.
var hornAt = zones.Output{Controller: "north", Number: 9}

// newGuardedRoom is a room with a horn on output 9, a leak switch, and a bed that no window
// waters and that may be soaked; its daemon runs, and the horn's output is held.
func newGuardedRoom(t *testing.T) (*rig, *simfield.Field) {
	t.Helper()
	r := newRig(t)
	room := strings.Replace(testRoom, "valves:\n", "healthy: {controller: north, output: 9, drives: horn over the door}\nvalves:\n", 1)
	room = strings.Replace(room, "    terminals:\n", "    inputs: [{id: floor, means: leak}]\n    terminals:\n", 1)
	room = strings.Replace(room, "max_moisture: 70 %}", "max_moisture: 70 %, soak: {max_run: 10 s, max_per_day: 10 min, max_moisture: 90 %}}", 1)
	r.write("room.yaml", room)
	r.write("schedule.yaml", "day: {lights_on: \"06:00\", lights_off: \"18:00\"}\nzones: {east: none}\n")
	r.start()
	f := r.room()
	becomes(t, f, true, 40*time.Second, "held when all is well")
	return r, f
}

func held(f *simfield.Field) (on bool) {
	f.Look(func(r *simroom.Room) { on, _ = r.Contact(hornAt) })
	return on
}

// becomes waits until the horn's output is held or not, and gives how long that took.
func becomes(t *testing.T, f *simfield.Field, on bool, within time.Duration, why string) time.Duration {
	t.Helper()
	began := time.Now()
	require.Eventually(t, func() bool { return held(f) == on }, within, 20*time.Millisecond, why)
	return time.Since(began)
}

// last gives what stands on a topic.
func (e *eyes) last(topic string) string {
	all := e.on(topic)
	if len(all) == 0 {
		return ""
	}
	return all[len(all)-1].payload
}

func (r *rig) says(topic, want string) {
	r.t.Helper()
	require.Eventually(r.t, func() bool { return r.eyes.last("homie/5/bay-2/"+topic) == want }, 15*time.Second, 20*time.Millisecond,
		"%s is %q, not %q; the daemon said: %s", topic, r.eyes.last("homie/5/bay-2/"+topic), want, r.said)
}

// kill -9: what holds the horn's output is renewed no more, and it drops within the lease.
// The next life holds it again, after its boot hold.
func TestHealthyDropsWithTheDaemon(t *testing.T) {
	t.Parallel()
	r, f := newGuardedRoom(t)
	r.says("gateway/healthy", "held")
	code, out, _ := r.rillgate("why", "healthy")
	require.Zero(t, code)
	require.Contains(t, out, "output north/9: held\nall is well")
	require.Contains(t, out, "horn over the door")
	require.Contains(t, out, "runs out 20")
	code, out, _ = r.rillgate("zones")
	require.Zero(t, code)
	require.Contains(t, out, "\nhealthy output: held since ")

	_, _ = r.stop(syscall.SIGKILL)
	becomes(t, f, false, lease+toLook, "dropped within its lease")
	code, out, errs := r.rillgate("why", "north/9")
	require.Zero(t, code, errs)
	require.Contains(t, out, "output north/9: not-running")
	began := time.Now()
	r.start()
	becomes(t, f, true, 60*time.Second, "held again")
	require.GreaterOrEqual(t, time.Since(began), bootHold)
	code, _ = r.stop(syscall.SIGTERM)
	require.Zero(t, code)
	becomes(t, f, false, 2*time.Second, "a daemon that ends lets it go at once")
	_, out, _ = r.rillgate("why", "healthy")
	require.Contains(t, out, "healthy: all is well", "the journal knows when it was held")
	require.Contains(t, out, "healthy-dropped: the daemon is told to end")
}

// The broker dies: nothing can be said to the controller, so the output drops by itself
// within the lease; a minute after the loss it is held again, when the broker is back (-rillgate.healthy).
func TestHealthyDropsWithTheBroker(t *testing.T) {
	t.Parallel()
	r, f := newGuardedRoom(t)
	lost := time.Now()
	r.broker.Kill()
	becomes(t, f, false, lease+toLook, "dropped within its lease")
	code, out, _ := r.rillgate("why", "healthy")
	require.Zero(t, code)
	require.Contains(t, out, string(zones.BrokerLost))
	r.broker.Restart()
	r.back(f, lost)
	code, _ = r.stop(syscall.SIGTERM)
	require.Zero(t, code)
}

// An urgent alarm drops the horn's output at once; it is held again a minute later, when the
// alarm is over (-rillgate.healthy). Meanwhile a soak goes its way over the broker: two runs of 10 s with a rest
// between, told in the journal and on the topics, and it ends by itself.
func TestSoakAndAlarmOverTheBroker(t *testing.T) {
	t.Parallel()
	r, f := newGuardedRoom(t)
	r.says("gateway/healthy", "held")
	f.Look(func(sim *simroom.Room) {
		require.NoError(t, sim.Inject(simroom.Fault{Kind: simroom.InputActive, Subject: "floor", At: sim.Now(), For: 3 * time.Second}))
	})
	dropped := becomes(t, f, false, 3*time.Second, "a leak drops it at once")
	alarmed := time.Now()
	require.Less(t, dropped, lease/3, "it did not wait for a grant to run out")
	r.says("gateway/healthy", "dropped")
	require.Eventually(t, func() bool { // a topic of its own, told after the state
		return strings.Contains(r.eyes.last("homie/5/bay-2/gateway/healthy-because"), "leak of bay-2")
	}, 5*time.Second, 20*time.Millisecond, "healthy-because names the leak")
	code, out, _ := r.rillgate("why", "north/9")
	require.Zero(t, code)
	require.Contains(t, out, "leak-bay-2")
	require.Eventually(t, func() bool { code, _, _ := r.rillgate("reset", "room"); return code == 0 }, 15*time.Second, 200*time.Millisecond)

	code, out, errs := r.rillgate("soak", "east", "--volume", "20mL", "--note", "new crop")
	require.Zero(t, code, errs)
	require.Contains(t, out, "20 mL a plant in 2 runs of 9 s with 10 s between")
	r.says("zone-east/state", "watering")
	r.says("zone-east/reason", "soak")
	require.Eventually(t, func() bool {
		_, out, _ := r.rillgate("why", "east")
		return strings.Contains(out, "max_moisture of the soak:  ") && strings.Contains(out, "1 of 2 runs begun") && strings.Contains(out, "soak budget of 24 h:")
	}, 5*time.Second, 100*time.Millisecond)
	require.Eventually(t, func() bool { return r.view()[0].Soak == nil }, 60*time.Second, 200*time.Millisecond, "it ends by itself")
	r.soaked()
	r.rested(f)

	r.back(f, alarmed)
	code, _ = r.stop(syscall.SIGTERM)
	require.Zero(t, code)
}

// back waits, if asked, until it is held again, a minute after it dropped.
func (r *rig) back(f *simfield.Field, dropped time.Time) {
	r.t.Helper()
	if !*healthyBack {
		return
	}
	becomes(r.t, f, true, 100*time.Second, "held again")
	require.GreaterOrEqual(r.t, time.Since(dropped), time.Minute-4*time.Second, "it does not chatter")
	r.says("gateway/healthy", "held")
}

// soaked reads the soak in the journal on its topic: ordered, two runs, and its end.
func (r *rig) soaked() {
	r.t.Helper()
	var end *zones.Entry
	var kinds []string
	require.Eventually(r.t, func() bool {
		kinds, end = nil, nil
		for _, s := range r.eyes.on("rillgate/bay-2/journal") {
			var e zones.Entry
			require.NoError(r.t, json.Unmarshal([]byte(s.payload), &e))
			if e.Zone == "east" && (e.Reason == zones.Soak || e.Reason == zones.ShotDone) {
				kinds = append(kinds, e.Kind)
			}
			if e.Kind == "soak-ended" {
				end = &e
			}
		}
		return end != nil
	}, 5*time.Second, 50*time.Millisecond)
	require.Equal(r.t, []string{"order", "run-opened", "run-closed", "run-opened", "run-closed", "soak-ended"}, kinds)
	require.Equal(r.t, "20 mL of 20 mL a plant given in 2 of 2 runs: all of it is given", end.Because)
	require.InDelta(r.t, 18, end.Seconds, 0.1)
	v := r.view()[0]
	require.InDelta(r.t, 18, v.SoakRoom.UsedSeconds, 0.5)
	require.Zero(r.t, v.UsedSeconds, "shots have a day of their own")
}

// rested looks at the contact of the valve: two runs, none longer than told, and the rest
// between them.
func (r *rig) rested(f *simfield.Field) {
	r.t.Helper()
	var runs []simroom.Interval
	f.Look(func(sim *simroom.Room) { runs = slices.Clone(sim.Driven(zones.Output{Controller: "north", Number: 1})) })
	require.Len(r.t, runs, 2)
	for _, run := range runs {
		require.InDelta(r.t, 9, (run.To - run.From).Seconds(), 1)
		require.LessOrEqual(r.t, run.To-run.From, 9*time.Second+200*time.Millisecond)
	}
	require.GreaterOrEqual(r.t, runs[1].From-runs[0].To, 10*time.Second-200*time.Millisecond)
}
