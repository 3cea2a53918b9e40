package main

import (
	"bytes"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// stalled is a reader of the log that stalls until it is let go.
type stalled struct {
	free chan struct{}
	mu   sync.Mutex
	got  bytes.Buffer
}

func (h *stalled) Write(b []byte) (int, error) {
	<-h.free
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.got.Write(b)
}

func (h *stalled) text() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.got.String()
}

// Who writes to the log never waits for who reads it; what found no place is told.
func TestLogWaitsForNobody(t *testing.T) {
	h := &stalled{free: make(chan struct{})}
	p := newLogPipe(h)
	done := make(chan struct{})
	go func() {
		for i := range logLines + 11 {
			_, _ = fmt.Fprintf(p, "line %d\n", i)
		}
		close(done)
	}()
	select {
	case <-done:
	case <-time.After(10 * time.Second):
		require.FailNow(t, "the log waits for its reader")
	}
	before := time.Now()
	p.flush(20 * time.Millisecond)
	require.Less(t, time.Since(before), 5*time.Second, "nor does the end")
	close(h.free)
	p.flush(10 * time.Second)
	lines := strings.Count(h.text(), "line ")
	require.GreaterOrEqual(t, lines, logLines)
	require.Contains(t, h.text(), fmt.Sprintf("%d lines of the log were left out: nobody read it\n", logLines+11-lines))
}
