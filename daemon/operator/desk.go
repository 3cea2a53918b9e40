package operator

import (
	"context"
	"fmt"
	"io"
	"slices"

	"rillgate/daemon/history"
	"rillgate/daemon/report"
	"rillgate/zones"
)

// Room is what the desk asks of the loop.
type Room interface {
	// View gives the room as it is now.
	View(ctx context.Context) (*zones.View, error)
	// Evidence gives what a Why of a valve or a probe rests on beyond the view.
	Evidence(ctx context.Context, kind, name string) (*Evidence, error)
	// Notices are sentences about the whole, such as files that differ.
	Notices(ctx context.Context) []string
	// Order hands one order to the room and waits for its answer.
	Order(ctx context.Context, o zones.Order) (zones.Answer, error)
}

// Book is the journal.
type Book interface {
	// Recent gives at most n of the newest lines whose number is at least from.
	Recent(ctx context.Context, from uint64, n int) ([]Line, error)
	// Follow is Recent with a channel of what comes after; it closes when the reader
	// falls behind. Call forget when done.
	Follow(ctx context.Context, from uint64, n int) (lines []Line, more <-chan Line, forget func(), err error)
}

// Files is what the desk asks of the configuration and the stores.
type Files interface {
	// Apply puts the files on disk in force, or the plan of a hash. A plan with errors
	// gives Problems and no error.
	Apply(ctx context.Context, hash, by, note string) (*Applied, error)
	Plans(ctx context.Context) ([]Plan, error)
	// Backup writes a consistent copy of store and ledger.
	Backup(ctx context.Context, w io.Writer) error
	// Restore puts a backup, read whole, in the place of the store.
	Restore(ctx context.Context, backup io.Reader, by, note string) (*Applied, error)
	// Keep puts a paper into the store, in the place of the one of its kind and key, and
	// tells the journal of it.
	Keep(ctx context.Context, p Paper, note string) error
	// Papers gives those of a kind in order of key.
	Papers(ctx context.Context, kind string) ([]Paper, error)
	// Report gives some days in numbers.
	Report(ctx context.Context, ask report.Ask) (*report.Report, error)
	// History writes a table or a picture of the past.
	History(ctx context.Context, ask history.Ask, w io.Writer) error
	// Trace writes what came in, for replay.
	Trace(ctx context.Context, w io.Writer) error
}

// Desk answers requests. Walks may be nil: then none can be begun.
type Desk struct {
	Room  Room
	Book  Book
	Files Files
	Walks Walker
}

// maxLines bounds a reply's lines.
const maxLines = 1000

// answer handles one request; reply is called once or more, the last time with Done.
func (d *Desk) answer(ctx context.Context, req *Request, body io.Reader, by string, reply func(Reply) error) error {
	switch req.Kind {
	case AskView:
		v, err := d.Room.View(ctx)
		return one(reply, Reply{View: v}, err)
	case AskWhy:
		return d.why(ctx, req, reply)
	case AskJournal:
		return d.journal(ctx, req, reply)
	case AskOrder:
		return d.order(ctx, req, by, reply)
	case AskApply:
		a, err := d.Files.Apply(ctx, req.Plan, by, req.Note)
		return one(reply, Reply{Applied: a}, err)
	case AskRestore:
		a, err := d.Files.Restore(ctx, body, by, req.Note)
		return one(reply, Reply{Applied: a}, err)
	case AskKeep:
		return d.keep(ctx, req, by, reply)
	case AskPapers:
		p, err := d.Files.Papers(ctx, req.Subject)
		return one(reply, Reply{Papers: p}, err)
	case AskReport:
		return d.report(ctx, req, reply)
	case AskWalk:
		return d.walk(ctx, req, by, reply)
	case AskPlans:
		p, err := d.Files.Plans(ctx)
		return one(reply, Reply{Plans: p}, err)
	case AskBackup:
		return pour(reply, func(w io.Writer) error { return d.Files.Backup(ctx, w) })
	case AskHistory:
		ask := history.Ask{}
		if req.History != nil {
			ask = *req.History
		}
		return pour(reply, func(w io.Writer) error { return d.Files.History(ctx, ask, w) })
	case AskTrace:
		return pour(reply, func(w io.Writer) error { return d.Files.Trace(ctx, w) })
	}
	return &Refusal{Text: "no such request: " + string(req.Kind), Hint: "the program may be older or newer than the daemon"}
}

