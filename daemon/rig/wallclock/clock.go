//go:build linux && amd64

package wallclock

import (
	"fmt"
	"os"
	"sync/atomic"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Clock is the time that a traced program sees. Its methods may be called at any time,
// from any goroutine.
type Clock struct {
	path   string
	shared *shared
}

// shared lies in memory of the one who sets it and the tracer.
type shared struct {
	wall    atomic.Int64 // ns, added to the time of day
	up      atomic.Int64 // ns, added to the time since the machine's start
	synced  atomic.Int64 // 1 = the kernel says that the clock is synchronised
	answers atomic.Int64 // times that the tracer gave
}

// NewClock makes a clock that shows the true time, synchronised, and lives in a file
// of a directory.
func NewClock(dir string) (*Clock, error) {
	f, err := os.CreateTemp(dir, "clock-")
	if err != nil {
		return nil, fmt.Errorf("create a clock: %w", err)
	}
	defer f.Close()
	if err := f.Truncate(int64(unsafe.Sizeof(shared{}))); err != nil {
		return nil, fmt.Errorf("create a clock: %w", err)
	}
	c := &Clock{path: f.Name()}
	if c.shared, err = mapShared(c.path); err != nil {
		return nil, err
	}
	c.Synchronise(true)
	return c, nil
}

func mapShared(path string) (*shared, error) {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return nil, fmt.Errorf("open a clock: %w", err)
	}
	defer f.Close()
	memory, err := unix.Mmap(int(f.Fd()), 0, int(unsafe.Sizeof(shared{})), unix.PROT_READ|unix.PROT_WRITE, unix.MAP_SHARED)
	if err != nil {
		return nil, fmt.Errorf("map a clock: %w", err)
	}
	return (*shared)(unsafe.Pointer(&memory[0])), nil
}

// Set lets the time of day be t now, and go on from there.
func (c *Clock) Set(t time.Time) { c.shared.wall.Store(int64(time.Until(t))) }

// Step moves the time of day.
func (c *Clock) Step(by time.Duration) { c.shared.wall.Add(int64(by)) }

// Now gives the time of day that the program sees.
func (c *Clock) Now() time.Time { return time.Now().Add(time.Duration(c.shared.wall.Load())) }

// Age lets the machine have run for so much longer. It goes before the program's start:
// that time never jumps.
func (c *Clock) Age(by time.Duration) { c.shared.up.Store(int64(by)) }

// Synchronise says what the kernel answers to whoever asks about its time source.
func (c *Clock) Synchronise(yes bool) {
	c.shared.synced.Store(0)
	if yes {
		c.shared.synced.Store(1)
	}
}

// Answers gives how often the program was told the time: 0 = it was never asked for,
// and nothing was shifted.
func (c *Clock) Answers() int64 { return c.shared.answers.Load() }
