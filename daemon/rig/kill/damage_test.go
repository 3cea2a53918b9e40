package kill

import (
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/store"
	"rillgate/store/ledger"
	"rillgate/zones"
)

const page = 4096

// everything is damage in both segments and the store: what stood closed may be gone,
// and the room must say so.
const everything = "ledger and store"

// damage changes a file as a bad card does.
type damage struct {
	name string
	make func(rng *rand.Rand, now, old []byte) []byte
	// back: the file may be sound and of an earlier day. Where both segments are, only
	// the controllers' reports know better.
	back bool
}

// damagesOf are the kinds: old is the same file of an earlier life.
var damagesOf = []damage{
	{"flipped bits", func(rng *rand.Rand, now, _ []byte) []byte {
		for range 1 + rng.IntN(40) {
			now[rng.IntN(used(now))] ^= 1 << rng.IntN(8)
		}
		return now
	}, false},
	{"zeroed pages", func(rng *rand.Rand, now, _ []byte) []byte {
		for range 1 + rng.IntN(4) {
			clear(pageOf(rng, now))
		}
		return now
	}, false},
	{"stale pages", func(rng *rand.Rand, now, old []byte) []byte {
		for range 1 + rng.IntN(4) {
			n := rng.IntN(min(used(now), len(old))/page+1) * page
			copy(now[min(n, len(now)):min(n+page, len(now))], old[min(n, len(old)):])
		}
		return now
	}, true},
	{"truncation", func(rng *rand.Rand, now, _ []byte) []byte { return now[:rng.IntN(used(now))] }, false},
	{"garbage pages", func(rng *rand.Rand, now, _ []byte) []byte {
		for range 1 + rng.IntN(3) {
			p := pageOf(rng, now)
			for i := range p {
				p[i] = byte(rng.Uint32())
			}
		}
		return now
	}, false},
	{"an old file", func(_ *rand.Rand, _, old []byte) []byte { return old }, true},
}

func pageOf(rng *rand.Rand, b []byte) []byte {
	n := rng.IntN(used(b)/page+1) * page
	return b[min(n, len(b)):min(n+page, len(b))]
}

// used is how much of a preallocated file holds anything.
func used(b []byte) int {
	n := len(b)
	for n > 1 && b[n-1] == 0 {
		n--
	}
	return n
}

// remembers is what a state directory must never forget without a word.
type remembers struct {
	charged map[string]time.Duration
	closed  []string // latches of the room and its outputs, and zones that are held
	epoch   uint32
}

func remembered(m *zones.Memory) remembers {
	r := remembers{charged: map[string]time.Duration{}, epoch: m.Epoch}
	for _, l := range m.Latches {
		r.closed = append(r.closed, "room "+string(l.Code))
	}
	for at, o := range m.Outputs { // order: each for itself
		for _, l := range o.Latches {
			r.closed = append(r.closed, at+" "+string(l.Code))
		}
		for _, c := range o.Charges {
			r.charged[at] += c.Amount
		}
	}
	for id, z := range m.Zones { // order: each for itself
		if z.HoldUntil > 0 {
			r.closed = append(r.closed, id+" held")
		}
	}
	return r
}

// uncharged says what a later memory lost of the charges, or of the epoch.
func (r remembers) uncharged(m *zones.Memory) error {
	now := remembered(m)
	for at, d := range r.charged { // order: the first is enough
		if now.charged[at] < d {
			return fmt.Errorf("%s was charged %s, now %s", at, d, now.charged[at])
		}
	}
	if now.epoch <= r.epoch {
		return fmt.Errorf("epoch %d, then %d", r.epoch, now.epoch)
	}
	return nil
}

// reopened says what stood closed and stands so no more.
func (r remembers) reopened(m *zones.Memory) error {
	now := remembered(m)
	for _, what := range r.closed {
		if !slices.Contains(now.closed, what) {
			return fmt.Errorf("%s before, and now %q", what, now.closed)
		}
	}
	return nil
}

// TestDamagedState damages ledger and store of a room that ran, which has charges, a
// latch and a hold, and starts the daemon on what is left: it lives and answers, the room
// is closed meanwhile, and what is missing is either there from elsewhere or the budgets
// count as spent.
func TestDamagedState(t *testing.T) {
	t.Parallel()
	needStrace(t)
	l := newLane(t, 800, program, newCounts())
	old := filepath.Join(l.dir, "old-state")
	require.NoError(t, l.cycle(cut{way: atOpening}))
	require.NoError(t, os.CopyFS(old, stateFiles(t, l.state)))
	v := l.start(nil)
	v.awaitSocket(t)
	require.NoError(t, command(program, "hold", "west", "--for", "2h", "--config", l.config, "--state", l.state))
	require.NoError(t, command(program, "stop", "east", "--config", l.config, "--state", l.state))
	v.committed(t)
	v.kill()
	found, err := ledger.Inspect(l.state)
	require.NoError(t, err)
	was := remembered(found.Memory)
	require.ElementsMatch(t, []string{"north/1 stopped", "west held"}, was.closed)
	require.Len(t, was.charged, 1)
	l.mirrored(t, was)
	l.configure(filepath.Join(l.dir, "alone"), "mqtt://127.0.0.1:9")
	for n := range *damages {
		t.Logf("state %d", n)
		require.NoError(t, l.damaged(t, n, old, was))
	}
	t.Logf("%d damaged states\n%s", *damages, l.count)
}

