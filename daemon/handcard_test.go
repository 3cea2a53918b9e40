package daemon

import (
	"bytes"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// settled lets the loop's look at the card happen until what it began is done.
func (c *handCard) settled(t *testing.T, d *Daemon) {
	t.Helper()
	require.Eventually(t, func() bool {
		d.look()
		c.look(d)
		return !c.busy
	}, 10*time.Second, time.Millisecond)
}

func cardOf(t *testing.T, o Options) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(o.State, HandCardName))
	require.NoError(t, err)
	return string(text)
}

// The card is written after a start, from the schedule; and anew on the next night, from
// the day that was. In between it stays as it is.
func TestHandCardIsRenewedEachNight(t *testing.T) {
	o, c := inRoom(t)
	d := open(t, o)
	d.card.settled(t, d)
	require.NoFileExists(t, filepath.Join(o.State, HandCardName), "a start has other things to do")
	c.Set(c.Since() + cardFirst)
	d.card.settled(t, d)
	require.Contains(t, cardOf(t, o), "From the schedule")
	wet(d, "r-1", 3.2, 50)

	require.NoError(t, os.Remove(filepath.Join(o.State, HandCardName)))
	c.Set(c.Since() + time.Hour)
	d.card.settled(t, d)
	require.NoFileExists(t, filepath.Join(o.State, HandCardName), "not twice in a night")
	c.Set(c.Since() + 12*time.Hour)
	d.card.settled(t, d)
	text := cardOf(t, o)
	bench, other, _ := strings.Cut(text, "<h2>bench-b")
	require.Contains(t, bench, "3.2 L")
	require.NotContains(t, bench, "From the schedule")
	require.Contains(t, other, "From the schedule", "it had no shot")
	require.NoFileExists(t, filepath.Join(o.State, HandCardName+".new"))
	require.NoError(t, d.Close(nil))
}

// A card that cannot be written is logged and stops nothing; a clock that is not trusted
// writes none.
func TestHandCardStopsNothing(t *testing.T) {
	o, c := inRoom(t)
	var log bytes.Buffer
	o.Log = slog.New(slog.NewTextHandler(&log, nil))
	d := open(t, o)
	require.NoError(t, os.MkdirAll(filepath.Join(o.State, HandCardName, "in the way"), 0o700))
	c.Set(c.Since() + 2*cardFirst)
	d.card.settled(t, d)
	require.Contains(t, log.String(), "renew the hand card")
	require.NoError(t, os.RemoveAll(filepath.Join(o.State, HandCardName)))
	_, err := d.Advance()
	require.NoError(t, err)

	d.now.Trusted = false
	d.card.key = ""
	d.card.look(d)
	require.False(t, d.card.busy)
	d.now.Trusted = true
	d.card.look(d)
	require.True(t, d.card.busy)
	require.NoError(t, d.Close(nil), "the end waits for what is being written")
	require.FileExists(t, filepath.Join(o.State, HandCardName))
}

// Without a store the schedule has to do, and the reason is said.
func TestHandCardWithoutAStore(t *testing.T) {
	o, _ := inRoom(t)
	d := open(t, o)
	path := filepath.Join(t.TempDir(), HandCardName)
	r := reporting{plan: d.choice.plan, now: d.now.Wall, lines: nil}
	require.ErrorIs(t, writeHandCard(path, &r), errNoStore)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Contains(t, string(text), "From the schedule")
	require.NoError(t, d.Close(nil))
}