func one(reply func(Reply) error, r Reply, err error) error {
	if err != nil {
		return err
	}
	r.Done = true
	return reply(r)
}

func (d *Desk) why(ctx context.Context, req *Request, reply func(Reply) error) error {
	v, err := d.Room.View(ctx)
	if err != nil {
		return err
	}
	y, err := Explain(v, req.Subject)
	switch {
	case err != nil:
	case y.Kind == "room":
		y.Warnings = append(y.Warnings, d.Room.Notices(ctx)...)
	case y.Kind == "valve" || y.Kind == "probe" || y.Kind == "output":
		e, err := d.Room.Evidence(ctx, y.Kind, y.Subject)
		if err != nil {
			return err
		}
		if y.Kind == "probe" {
			e.Lived(y, func(kind string) ([]Paper, error) { return d.Files.Papers(ctx, kind) })
		}
		e.Told(y)
	case y.Kind == "zone":
		WrittenOf(y, func(kind string) ([]Paper, error) { return d.Files.Papers(ctx, kind) })
	}
	return one(reply, Reply{Why: y}, err)
}

func (d *Desk) report(ctx context.Context, req *Request, reply func(Reply) error) error {
	ask := report.Ask{}
	if req.Report != nil {
		ask = *req.Report
	}
	r, err := d.Files.Report(ctx, ask)
	return one(reply, Reply{Report: r}, err)
}

func (d *Desk) order(ctx context.Context, req *Request, by string, reply func(Reply) error) error {
	if req.Order == nil {
		return &Refusal{Text: "the request holds no order"}
	}
	o := req.Order
	if !slices.Contains(zones.OrderKinds(), o.Kind) {
		return &Refusal{Text: fmt.Sprintf("%q is no kind of order", o.Kind), Hint: "kinds are named as the commands: hold, release, shot, stop, reset"}
	}
	a, err := d.Room.Order(ctx, zones.Order{
		Kind: o.Kind, Zone: o.Zone, Subject: o.Subject, For: timeOf(o.For), VolumeML: o.VolumeML, With: o.With, Label: o.Label, KeepOffset: o.Keep, Anyway: o.Anyway,
		Source: "socket", By: by, Note: o.Note,
	})
	return one(reply, Reply{Answer: &a}, err)
}

// keep takes a paper from a person. What the daemon writes itself has kinds of its own.
func (d *Desk) keep(ctx context.Context, req *Request, by string, reply func(Reply) error) error {
	p := req.Paper
	if p == nil || !slices.Contains([]string{PaperDrain, PaperCatch}, p.Kind) || p.Key == "" || len(p.Key) > 64 {
		return &Refusal{Text: "the request holds no paper that a person may write"}
	}
	p.By = by
	return one(reply, Reply{Papers: []Paper{*p}}, d.Files.Keep(ctx, *p, req.Note))
}

func (d *Desk) journal(ctx context.Context, req *Request, reply func(Reply) error) error {
	n := req.N
	if n <= 0 || n > maxLines {
		n = maxLines
	}
	if !req.Follow {
		lines, err := d.Book.Recent(ctx, req.From, n)
		return one(reply, Reply{Lines: lines}, err)
	}
	lines, more, forget, err := d.Book.Follow(ctx, req.From, n)
	if err != nil {
		return err
	}
	defer forget()
	if err := reply(Reply{Lines: lines}); err != nil {
		return err
	}
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case l, ok := <-more:
			if !ok {
				return &Refusal{Text: "this reader fell behind the journal", Hint: "ask again with --from"}
			}
			if err := reply(Reply{Lines: []Line{l}}); err != nil {
				return err
			}
		}
	}
}

// piece bounds what one reply carries of a file.
const piece = 32 << 10

// pour sends what fill writes in pieces, and ends with an empty one.
func pour(reply func(Reply) error, fill func(io.Writer) error) error {
	if err := fill(&pieces{reply: reply}); err != nil {
		return err
	}
	return reply(Reply{Done: true})
}

type pieces struct{ reply func(Reply) error }

func (p *pieces) Write(b []byte) (int, error) {
	n := 0
	for n < len(b) {
		end := min(n+piece, len(b))
		if err := p.reply(Reply{Data: b[n:end]}); err != nil {
			return n, err
		}
		n = end
	}
	return n, nil
}
