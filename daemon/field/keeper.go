package field

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// keeper keeps one connection up: it connects, subscribes, lets the workers use
// the session, and begins again when it is lost.
type keeper struct {
	cfg     *Config
	at      endpoint
	role    string
	will    *Will
	filters func() map[string]byte
	// handler makes what takes the messages of one session, in order; it never waits.
	handler func() func(mqtt.Message)
	// work uses the session, each in a goroutine, until its context ends.
	work []func(context.Context, *session)
	// strict: a denied filter ends the session; else it is only told.
	strict bool
	// optional is a filter that may be denied without a word; "" = none.
	optional string
	// down is told the reason whenever there is no session.
	down func(reason string)

	resubscribe chan struct{}
	takeovers   takeovers
	workers     sync.WaitGroup

	mu     sync.Mutex
	open   *session
	count  uint64 // sessions so far
	reason string // why there is no session, or what is wrong with it; "" = nothing
}

// state gives the session, nil when there is none, and what is wrong.
func (k *keeper) state() (*session, string) {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.open, k.reason
}

// number gives the number of the open session, 0 when there is none.
func (k *keeper) number() uint64 {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.open == nil {
		return 0
	}
	return k.count
}

// set notes the session and what is wrong with it; true means that somebody should be
// told: it is a new session, or another thing is wrong.
func (k *keeper) set(s *session, reason string) (news bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	fresh := s != nil && s != k.open
	if fresh {
		k.count++
	}
	news = fresh || reason != k.reason
	k.open, k.reason = s, reason
	return news
}

// run serves sessions until ctx ends, and returns when their workers ended too.
func (k *keeper) run(ctx context.Context) {
	defer k.workers.Wait()
	wait := k.cfg.times.retryFirst
	for {
		began := time.Now()
		err := k.serve(ctx)
		if ctx.Err() != nil {
			return
		}
		k.lost(err)
		if time.Since(began) > k.cfg.times.retryMost {
			wait = k.cfg.times.retryFirst
		}
		if !pause(ctx, wait) {
			return
		}
		wait = min(2*wait, k.cfg.times.retryMost)
	}
}

// pause waits; false means that ctx ended.
func pause(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// lost tells why there is no session.
func (k *keeper) lost(err error) {
	reason := err.Error()
	var ended *endedError
	if errors.As(err, &ended) && ended.lived < k.cfg.times.shortLived && k.takeovers.another(time.Now()) {
		reason = fmt.Sprintf("cut off %d times in a minute, each within seconds of connecting: another client uses our client id %q (stop it, or give each machine its own id), or the broker's rules throw us out",
			len(k.takeovers.at), k.cfg.clientID(k.role))
	}
	_, before := k.state()
	k.set(nil, reason)
	k.down(reason)
	if reason != before { // the same failure, try after try, is told once
		k.log(slog.LevelWarn, "no connection", reason)
	}
}

func (k *keeper) log(level slog.Level, what, reason string) {
	if k.cfg.Logger != nil {
		k.cfg.Logger.Log(context.Background(), level, "mqtt: "+what, "role", k.role, "reason", reason)
	}
}

// endedError says that an accepted connection ended, and after how long.
type endedError struct {
	lived time.Duration
	err   error
}

func (e *endedError) Error() string { return "connection to the broker lost: " + e.err.Error() }
func (e *endedError) Unwrap() error { return e.err }

// serve opens one session and stays with it to its end. It does not wait for the
// workers: one may sit in a write, and the next session must not wait for that.
func (k *keeper) serve(ctx context.Context) error {
	o, err := k.options()
	if err != nil {
		return err
	}
	s, err := openSession(ctx, k.cfg, k.at, o, k.handler())
	if err != nil {
		return err
	}
	began := time.Now()
	if err := k.subscribe(ctx, s); err != nil {
		s.cut()
		return err
	}
	using, stop := context.WithCancel(ctx)
	defer stop()
	for _, work := range k.work {
		k.workers.Go(func() { work(using, s) })
	}
	err = k.watch(ctx, s)
	if errors.Is(err, errSessionEnd) {
		k.set(nil, err.Error())
		s.leave(k.cfg.times.write)
		return err
	}
	defer s.cut()
	return &endedError{time.Since(began), err}
}

func (k *keeper) options() (*mqtt.ClientOptions, error) {
	password, err := k.cfg.password()
	if err != nil {
		return nil, err
	}
	o := mqtt.NewClientOptions().SetClientID(k.cfg.clientID(k.role)).
		SetUsername(k.cfg.Username).SetPassword(password)
	if w := k.will; w != nil {
		o.SetBinaryWill(w.Topic, w.Payload, w.QoS, w.Retained)
	}
	return o, nil
}

// subscribe asks for everything, anew on every session, and checks the answer.
func (k *keeper) subscribe(ctx context.Context, s *session) error {
	denied, err := s.subscribe(ctx, k.filters(), k.cfg.times.answer)
	if err != nil {
		return err
	}
	denied = slices.DeleteFunc(denied, func(filter string) bool { return filter == k.optional })
	reason := ""
	if len(denied) > 0 {
		reason = "broker denies topic " + strings.Join(denied, ", ") + ": let our user read it"
		if k.strict {
			return errors.New(reason)
		}
	}
	if k.set(s, reason) {
		k.log(slog.LevelInfo, "connected", reason)
	}
	return nil
}

// lookEvery is how often the session is asked whether it still stands, in case its
// callback is never called.
const lookEvery = time.Second

// watch stays until the session is lost or ctx ends.
func (k *keeper) watch(ctx context.Context, s *session) error {
	look := time.NewTicker(lookEvery)
	defer look.Stop()
	for {
		select {
		case err := <-s.lost:
			return err
		case <-ctx.Done():
			return errSessionEnd
		case <-k.resubscribe:
			if err := k.subscribe(ctx, s); err != nil {
				return err
			}
		case <-look.C:
			if !s.client.IsConnectionOpen() {
				return errNoAnswer
			}
		}
	}
}

// takeovers remembers losses soon after connecting: two clients with one id throw
// each other out for ever.
type takeovers struct{ at []time.Time }

const (
	takeoverSpan = time.Minute
	takeoverMost = 3
)

// another notes one more and reports whether that makes too many in a minute.
func (t *takeovers) another(now time.Time) bool {
	kept := t.at[:0]
	for _, at := range t.at {
		if now.Sub(at) < takeoverSpan {
			kept = append(kept, at)
		}
	}
	t.at = append(kept, now)
	return len(t.at) > takeoverMost
}
