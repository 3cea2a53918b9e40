//go:build linux && amd64

package wallclock

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"rillgate/configs"
	"rillgate/daemon/broker/realbroker"
	"rillgate/daemon/operator"
	"rillgate/daemon/simfield"
	"rillgate/zones"
	"rillgate/zones/simroom"
)

// program is the built binary.
var program string

func TestMain(m *testing.M) {
	Main()
	dir, err := os.MkdirTemp("", "rillgate-clock-")
	if err != nil {
		panic(err)
	}
	program = filepath.Join(dir, "rillgate")
	if faulty := os.Getenv(faultyVariable); faulty != "" {
		program = faulty
	} else if out, err := exec.Command("go", "build", "-o", program, "rillgate/cmd/rillgate").CombinedOutput(); err != nil {
		panic(fmt.Sprintf("build rillgate: %v\n%s", err, out))
	}
	flag.Parse()
	if err := flag.Set("test.parallel", "16"); err != nil { // they wait far more than they work
		panic(err)
	}
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}

// roomText is a room with one bed. Its time zone is that of the times in the cases.
const roomText = `room: {id: bay, name: Bay, time_zone: UTC, units: metric}
controllers:
  - id: north
    terminals:
      - number: 1
        layout: chain
        home_run: 18 m
        cable: 22 AWG
        probes:
          - {id: e1, address: "0", zone: east, lead: 0 m, tail: 5 m}
          - {id: e2, address: "1", zone: east, lead: 3 m, tail: 5 m}
valves:
  - {id: east, controller: north, output: 1}
defaults:
  substrate: {kind: coir, volume_per_plant: 6.5 L, height: 20 cm}
  emitters: {per_plant: 2, flow: 2 L/h}
  moisture: {combine: median, quorum: 2, stale_after: 10 s, plausible: 2 % to 95 %}
  limits: {max_run: 6 min, min_rest: 10 s, max_per_day: 60 min, max_moisture: 70 %}
zones:
  - {id: east, name: East bench, plants: 48, valves: [east]}
`

// bootHold is how long nothing opens after a start: 5 s and the lease.
const (
	lease    = 10 * time.Second
	bootHold = 5*time.Second + lease
)

var valve = zones.Output{Controller: "north", Number: 1}

// rig is one room around a daemon that lives in another time.
type rig struct {
	t      *testing.T
	config string
	state  string
	clock  *Clock
	broker *realbroker.Broker
	field  *simfield.Field
	began  time.Time // of the field
	uptime time.Duration
	daemon *exec.Cmd
	ended  chan error
	said   *words

	mu       sync.Mutex
	commands []command
}

// command is what went to the valve.
type command struct {
	At         time.Time `json:"-"`
	Epoch, Seq uint32
	Run        string
	Open       bool
	Boot       string
	UntilMS    int64 `json:"until_ms"`
}

// newRig prepares a room with one window, at a time of day and after so long an uptime
// of the box and its controller.
func newRig(t *testing.T, window string, wall time.Time, uptime time.Duration) *rig {
	t.Helper()
	t.Parallel()
	dir := t.TempDir()
	clock, err := NewClock(dir)
	require.NoError(t, err)
	clock.Set(wall)
	clock.Age(uptime)
	r := &rig{t: t, config: filepath.Join(dir, "config"), state: filepath.Join(dir, "state"), clock: clock, said: &words{},
		uptime: max(uptime, time.Hour), broker: realbroker.Start(t, realbroker.Options{})}
	require.NoError(t, os.Mkdir(r.config, 0o750))
	for name, text := range map[string]string{configs.RoomFile: roomText,
		configs.ScheduleFile: "day: {lights_on: \"06:00\", lights_off: \"18:00\"}\nroutines:\n  all: [" + window + "]\nzones: {east: {routine: all}}\n",
		configs.GatewayFile:  "mqtt: {broker: \"" + r.broker.URL() + "\"}\nlease: 10 s\nclock: {trust: synchronised}\n"} {
		require.NoError(t, os.WriteFile(filepath.Join(r.config, name), []byte(text), 0o640))
	}
	r.listen()
	r.room()
	return r
}

