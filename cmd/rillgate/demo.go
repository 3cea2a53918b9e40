package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"rillgate/configs"
	"rillgate/daemon"
	"rillgate/daemon/broker"
	"rillgate/daemon/simfield"
	"rillgate/zones/simroom"
)

// demoOptions are the flags of demo.
type demoOptions struct {
	speed float64
	end   durationFlag // 0 = until it is interrupted
	page  string
}

// demoStart is when the demonstration's day begins: at lights on.
var demoStart = time.Date(2027, time.March, 1, 6, 0, 0, 0, time.UTC)

// demoSeed makes every demonstration the same.
const demoSeed = 7

func newDemo(_ *flags) *cobra.Command {
	o := demoOptions{}
	cmd := &cobra.Command{
		Use:   "demo [--speed 120] [--for 24h] [--page 127.0.0.1:8480]",
		Short: "Show the main job in a simulated room, with nothing else installed",
		Long: "Show the main job in a simulated room, with nothing else installed: an MQTT broker inside this\n" +
			"process, two benches with eight probes and two valves on one tank, the daemon itself, and its page.\n\n" +
			"The clock runs --speed times faster than time, and waits for its own messages. Interrupted, or after\n" +
			"--for, it ends with a summary.",
		Args: cobra.NoArgs,
		RunE: job(func(cmd *cobra.Command, _ []string) error {
			if !(o.speed > 0) {
				return misuse("--speed %g is not above 0", o.speed)
			}
			return demo(cmd, &o)
		}),
	}
	cmd.Flags().Float64Var(&o.speed, "speed", 120, "how many times faster than time")
	cmd.Flags().Var(&o.end, "for", "end after so much simulated time, such as 24h")
	cmd.Flags().StringVar(&o.page, "page", "127.0.0.1:8480", "`ADDRESS` of the page; \"\" for none")
	return cmd
}

// demo builds the world in a temporary directory and lets it live.
func demo(cmd *cobra.Command, o *demoOptions) error {
	ctx, stop := signal.NotifyContext(cmd.Context(), syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	dir, err := os.MkdirTemp("", "rillgate-demo-")
	if err != nil {
		return fmt.Errorf("create a directory for the demonstration: %w", err)
	}
	defer os.RemoveAll(dir)
	b, err := broker.Start("127.0.0.1:0", broker.Options{})
	if err != nil {
		return err
	}
	defer b.Close()
	w, err := newWorld(cmd, o, dir, b.URL())
	if err != nil {
		return err
	}
	defer w.sim.Close()
	return w.live(ctx)
}

// newWorld puts the simulated room, the daemon and the clock together.
func newWorld(cmd *cobra.Command, o *demoOptions, dir, url string) (*world, error) {
	config := filepath.Join(dir, "config")
	loaded, err := demoConfig(config, url)
	if err != nil {
		return nil, err
	}
	w := &world{o: o, show: newShow(cmd.OutOrStdout()), clock: daemon.NewVirtualClock(demoStart), state: filepath.Join(dir, "state")}
	room, err := simroom.New(loaded.Plan, simroom.Options{Seed: demoSeed, Start: demoStart,
		Faults: simroom.DemoStory(loaded.Plan, demoStart),
		Zones:  map[string]simroom.ZoneOptions{"bench-a": {StartPercent: 51}, "bench-b": {StartPercent: 50}}})
	if err != nil {
		return nil, err
	}
	if w.sim, err = simfield.New(loaded.Plan, room, simfield.Options{Broker: url}); err != nil {
		return nil, err
	}
	w.daemon, err = daemon.Open(daemon.Options{OneLife: true, Config: config, State: w.state, Room: loaded.Plan.Room, Version: version(),
		Clock: w.clock, Past: demoStart, Page: o.page, NoPage: o.page == "", NoTrace: true, Watch: w.show.step})
	if errors.Is(err, syscall.EADDRINUSE) {
		return nil, failed(err, "something else serves that address: name another with --page 127.0.0.1:8481, or none with --page \"\"")
	}
	return w, err
}

// demoConfig writes the example's files, with the broker that was started.
func demoConfig(dir, url string) (*configs.Loaded, error) {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return nil, fmt.Errorf("create the demonstration's configuration: %w", err)
	}
	files := configs.ExampleFiles(configs.ExampleDemo)
	files[configs.GatewayFile] = []byte(strings.ReplaceAll(string(files[configs.GatewayFile]), "mqtt://127.0.0.1:1883", url))
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o640); err != nil {
			return nil, fmt.Errorf("write the demonstration's configuration: %w", err)
		}
	}
	loaded, problems := configs.Load(dir)
	if loaded == nil {
		return nil, fmt.Errorf("read the demonstration's configuration: %s", problems[0])
	}
	return loaded, nil
}

