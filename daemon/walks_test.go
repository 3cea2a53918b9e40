package daemon

import (
	"context"
	"encoding/json"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/field"
	"rillgate/daemon/operator"
	"rillgate/zones"
	"rillgate/zones/simroom"
	"rillgate/zones/walk"
)

// bed is a simulated room in the place of the link: no broker between.
type bed struct {
	sim *simroom.Room
	in  []field.Arrival
}

func (b *bed) Send(c *zones.Command) bool {
	b.sim.Command(c)
	return true
}
func (b *bed) Wake() <-chan struct{} { return nil }
func (b *bed) Drain(into []field.Arrival) []field.Arrival {
	for _, o := range b.sim.Advance(b.sim.Now()) {
		b.in = append(b.in, field.Arrival{Arrived: virtualOrigin + o.At, Event: o.Event})
	}
	into = append(into, b.in...)
	b.in = nil
	return into
}
func (b *bed) Close(context.Context) {}

// onBed is a daemon over a simulated room, in virtual time.
func onBed(t *testing.T, faults ...simroom.Fault) (*Daemon, func(until func() bool)) {
	t.Helper()
	o, c := inRoom(t)
	d := open(t, o)
	sim, err := simroom.New(d.choice.plan, simroom.Options{Seed: 3, Start: c.start, Faults: faults})
	require.NoError(t, err)
	b := &bed{sim: sim, in: []field.Arrival{{Arrived: virtualOrigin, Event: &zones.BrokerLink{Up: true}}}}
	link := d.field
	t.Cleanup(func() { link.Close(t.Context()) })
	d.field = b
	return d, func(until func() bool) {
		t.Helper()
		for end := sim.Now() + 12*time.Hour; !until(); {
			require.Less(t, sim.Now(), end, "it takes too long")
			next := max(sim.Now()+time.Millisecond, min(sim.Next(), d.NextAfter()))
			for _, out := range sim.Advance(next) {
				b.in = append(b.in, field.Arrival{Arrived: virtualOrigin + out.At, Event: out.Event})
			}
			c.Set(sim.Now())
			d.Settle()
			_, err := d.Advance()
			require.NoError(t, err)
		}
	}
}

// after says that a time of the room has passed.
func after(d *Daemon, span time.Duration) func() bool {
	end := d.now.Mono + span
	return func() bool { return d.now.Mono >= end }
}

type walked struct {
	result *walk.Result
	err    error
	said   []string
}

// walkOn begins a walk as a person would, and waits until it is on.
func walkOn(t *testing.T, ctx context.Context, d *Daemon, ask operator.WalkAsk) <-chan walked {
	t.Helper()
	done := make(chan walked, 1)
	go func() {
		w := walked{}
		w.result, w.err = d.Walk(ctx, ask, "ana", "the first one", func(n operator.WalkNews) error {
			w.said = append(w.said, n.Said...)
			return nil
		})
		done <- w
	}()
	return done
}

func ended(done <-chan walked, w *walked) func() bool {
	return func() bool {
		select {
		case *w = <-done:
			return true
		default:
			return false
		}
	}
}

// kept reads the newest walk out of the store, the batch on its way aside.
func (d *Daemon) keptWalk(t *testing.T, kind string) *walk.Result {
	t.Helper()
	waiting := d.papers
	if w := d.keeper.writing; w != nil {
		waiting = append(slices.Clone(w.papers), waiting...)
	}
	for i := len(waiting) - 1; i >= 0; i-- {
		if waiting[i].Kind == kind {
			r := &walk.Result{}
			require.NoError(t, json.Unmarshal(waiting[i].Body, r))
			return r
		}
	}
	papers, err := d.files.store.Papers(kind)
	require.NoError(t, err)
	if len(papers) == 0 {
		return nil
	}
	r := &walk.Result{}
	require.NoError(t, json.Unmarshal(papers[len(papers)-1].Body, r))
	return r
}

// A walk of a right room: each valve is as configured, the zones count as walked, and
// the result is kept and published.
func TestWalkOfARightRoom(t *testing.T) {
	d, run := onBed(t)
	run(after(d, 4*time.Minute))
	done := walkOn(t, t.Context(), d, operator.WalkAsk{})
	var w walked
	run(ended(done, &w))
	require.NoError(t, w.err)
	require.True(t, w.result.Good(), w.result.Text())
	require.NotEmpty(t, w.said)
	v := d.view()
	for i := range v.Zones {
		require.Empty(t, v.Zones[i].NotWalked)
		require.NotNil(t, v.Zones[i].WalkedAt)
	}
	require.Equal(t, w.result.Text(), d.keptWalk(t, operator.PaperWalk).Text())
	require.NotContains(t, told(d), "cells")
	require.Contains(t, told(d), `"verdict":"as-configured"`)
	require.Contains(t, told(d), `"by":"ana"`)
	var kinds []string
	for _, l := range d.trail.recent(0, 1000) {
		if l.By == "ana" {
			kinds = append(kinds, l.Kind)
		}
	}
	require.Contains(t, kinds, "walk-begun")
	require.Contains(t, kinds, "walk-ended")
	o, before := d.o, told(d)
	require.NoError(t, d.Close(nil))
	d = open(t, o)
	require.Equal(t, before, told(d), "published again after a restart")
	require.Empty(t, d.view().Zones[0].NotWalked, "and still walked")
	require.NoError(t, d.Close(nil))
}

