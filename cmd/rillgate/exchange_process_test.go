package main

import (
	"fmt"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"
)

// hand publishes readings as a controller would, for probes of serial numbers that a
// person plugs in.
func hand(t *testing.T, r *rig) func(place, serial string, moisture float64) {
	t.Helper()
	o := mqtt.NewClientOptions().AddBroker(strings.Replace(r.broker.URL(), "mqtt://", "tcp://", 1)).SetClientID("hand").SetProtocolVersion(4)
	c := mqtt.NewClient(o)
	token := c.Connect()
	require.True(t, token.WaitTimeout(10*time.Second))
	require.NoError(t, token.Error())
	t.Cleanup(func() { c.Disconnect(50) })
	return func(place, serial string, moisture float64) {
		t.Helper()
		text := fmt.Sprintf(`[{"bn":"%s:","n":"moisture","u":"/","v":%g},{"n":"serial","vs":%q}]`, place, moisture, serial)
		token := c.Publish("rillgate/bay-2/field/north/readings", 0, false, text)
		require.True(t, token.WaitTimeout(10*time.Second))
		require.NoError(t, token.Error())
	}
}

// The day on which a probe dies, over a real broker: another serial number is told,
// confirmed, its life is shown with the daemon and without; a probe that answers unasked
// is given to the zone, and `check` says what the file lacks until it has it.
func TestAProbeIsExchangedAndOneIsAdded(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.start()
	say := hand(t, r)
	told := func(args, words string) {
		t.Helper()
		require.Eventually(t, func() bool {
			_, out, _ := r.rillgate(strings.Fields(args)...)
			return strings.Contains(out, words)
		}, 15*time.Second, 50*time.Millisecond, "%s says no %q", args, words)
	}
	say("1:0", "SN-1", 0.46)
	told("probes e1", "serial number SN-1")
	for i := 1; i <= 4; i++ {
		say("1:0", "SN-2", 0.46+0.001*float64(i))
		told("probes --json", fmt.Sprintf("%.1f", 46+0.1*float64(i))) // one reading after the other
	}
	told("probes", "probe-exchanged: SN-2 answers at north/1/0, where e1 was SN-1")
	told("why room", "probe-exchanged")
	code, out, errs := r.rillgate("exchange", "e1", "--note", "rod broken")
	require.Zero(t, code, errs)
	require.Contains(t, out, "zone east, label and history stay")
	code, out, _ = r.rillgate("probes")
	require.Zero(t, code)
	require.NotContains(t, out, "probe-exchanged")

	say("1:7", "SN-7", 0.31)
	told("probes", "north-1-7")
	told("check", "north-1-7 answers at north/1/7, and room.yaml does not name it")
	code, out, errs = r.rillgate("assign", "north/1/7", "east", "--label", "by the door")
	require.Zero(t, code, errs)
	const line = `- {id: north-1-7, address: "7", zone: east, label: "by the door"}`
	require.Contains(t, out, line)
	told("check", line)
	told("check --json", `"register"`)
	told("why room", "is given to east by an order, and room.yaml does not name it")

	room := strings.Replace(testRoom, "lead: 3 m, tail: 5 m}\n", "lead: 3 m, tail: 5 m}\n          "+line+"\n", 1)
	r.write("room.yaml", room)
	code, out, errs = r.rillgate("check")
	require.Zero(t, code, errs)
	require.NotContains(t, out, "files and register differ")
	code, _, errs = r.rillgate("apply")
	require.Zero(t, code, errs)
	code, out, errs = r.rillgate("label", "e2", "the far one")
	require.Zero(t, code, errs)
	require.Contains(t, out, `e2 is labelled "the far one"`)

	r.storeTellsOfProbes(t)
}

// storeTellsOfProbes ends the daemon and asks again.
func (r *rig) storeTellsOfProbes(t *testing.T) {
	t.Helper()
	code, _ := r.stop(syscall.SIGTERM)
	require.Zero(t, code, r.said.String())
	code, out, _ := r.rillgate("probes", "SN-1")
	require.Zero(t, code, out)
	require.Contains(t, out, "exchanged: SN-2 at north/1/0 for SN-1 at north/1/0, by ")
	require.Contains(t, out, ", rod broken")
	code, out, _ = r.rillgate("probes", "north/1/7")
	require.Zero(t, code, out)
	require.Contains(t, out, "first heard: north/1/7, 31.0 %, serial number SN-7")
	require.Contains(t, out, "room.yaml: named at north/1/7")
	code, out, _ = r.rillgate("check")
	require.Zero(t, code)
	require.Contains(t, out, "room.yaml gives e2 no label; the register has \"the far one\"", "its store says so too")
	code, _, errs := r.rillgate("probes", "nobody")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "no probe \"nobody\" was ever known here")
}

// A probe is dipped into a cup over a real broker: the program names it, and ends.
func TestFindingAProbe(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.start()
	say := hand(t, r)
	cmd, said := exec.Command(program, "probes", "--find", "--once", "--config", r.config, "--state", r.state), &syncBuffer{}
	cmd.Stdout = said
	require.NoError(t, cmd.Start())
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	t.Cleanup(func() { _ = cmd.Process.Kill() })
	until := func(words string, e1 float64) {
		t.Helper()
		n := 0.0
		require.Eventually(t, func() bool {
			n++
			say("1:0", "SN-1", e1+0.001*n)
			say("1:1", "SN-2", 0.45+0.0001*n)
			return strings.Contains(said.String(), words)
		}, 60*time.Second, 2500*time.Millisecond, "%s", said)
	}
	until("2 probes speak: put one into the cup", 0.45)
	until("e1 (north/1/0, SN-1, zone east) rose from", 0.88)
	until("this is the one in your hand", 0.03)
	require.NoError(t, <-ended)
	require.Contains(t, said.String(), "`rillgate acknowledge e1`")
}
