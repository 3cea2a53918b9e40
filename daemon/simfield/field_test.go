package simfield

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"rillgate/daemon/broker/realbroker"
	"rillgate/zones"
	"rillgate/zones/simroom"

	"github.com/stretchr/testify/require"
)

func TestNeedsABrokersAddress(t *testing.T) {
	p := plan("north")
	for _, s := range []string{"", "mqtts://127.0.0.1:1", "127.0.0.1:1883", "mqtt://127.0.0.1", "mqtt://%"} {
		_, err := New(p, newSim(t, p, simroom.Options{}), Options{Broker: s})
		require.Error(t, err, s)
	}
}

func TestStartSaysThatNobodyAnswers(t *testing.T) {
	p := plan("north")
	f, err := New(p, newSim(t, p, simroom.Options{}), Options{Broker: "mqtt://127.0.0.1:1", Patience: 50 * time.Millisecond})
	require.NoError(t, err)
	require.ErrorContains(t, f.Start(t.Context()), "connect controller north to the broker at 127.0.0.1:1")
	f.Close()
}

func TestComesOnTheAir(t *testing.T) {
	at := embedded(t)
	f := stepped(t, at, plan("north"), simroom.Options{Start: time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)})
	w := newPeer(t, at)
	step(t, f, 0)
	w.barrier()
	got := w.take()
	require.Equal(t, []string{"online"}, seen(got, "north/status"))
	require.Equal(t, []string{`{"active":false}`}, seen(got, "north/input/tank-low"))
	r := readReport(t, seen(got, "north/report")[0])
	require.Equal(t, [2]uint32{0, 0}, [2]uint32{r.Epoch, r.Seq})
	require.Len(t, r.Outputs, 2)

	step(t, f, time.Minute)
	w.barrier()
	got = w.take()
	require.Len(t, seen(got, "north/report"), 12)
	require.Len(t, seen(got, "north/input/tank-low"), 1)
	packs := seen(got, "north/readings")
	require.Len(t, packs, 2, "one pack a terminal")
	require.Equal(t, 4, strings.Count(packs[0], `"bn":"`))
	for _, m := range got {
		require.False(t, m.Retained())
		if strings.HasSuffix(m.Topic(), "readings") {
			require.Zero(t, m.Qos())
		} else {
			require.Equal(t, byte(1), m.Qos())
		}
	}
	late := newPeerNamed(t, at, "late")
	retained := map[string]string{}
	for _, m := range late.take() {
		require.True(t, m.Retained())
		retained[m.Topic()] = string(m.Payload())
	}
	require.Equal(t, map[string]string{
		"rillgate/bay/field/north/status": "online", "rillgate/bay/field/north/input/tank-low": `{"active":false}`,
	}, retained, "status and inputs are retained, nothing else is")
}

// After both barriers the other side has exactly what was sent, at every step.
func TestBarrierIsAFullStop(t *testing.T) { fullStop(t, embedded(t), 400) }

func TestBarrierIsAFullStopOnARealBroker(t *testing.T) {
	fullStop(t, realbroker.Start(t, realbroker.Options{Extra: "set_tcp_nodelay true"}).URL(), 100)
}

func fullStop(t *testing.T, at string, steps int) {
	f := stepped(t, at, plan("north", "south"), simroom.Options{Seed: 2})
	w := newPeer(t, at)
	w.take()
	for i := 0; i < steps; i++ {
		now := time.Duration(i) * 7 * time.Second
		sent := step(t, f, now)
		w.barrier()
		require.Len(t, w.take(), sent, "step %d", i)
	}
	c := f.Counts()
	require.Zero(t, c.Unsent)
	require.Positive(t, c.Packs)
	require.Equal(t, 4*c.Packs, c.Readings)
}

// After the peer's barrier and ours, every command it sent has come.
func TestBarrierBringsCommands(t *testing.T) {
	at := embedded(t)
	f := stepped(t, at, plan("north", "south"), simroom.Options{})
	w := newPeer(t, at)
	step(t, f, 0)
	for i := 1; i <= 200; i++ {
		w.client.Publish("rillgate/bay/field/north/valve/1/command", 1, false, fmt.Sprintf(`{"epoch":1,"seq":%d,"open":false}`, i))
		w.client.Publish("rillgate/bay/field/south/valve/2/command", 1, false, fmt.Sprintf(`{"epoch":1,"seq":%d,"open":false}`, i))
		w.barrier()
		require.NoError(t, f.Barrier(t.Context()))
		require.True(t, f.Waiting())
		require.Equal(t, time.Duration(0), f.Next())
		step(t, f, 0)
		require.Equal(t, 2*i, f.Counts().Commands[simroom.Acted], "in order, none lost")
		require.False(t, f.Waiting())
	}
}

