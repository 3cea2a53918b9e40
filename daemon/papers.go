package daemon

import (
	"context"
	"slices"

	"rillgate/daemon/operator"
	"rillgate/store"
	"rillgate/zones"
)

// Keep puts a paper into the store and a line into the journal.
func (d *Daemon) Keep(ctx context.Context, p operator.Paper, note string) error {
	if d.files.store == nil {
		return errNoStore
	}
	return d.post(ctx, func() {
		p.At = d.now.Wall
		d.keepPaper(store.Paper{Kind: p.Kind, Key: p.Key, At: p.At, By: p.By, Body: p.Body})
		d.entry(d.now.Wall, &zones.Entry{Kind: p.Kind, Zone: p.Zone, Because: p.Because, Source: "socket", By: p.By, Note: note})
	})
}

// PaperOf is a kept paper as people see it.
func PaperOf(p store.Paper) operator.Paper {
	return operator.Paper{Kind: p.Kind, Key: p.Key, At: p.At, By: p.By, Body: p.Body}
}

// PapersIn gives those of a kind that a store keeps, in order of key.
func PapersIn(s *store.Store, kind string) ([]operator.Paper, error) {
	kept, err := s.Papers(kind)
	var out []operator.Paper
	for _, p := range kept {
		out = append(out, PaperOf(p))
	}
	return out, err
}

// keepPaper has a paper written with the next commit.
func (d *Daemon) keepPaper(p store.Paper) { d.papers = append(d.papers, p) }

// Papers gives those of a kind in order of key, those that wait for their commit too.
func (d *Daemon) Papers(ctx context.Context, kind string) (out []operator.Paper, err error) {
	if d.files.store == nil {
		return nil, errNoStore
	}
	kept, err := d.files.store.Papers(kind)
	if err != nil {
		return nil, err
	}
	byKey := map[string]int{}
	put := func(p store.Paper) {
		one := PaperOf(p)
		if i, ok := byKey[p.Key]; ok {
			out[i] = one
			return
		}
		byKey[p.Key] = len(out)
		out = append(out, one)
	}
	for _, p := range kept {
		put(p)
	}
	return out, d.post(ctx, func() {
		waiting := d.papers
		if w := d.keeper.writing; w != nil {
			waiting = append(slices.Clone(w.papers), waiting...)
		}
		for _, p := range waiting {
			if p.Kind == kind {
				put(p)
			}
		}
	})
}
