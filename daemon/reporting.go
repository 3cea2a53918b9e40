package daemon

import (
	"context"
	"slices"
	"time"

	"rillgate/daemon/operator"
	"rillgate/daemon/report"
	"rillgate/store"
	"rillgate/zones"
	"rillgate/zones/response"
)

// reporting is what a report is made from: a store, and what waits to be written into it.
type reporting struct {
	store   *store.Store
	plan    *zones.Plan
	now     time.Time
	learned map[string]response.Learned
	lines   []operator.Line
	views   []zones.View
	papers  []store.Paper
}

// Report gives some days in numbers, up to now. Only a look at what waits is the loop's.
func (d *Daemon) Report(ctx context.Context, ask report.Ask) (*report.Report, error) {
	if d.files.store == nil {
		return nil, errNoStore
	}
	r := reporting{store: d.files.store, learned: map[string]response.Learned{}}
	err := d.post(ctx, func() {
		v := d.view()
		r.plan, r.now = d.choice.plan, d.now.Wall
		r.lines, r.views, r.papers = d.trail.recent(0, trailKept), d.keeper.waiting(), slices.Clone(d.papers)
		if w := d.keeper.writing; w != nil {
			r.papers = append(slices.Clone(w.papers), r.papers...)
		}
		for i := range v.Zones {
			if l := v.Zones[i].Learned; l != nil {
				r.learned[v.Zones[i].ID] = *l
			}
		}
	})
	if err != nil {
		return nil, err
	}
	return r.report(ask)
}

// ReportOf gives some days in numbers by what a store keeps, under a plan.
func ReportOf(s *store.Store, plan *zones.Plan, now time.Time, ask report.Ask) (*report.Report, error) {
	learned, err := LearnedIn(s, plan)
	if err != nil {
		learned = nil // a state of learning that cannot be read costs its numbers alone
	}
	r := reporting{store: s, plan: plan, now: now, learned: learned}
	return r.report(ask)
}

func (r *reporting) report(ask report.Ask) (*report.Report, error) {
	if ask.Zone != "" && !slices.ContainsFunc(r.plan.Zones, func(z zones.Zone) bool { return z.ID == ask.Zone }) {
		return nil, &operator.Refusal{Text: "no zone is named " + ask.Zone, Hint: "`rillgate zones` lists them"}
	}
	edges, err := ask.Edges(r.now, r.plan.Calendar.Location)
	if err != nil {
		return nil, &operator.Refusal{Text: err.Error()}
	}
	in := &report.Input{Plan: r.plan, Now: r.now, Zone: ask.Zone, Learned: r.learned,
		Moisture: map[string][]report.Sample{}, PoreEC: map[string][]report.Sample{}}
	if err := r.gather(in, edges[0], edges[len(edges)-1]); err != nil {
		return nil, err
	}
	return report.Build(in, edges), nil
}

// gather reads what a report of [from, to) needs.
func (r *reporting) gather(in *report.Input, from, to time.Time) error {
	if err := r.journal(in, from.Add(-report.LinesBefore)); err != nil {
		return err
	}
	fresh := samples(r.views)
	for i := range r.plan.Zones {
		id := r.plan.Zones[i].ID
		if in.Zone != "" && in.Zone != id {
			continue
		}
		for kind, into := range map[store.Kind]map[string][]report.Sample{store.ZoneMoisture: in.Moisture, store.ZonePoreEC: in.PoreEC} {
			kept, err := r.store.History(kind, id, from.Add(-report.SamplesBefore), to)
			if err != nil {
				return err
			}
			into[id] = joined(kept, fresh, kind, id)
		}
	}
	return r.written(in)
}

// journal joins the store's lines with those that wait; a line may be among both.
func (r *reporting) journal(in *report.Input, from time.Time) error {
	kept, err := r.store.JournalSince(from)
	if err != nil {
		return err
	}
	last := uint64(0)
	for i := range kept {
		in.Lines = append(in.Lines, report.Line{At: kept[i].At, Entry: kept[i].Entry})
		last = max(last, kept[i].Seq)
	}
	for i := range r.lines {
		if l := &r.lines[i]; l.Seq > last {
			in.Lines = append(in.Lines, report.Line{At: l.At, Entry: l.Entry})
		}
	}
	return nil
}

// joined puts the minutes that wait behind those of the store.
func joined(kept []store.Point, fresh []store.Sample, kind store.Kind, id string) (out []report.Sample) {
	add := func(list []store.Point) {
		for _, p := range list {
			at := p.At.Truncate(time.Minute)
			if n := len(out); n == 0 || at.After(out[n-1].At) {
				out = append(out, report.Sample{At: at, Value: float64(p.Value) / 1000})
			}
		}
	}
	add(kept)
	for i := range fresh {
		if fresh[i].Kind == kind && fresh[i].ID == id {
			add(fresh[i].Points)
		}
	}
	return out
}

// written reads what people wrote. A paper that cannot be read is left out: it is shown
// where it is asked for.
func (r *reporting) written(in *report.Input) error {
	for _, kind := range []string{operator.PaperDrain, operator.PaperCatch} {
		kept, err := r.store.Papers(kind)
		if err != nil {
			return err
		}
		for _, p := range newest(kept, r.papers, kind) {
			if d, err := report.ReadDrain(p.Body, p.At); err == nil && kind == operator.PaperDrain {
				in.Drains = append(in.Drains, d)
			}
			if c, err := report.ReadCatch(p.Body, p.At); err == nil && kind == operator.PaperCatch {
				in.Catches = append(in.Catches, c)
			}
		}
	}
	return nil
}

// newest joins papers of a kind; a later one of the same key takes the place of another.
func newest(kept, waiting []store.Paper, kind string) []store.Paper {
	out := slices.Clone(kept)
	for _, p := range waiting {
		if p.Kind != kind {
			continue
		}
		out = slices.DeleteFunc(out, func(q store.Paper) bool { return q.Key == p.Key })
		out = append(out, p)
	}
	return out
}
