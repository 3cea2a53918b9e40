package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"rillgate/daemon/operator"
	"rillgate/store"
	"rillgate/zones"
	"rillgate/zones/walk"
)

// walking is a walk under way. All but its channels is the loop's.
type walking struct {
	walk     *walk.Walk
	by, note string
	closings bool
	asked    string // id of the order that waits for its answer
	answer   *zones.Answer
	news     chan operator.WalkNews // what is not read is lost: the result is kept
	done     chan struct{}
	rows     int // that were kept last
}

// newsWaiting bounds what a slow reader of a walk may lie behind.
const newsWaiting = 256

// Walk walks the room until it is through, ctx ends, or the room is stopped. What was
// found is kept, published and journalled, also when it ended early.
func (d *Daemon) Walk(ctx context.Context, ask operator.WalkAsk, by, note string, tell func(operator.WalkNews) error) (*walk.Result, error) {
	var w *walking
	var refused error
	err := d.post(ctx, func() { w, refused = d.beginWalk(ask, by, note) })
	if err == nil {
		err = refused
	}
	if err != nil {
		return nil, err
	}
	for {
		select {
		case n := <-w.news:
			if err := tell(n); err != nil {
				d.leaveWalk(w, "nobody reads it any more")
				return nil, err
			}
		case <-ctx.Done():
			d.leaveWalk(w, "it was broken off at its terminal")
			return nil, ctx.Err()
		case <-d.ended:
			return nil, errEnding
		case <-w.done:
			return d.lastWords(w, tell)
		}
	}
}

// lastWords tells what is left to tell, and gives the result.
func (d *Daemon) lastWords(w *walking, tell func(operator.WalkNews) error) (*walk.Result, error) {
	for {
		select {
		case n := <-w.news:
			if err := tell(n); err != nil {
				return nil, err
			}
		default:
			return w.walk.Result(), nil // done: nobody changes it any more
		}
	}
}

// leaveWalk ends a walk whose reader has gone.
func (d *Daemon) leaveWalk(w *walking, why string) {
	_ = d.post(context.Background(), func() { // an error says that the loop ends, and the walk with it
		w.walk.Stop(why)
		d.lookAtWalk()
	})
}

func (d *Daemon) beginWalk(ask operator.WalkAsk, by, note string) (*walking, error) {
	if d.walking != nil {
		return nil, &operator.Refusal{Text: "a walk is on already, begun by " + d.walking.by, Hint: "wait for its end, or break it off at its terminal"}
	}
	if d.stopping {
		return nil, errEnding
	}
	v := d.room.View(d.now)
	if v.Stopped {
		return nil, &operator.Refusal{Text: "the room is stopped: no valve of it opens", Hint: "`rillgate why stopped` says by whom; `rillgate reset room` ends it"}
	}
	inner, err := walk.New(d.choice.plan, &v, walk.Ask{Zones: ask.Zones, For: time.Duration(ask.For), Closings: ask.Closings})
	if err != nil {
		return nil, &operator.Refusal{Text: err.Error(), Hint: "`rillgate zones` lists the zones"}
	}
	w := &walking{walk: inner, by: by, note: note, closings: ask.Closings, news: make(chan operator.WalkNews, newsWaiting), done: make(chan struct{})}
	d.walking = w
	n := len(inner.Result().Valves)
	about := fmt.Sprintf("%s, about %d min if all is clear", walk.Valves(n), walk.Minutes(n))
	if ask.Closings {
		about = walk.Valves(n) + ", one lease each"
	}
	w.news <- operator.WalkNews{At: v.Wall, Said: []string{about + "; windows and shots wait until it ends, Ctrl-C ends it"}}
	d.entry(d.now.Wall, &zones.Entry{Kind: "walk-begun", Because: "a walk of " + walk.Valves(n) + " begins", Source: "socket", By: by, Note: note})
	d.lookAtWalk() // which may end it
	return w, nil
}