func TestIgnoresWhatIsNoCommand(t *testing.T) {
	at := embedded(t)
	f := stepped(t, at, plan("north"), simroom.Options{})
	w := newPeer(t, at)
	step(t, f, 0)
	open := `{"epoch":1,"seq":5,"run":"r-1","open":true,"boot":"` + bootOf(f) + `","until_ms":3660000}`
	closing := `{"epoch":1,"seq":6,"run":"r-1","open":false}`
	w.send("north/valve/1/command", `nonsense`, false)
	w.send("north/valve/x/command", closing, false)
	w.send("north/valve/9/command", closing, false)
	w.send("north/valve/1/command", open, false)
	w.send("north/valve/1/command", open, false)
	require.NoError(t, f.Barrier(t.Context()))
	step(t, f, time.Second)
	c := f.Counts()
	require.Equal(t, 2, c.Malformed)
	require.NotEmpty(t, c.LastFault)
	require.Equal(t, map[simroom.Verdict]int{simroom.Acted: 1, simroom.NotNewer: 1, simroom.NoOutput: 1}, c.Commands)
}

func bootOf(f *Field) (boot string) {
	f.Look(func(r *simroom.Room) {
		r.Announce("north")
		for _, o := range r.Advance(r.Now()) {
			if m, ok := o.Event.(*zones.Report); ok {
				boot = m.Boot
			}
		}
	})
	return boot
}

// A retained command waits on the broker for the controller to connect: it must not
// open. The same command live does.
func TestIgnoresRetainedCommands(t *testing.T) {
	at := embedded(t)
	p := plan("north")
	sim := newSim(t, p, simroom.Options{})
	f, err := New(p, sim, Options{Broker: at})
	require.NoError(t, err)
	t.Cleanup(f.Close)
	open := `{"epoch":1,"seq":5,"run":"r-1","open":true,"boot":"` + bootOf(f) + `","until_ms":3660000}`
	w := newPeer(t, at)
	w.send("north/valve/1/command", open, true)
	require.NoError(t, f.Start(t.Context()))
	step(t, f, 0)
	step(t, f, time.Second)
	require.Equal(t, 1, f.Counts().Retained)
	require.Empty(t, sim.Driven(zones.Output{Controller: "north", Number: 1}))
	w.send("north/valve/1/command", open, false)
	step(t, f, time.Second)
	step(t, f, time.Second)
	require.Len(t, sim.Driven(zones.Output{Controller: "north", Number: 1}), 1)
}

func TestOfflineIsTheBrokersWord(t *testing.T) {
	at := embedded(t)
	f := stepped(t, at, plan("north", "south"), simroom.Options{Faults: []simroom.Fault{
		{Kind: simroom.Offline, Subject: "north", At: time.Minute, For: time.Minute},
		{Kind: simroom.Reboot, Subject: "south", At: 4 * time.Minute},
	}})
	w := newPeer(t, at)
	step(t, f, 59*time.Second)
	w.barrier()
	boot := readReport(t, seen(w.take(), "south/report")[0]).Boot
	step(t, f, time.Minute)
	w.barrier()
	require.Equal(t, []string{"offline"}, seen(w.take(), "north/status"))
	step(t, f, time.Minute+50*time.Second)
	w.barrier()
	got := w.take()
	require.Empty(t, seen(got, "north/report"))
	require.NotEmpty(t, seen(got, "south/report"))
	w.send("north/valve/1/command", `{"epoch":1,"seq":5,"open":false}`, false)
	step(t, f, 2*time.Minute)
	w.barrier()
	got = w.take()
	require.Equal(t, []string{"online"}, seen(got, "north/status"))
	require.Zero(t, readReport(t, seen(got, "north/report")[0]).Seq, "what was sent meanwhile is lost")
	step(t, f, 4*time.Minute)
	w.barrier()
	w.take()
	step(t, f, 4*time.Minute+time.Second)
	w.barrier()
	require.Empty(t, seen(w.take(), "south/report"))
	step(t, f, 4*time.Minute+3*time.Second)
	w.barrier()
	got = w.take()
	require.Equal(t, []string{"online"}, seen(got, "south/status"))
	r := readReport(t, seen(got, "south/report")[0])
	require.NotEqual(t, boot, r.Boot)
	require.Zero(t, r.UptimeMS)
	require.Zero(t, f.Counts().Unsent)
}

func TestLastWordIsOffline(t *testing.T) {
	at := embedded(t)
	f := stepped(t, at, plan("north"), simroom.Options{})
	w := newPeer(t, at)
	step(t, f, 0)
	w.take()
	f.Close()
	w.await("north/status", func(s string) bool { return s == "offline" })
}

func TestProbesOfForeignControllersAreNotSpokenFor(t *testing.T) {
	at := embedded(t)
	p := plan("north")
	p.Probes[0].Place = zones.Place{Controller: "north", Address: "a84041"}
	f := stepped(t, at, p, simroom.Options{})
	step(t, f, time.Minute)
	require.Equal(t, 1, f.Counts().Foreign)
	require.Equal(t, 7, f.Counts().Readings)
}
