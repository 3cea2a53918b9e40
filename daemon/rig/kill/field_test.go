package kill

import (
	"bufio"
	"context"
	"encoding/gob"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"rillgate/configs"
	"rillgate/daemon/simfield"
	"rillgate/zones"
	"rillgate/zones/simroom"
)

// fieldTask is what the controller process is told in its environment.
type fieldTask struct{ Config, Broker string }

const fieldVariable = "RILLGATE_KILL_FIELD"

// dryLevel is what every probe reads: under the level of the windows, and so close to
// their stop_at that no shot is asked for a response.
const dryLevel = 44.5

// fieldMain is the whole of the controller process: the room's controllers with their
// own clocks, which outlive the daemon and broker. It ends with its standard input.
func fieldMain() {
	text := os.Getenv(fieldVariable)
	if text == "" {
		return
	}
	if err := runField(text); err != nil {
		fmt.Fprintln(os.Stderr, "controller process:", err)
		os.Exit(1)
	}
	os.Exit(0)
}

func runField(text string) error {
	var task fieldTask
	if err := json.Unmarshal([]byte(text), &task); err != nil {
		return err
	}
	loaded, problems := configs.Load(task.Config)
	if loaded == nil {
		return fmt.Errorf("load %s: %v", task.Config, problems)
	}
	sim, err := simroom.New(loaded.Plan, roomOptions(loaded.Plan))
	if err != nil {
		return err
	}
	out := bufio.NewWriter(os.Stdout)
	w := &writer{out: out, enc: gob.NewEncoder(out), plan: loaded.Plan, base: time.Now(), told: map[zones.Output]int{}, open: map[zones.Output]bool{}}
	f, err := simfield.New(loaded.Plan, sim, simfield.Options{Broker: task.Broker, Witness: w})
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(context.Background())
	go func() {
		_, _ = io.Copy(io.Discard, os.Stdin) // to its end
		cancel()
	}()
	w.listen(task.Broker, loaded.Plan.Room)
	return f.Run(ctx)
}

func roomOptions(p *zones.Plan) simroom.Options {
	o := simroom.Options{Start: time.Now(), ReadingPeriod: time.Second, ReportPeriod: time.Second, Jitter: 100 * time.Millisecond, ProbeNoise: -1}
	for i := range p.Probes {
		o.Faults = append(o.Faults, simroom.Fault{Kind: simroom.ProbeStuck, Subject: p.Probes[i].ID, Value: dryLevel, For: 365 * 24 * time.Hour})
	}
	return o
}

// writer puts what the room does on the tape.
type writer struct {
	mu   sync.Mutex
	out  *bufio.Writer
	enc  *gob.Encoder
	plan *zones.Plan
	told map[zones.Output]int // intervals told
	open map[zones.Output]bool
	base time.Time // an instant, and what the machine's clock gives for it
	wall time.Time
}

func (w *writer) put(at time.Time, l line) {
	w.mu.Lock()
	defer w.mu.Unlock()
	l.At = w.clock(at)
	if err := errorOf(w.enc.Encode(&l), w.out.Flush()); err != nil {
		os.Exit(1) // nobody reads any more
	}
}

// clock turns a time of this process into the machine's, which the daemon's records
// have. What happened at one instant stays at one; a clock that is slewed or stepped is
// followed in steps of a millisecond and more.
func (w *writer) clock(at time.Time) time.Time {
	now := time.Now()
	if off := now.Round(0).Add(-now.Sub(w.base)); absolute(off.Sub(w.wall)) > time.Millisecond {
		w.wall = off
	}
	return w.wall.Add(at.Sub(w.base))
}

func absolute(d time.Duration) time.Duration { return max(d, -d) }

func errorOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// Said implements simfield.Witness.
func (w *writer) Said(at time.Time, _ string, ev zones.Event) {
	switch e := ev.(type) {
	case *zones.Report:
		w.put(at, line{Event: "report", Report: e})
	case *zones.Reading:
		w.put(at, line{Event: "reading", Reading: e})
	}
}

// Obeyed implements simfield.Witness. What a controller ignores went over the wire too.
func (w *writer) Obeyed(at time.Time, cmd *zones.Command, _ simroom.Verdict) {
	w.put(at, line{Event: "command", Command: cmd})
}

// Stood implements simfield.Witness: it tells the contacts that moved.
func (w *writer) Stood(began time.Time, r *simroom.Room) {
	for i := range w.plan.Valves {
		at := w.plan.Valves[i].Output
		all := r.Driven(at)
		if w.open[at] && all[w.told[at]-1].To != simroom.Never {
			w.open[at] = false
			w.put(began.Add(all[w.told[at]-1].To), line{Event: "contact", Output: at})
		}
		for ; w.told[at] < len(all); w.told[at]++ {
			in := all[w.told[at]]
			w.put(began.Add(in.From), line{Event: "contact", Output: at, Open: true})
			w.open[at] = in.To == simroom.Never
			if !w.open[at] {
				w.put(began.Add(in.To), line{Event: "contact", Output: at})
			}
		}
	}
}

// listen puts the room's list of alarms on the tape.
func (w *writer) listen(broker, room string) {
	topic := "rillgate/" + room + "/alarms"
	o := mqtt.NewClientOptions().AddBroker(strings.Replace(broker, "mqtt://", "tcp://", 1)).SetClientID("ear").SetProtocolVersion(4).
		SetConnectRetry(true).SetConnectRetryInterval(200 * time.Millisecond).SetMaxReconnectInterval(time.Second).
		SetOnConnectHandler(func(c mqtt.Client) {
			c.Subscribe(topic, 1, func(_ mqtt.Client, m mqtt.Message) {
				if !m.Retained() {
					w.put(time.Now(), line{Event: "alarms", Alarms: string(m.Payload())})
				}
			})
		})
	mqtt.NewClient(o).Connect()
}

// startField runs the controller process until the test ends.
func startField(t testing.TB, config, broker string) *tape {
	t.Helper()
	task, err := json.Marshal(fieldTask{config, broker})
	require.NoError(t, err)
	cmd := exec.Command(os.Args[0])
	if os.Geteuid() == 0 { // its clock is its own: a machine that is out of breath must not stop it
		cmd = exec.Command("nice", "-n", "-10", os.Args[0])
	}
	cmd.Env = append(os.Environ(), fieldVariable+"="+string(task), "GOGC=50")
	cmd.Stderr = os.Stderr
	stdin, err := cmd.StdinPipe()
	require.NoError(t, err)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = stdin.Close()
		_ = cmd.Process.Kill()
		_ = cmd.Wait() // it was killed
	})
	return newTape(out)
}
