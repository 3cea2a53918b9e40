package main

import (
	"fmt"
	"io"
	"sync"
	"time"
)

// logLines is how many lines of the log wait for who reads it.
const logLines = 1024

// logPipe hands lines on without waiting: whoever reads the log may stall (a terminal that
// is held, a full pipe), and no valve waits for that. What finds no place is counted, and
// the count is told when there is one again.
type logPipe struct {
	lines chan []byte

	mu      sync.Mutex
	missed  int
	written sync.WaitGroup // lines that wait
}

func newLogPipe(w io.Writer) *logPipe {
	p := &logPipe{lines: make(chan []byte, logLines)}
	go func() {
		for line := range p.lines {
			_, _ = w.Write(line) // a log that nobody reads any more is no trouble of the room
			if n := p.gap(); n > 0 {
				_, _ = fmt.Fprintf(w, "%d lines of the log were left out: nobody read it\n", n)
			}
			p.written.Done()
		}
	}()
	return p
}

// gap gives the lines that were left out, once.
func (p *logPipe) gap() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	n := p.missed
	p.missed = 0
	return n
}

// Write takes one line; it never waits and never fails.
func (p *logPipe) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.written.Add(1)
	select {
	case p.lines <- append([]byte(nil), b...):
	default:
		p.written.Done()
		p.missed++
	}
	return len(b), nil
}

// flush waits until what came so far is written, as long as that may take.
func (p *logPipe) flush(most time.Duration) {
	done := make(chan struct{})
	go func() {
		p.written.Wait()
		close(done)
	}()
	select {
	case <-done:
	case <-time.After(most):
	}
}
