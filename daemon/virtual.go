package daemon

import (
	"cmp"
	"context"
	"fmt"
	"sync/atomic"
	"time"

	"rillgate/zones"
)

// VirtualClock is a clock that its owner sets. It is trusted as it stands.
type VirtualClock struct {
	start time.Time
	mono  atomic.Int64
}

// virtualOrigin is the Mono at the start: a machine that has run for an hour.
const virtualOrigin = time.Hour

// NewVirtualClock begins at a time of day.
func NewVirtualClock(start time.Time) *VirtualClock { return &VirtualClock{start: start} }

// Set lets the clock show what it shows so long after its start.
func (c *VirtualClock) Set(since time.Duration) { c.mono.Store(int64(since)) }

// Since gives the time that has passed since the start.
func (c *VirtualClock) Since() time.Duration { return time.Duration(c.mono.Load()) }

// Now gives the time of day and the Mono.
func (c *VirtualClock) Now() (time.Time, time.Duration) {
	since := c.Since()
	return c.start.Add(since), virtualOrigin + since
}

// Synchronised says yes: nobody else sets this clock.
func (c *VirtualClock) Synchronised() bool { return true }

// idleTick is the longest time that virtual time skips at once, so that topics, page
// and history keep their pace.
const idleTick = 10 * time.Second

// In virtual time the caller is the loop's goroutine, and owns the clock:
//
//	Await      until the broker is connected
//	Barrier    all messages under way have arrived, or left
//	Settle     what arrived is handled, and what became durable
//	Advance    the room sees the time
//	NextAfter  when that is due again
//	Idle       real time passes; people and tools are answered

// Await waits, in real time, until commands and readings can flow.
func (d *Daemon) Await(ctx context.Context) error {
	if d.link == nil {
		return fmt.Errorf("connect to the broker: %s", d.choice.rejected)
	}
	d.link.WatchMarks()
	d.publishEvery, d.gatherFor = idleTick, 0
	for {
		d.Settle()
		up, why := d.link.Up()
		readings, wrong := d.link.ReadingsUp()
		if up && readings && d.tryBarrier(ctx) {
			d.Settle()
			return nil
		}
		if err := d.Idle(ctx, 10*time.Millisecond); err != nil {
			return fmt.Errorf("connect to the broker: %w: %s", err, cmp.Or(why, wrong))
		}
	}
}

// tryBarrier does not wait for long: a mark that went out before the broker knew that we
// want it never comes.
func (d *Daemon) tryBarrier(ctx context.Context) bool {
	ctx, cancel := context.WithTimeout(ctx, 100*time.Millisecond)
	defer cancel()
	return d.link.Barrier(ctx) == nil
}

// Barrier returns when the broker has handled all that was sent, and all that it
// routed here is ready for Settle.
func (d *Daemon) Barrier(ctx context.Context) error { return d.link.Barrier(ctx) }

// Settle handles all that has come in and all that follows from it, until nothing
// waits but what is still on its way over the wire. It reports whether commands left.
func (d *Daemon) Settle() (commanded bool) {
	before := d.sent
	for {
		busy := d.pump()
		if d.runPosts() {
			busy = true
		}
		switch {
		case busy:
		case d.recorder.idle():
			return d.sent != before
		default:
			<-d.recorder.ready
		}
	}
}

// Advance lets the room see the time that its clock now shows, and handles what
// follows. It reports whether commands left.
func (d *Daemon) Advance() (commanded bool, err error) {
	before := d.sent
	d.beat()
	d.Settle()
	d.tell()
	return d.sent != before, d.broken()
}

// NextAfter gives how long after the clock's start Advance is due again.
func (d *Daemon) NextAfter() time.Duration {
	return max(d.ticked+tickGap, min(d.ticked+idleTick, d.room.Next())) - virtualOrigin
}

// Shut begins the end: everything is commanded to close. Quiet reports when that is
// confirmed; Close comes then.
func (d *Daemon) Shut() {
	d.endWalk()
	d.step(&zones.Shutdown{})
	d.Settle()
}

// Quiet reports whether every output is known to be closed.
func (d *Daemon) Quiet() bool { return d.quiet() }

// Idle lets real time pass, while orders and looks are answered.
func (d *Daemon) Idle(ctx context.Context, long time.Duration) error {
	timer := time.NewTimer(long)
	defer timer.Stop()
	for {
		select {
		case <-timer.C:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		case f := <-d.posts:
			f()
		}
	}
}
