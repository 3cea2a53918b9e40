package daemon

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

// answerWithin bounds the wait for the room's answer to an order.
const answerWithin = 10 * time.Second

// View gives the room as it is now.
func (d *Daemon) View(ctx context.Context) (*zones.View, error) {
	var v zones.View
	err := d.post(ctx, func() { v = d.view() })
	return &v, err
}

// Notices are the sentences at the top of the page.
func (d *Daemon) Notices(context.Context) []string { return d.shown.Load().notices }

// orderID gives the next order an id of its own, that begins with where it came from.
func (d *Daemon) orderID(from string) string {
	d.orders++
	return from + strconv.FormatUint(uint64(d.epoch), 10) + "-" + strconv.FormatUint(d.orders, 10)
}

// Order hands one order to the room and waits for its answer.
func (d *Daemon) Order(ctx context.Context, o zones.Order) (zones.Answer, error) {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	ch := make(chan zones.Answer, 1)
	err := d.post(ctx, func() {
		o.ID = d.orderID("s")
		d.asked[o.ID] = ch
		d.obey(&o)
	})
	if err != nil {
		return zones.Answer{}, err
	}
	select {
	case a := <-ch:
		if a.Accepted {
			d.durable(ctx)
			a = d.forgetful(a)
		}
		if a.Accepted && journalled(a.Kind) && !d.kept(ctx, true) {
			a.Because += "; the store cannot be written now: a crash forgets it"
		}
		if a.Accepted && ofProbe(a.Kind) && !d.kept(ctx, false) {
			a.Because += "; the store cannot be written now: a crash forgets who said so, and why"
		}
		return a, nil
	case <-ctx.Done():
		_ = d.post(context.Background(), func() { delete(d.asked, o.ID) })
		return zones.Answer{}, fmt.Errorf("wait for the answer to %q: %w", o.Kind, ctx.Err())
	}
}

// durable waits until what has happened so far is on the disk: nobody is told of a hold
// or a stop that a power cut undoes. It gives up with ctx; a disk that takes so long
// closes the room by itself (store-failed).
func (d *Daemon) durable(ctx context.Context) {
	var written <-chan struct{}
	if d.post(ctx, func() { written = d.recorder.written() }) != nil {
		return
	}
	select {
	case <-written:
	case <-d.ended:
	case <-ctx.Done():
	}
}

// forgetful says so where what was accepted could not be written down. The room says it
// itself of what comes behind the failure; that may have come with the order's own record.
// What is a line in the journal alone needs no ledger.
func (d *Daemon) forgetful(a zones.Answer) zones.Answer {
	if d.recorder.lost() && !journalled(a.Kind) && !strings.Contains(a.Because, zones.Forgotten) {
		a.Because += "; " + zones.Forgotten
	}
	return a
}

// journalled reports whether an order is its line in the journal, and nothing else.
func journalled(k zones.OrderKind) bool { return k == zones.OrderNote || k == zones.OrderAcknowledge }

// kept waits until the register on the disk has what this one has, and the journal its lines
// where they are waited for: nobody is told of a note, or of an exchange, that a power cut
// takes away. It reports whether it is so.
func (d *Daemon) kept(ctx context.Context, lines bool) bool {
	upTo := uint64(0)
	if lines {
		upTo = d.trail.last()
	}
	for {
		var saved <-chan struct{}
		ok := true
		err := d.post(ctx, func() { saved, ok = d.keeper.saved(d, d.trail.waits(upTo)) })
		if err != nil || !ok || saved == nil {
			return err == nil && ok
		}
		select {
		case <-saved:
		case <-d.ended:
			return false
		case <-ctx.Done():
			return false
		}
	}
}

// tooLate is how long an order that brings water may wait for the loop: later nobody
// expects it any more.
const tooLate = answerWithin

// submit takes an order from a set-topic; it never blocks.
func (d *Daemon) submit(o zones.Order) bool {
	_, asked := d.clock.Now()
	job := func() {
		if _, now := d.clock.Now(); now-asked > tooLate && brings(o.Kind) {
			d.answered(&zones.Answer{Order: o.ID, Kind: o.Kind, Subject: o.Zone, Reason: zones.NoReason,
				Because: fmt.Sprintf("the gateway was held up for %s: nobody expects water so late", (now - asked).Round(time.Second))})
			return
		}
		d.obey(&o)
	}
	select {
	case d.posts <- job:
		return true
	default:
		return false
	}
}

