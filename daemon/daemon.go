// Package daemon is the shell around the core: it turns the world into events and
// effects into the world.
//
//	field    -- readings, reports, status, inputs ---.
//	clock    -- ticks, steps, trust ------------------|
//	operator -- orders, apply, looks -----------------|--> loop --> zones.Room.Step
//	recorder -- what became durable ------------------'             |
//	                                                                v effects, in order
//	field    <- Command, at once            recorder <- Record (ledger, one writer)
//	trail    <- Entry: journal              publish, page, operator <- State, Alarm, Answer
//
// One goroutine, the loop, owns the Room and never blocks: the ledger, the store,
// MQTT, the page and the control socket each have their own. Run drives the loop in
// real time; Advance and Settle drive it in virtual time, for the demo.
package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync/atomic"
	"time"

	"rillgate/configs"
	"rillgate/daemon/field"
	"rillgate/daemon/operator"
	"rillgate/daemon/publish"
	"rillgate/store"
	"rillgate/zones"
	"rillgate/zones/walk"
)

// ErrOtherRuns says that another process holds the room's state directory.
var ErrOtherRuns = errors.New("another rillgate runs this room")

// ErrRestart says that the daemon wants to be opened anew, with what was restored.
var ErrRestart = errors.New("the daemon starts anew")

var errEnding = errors.New("the daemon is stopping")

// ErrBreach says that an invariant did not hold: everything was closed.
var ErrBreach = errors.New("an invariant does not hold")

// Options say which room runs, and where.
type Options struct {
	Config  string // directory of the three files
	State   string // state directory; made when missing
	Room    string // id, as room.yaml has it
	Version string
	Clock   Clock        // nil = the machine's
	Log     *slog.Logger // nil = silence
	Page    string       // address of the page in the place of gateway.yaml's; "" = gateway.yaml's
	Past    time.Time    // the clock is not trusted before it; zero = the time of the build
	NoPage  bool
	NoTrace bool // keep no trace of what comes in
	OneLife bool // nobody opens it anew: no backup is restored
	// Watch sees every step after it was carried out, on the loop's goroutine.
	Watch func(now zones.Instant, ev zones.Event, effects []zones.Effect)
}

func (o Options) filled() Options {
	if o.Clock == nil {
		o.Clock = MachineClock{}
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Watch == nil {
		o.Watch = func(zones.Instant, zones.Event, []zones.Effect) {}
	}
	return o
}

// Daemon runs one room.
type Daemon struct {
	loop
	o      Options
	lock   *os.File
	notify notifier
	files  stores
	trail  *trail
	keeper *keeper
	card   *handCard
	recent *recent
	tracer *tracer

	teacher *teacher
	papers  []store.Paper // to be kept with the next commit
	posts   chan func()
	ended   chan struct{} // closed when nobody runs posts any more

	choice    choice
	session   uint64 // of the link, when the publisher last began anew
	refusals  refusals
	register  register
	link      *field.Link // nil without a usable gateway.yaml
	publisher *publish.Publisher
	page      *pageServer
	socket    *operator.Server

	asked    map[string]chan zones.Answer
	latest   zones.Answer // the room's last
	aside    string       // what the register adds to an answer that is under way
	orders   uint64
	epoch    uint32
	unclean  bool       // the process before did not end as it should
	walking  *walking   // nil = none is on
	book     *walk.Book // what walks have left; nil = nothing is kept
	troubles troubles
	silenced silenced
	differ   string // how the files on disk differ from the plan in force; "" = not
	shown    atomic.Pointer[shown]

	fed       time.Duration // Mono of the last sign of life
	published time.Duration
	changedAt time.Duration // Mono of the first change that no look has shown; 0 = none

	publishEvery time.Duration // the longest time between two looks of topics and page
	gatherFor    time.Duration // from a change to the look
	minute       time.Duration // Mono of the last history sample
	restart      bool          // end Run with ErrRestart
	stopping     bool          // everything is being closed: no plan is put in force any more
	letting      chan struct{} // of the last change of broker: closed when the link before let go
	dial         func(field.Config) (*field.Link, error)
}

// shown is what page, topics and socket see: made by the loop, never changed.
type shown struct {
	view      zones.View
	plan      *zones.Plan
	planError string
	notices   []string
	loaded    *configs.Loaded
}

// post hands f to the loop and waits until it ran there. An error says that it
// never will: the caller gave up, or the loop ended.
func (d *Daemon) post(ctx context.Context, f func()) error {
	done := make(chan struct{})
	var taken atomic.Bool // by the loop, or by the caller who gave up
	job := func() {
		if taken.CompareAndSwap(false, true) {
			defer close(done)
			f()
		}
	}
	select {
	case d.posts <- job:
	case <-d.ended:
		return errEnding
	case <-ctx.Done():
		return fmt.Errorf("ask the loop: %w", ctx.Err())
	}
	select {
	case <-done:
		return nil
	case <-d.ended:
	case <-ctx.Done():
	}
	if !taken.CompareAndSwap(false, true) { // both came: it runs, or ran
		select {
		case <-done:
			return nil
		case <-d.ended:
			return errEnding
		case <-time.After(answerWithin):
			return errors.New("ask the loop: it has begun with it and is held up: look whether it was done")
		}
	}
	if ctx.Err() != nil {
		return fmt.Errorf("ask the loop: %w", ctx.Err())
	}
	return errEnding
}

// runPosts runs what was posted, without waiting for more.
func (d *Daemon) runPosts() (some bool) {
	for {
		select {
		case f := <-d.posts:
			f()
			some = true
		default:
			return some
		}
	}
}

// Shown gives the room as page and topics see it. It may be called from anywhere.
func (d *Daemon) Shown() zones.View { return d.shown.Load().view }
