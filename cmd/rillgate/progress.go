package main

import (
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/sys/unix"
)

// progressEvery is how often a terminal is told how far long work is.
const progressEvery = 200 * time.Millisecond

// progress says on a terminal how far long work is, on one line that it takes away at
// the end. Where standard error is no terminal it says nothing.
type progress struct {
	out   io.Writer // nil = say nothing
	what  string
	total int64 // bytes; 0 = not known

	mu   sync.Mutex // a replay reads ahead, on a goroutine of its own
	done int64
	told time.Time
}

func newProgress(cmd *cobra.Command, what string, total int64) *progress {
	p := &progress{what: what, total: total}
	if f, ok := cmd.ErrOrStderr().(*os.File); ok && isTerminal(f) {
		p.out = f
	}
	return p
}

func isTerminal(f *os.File) bool {
	_, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	return err == nil
}

// Write counts what passes, for io.TeeReader and io.MultiWriter.
func (p *progress) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.done += int64(len(b))
	if p.out != nil && time.Since(p.told) >= progressEvery {
		p.told = time.Now()
		fmt.Fprintf(p.out, "\r\x1b[K%s", p.words())
	}
	return len(b), nil
}

func (p *progress) words() string {
	if p.total > 0 {
		return fmt.Sprintf("%s: %d %%", p.what, min(100, 100*p.done/p.total))
	}
	return fmt.Sprintf("%s: %.1f MB", p.what, float64(p.done)/1e6)
}

// end takes the line away; nothing is said after it.
func (p *progress) end() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.out != nil && !p.told.IsZero() {
		fmt.Fprint(p.out, "\r\x1b[K")
	}
	p.out = nil
}
