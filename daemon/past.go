package daemon

import (
	"context"
	"fmt"
	"io"
	"slices"
	"time"

	"rillgate/daemon/history"
	"rillgate/daemon/operator"
	"rillgate/store"
	"rillgate/zones"
	lives "rillgate/zones/register"
)

// stretch is how much of the past is in memory at once while it is written out.
const stretch = 6 * time.Hour

// past is what history is written from: a store, and what waits to be written into it.
type past struct {
	store *store.Store
	plan  *zones.Plan
	now   time.Time
	lines []operator.Line
	views []zones.View
	meant []lives.Life // by the word that names a probe, the present one first
}

// History writes what is kept of the past, up to now: a table, or a picture. Only a look
// at what waits is the loop's.
func (d *Daemon) History(ctx context.Context, ask history.Ask, w io.Writer) error {
	if d.files.store == nil {
		return errNoStore
	}
	p := past{store: d.files.store}
	err := d.post(ctx, func() {
		p.plan, p.now = d.choice.plan, d.now.Wall
		p.lines, p.views = d.trail.recent(0, trailKept), d.keeper.waiting()
		p.meant = d.register.book.Lives(ask.Probe)
	})
	if err != nil {
		return err
	}
	return p.write(ask, w)
}

// HistoryOf writes what a store keeps of the past of a room with a plan.
func HistoryOf(s *store.Store, plan *zones.Plan, now time.Time, ask history.Ask, w io.Writer) error {
	book, err := RegisterIn(s)
	if err != nil {
		return fmt.Errorf("read the register of probes: %w", err)
	}
	p := past{store: s, plan: plan, now: now, meant: book.Lives(ask.Probe)}
	return p.write(ask, w)
}

func (p *past) write(ask history.Ask, w io.Writer) error {
	from, to, err := ask.Span(p.now, p.plan.Location())
	if err != nil {
		return &operator.Refusal{Text: err.Error()}
	}
	if err := p.known(&ask, from, to); err != nil {
		return err
	}
	if ask.Picture != "" {
		return p.draw(&ask, from, to, w)
	}
	return p.table(&ask, from, to, w)
}

// known refuses a name that neither the plan nor the register nor history has. A probe's
// place or serial number becomes the id under which history is kept.
func (p *past) known(ask *history.Ask, from, to time.Time) error {
	switch {
	case ask.Zone != "" && ask.Probe != "":
		return &operator.Refusal{Text: "a zone and a probe were named", Hint: "name one of them, or none for the whole room"}
	case ask.Picture != "" && ask.Zone == "" && ask.Probe == "":
		return &operator.Refusal{Text: "a picture shows one zone or one probe", Hint: "name it: --zone ZONE or --probe PROBE"}
	case ask.Zone == "" && ask.Probe == "":
		return nil
	}
	inPlan := slices.ContainsFunc(p.plan.Zones, func(z zones.Zone) bool { return z.ID == ask.Zone }) ||
		slices.ContainsFunc(p.plan.Probes, func(q zones.Probe) bool { return q.ID == ask.Probe })
	met, _ := p.store.Probes() // a register that cannot be read names nobody
	if inPlan || slices.ContainsFunc(met, func(q store.Probe) bool { return q.ID == ask.Probe }) {
		return nil
	}
	series, err := p.series(ask, from, to)
	if err != nil || len(series) > 0 {
		return err
	}
	if len(p.meant) > 0 {
		ask.Probe = p.meant[0].ID
		return nil
	}
	if ask.Zone != "" {
		return &operator.Refusal{Text: "no zone is named " + ask.Zone, Hint: "`rillgate zones` lists them; one of an earlier plan has to have history in this time"}
	}
	return &operator.Refusal{Text: "no probe is named " + ask.Probe, Hint: "`rillgate probes` lists them"}
}

// table writes one stretch after the other.
func (p *past) table(ask *history.Ask, from, to time.Time, w io.Writer) error {
	sheet, err := history.NewSheet(w, p.plan.Location())
	if err != nil {
		return err
	}
	runs, err := p.runs(ask, from, to)
	if err != nil {
		return err
	}
	for begin := from; begin.Before(to); begin = begin.Add(stretch) {
		end := begin.Add(stretch)
		if end.After(to) {
			end = to
		}
		series, err := p.series(ask, begin, end)
		if err != nil {
			return err
		}
		within := slices.DeleteFunc(slices.Clone(runs), func(r store.Run) bool { return r.Opened.Before(begin) || !r.Opened.Before(end) })
		if err := sheet.Add(series, within); err != nil {
			return err
		}
	}
	return nil
}

// series gives what the ask names in [from, to): the store's, and behind it the minutes
// that wait.
func (p *past) series(ask *history.Ask, from, to time.Time) ([]store.Sample, error) {
	wanted := func(k store.Kind, id string) bool {
		switch {
		case ask.Zone != "":
			return id == ask.Zone && !history.OfProbe(k)
		case ask.Probe != "":
			return id == ask.Probe && history.OfProbe(k)
		}
		return true
	}
	kept, err := p.store.Series(from, to, wanted)
	if err != nil {
		return nil, err
	}
	fresh := samples(p.views)
	for i := range fresh {
		if f := &fresh[i]; wanted(f.Kind, f.ID) {
			kept = follow(kept, f, from, to)
		}
	}
	return kept, nil
}

// follow puts the points of one sample that lie in [from, to) behind those of its series.
func follow(kept []store.Sample, fresh *store.Sample, from, to time.Time) []store.Sample {
	at := slices.IndexFunc(kept, func(s store.Sample) bool { return s.Kind == fresh.Kind && s.ID == fresh.ID })
	if at < 0 {
		at = len(kept)
		kept = append(kept, store.Sample{Kind: fresh.Kind, ID: fresh.ID})
	}
	s := &kept[at]
	for _, p := range fresh.Points {
		p.At = p.At.Truncate(time.Minute)
		if n := len(s.Points); !p.At.Before(from) && p.At.Before(to) && (n == 0 || p.At.After(s.Points[n-1].At)) {
			s.Points = append(s.Points, p)
		}
	}
	return kept
}

// runs gives the runs that opened in [from, to), none of them for a probe.
func (p *past) runs(ask *history.Ask, from, to time.Time) ([]store.Run, error) {
	if ask.Probe != "" {
		return nil, nil
	}
	return p.shots(ask.Zone, from, to)
}

// shots gives the runs of a zone ("" = of all) that opened in [from, to).
func (p *past) shots(zone string, from, to time.Time) ([]store.Run, error) {
	lines, err := p.store.JournalSince(from)
	if err != nil {
		return nil, err
	}
	last := uint64(0)
	for i := range lines {
		last = max(last, lines[i].Seq)
	}
	for _, l := range stored(p.lines) {
		if l.Seq > last && !l.At.Before(from) {
			lines = append(lines, l)
		}
	}
	return slices.DeleteFunc(store.RunsOf(lines, from, to), func(r store.Run) bool { return zone != "" && r.Zone != zone }), nil
}
