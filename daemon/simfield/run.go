package simfield

import (
	"context"
	"time"
)

// Run connects the controllers and lets the room live in real time until ctx ends, then
// closes the connections. The room begins where it stands. It gives the error of a
// broker that cannot be reached at the start; later losses are mended by themselves.
func (f *Field) Run(ctx context.Context) error {
	defer f.Close()
	if err := f.Start(ctx); err != nil {
		return err
	}
	queue := make(chan message, 1024)
	sender := make(chan struct{})
	go func() {
		defer close(sender)
		for m := range queue {
			f.deliverAlone(ctx, m)
		}
	}()
	f.live(ctx, queue)
	close(queue)
	<-sender
	return nil
}

// deliverAlone delivers for Run: what goes wrong is mended later, and counted.
func (f *Field) deliverAlone(ctx context.Context, m message) {
	ok, err := m.link.deliver(ctx, m, false)
	f.mu.Lock()
	defer f.mu.Unlock()
	f.tally(m, ok)
	if err != nil {
		f.counts.LastFault = err.Error()
	}
}

// live moves the room along a real clock. Nothing here waits for the network, so that
// outputs drop on time.
func (f *Field) live(ctx context.Context, queue chan<- message) {
	began := time.Now()
	f.mu.Lock()
	base := f.sim.Now()
	f.mu.Unlock()
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
		case <-f.wake:
		}
		f.mu.Lock()
		now := base + time.Since(began)
		look := func() []message {
			outs := f.sim.Advance(now)
			f.witness(began.Add(-base), outs)
			return f.pack(outs)
		}
		all := look()
		f.obey()
		f.introduce()
		all = append(all, look()...)
		for _, m := range all {
			select {
			case queue <- m:
			default:
				f.counts.Unsent++
			}
		}
		timer.Reset(time.Until(began.Add(f.sim.Next() - base)))
		f.mu.Unlock()
	}
}
