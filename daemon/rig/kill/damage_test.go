package kill

import (
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/store/ledger"
	"rillgate/zones"
)

const page = 4096

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
	latches int
	held    bool
	epoch   uint32
}

func remembered(m *zones.Memory) remembers {
	r := remembers{charged: map[string]time.Duration{}, latches: len(m.Latches), epoch: m.Epoch}
	for at, o := range m.Outputs {
		r.latches += len(o.Latches)
		for _, c := range o.Charges {
			r.charged[at] += c.Amount
		}
	}
	for _, z := range m.Zones {
		r.held = r.held || z.HoldUntil > 0
	}
	return r
}

// forgot says what a later memory lost.
func (r remembers) forgot(m *zones.Memory) error {
	now := remembered(m)
	for at, d := range r.charged {
		if now.charged[at] < d {
			return fmt.Errorf("%s was charged %s, now %s", at, d, now.charged[at])
		}
	}
	if now.latches < r.latches || r.held && !now.held || now.epoch <= r.epoch {
		return fmt.Errorf("latches %d, then %d; hold %t, then %t; epoch %d, then %d", r.latches, now.latches, r.held, now.held, r.epoch, now.epoch)
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
	v.pause(3 * time.Second) // the store is committed 2 s after what matters
	v.kill()
	found, err := ledger.Inspect(l.state)
	require.NoError(t, err)
	was := remembered(found.Memory)
	require.True(t, was.latches == 1 && was.held && len(was.charged) == 1, "%+v", was)
	l.configure(filepath.Join(l.dir, "alone"), "mqtt://127.0.0.1:9")
	for n := range *damages {
		require.NoError(t, l.damaged(t, n, old, was))
	}
	t.Logf("%d damaged states\n%s", *damages, l.count)
}

// stateFiles are the files of a state directory that lie on disk: no socket.
func stateFiles(t *testing.T, dir string) fs.FS {
	t.Helper()
	_ = os.Remove(filepath.Join(dir, "control.sock"))
	return os.DirFS(dir)
}

func (l *lane) damaged(t *testing.T, n int, old string, was remembers) error {
	rng := rand.New(rand.NewPCG(*seed, uint64(n)))
	kind, file := damagesOf[n%len(damagesOf)], []string{"ledger-a", "ledger-b", "both", "store.db", "store.db"}[n/len(damagesOf)%5]
	files := []string{file}
	if file == "both" {
		files = ledgerFiles
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
	out, err := exec.Command(program, "zones", "--config", l.config, "--state", state).CombinedOutput()
	if err != nil {
		return fmt.Errorf("it does not answer: %w: %s", err, out)
	}
	v.kill()
	if err := v.wasKilled(); err != nil {
		return err
	}
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
	aside, err := filepath.Glob(filepath.Join(state, "store.db.damaged-*"))
	if err != nil {
		return err
	}
	switch lost := was.forgot(found.Memory); {
	case found.Memory.Spent:
		l.count.add("a loss was seen in " + what + ": the budgets count as spent")
	case lost != nil:
		return fmt.Errorf("trusted silently: %w; it said %s", lost, v.said())
	case len(aside) > 0:
		l.count.add("the store was put aside, nothing else is missing")
	case strings.Contains(v.said(), "msg=alarm") || strings.Contains(v.said(), "msg=ledger"):
		l.count.add("told, nothing is missing")
	default:
		l.count.add("nothing is missing, after damage in " + what)
	}
	return nil
}
