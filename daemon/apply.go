package daemon

import (
	"context"
	"errors"
	"fmt"
	"io"
	"reflect"

	"rillgate/configs"
	"rillgate/daemon/operator"
	"rillgate/zones"
)

// Apply puts the files on disk in force, or an earlier plan. A configuration with
// errors changes nothing but the alarm that tells of it.
func (d *Daemon) Apply(ctx context.Context, hash, by, note string) (*operator.Applied, error) {
	loaded, problems, err := d.find(hash)
	if err != nil {
		return nil, err
	}
	if loaded != nil && loaded.Plan.Room != d.o.Room {
		loaded, problems = nil, d.otherRoom(loaded)
	}
	var saved error
	if loaded != nil {
		saved = d.savePlan(loaded, by, note) // before it is in force: a crash between loses nothing
	}
	var done *operator.Applied
	ending := false
	err = d.post(ctx, func() {
		if ending = d.stopping; ending {
			return
		}
		done = d.apply(loaded, problems, by, note)
		if saved != nil {
			d.o.Log.Error("keep the plan", "error", saved)
			done.Changes = append(done.Changes, "the plan cannot be kept, a restart may fall back to an earlier one: "+saved.Error())
		}
	})
	if ending {
		err = errEnding
	}
	return done, err
}

// otherRoom is the problem of files that belong to another room.
func (d *Daemon) otherRoom(l *configs.Loaded) []configs.Problem {
	return []configs.Problem{{File: configs.RoomFile, Line: 1, Column: 1, Code: configs.CodeConflict,
		Message: fmt.Sprintf("the room's id is %q, this daemon runs %q", l.Plan.Room, d.o.Room),
		Hint:    "stop the daemon and start one for the other room"}}
}

// find reads the files on disk, or an earlier plan by its hash.
func (d *Daemon) find(hash string) (*configs.Loaded, []configs.Problem, error) {
	if hash == "" {
		loaded, problems := configs.Load(d.o.Config)
		return loaded, problems, nil
	}
	files, err := d.planFiles(hash)
	if err != nil {
		return nil, nil, err
	}
	loaded, problems := configs.Parse(files)
	return loaded, problems, nil
}

// reload is the apply of a signal. It reads and saves off the loop.
func (d *Daemon) reload(ctx context.Context) {
	d.notify.say("RELOADING=1")
	go func() {
		_, err := d.Apply(ctx, "", "SIGHUP", "")
		if err != nil {
			d.o.Log.Error("apply", "error", err)
		}
		if ctx.Err() == nil && !errors.Is(err, errEnding) {
			d.notify.say("READY=1")
		}
	}()
}

// apply runs on the loop.
func (d *Daemon) apply(loaded *configs.Loaded, problems []configs.Problem, by, note string) *operator.Applied {
	d.look()
	if loaded == nil {
		return d.reject(problems, by, note)
	}
	before := d.choice
	d.choice = choice{loaded: loaded, plan: loaded.Plan, problems: problems}
	d.told("")
	d.differ = ""
	changes := configs.Changes(before.loaded, loaded)
	d.entry(d.now.Wall, &zones.Entry{Kind: "plan-applied", Because: "plan " + loaded.Hash + " is in force", By: by, Note: note})
	d.trust.needSynced = loaded.Gateway.Clock == configs.ClockSynchronised
	d.step(&zones.NewPlan{Plan: loaded.Plan})
	d.teacher.fit(loaded.Plan)
	d.fitRegister(by)
	changes = append(changes, d.refit(before.loaded, loaded)...)
	d.show()
	return &operator.Applied{Plan: loaded.Hash, Changes: changes}
}

func (d *Daemon) reject(problems []configs.Problem, by, note string) *operator.Applied {
	inForce := ""
	if d.choice.loaded != nil {
		inForce = d.choice.loaded.Hash
	}
	because := "the files on disk were rejected: " + firstError(problems)
	d.choice.rejected = because
	d.told(because)
	d.entry(d.now.Wall, &zones.Entry{Kind: "plan-rejected", Reason: zones.AlarmPlanRejected, Because: because, By: by, Note: note})
	d.show()
	out := &operator.Applied{Plan: inForce}
	for i := range problems {
		if !problems[i].Warning {
			out.Problems = append(out.Problems, problems[i].String())
		}
	}
	return out
}

// refit opens anew what gateway.yaml changed: the link to the broker, the page.
func (d *Daemon) refit(before, now *configs.Loaded) (notes []string) {
	if before == nil || !sameBroker(&before.Gateway, &now.Gateway) {
		d.changeBroker()
		notes = append(notes, "the connection to the broker is made anew")
	}
	if d.o.Page == "" && (before == nil || before.Gateway.Page != now.Gateway.Page) {
		notes = append(notes, d.movePage()...)
	}
	return notes
}

// sameBroker reports whether link and publisher may stay as they are.
func sameBroker(a, b *configs.Gateway) bool {
	return a.Broker == b.Broker && a.Username == b.Username && a.PasswordFile == b.PasswordFile &&
		a.TLS == b.TLS && reflect.DeepEqual(a.Homie, b.Homie)
}

// changeBroker ends the link and makes the next once the old one, and those before
// it, have let go: all bear the same name at the broker. The room hears that the link
// is gone while it still stands, so that what this closes leaves over it. Of several
// changes at once the last alone connects.
func (d *Daemon) changeBroker() {
	d.step(&zones.BrokerLink{})
	if d.publisher != nil {
		d.publisher.Stop()
	}
	old, before, gone := d.field, d.letting, make(chan struct{})
	d.field, d.link, d.publisher = noField{}, nil, nil
	d.letting = gone
	go func() { // its last words may take a moment, and the loop never waits
		if before != nil {
			<-before
		}
		ctx, cancel := context.WithTimeout(context.Background(), closeWithin)
		defer cancel()
		old.Close(ctx)
		close(gone)
		_ = d.post(context.Background(), func() {
			if d.letting == gone {
				d.mustConnect()
			}
		})
	}()
}

// mustConnect connects, and says so where it cannot.
func (d *Daemon) mustConnect() {
	if err := d.connect(); err != nil {
		d.o.Log.Error("connect to the broker", "error", err)
		d.choice.rejected = "the broker cannot be used: " + err.Error()
		d.told(d.choice.rejected)
	}
}

func (d *Daemon) movePage() []string {
	if d.page != nil {
		old := d.page
		d.page = nil
		go func() { _ = old.close() }()
	}
	if err := d.servePage(); err != nil {
		return []string{"the page: " + err.Error()}
	}
	return nil
}

// Trace writes what came in during the last day.
func (d *Daemon) Trace(ctx context.Context, w io.Writer) error {
	if d.tracer == nil {
		return errors.New("read the trace: none is kept")
	}
	written := make(chan struct{})
	handed := false
	err := d.post(ctx, func() { handed = d.tracer.hand(d.now, traceJob{flush: true, ready: written}) })
	if err != nil {
		return err
	}
	if handed {
		select {
		case <-written:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return d.tracer.copyTo(ctx, w)
}