// told is the topic of walks.
func told(d *Daemon) string {
	v := d.view()
	return d.walkTopic(&v)
}

// A walk of one zone that is refused, and a person's word, leave the rows of the good walk
// and the topic as they are, but for what they are about; over a restart too.
func TestAGoodWalkStandsBesideARefusedOne(t *testing.T) {
	d, run := onBed(t)
	run(after(d, 4*time.Minute))
	require.Empty(t, told(d), "nothing is told before the first one")
	walks := func(ask operator.WalkAsk) (w walked) {
		run(ended(walkOn(t, t.Context(), d, ask), &w))
		require.NoError(t, w.err)
		return w
	}
	first := walks(operator.WalkAsk{}).result
	held, other := first.Valves[0].Zone, first.Valves[1].Zone
	d.obey(&zones.Order{ID: "h", Kind: zones.OrderHold, Zone: held, For: 4 * time.Hour})
	w := walks(operator.WalkAsk{Zones: []string{held}})
	require.Equal(t, walk.Refused, w.result.Valves[0].Verdict)
	require.NotContains(t, w.result.Text(), other, "nothing is said of what was not asked for")
	d.obey(&zones.Order{ID: "a", Kind: zones.OrderWalkAccept, Zone: held, By: "ben", Note: "saw it"})
	check := func(d *Daemon) {
		var l walk.Last
		require.NoError(t, json.Unmarshal([]byte(told(d)), &l))
		require.Equal(t, len(first.Valves), len(l.Valves))
		for i := range l.Valves {
			require.Equal(t, walk.AsConfigured, l.Valves[i].Verdict)
			require.WithinDuration(t, *first.Valves[i].OpenedAt, l.Valves[i].Walked, 0)
		}
		require.True(t, l.Walk.Begun.After(first.Ended), "the refused one is the last walk all the same")
		for _, z := range l.Zones {
			require.Empty(t, z.NotWalked)
			require.Equal(t, z.Zone == held, z.Accepted != nil)
		}
	}
	check(d)
	o := d.o
	require.NoError(t, d.Close(nil))
	d = open(t, o)
	check(d)
	require.NoError(t, d.Close(nil))
}

// A walk whose terminal goes closes what is open, at once, and keeps what it has.
func TestWalkBrokenOff(t *testing.T) {
	d, run := onBed(t)
	run(after(d, 4*time.Minute))
	ctx, cancel := context.WithCancel(t.Context())
	done := walkOn(t, ctx, d, operator.WalkAsk{})
	open := func() bool {
		for _, v := range d.view().Valves {
			if v.Wanted && !v.Master {
				return true
			}
		}
		return false
	}
	run(open)
	var w, second walked
	run(ended(walkOn(t, t.Context(), d, operator.WalkAsk{}), &second))
	require.ErrorContains(t, second.err, "a walk is on already, begun by ana")
	cancel()
	run(ended(done, &w))
	require.ErrorIs(t, w.err, context.Canceled)
	run(func() bool { return d.walking == nil })
	require.False(t, open())
	r := d.keptWalk(t, operator.PaperWalk)
	require.True(t, r.Partial)
	require.Contains(t, r.Why, "broken off")
	require.NoError(t, d.Close(nil))
}

// A walk that cannot begin is refused; one that ends at its first look is told as that.
func TestWalkOfAStoppedRoom(t *testing.T) {
	d, pass := onBed(t)
	pass(after(d, time.Minute))
	walkOf := func(ask operator.WalkAsk) walked {
		var w walked
		pass(ended(walkOn(t, t.Context(), d, ask), &w))
		return w
	}
	require.ErrorContains(t, walkOf(operator.WalkAsk{For: operator.Duration(20 * time.Minute)}).err, "its max_run is")
	d.step(&zones.Order{ID: "o", Kind: zones.OrderStop, Source: "socket", By: "ana"})
	var refusal *operator.Refusal
	require.ErrorAs(t, walkOf(operator.WalkAsk{}).err, &refusal)
	require.Contains(t, refusal.Text, "the room is stopped")
	require.Nil(t, d.walking)
	d.step(&zones.Order{ID: "p", Kind: zones.OrderReset, Subject: "room", Source: "socket", By: "ana"})

	plan := *d.choice.plan
	plan.Hash = "another" // as if the room had taken the next plan first
	d.choice.plan = &plan
	w := walkOf(operator.WalkAsk{})
	require.NoError(t, w.err)
	require.True(t, w.result.Partial)
	require.Contains(t, w.result.Why, "another plan came in force")
	require.NoError(t, d.Close(nil))
}
