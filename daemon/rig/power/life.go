package power

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"rillgate/configs"
	"rillgate/daemon"
	"rillgate/daemon/simfield"
	"rillgate/zones"
	"rillgate/zones/simroom"
)

// life is one start of the daemon with its controllers, in a time of their own.
type life struct {
	daemon *daemon.Daemon
	clock  *daemon.VirtualClock
	sim    *simfield.Field
	now    time.Duration // since this start
}

// lifeOptions say where a life begins.
type lifeOptions struct {
	config, state, broker string
	at                    time.Duration // since the room began
	remembered            fact          // the last grant that the controllers obeyed
	seed                  uint64
	noTrace               bool
	log                   *slog.Logger
	watch                 func(now zones.Instant, effects []zones.Effect)
}

// errNoMarks says that the embedded broker did not bring the marks back that virtual
// time waits for. It says nothing about the card: the start is tried again on the same
// image.
var errNoMarks = errors.New("the embedded broker does not answer")

// connectsIn bounds, in real time, the wait for the broker.
const connectsIn = 10 * time.Second

// begin starts controllers and daemon, and waits until they hear each other.
func begin(ctx context.Context, o lifeOptions) (*life, error) {
	loaded, problems := configs.Load(o.config)
	if loaded == nil {
		return nil, fmt.Errorf("read the room's configuration: %s", problems[0])
	}
	wall := began.Add(o.at)
	room, err := simroom.New(loaded.Plan, simroom.Options{Seed: o.seed, Start: wall, ReadingPeriod: 10 * time.Second, CrystalPPM: -1,
		Zones: map[string]simroom.ZoneOptions{"a": {StartPercent: 40}, "b": {StartPercent: 40}}})
	if err != nil {
		return nil, err
	}
	if o.remembered.Epoch > 0 { // they keep their power, and with it what they obeyed
		room.Command(&zones.Command{Output: outputs[o.remembered.Zone], Epoch: o.remembered.Epoch, Seq: o.remembered.Seq})
	}
	l := &life{clock: daemon.NewVirtualClock(wall)}
	if l.sim, err = simfield.New(loaded.Plan, room, simfield.Options{Broker: o.broker, ClientID: fmt.Sprintf("sim-%d", o.seed)}); err != nil {
		return nil, err
	}
	l.daemon, err = daemon.Open(daemon.Options{Config: o.config, State: o.state, Room: roomID, Version: "rig", Clock: l.clock,
		Past: began.AddDate(-1, 0, 0), NoPage: true, NoTrace: o.noTrace, Log: o.log,
		Watch: func(now zones.Instant, _ zones.Event, effects []zones.Effect) { o.watch(now, effects) }})
	if err != nil {
		return nil, err
	}
	connecting, cancel := context.WithTimeout(ctx, connectsIn)
	defer cancel()
	if err := errors.Join(l.sim.Start(connecting), l.daemon.Await(connecting)); err != nil {
		l.sim.Close()
		return nil, errors.Join(errNoMarks, err, l.daemon.Close(nil))
	}
	return l, nil
}

// step does all that happens at the present instant, and gives the next one.
func (l *life) step(ctx context.Context) (next time.Duration, err error) {
	l.clock.Set(l.now)
	if err := l.deliver(ctx); err != nil {
		return 0, err
	}
	commanded, err := l.daemon.Advance()
	if err == nil && commanded {
		err = l.obey(ctx)
	}
	sim := (l.sim.Next() + time.Second - 1).Truncate(time.Second)
	return max(l.now+time.Millisecond, min(sim, l.daemon.NextAfter())), err
}

// deliver brings what the room says to the daemon, and what that commands back.
func (l *life) deliver(ctx context.Context) error {
	sent, err := l.sim.Step(ctx, l.now)
	if err != nil || sent == 0 {
		return err
	}
	if err := errors.Join(l.sim.Barrier(ctx), l.daemon.Barrier(ctx)); err != nil {
		return err
	}
	if l.daemon.Settle() {
		return l.obey(ctx)
	}
	return nil
}

// obey brings commands to the room, and its reports back.
func (l *life) obey(ctx context.Context) error {
	if err := errors.Join(l.daemon.Barrier(ctx), l.sim.Barrier(ctx)); err != nil {
		return err
	}
	if !l.sim.Waiting() {
		return nil
	}
	return l.deliver(ctx)
}

// endWithin bounds, in the room's time, the wait for the reports that confirm the end.
const endWithin = 10 * time.Second

// end closes every valve, lets the room confirm it, and lets go.
func (l *life) end(ctx context.Context) error {
	l.daemon.Shut()
	var last error
	for until := l.now + endWithin; !l.daemon.Quiet() && l.now < until; l.now += time.Second {
		if last = l.obey(ctx); last != nil {
			break
		}
		if _, last = l.step(ctx); last != nil {
			break
		}
	}
	err := l.daemon.Close(nil)
	l.sim.Close()
	return errors.Join(last, err)
}