// committed waits until the store has saved what was ordered, and then stands still: a
// commit comes 2 s after what somebody may look for, and one may have been under way.
func (v *life) committed(t *testing.T) {
	t.Helper()
	ordered := time.Now()
	require.Eventually(t, func() bool {
		info, err := os.Stat(filepath.Join(v.lane.state, "store.db"))
		return err == nil && info.ModTime().After(ordered) && time.Since(info.ModTime()) > 4*time.Second || v.over()
	}, time.Minute, 100*time.Millisecond, "no commit")
	require.False(t, v.over(), v.said())
}

// mirrored: the store has a copy of what stands closed, which damage in the ledger must
// not take away.
func (l *lane) mirrored(t *testing.T, was remembers) {
	t.Helper()
	s, err := store.OpenReadOnly(filepath.Join(l.state, "store.db"))
	require.NoError(t, err)
	defer s.Close()
	m, err := s.Mirror()
	require.NoError(t, err)
	require.NoError(t, was.reopened(m))
}

// stateFiles are the files of a state directory that lie on disk: no socket.
func stateFiles(t *testing.T, dir string) fs.FS {
	t.Helper()
	_ = os.Remove(filepath.Join(dir, "control.sock"))
	return os.DirFS(dir)
}

func (l *lane) damaged(t *testing.T, n int, old string, was remembers) error {
	rng := rand.New(rand.NewPCG(*seed, uint64(n)))
	kind, file := damagesOf[n%len(damagesOf)], []string{"ledger-a", "ledger-b", "both", "store.db", everything}[n/len(damagesOf)%5]
	files := []string{file}
	switch file {
	case "both":
		files = ledgerFiles
	case everything:
		files = []string{"ledger-a", "ledger-b", "store.db"}
	}
	state := filepath.Join(l.dir, fmt.Sprintf("damaged-%d", n))
	require.NoError(t, os.CopyFS(state, stateFiles(t, l.state)))
	defer os.RemoveAll(state)
	for _, f := range files {
		now, err := os.ReadFile(filepath.Join(state, f))
		require.NoError(t, err)
		before, err := os.ReadFile(filepath.Join(old, f))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(state, f), kind.make(rng, now, before), 0o640))
	}
	if err := l.startDamaged(t, state, was, file, kind.back); err != nil {
		return fmt.Errorf("%s of %s, number %d: %w", kind.name, file, n, err)
	}
	return nil
}

// startDamaged starts on a damaged state and looks at what came of it: without a broker,
// since reports of a later epoch would show every loss by themselves, but with one where
// only they can.
func (l *lane) startDamaged(t *testing.T, state string, was remembers, what string, heard bool) error {
	other := *l
	other.state = state
	if !heard {
		other.config = filepath.Join(l.dir, "alone")
	}
	v := other.start(nil)
	v.awaitSocket(t)
	if heard { // the controllers report every second
		l.tape.await(v.from, raised(zones.DailyLimit), v.ended, after(4*time.Second))
	}
	if out, err := other.ask("zones"); err != nil {
		return fmt.Errorf("it does not answer: %w: %s", err, out)
	}
	said, err := other.ask("journal", "-n", "100")
	if err != nil {
		return fmt.Errorf("it does not tell its journal: %w: %s", err, said)
	}
	v.kill()
	if err := v.wasKilled(); err != nil {
		return err
	}
	return l.trusted(v, state, was, what, said)
}

func (l *lane) ask(args ...string) (string, error) {
	out, err := exec.Command(program, append(args, "--config", l.config, "--state", l.state)...).CombinedOutput()
	return string(out), err
}

// forgets is what a room says that may have lost what stood closed.
const forgets = "may be forgotten"

// trusted looks at what a life made of a damaged state. What stood closed stands so
// still; only with nothing sound left may it be gone, and then the room has said so and
// every budget counts as spent.
func (l *lane) trusted(v *life, state string, was remembers, what, said string) error {
	found, err := ledger.Inspect(state)
	if err != nil {
		return err
	}
	recs, err := ledger.Records(state)
	if err != nil {
		return err
	}
	if last := recs[len(recs)-1]; last.Kind == zones.RecIntent {
		return errors.New("it wants to open a valve")
	}
	lost, open := was.uncharged(found.Memory), was.reopened(found.Memory)
	switch spent := found.Memory.Spent; {
	case open != nil && (what != everything || !spent || !strings.Contains(said, forgets)):
		return fmt.Errorf("no longer closed: %w; spent: %t; it said %s\n%s", open, spent, said, v.said())
	case lost != nil && !spent:
		return fmt.Errorf("trusted silently: %w; it said %s", lost, v.said())
	case open != nil:
		l.count.add("all is lost, and told: the budgets count as spent")
	case spent:
		l.count.add("a loss was seen in " + what + ": the budgets count as spent, what stood closed does")
	default:
		return l.harmless(v, state, what)
	}
	return nil
}

// harmless counts what was said of damage that took nothing.
func (l *lane) harmless(v *life, state, what string) error {
	aside, err := filepath.Glob(filepath.Join(state, "store.db.damaged-*"))
	switch {
	case err != nil:
		return err
	case len(aside) > 0:
		l.count.add("the store was put aside, nothing else is missing")
	case strings.Contains(v.said(), "msg=alarm") || strings.Contains(v.said(), "msg=ledger"):
		l.count.add("told, nothing is missing")
	default:
		l.count.add("nothing is missing, after damage in " + what)
	}
	return nil
}
