package kill

import (
	"encoding/gob"
	"io"
	"sync"
	"time"

	"rillgate/zones"
)

// line is one thing that the controller process saw or did. At is of the machine's
// clock, the same as the daemon's records have.
type line struct {
	At      time.Time
	Event   string // report, reading, command, contact, alarms
	Report  *zones.Report
	Reading *zones.Reading
	Command *zones.Command
	Output  zones.Output // contact
	Open    bool         // contact
	Alarms  string       // the retained list, as published
}

// tape collects lines as they come, for readers that wait for some.
type tape struct {
	mu    sync.Mutex
	lines []line
	moved chan struct{}
	ended error
}

func newTape(r io.Reader) *tape {
	p := &tape{moved: make(chan struct{})}
	go p.read(gob.NewDecoder(r))
	return p
}

func (p *tape) read(dec *gob.Decoder) {
	for {
		var l line
		err := dec.Decode(&l)
		p.mu.Lock()
		if err != nil {
			p.ended = err
		} else {
			p.lines = append(p.lines, l)
		}
		close(p.moved)
		p.moved = make(chan struct{})
		p.mu.Unlock()
		if err != nil {
			return
		}
	}
}

// length is how many lines there are; from it a wait may begin.
func (p *tape) length() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.lines)
}

// take gives all lines and forgets them.
func (p *tape) take() []line {
	p.mu.Lock()
	defer p.mu.Unlock()
	got := p.lines
	p.lines = nil
	return got
}

// await gives the first line from a place on that fits, unless one of the channels
// ends the wait. The next wait for what follows begins at next.
func (p *tape) await(from int, fits func(*line) bool, end ...<-chan struct{}) (found *line, next int) {
	for {
		p.mu.Lock()
		for ; from < len(p.lines); from++ {
			if l := &p.lines[from]; fits(l) {
				p.mu.Unlock()
				return l, from + 1
			}
		}
		moved, ended := p.moved, p.ended
		p.mu.Unlock()
		if ended != nil || !either(moved, end) {
			return nil, from
		}
	}
}

// either waits for moved, or for one of up to two ends; it reports whether it moved.
func either(moved <-chan struct{}, ends []<-chan struct{}) bool {
	var first, second <-chan struct{}
	if len(ends) > 0 {
		first = ends[0]
	}
	if len(ends) > 1 {
		second = ends[1]
	}
	select {
	case <-moved:
		return true
	case <-first:
	case <-second:
	}
	return false
}

// after gives what is closed when a time has passed.
func after(d time.Duration) <-chan struct{} {
	c := make(chan struct{})
	time.AfterFunc(d, func() { close(c) })
	return c
}

func opens(l *line) bool  { return l.Command != nil && l.Command.Open }
func closes(l *line) bool { return l.Command != nil && !l.Command.Open && l.Command.Run != "" }