// listen takes down every command.
func (r *rig) listen() {
	r.t.Helper()
	o := mqtt.NewClientOptions().AddBroker(strings.Replace(r.broker.URL(), "mqtt://", "tcp://", 1)).SetClientID("eyes").SetProtocolVersion(4).
		SetConnectRetry(true).SetConnectRetryInterval(100 * time.Millisecond)
	o.SetDefaultPublishHandler(func(_ mqtt.Client, m mqtt.Message) {
		c := command{At: time.Now()}
		if json.Unmarshal(m.Payload(), &c) == nil {
			r.mu.Lock()
			r.commands = append(r.commands, c)
			r.mu.Unlock()
		}
	})
	client := mqtt.NewClient(o)
	for _, begin := range []func() mqtt.Token{client.Connect, func() mqtt.Token { return client.Subscribe("rillgate/bay/field/north/valve/1/command", 1, nil) }} {
		token := begin()
		require.True(r.t, token.WaitTimeout(10*time.Second))
		require.NoError(r.t, token.Error())
	}
	r.t.Cleanup(func() { client.Disconnect(50) })
}

// room puts a simulated room with a dry bed on the field topics.
func (r *rig) room() {
	r.t.Helper()
	loaded, problems := configs.Load(r.config)
	require.NotNil(r.t, loaded, "%v", problems)
	sim, err := simroom.New(loaded.Plan, simroom.Options{Start: time.Now(), ReadingPeriod: 2 * time.Second, Jitter: 100 * time.Millisecond, CrystalPPM: -1,
		Uptime: r.uptime, Zones: map[string]simroom.ZoneOptions{"east": {StartPercent: 30}}})
	require.NoError(r.t, err)
	r.field, err = simfield.New(loaded.Plan, sim, simfield.Options{Broker: r.broker.URL()})
	require.NoError(r.t, err)
	done := make(chan error, 1)
	r.began = time.Now()
	go func() { done <- r.field.Run(r.t.Context()) }()
	r.t.Cleanup(func() { require.NoError(r.t, <-done) })
}

// start runs the daemon in its time and waits until it answers.
func (r *rig) start() {
	r.t.Helper()
	r.daemon = r.clock.Command(program, "run", "--config", r.config, "--state", r.state)
	r.daemon.Stdout, r.daemon.Stderr = r.said, r.said
	require.NoError(r.t, r.daemon.Start())
	cmd, ended := r.daemon, make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	r.ended = ended
	r.t.Cleanup(func() { _ = cmd.Process.Kill() })
	require.Eventually(r.t, func() bool {
		code, _, errs := r.rillgate("zones")
		return code == 0 && errs == ""
	}, 30*time.Second, 50*time.Millisecond, "the daemon does not answer: %s", r.said)
	require.Positive(r.t, r.clock.Answers(), "the daemon asked nobody for the time")
}

// stop ends the daemon as a person would, and holds what it did against what must be.
func (r *rig) stop() {
	r.t.Helper()
	require.NoError(r.t, r.daemon.Process.Signal(syscall.SIGTERM))
	select {
	case err := <-r.ended:
		require.NoError(r.t, err, "%s", r.said)
	case <-time.After(20 * time.Second):
		require.FailNow(r.t, "the daemon does not end", r.said.String())
	}
	r.sound()
}

// sound checks what holds in any time: numbers rise, and no grant ends before it begins
// or more than a lease ahead of the controller's own uptime (INV-1, INV-12).
func (r *rig) sound() {
	r.t.Helper()
	const slack = 2 * time.Second // from the report that the deadline was reckoned by to our clock
	var last command
	for _, c := range r.sent() {
		require.True(r.t, c.Epoch > last.Epoch || c.Epoch == last.Epoch && c.Seq > last.Seq, "%+v after %+v", c, last)
		last = c
		if !c.Open {
			continue
		}
		until := time.Duration(c.UntilMS) * time.Millisecond
		uptime := r.uptime + c.At.Sub(r.began)
		require.Greater(r.t, until, uptime-slack, "%+v", c)
		require.LessOrEqual(r.t, until, uptime+lease+slack, "%+v", c)
	}
}