// lookAtWalk gives a walk that is on its look and the room its orders.
func (d *Daemon) lookAtWalk() {
	w := d.walking
	if w == nil {
		return
	}
	v := d.room.View(d.now)
	w.walk.Look(&v)
	for o := w.walk.Order(); o != nil && d.breach == nil; o = w.walk.Order() {
		o.ID, o.Source, o.By = d.orderID("w"), "socket", w.by
		w.asked, w.answer = o.ID, nil
		d.step(o)
		if w.answer == nil {
			return // the room breaks: it is closed, and the process ends
		}
		w.walk.Answer(w.answer)
	}
	if said := w.walk.News(); len(said) > 0 {
		select {
		case w.news <- operator.WalkNews{At: v.Wall, Said: said}:
		default:
		}
	}
	d.keepWalk(w)
	if w.walk.Done() {
		d.walking = nil
		close(w.done)
	}
}

// keepWalk has a walk's result written when a valve is through, so that a crash leaves
// what was found, and at its end.
func (d *Daemon) keepWalk(w *walking) {
	r := w.walk.Result()
	rows := 0
	for i := range r.Valves {
		if r.Valves[i].Verdict != walk.NotWalked {
			rows++
		}
	}
	over := w.walk.Done()
	if rows == w.rows && !over {
		return
	}
	w.rows = rows
	if !over {
		r.Partial, r.Why = true, "it was not ended: the gateway stopped meanwhile"
	}
	body, err := json.Marshal(r)
	if err != nil {
		d.o.Log.Error("keep the walk", "error", err)
		return
	}
	p := store.Paper{Kind: operator.PaperWalk, Key: r.Begun.UTC().Format(time.RFC3339), At: d.now.Wall, By: w.by, Body: body}
	if w.closings {
		p.Kind = operator.PaperClosings
	}
	d.keepPaper(p)
	if over {
		d.walked(w, r)
	}
}

// walked tells of a walk that is over.
func (d *Daemon) walked(w *walking, r *walk.Result) {
	d.entry(d.now.Wall, &zones.Entry{Kind: "walk-ended", Because: r.Sentence(), Source: "socket", By: w.by, Note: w.note})
	if !w.closings {
		d.books().Add(walk.Kept{By: w.by, Result: r})
		d.changed = true
	}
}

// books gives the book of walks, which a daemon without a store begins anew.
func (d *Daemon) books() *walk.Book {
	if d.book == nil {
		d.book = walk.NewBook()
	}
	return d.book
}

// keepAccept keeps a person's word that a zone is wired as the files say.
func (d *Daemon) keepAccept(o *zones.Order) {
	v := d.room.View(d.now)
	i := slices.IndexFunc(v.Zones, func(z zones.ZoneView) bool { return z.ID == o.Zone })
	if i < 0 {
		return // the room accepts none of a zone that it does not have
	}
	a := walk.Accepted{Zone: o.Zone, Wiring: v.Zones[i].Wiring, At: v.Wall, By: o.By, Note: o.Note}
	body, err := json.Marshal(a)
	if err != nil {
		d.o.Log.Error("keep who accepted the wiring", "error", err)
		return
	}
	d.keepPaper(store.Paper{Kind: operator.PaperAccept, Key: a.At.UTC().Format(time.RFC3339) + "/" + a.Zone, At: d.now.Wall, By: o.By, Body: body})
	d.books().Accept(a)
	d.changed = true
}

// walkTopic is what is published of the walks of a room: without their matrix; "" = none is
// kept.
func (d *Daemon) walkTopic(v *zones.View) string {
	if d.book == nil || d.book.Empty() {
		return ""
	}
	b, err := json.Marshal(d.book.Brief(v))
	if err != nil {
		return ""
	}
	return string(b)
}

// rememberWalk brings back what walks have left.
func (d *Daemon) rememberWalk() {
	if d.files.store == nil {
		return
	}
	read := func(kind string) []operator.Paper {
		out, err := PapersIn(d.files.store, kind) // in order of time, by their keys
		if err != nil {
			d.o.Log.Warn("read the last walks", "error", err)
		}
		return out
	}
	d.book = operator.BookOf(read(operator.PaperWalk), read(operator.PaperAccept))
}

// endWalk keeps what a walk has found when the daemon ends.
func (d *Daemon) endWalk() {
	if d.walking != nil {
		d.walking.walk.Stop("the gateway was told to end")
		d.lookAtWalk()
	}
}