// world is the demonstration: a simulated room, a daemon, and the clock that both
// live by.
type world struct {
	o      *demoOptions
	sim    *simfield.Field
	daemon *daemon.Daemon
	clock  *daemon.VirtualClock
	show   *show
	state  string
	real   time.Time // when the virtual clock began
}

// live lets time pass until the end, then closes everything and sums up.
func (w *world) live(ctx context.Context) error {
	err := w.begin(ctx)
	if err == nil {
		err = w.days(ctx)
	}
	if ctx.Err() != nil {
		err = nil // interrupted: that is an end like any other
	}
	last := w.end(context.WithoutCancel(ctx))
	w.show.summary(w.daemon.Shown())
	return errors.Join(err, w.daemon.Close(nil), last)
}

func (w *world) begin(ctx context.Context) error {
	if err := w.sim.Start(ctx); err != nil {
		return err
	}
	if err := w.daemon.Await(ctx); err != nil {
		return err
	}
	w.show.greet(w.daemon.PageAddress(), w.state, w.o)
	w.real = time.Now()
	return nil
}

// days lets instants follow each other.
func (w *world) days(ctx context.Context) error {
	for now := time.Duration(0); w.o.end == 0 || now <= time.Duration(w.o.end); now = w.next(now) {
		if err := w.pace(ctx, now); err != nil {
			return err
		}
		w.clock.Set(now)
		if err := w.instant(ctx, now); err != nil {
			return err
		}
		w.show.look(now, w.daemon.Shown)
	}
	return nil
}

// next gives the next instant at which something is due. The room's messages leave
// on whole seconds, so that one turn carries all of a second.
func (w *world) next(now time.Duration) time.Duration {
	sim := (w.sim.Next() + time.Second - 1).Truncate(time.Second)
	return max(now+time.Millisecond, min(sim, w.daemon.NextAfter()))
}

// pace waits for real time where the speed asked for is slower than the machine.
func (w *world) pace(ctx context.Context, now time.Duration) error {
	due := w.real.Add(time.Duration(float64(now) / w.o.speed))
	if wait := time.Until(due); wait > 0 {
		return w.daemon.Idle(ctx, wait)
	}
	return ctx.Err()
}

// instant does all that happens at one instant: while messages travel, no time
// passes.
func (w *world) instant(ctx context.Context, now time.Duration) error {
	if err := w.deliver(ctx, now); err != nil {
		return err
	}
	commanded, err := w.daemon.Advance()
	if err == nil && commanded {
		err = w.obey(ctx, now)
	}
	return err
}

// deliver brings what the room says to the daemon, and what that commands back.
func (w *world) deliver(ctx context.Context, now time.Duration) error {
	sent, err := w.sim.Step(ctx, now)
	w.sim.Look(w.show.room)
	if err != nil || sent == 0 {
		return err
	}
	if err := errors.Join(w.sim.Barrier(ctx), w.daemon.Barrier(ctx)); err != nil {
		return err
	}
	if w.daemon.Settle() {
		return w.obey(ctx, now)
	}
	return nil
}

// obey brings commands to the room, and its reports back.
func (w *world) obey(ctx context.Context, now time.Duration) error {
	if err := errors.Join(w.daemon.Barrier(ctx), w.sim.Barrier(ctx)); err != nil {
		return err
	}
	if !w.sim.Waiting() {
		return nil
	}
	return w.deliver(ctx, now)
}

// endWithin bounds, in the room's time, the wait for the last reports.
const endWithin = 10 * time.Second

// end closes every valve, and lets the room confirm it.
func (w *world) end(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	w.daemon.Shut()
	from := w.clock.Since()
	for now := from; !w.daemon.Quiet() && now < from+endWithin; now += time.Second {
		w.clock.Set(now)
		if err := errors.Join(w.obey(ctx, now), w.instant(ctx, now)); err != nil {
			return err
		}
	}
	return nil
}
