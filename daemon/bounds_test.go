package daemon

import (
	"bytes"
	"context"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/operator"
)

// ours counts the goroutines of this process that are not the test's broker's.
func ours() (n int) {
	buf := make([]byte, 4<<20)
	for one := range bytes.SplitSeq(buf[:runtime.Stack(buf, true)], []byte("\n\n")) {
		if !bytes.Contains(one, []byte("mochi")) {
			n++
		}
	}
	return n
}

// TestGoroutinesAreBounded is INV-26: with a broker, and as many followers at the
// control socket as it takes and as many more knocking, a daemon has 64 at most.
func TestGoroutinesAreBounded(t *testing.T) {
	before := ours()
	d, _ := onBroker(t)
	ctx, cancel := context.WithCancel(t.Context())
	refused, following := make(chan error, 2*operator.MaxPeers), make(chan struct{}, 2*operator.MaxPeers)
	for range 2 * operator.MaxPeers {
		go func() {
			req := operator.Request{Kind: operator.AskJournal, Follow: true} // those that follow are fewer than all
			refused <- operator.Ask(ctx, filepath.Join(d.o.State, operator.SocketName), req, func(operator.Reply) error {
				following <- struct{}{}
				return nil
			})
		}()
	}
	within := time.After(20 * time.Second)
	for range operator.MaxFollow { // as many are taken as it says
		select {
		case <-following:
		case <-within:
			require.FailNow(t, "no answer")
		}
	}
	for range 2*operator.MaxPeers - operator.MaxFollow { // and the others sent away
		select {
		case err := <-refused:
			require.ErrorContains(t, err, "too many")
		case <-within:
			require.FailNow(t, "no refusal")
		}
	}
	clients := 2 * operator.MaxPeers // of the test: a caller and a watcher for each that follows
	require.LessOrEqual(t, ours()-before-clients, 64)
	cancel()
	require.NoError(t, d.Close(nil))
	require.Eventually(t, func() bool { return ours() <= before+2 }, 10*time.Second, 20*time.Millisecond, "all of them end")
}

// What came in can be read when no daemon runs any more.
func TestKeptTrace(t *testing.T) {
	o, c := inRoom(t)
	require.ErrorContains(t, KeptTrace(t.Context(), o.State, &bytes.Buffer{}), "no file of one is in")
	d := open(t, o)
	advanceTo(t, d, c, time.Minute)
	require.NoError(t, d.Close(nil))
	kept := &bytes.Buffer{}
	require.NoError(t, KeptTrace(t.Context(), o.State, kept))
	require.Contains(t, kept.String(), `"clock"`)
}
