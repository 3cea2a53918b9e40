package daemon

import (
	"time"

	"golang.org/x/sys/unix"
)

// Clock is the time that a daemon lives in. Wall may step; Mono never does, and
// goes on while the machine sleeps. Synchronised says whether somebody keeps Wall
// right (for a machine: the kernel's word on its time source).
type Clock interface {
	Now() (wall time.Time, mono time.Duration)
	Synchronised() bool
}

// MachineClock is the time of this machine.
type MachineClock struct{}

// Now gives the time of day and the time since the machine's start.
func (MachineClock) Now() (time.Time, time.Duration) {
	return together(func() time.Time { return time.Now().Round(0) }, sinceBoot)
}

func sinceBoot() time.Duration {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		panic("read CLOCK_BOOTTIME: " + err.Error()) // in Linux since 2.6.39: without it nothing is safe
	}
	return time.Duration(ts.Nano())
}

const (
	closeTogether = 10 * time.Millisecond
	readings      = 8 // a machine so busy that each takes longer keeps no other promise either
)

// together reads two clocks at one moment. A process can be stopped for seconds between
// two calls: what passed then must not look like a step of the wall clock.
func together(wall func() time.Time, mono func() time.Duration) (w time.Time, m time.Duration) {
	for range readings {
		before := mono()
		w = wall()
		if m = mono(); m-before <= closeTogether {
			break
		}
	}
	return w, m
}

// Synchronised asks the kernel (adjtimex, which changes nothing here).
func (MachineClock) Synchronised() bool {
	var t unix.Timex
	state, err := unix.Adjtimex(&t)
	return err == nil && state != unix.TIME_ERROR && t.Status&unix.STA_UNSYNC == 0
}

// wallOf gives a clock's time of day alone.
func wallOf(c Clock) func() time.Time {
	return func() time.Time {
		wall, _ := c.Now()
		return wall
	}
}
