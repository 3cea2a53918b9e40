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
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		panic("read CLOCK_BOOTTIME: " + err.Error()) // in Linux since 2.6.39: without it nothing is safe
	}
	return time.Now().Round(0), time.Duration(ts.Nano())
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
