package main

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
	"rillgate/store"
	"rillgate/zones"
	"rillgate/zones/simroom"
)

// program is the built binary, one for all tests.
var program string

func TestMain(m *testing.M) {
	store.ProbeMain() // tests that open a store in this process start it as their child
	bareMain()
	dir, err := os.MkdirTemp("", "rillgate-test-")
	if err != nil {
		panic(err)
	}
	program = filepath.Join(dir, "rillgate")
	build := exec.Command("go", "build", raceFlag, "-o", program, ".")
	if out, err := build.CombinedOutput(); err != nil {
		panic(fmt.Sprintf("build rillgate: %v\n%s", err, out))
	}
	flag.Parse()
	if err := flag.Set("test.parallel", "8"); err != nil { // they wait far more than they work
		panic(err)
	}
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}

const testRoom = `room: {id: bay-2, name: Bay 2, time_zone: UTC, units: metric}
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

const testSchedule = `day: {lights_on: "06:00", lights_off: "18:00"}
routines:
  all: [{window: first, from: "00:00", until: "12:00", below: 45 %, shot: 20 s, rest: 10 s},
        {window: second, from: "12:00", until: "00:00", below: 45 %, shot: 20 s, rest: 10 s}]
zones: {east: {routine: all}}
`

const testGateway = `mqtt: {broker: "BROKER"}
lease: 10 s
`

// bootHold is how long nothing opens after a start: 5 s and the lease of 10 s.
const bootHold = 15 * time.Second

// rig is one room on a real broker: directories, and the daemon when it runs.
type rig struct {
	t      *testing.T
	config string
	state  string
	broker *realbroker.Broker
	eyes   *eyes
	daemon *exec.Cmd
	said   *syncBuffer
	ended  chan error
}

func newRig(t *testing.T) *rig {
	t.Helper()
	dir := t.TempDir()
	r := &rig{t: t, config: filepath.Join(dir, "config"), state: filepath.Join(dir, "state"),
		broker: realbroker.Start(t, realbroker.Options{Extra: "set_tcp_nodelay true\n"})}
	require.NoError(t, os.Mkdir(r.config, 0o750))
	r.write("room.yaml", testRoom)
	r.write("schedule.yaml", testSchedule)
	r.write("gateway.yaml", strings.ReplaceAll(testGateway, "BROKER", r.broker.URL()))
	r.eyes = watch(t, r.broker.URL())
	return r
}

func (r *rig) write(name, text string) {
	r.t.Helper()
	require.NoError(r.t, os.WriteFile(filepath.Join(r.config, name), []byte(text), 0o640))
}

// start runs the daemon and waits until it answers at its socket.
func (r *rig) start() {
	r.t.Helper()
	r.said = &syncBuffer{}
	r.daemon = exec.Command(program, "run", "--config", r.config, "--state", r.state)
	r.daemon.Stdout, r.daemon.Stderr = r.said, r.said
	require.NoError(r.t, r.daemon.Start())
	ended := make(chan error, 1)
	cmd := r.daemon
	go func() { ended <- cmd.Wait() }()
	r.ended = ended
	r.t.Cleanup(func() { _ = cmd.Process.Kill() })
	require.Eventually(r.t, func() bool {
		code, _, errs := r.rillgate("zones")
		return code == 0 && errs == "" // else it is the store that answers
	}, 20*time.Second, 20*time.Millisecond, "the daemon does not answer: %s", r.said)
}

// stop sends a signal and gives the exit code and how long the end took.
func (r *rig) stop(s syscall.Signal) (code int, took time.Duration) {
	r.t.Helper()
	began := time.Now()
	require.NoError(r.t, r.daemon.Process.Signal(s))
	select {
	case <-r.ended:
	case <-time.After(20 * time.Second):
		require.FailNow(r.t, "the daemon does not end", r.said.String())
	}
	return r.daemon.ProcessState.ExitCode(), time.Since(began)
}

// rillgate runs another command on the same room.
func (r *rig) rillgate(args ...string) (code int, out, errs string) {
	r.t.Helper()
	return runProgram(r.t, append(args, "--config", r.config, "--state", r.state)...)
}

func runProgram(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	cmd := exec.Command(program, args...)
	cmd.Stdout, cmd.Stderr = &o, &e
	err := cmd.Run()
	var exit *exec.ExitError
	if err != nil {
		require.ErrorAs(t, err, &exit)
	}
	return cmd.ProcessState.ExitCode(), o.String(), e.String()
}

func (r *rig) view() (v []zones.ZoneView) {
	r.t.Helper()
	code, out, errs := r.rillgate("zones", "--json")
	require.Zero(r.t, code, errs)
	require.NoError(r.t, json.Unmarshal([]byte(out), &v))
	return v
}

func (r *rig) journal() (lines []operator.Line) {
	r.t.Helper()
	code, out, errs := r.rillgate("journal", "--json", "-n", "1000")
	require.Zero(r.t, code, errs)
	dec := json.NewDecoder(strings.NewReader(out))
	for dec.More() {
		var l operator.Line
		require.NoError(r.t, dec.Decode(&l))
		lines = append(lines, l)
	}
	return lines
}

// room puts a simulated room with dry beds on the field topics, in real time.
func (r *rig) room() *simfield.Field {
	r.t.Helper()
	loaded, problems := configs.Load(r.config)
	require.NotNil(r.t, loaded, "%v", problems)
	sim, err := simroom.New(loaded.Plan, simroom.Options{Start: time.Now(), ReadingPeriod: 2 * time.Second, Jitter: 100 * time.Millisecond,
		Zones: map[string]simroom.ZoneOptions{"east": {StartPercent: 30}}})
	require.NoError(r.t, err)
	f, err := simfield.New(loaded.Plan, sim, simfield.Options{Broker: r.broker.URL()})
	require.NoError(r.t, err)
	done := make(chan error, 1)
	go func() { done <- f.Run(r.t.Context()) }()
	r.t.Cleanup(func() { require.NoError(r.t, <-done) })
	return f
}

// driven reports whether the simulated room's first output has power.
func driven(f *simfield.Field) (open bool) {
	f.Look(func(r *simroom.Room) {
		all := r.Driven(zones.Output{Controller: "north", Number: 1})
		open = len(all) > 0 && all[len(all)-1].To == simroom.Never
	})
	return open
}

// eyes sees all that goes over the broker.
type eyes struct {
	mu   sync.Mutex
	seen []sight
}

type sight struct {
	at      time.Time
	topic   string
	payload string
}

func watch(t *testing.T, url string) *eyes {
	t.Helper()
	e := &eyes{}
	o := mqtt.NewClientOptions().AddBroker(strings.Replace(url, "mqtt://", "tcp://", 1)).SetClientID("eyes").SetProtocolVersion(4)
	o.SetDefaultPublishHandler(func(_ mqtt.Client, m mqtt.Message) {
		e.mu.Lock()
		defer e.mu.Unlock()
		e.seen = append(e.seen, sight{time.Now(), m.Topic(), string(m.Payload())})
	})
	c := mqtt.NewClient(o)
	for _, begin := range []func() mqtt.Token{c.Connect, func() mqtt.Token { return c.Subscribe("#", 1, nil) }} {
		token := begin()
		require.True(t, token.WaitTimeout(10*time.Second))
		require.NoError(t, token.Error())
	}
	t.Cleanup(func() { c.Disconnect(50) })
	return e
}

// on gives what was seen on a topic so far.
func (e *eyes) on(topic string) (all []sight) {
	e.mu.Lock()
	defer e.mu.Unlock()
	for _, s := range e.seen {
		if s.topic == topic {
			all = append(all, s)
		}
	}
	return all
}

// command is one on the field topic of the only valve.
type command struct {
	At         time.Time `json:"-"`
	Epoch, Seq uint32
	Run        string
	Open       bool
	Boot       string
	UntilMS    int64 `json:"until_ms"`
}

func (e *eyes) commands(t *testing.T) (all []command) {
	t.Helper()
	for _, s := range e.on("rillgate/bay-2/field/north/valve/1/command") {
		var c command
		require.NoError(t, json.Unmarshal([]byte(s.payload), &c))
		c.At = s.at
		all = append(all, c)
	}
	return all
}

// syncBuffer is a buffer for a process's words.
type syncBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *syncBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *syncBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}