// brings reports whether an order opens a valve.
func brings(k zones.OrderKind) bool {
	return k == zones.OrderShot || k == zones.OrderSoak || k == zones.OrderWalk || k == zones.OrderWalkCut
}

// oneLine keeps what people write to one line of what can be printed: a journal with lines
// that nobody wrote proves nothing.
func oneLine(s string) string {
	return strings.Map(func(c rune) rune {
		if unicode.IsControl(c) || c == '\u2028' || c == '\u2029' {
			return ' '
		}
		return c
	}, s)
}

// obey gives an order to the room, after what the shell itself does about it.
func (d *Daemon) obey(o *zones.Order) {
	o.Note, o.By = oneLine(o.Note), oneLine(o.By)
	switch o.Kind {
	case zones.OrderClockTrust:
		d.look() // a step that nobody has noticed yet came before this word
		d.trust.byPerson()
	case zones.OrderAcknowledge:
		d.silenced.by = o.By
		if d.acknowledge(o) {
			return
		}
	}
	if ofProbe(o.Kind) {
		v := d.view()
		d.named(o, &v)
		if o.Kind == zones.OrderExchange {
			d.exchange(o, &v)
			return
		}
	}
	d.step(o)
	if ofProbe(o.Kind) && d.accepted(o) {
		d.fitRegister(o.By)
	}
	if o.Kind == zones.OrderWalkAccept && d.accepted(o) {
		d.keepAccept(o)
	}
}

// acknowledge silences alarms of the shell; true means that the order was about
// nothing else, and is answered.
func (d *Daemon) acknowledge(o *zones.Order) bool {
	subject := o.Subject
	if subject == "" {
		subject = o.Zone
	}
	if !d.troubles.acknowledge(subject) {
		return false
	}
	d.over(zones.AlarmStoreDamaged, storeSubject) // it tells of the past: read, it is over
	d.changed = true
	if subject == "" || subject == d.o.Room {
		return false
	}
	because := "acknowledge: " + subject + " is silenced"
	d.entry(d.now.Wall, &zones.Entry{Kind: "order", Because: because, Order: o.ID, Source: o.Source, By: o.By, Note: o.Note})
	d.answered(&zones.Answer{Order: o.ID, Kind: o.Kind, Subject: subject, Accepted: true, Reason: zones.NoReason, Because: because})
	return true
}

// answered hands an answer to whoever waits for it.
func (d *Daemon) answered(a *zones.Answer) {
	if d.aside != "" && a.Accepted {
		more := *a
		more.Because += "; " + d.aside
		a = &more
	}
	d.latest = *a
	if w := d.walking; w != nil && w.asked == a.Order {
		w.answer = a
	}
	if ch := d.asked[a.Order]; ch != nil {
		delete(d.asked, a.Order)
		ch <- *a
	}
	if d.publisher != nil {
		d.tellOnceWritten(a)
	}
}

// tellOnceWritten answers over MQTT: what was accepted once it is on the disk, for nobody is told of a
// hold or a stop that a power cut undoes.
func (d *Daemon) tellOnceWritten(a *zones.Answer) {
	p := d.publisher
	if !a.Accepted {
		p.Answer(a)
		return
	}
	written := d.recorder.written()
	tell := func() {
		told := d.forgetful(*a)
		p.Answer(&told)
	}
	select {
	case <-written:
		tell()
		return
	default:
	}
	go func() {
		select {
		case <-written:
		case <-d.ended:
		}
		tell()
	}()
}

// entry numbers a line of the journal and hands it on.
func (d *Daemon) entry(at time.Time, e *zones.Entry) {
	line := d.trail.add(at, e)
	d.recent.entry(at, e)
	if d.teacher != nil {
		d.teacher.entry(d.room.Age(d.now), e)
	}
	d.keeper.noticed(e)
	if d.publisher != nil {
		d.publisher.Journal(line.Seq, at, e)
	}
}

// Follow gives the newest lines of the journal and what comes after.
func (d *Daemon) Follow(ctx context.Context, from uint64, n int) ([]operator.Line, <-chan operator.Line, func(), error) {
	lines, more := d.trail.follow(from, n)
	return lines, more, func() { d.trail.unfollow(more) }, nil
}
