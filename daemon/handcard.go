package daemon

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"rillgate/daemon/handover"
	"rillgate/daemon/report"
)

// HandCardName is the hand card's name in the state directory.
const HandCardName = "hand-card.html"

// When the hand card is written.
const (
	cardFirst = time.Minute      // after a start
	cardNight = 10 * time.Minute // after midnight: what the night began is known
)

// handCard renews the hand card once a night, and when another plan is in force. It works
// on a goroutine of its own; nothing waits for it but the end. Its methods are the loop's.
type handCard struct {
	first   time.Duration // Mono before which nothing is written
	key     string        // date and plan of the last one begun
	busy    bool
	results chan error
}

// newHandCard begins to keep it; mono is now.
func newHandCard(mono time.Duration) *handCard {
	return &handCard{first: mono + cardFirst, results: make(chan error, 1)}
}

// look is called once a second.
func (c *handCard) look(d *Daemon) {
	if c == nil {
		return
	}
	if c.busy {
		select {
		case err := <-c.results:
			c.busy = false
			c.told(d, err)
		default:
		}
		return
	}
	if d.now.Mono < c.first || !d.now.Trusted || len(d.choice.plan.Zones) == 0 {
		return
	}
	plan := d.choice.plan
	night := d.now.Wall.Add(-cardNight).In(plan.Calendar.Location)
	if key := night.Format(time.DateOnly) + " " + plan.Hash; key != c.key {
		c.key, c.busy = key, true
		r := reporting{store: d.files.store, plan: plan, now: d.now.Wall, lines: d.trail.recent(0, trailKept)}
		go func() { c.results <- writeHandCard(filepath.Join(d.o.State, HandCardName), &r) }()
	}
}

// told says a failure once a night; the card before stays as it is.
func (c *handCard) told(d *Daemon, err error) {
	if err != nil {
		d.o.Log.Warn("renew the hand card", "error", err)
	}
}

// close waits for what is being written, for a while: the store is let go of next.
func (c *handCard) close(d *Daemon) {
	if c == nil || !c.busy {
		return
	}
	select {
	case err := <-c.results:
		c.told(d, err)
	case <-time.After(flushWithin):
	}
}

// writeHandCard makes the card and puts it in the place of the one before. Where the past
// cannot be read the schedule has to do, and the card is written all the same.
func writeHandCard(path string, r *reporting) error {
	days, unread := r.shots(handover.Ask(r.now, r.plan.Calendar.Location))
	var text bytes.Buffer
	if err := handover.CardHTML(&text, r.plan, days, r.now); err != nil {
		return err
	}
	if err := replaceFile(path, text.Bytes()); err != nil {
		return err
	}
	if unread != nil {
		return fmt.Errorf("read the last days, so it is from the schedule: %w", unread)
	}
	return nil
}

// shots reports days by the journal alone: runs and alarms, without moisture. Without a
// store there are none.
func (r *reporting) shots(ask report.Ask) (*report.Report, error) {
	if r.store == nil {
		return nil, errNoStore
	}
	edges, err := ask.Edges(r.now, r.plan.Calendar.Location)
	if err != nil {
		return nil, err
	}
	in := &report.Input{Plan: r.plan, Now: r.now}
	if err := r.journal(in, edges[0].Add(-report.LinesBefore)); err != nil {
		return nil, err
	}
	return report.Build(in, edges), nil
}

// replaceFile writes a file aside and renames it: whoever reads sees the old one or the new one.
func replaceFile(path string, text []byte) error {
	aside := path + ".new"
	f, err := os.OpenFile(aside, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o644)
	if err != nil {
		return fmt.Errorf("write the hand card: %w", err)
	}
	_, err = f.Write(text)
	if err == nil {
		err = f.Sync() // or a power cut leaves an empty file under the right name
	}
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err == nil {
		err = os.Rename(aside, path)
	}
	if err != nil {
		return fmt.Errorf("write the hand card: %w", err)
	}
	return nil
}