func (r *rig) sent() []command {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]command(nil), r.commands...)
}

// rillgate runs another command on the same room, in the true time.
func (r *rig) rillgate(args ...string) (code int, out, errs string) {
	r.t.Helper()
	var o, e bytes.Buffer
	cmd := exec.Command(program, append(args, "--config", r.config, "--state", r.state)...)
	cmd.Stdout, cmd.Stderr = &o, &e
	_ = cmd.Run() // its exit code says it
	return cmd.ProcessState.ExitCode(), o.String(), e.String()
}

func (r *rig) must(args ...string) string {
	r.t.Helper()
	code, out, errs := r.rillgate(args...)
	require.Zero(r.t, code, "%v: %s", args, errs)
	return out
}

// reason gives why the zone is or is not watered.
func (r *rig) reason() zones.Reason {
	r.t.Helper()
	var all []zones.ZoneView
	require.NoError(r.t, json.Unmarshal([]byte(r.must("zones", "--json")), &all))
	return all[0].Reason
}

func (r *rig) awaitReason(want zones.Reason, within time.Duration) {
	r.t.Helper()
	var is zones.Reason
	deadline := time.Now().Add(within)
	tick := time.NewTicker(200 * time.Millisecond)
	defer tick.Stop()
	for is = r.reason(); is != want && time.Now().Before(deadline); is = r.reason() {
		<-tick.C
	}
	require.Equal(r.t, want, is, "%s", r.said)
}

// trust is a person's word that the clock is right; it holds at once.
func (r *rig) trust() {
	r.t.Helper()
	r.must("clock", "trust")
	require.NotEqual(r.t, zones.ClockUnsure, r.reason())
}

// journal gives the lines of one kind.
func (r *rig) journal(kind string) (lines []operator.Line) {
	r.t.Helper()
	dec := json.NewDecoder(strings.NewReader(r.must("journal", "--json", "-n", "1000")))
	for dec.More() {
		var l operator.Line
		require.NoError(r.t, dec.Decode(&l))
		if l.Kind == kind {
			lines = append(lines, l)
		}
	}
	return lines
}

// opened gives the times for which the output was held open, by the true clock.
func (r *rig) opened() (all []simroom.Interval) {
	r.field.Look(func(room *simroom.Room) { all = append(all, room.Driven(valve)...) })
	return all
}

// awaitRuns waits until the output was opened and closed so many times, and gives how
// long each took.
func (r *rig) awaitRuns(n int, within time.Duration) (took []time.Duration) {
	r.t.Helper()
	require.Eventually(r.t, func() bool {
		all := r.opened()
		return len(all) >= n && all[n-1].To != simroom.Never
	}, within, 50*time.Millisecond, "run %d: %s", n, r.said)
	for _, i := range r.opened()[:n] {
		took = append(took, i.To-i.From)
	}
	return took
}

// awaitOpen waits until the output is held open for the n-th time.
func (r *rig) awaitOpen(n int, within time.Duration) {
	r.t.Helper()
	require.Eventually(r.t, func() bool { return len(r.opened()) >= n }, within, 20*time.Millisecond, "opening %d: %s", n, r.said)
}

// staysClosed looks for a while: nothing opens.
func (r *rig) staysClosed(long time.Duration) {
	r.t.Helper()
	before := len(r.opened())
	require.Never(r.t, func() bool { return len(r.opened()) > before }, long, 100*time.Millisecond, "it opened: %s", r.said)
}

// words is a buffer for what a process says.
type words struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (w *words) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.Write(p)
}

func (w *words) String() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.String()
}
