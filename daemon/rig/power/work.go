package power

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"time"

	"rillgate/daemon/broker"
	"rillgate/daemon/operator"
	"rillgate/zones"
	"rillgate/zones/simroom"
)

// worker is a daemon that works on the card, and takes down what happens.
type worker struct {
	*life
	book  *book
	at    time.Duration // of the start, since the room began
	state string
	runs  map[zones.Output]string        // the run that was granted last
	from  map[zones.Output]time.Duration // when the run's first grant left
	told  map[zones.Output]time.Duration
	next  time.Duration // of the next order by a person
	turn  int
}

// ordersEvery is the room's time between two orders.
const ordersEvery = 90 * time.Second

// work lives in the room until nothing more is told, then ends as it should. The room's
// time begins at `at`.
func work(ctx context.Context, dir string, at time.Duration, words <-chan byte) error {
	b, err := broker.Start("127.0.0.1:0", broker.Options{})
	if err != nil {
		return err
	}
	defer b.Close()
	config := filepath.Join(dir, fmt.Sprintf("config-%d", at))
	if err := writeConfig(config, b.URL()); err != nil {
		return err
	}
	path := filepath.Join(dir, bookName)
	known, err := readFacts(path, toldSoFar(path))
	if err != nil {
		return err
	}
	w := &worker{at: at, state: filepath.Join(dir, cardMount, stateName), runs: map[zones.Output]string{},
		from: map[zones.Output]time.Duration{}, told: map[zones.Output]time.Duration{}}
	if w.book, err = openBook(path); err != nil {
		return err
	}
	w.life, err = begin(ctx, lifeOptions{config: config, state: w.state, broker: b.URL(), at: at, remembered: known.Last, seed: uint64(at), watch: w.see})
	if err != nil {
		return err
	}
	w.book.tell(fact{At: at, Kind: factLife})
	return errors.Join(w.live(ctx, words), w.end(ctx), w.book.err)
}

func (w *worker) live(ctx context.Context, words <-chan byte) error {
	for w.book.err == nil && goesOn(words) {
		next, err := w.step(ctx)
		if err != nil {
			return err
		}
		w.sim.Look(w.look)
		if err := w.person(ctx); err != nil {
			return err
		}
		w.now = next
	}
	return nil
}

// goesOn waits while it was told to pause; false = it is the end.
func goesOn(words <-chan byte) bool {
	select {
	case word, more := <-words:
		for more && word == pauseWord {
			word, more = <-words
		}
		return more
	default:
		return true
	}
}

// see takes down what left for a controller.
func (w *worker) see(_ zones.Instant, effects []zones.Effect) {
	for _, e := range effects {
		c, ok := e.(*zones.Command)
		if !ok || !c.Open {
			continue
		}
		if w.runs[c.Output] != c.Run {
			w.runs[c.Output], w.from[c.Output], w.told[c.Output] = c.Run, w.clock.Since(), 0
		}
		w.book.tell(fact{At: w.at + w.clock.Since(), Kind: factGrant, Zone: c.Zone, Run: c.Run, Output: c.Output.String(), Epoch: c.Epoch, Seq: c.Seq})
	}
}

// look takes down for how long each output has been held open.
func (w *worker) look(room *simroom.Room) {
	for zone, o := range outputs {
		run := w.runs[o]
		open := simroom.OpenTime(room.Driven(o), w.from[o], room.Now())
		if run == "" || open == w.told[o] {
			continue
		}
		w.told[o] = open
		w.book.tell(fact{At: w.at + w.now, Kind: factOpen, Zone: zone, Run: run, Output: o.String(), Open: open})
	}
}

// person gives an order now and then: bed b is held, bed a stopped, and both go on.
func (w *worker) person(ctx context.Context) error {
	if w.now < w.next {
		return nil
	}
	w.next = w.now + ordersEvery
	w.turn++
	at := w.at + w.now
	switch w.turn % 4 {
	case 1:
		return w.order(ctx, &operator.Order{Kind: zones.OrderHold, Zone: "b", For: operator.Duration(time.Hour)}, nil, &fact{At: at, Kind: factHold, Zone: "b"})
	case 2:
		return w.order(ctx, &operator.Order{Kind: zones.OrderRelease, Zone: "b"}, &fact{At: at, Kind: factReleasing, Zone: "b"}, nil)
	case 3:
		return w.order(ctx, &operator.Order{Kind: zones.OrderStop, Zone: "a"}, nil, &fact{At: at, Kind: factStop, Zone: "a"})
	}
	return w.order(ctx, &operator.Order{Kind: zones.OrderReset, Subject: "a"}, &fact{At: at, Kind: factResetting, Zone: "a"}, nil)
}

// order asks over the control socket, as a person would. What an order gives is told
// after its answer, what it takes away before it is asked.
func (w *worker) order(ctx context.Context, o *operator.Order, before, after *fact) error {
	if before != nil {
		w.book.tell(*before)
	}
	done := make(chan error, 1)
	go func() {
		done <- operator.Ask(ctx, filepath.Join(w.state, operator.SocketName), operator.Request{Kind: operator.AskOrder, Order: o}, func(r operator.Reply) error {
			if r.Answer != nil && r.Answer.Accepted && after != nil {
				w.book.tell(*after)
			}
			return nil
		})
	}()
	for {
		select {
		case err := <-done:
			return err
		default:
			w.daemon.Settle()
			if err := w.daemon.Idle(ctx, time.Millisecond); err != nil {
				return err
			}
		}
	}
}
