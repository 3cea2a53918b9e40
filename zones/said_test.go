package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// What is said to people names what is so, and nothing that is not.
func TestWordsOfAnIgnoredProbe(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	require.True(t, g.order(Order{ID: "1", Kind: OrderIgnore, Subject: "a0", For: time.Hour}).Accepted)
	g.run(10*time.Second, 45)
	require.Equal(t, ProbesLost, g.zone("a").Reason)
	require.Equal(t, "1 of 1 probes count, 2 are needed: 1 ignored", g.zone("a").Because)
	g.run(4*time.Minute, 0)
	require.Equal(t, "0 of 1 probes count, 2 are needed: 1 silent for 3 min or not heard twice yet, 1 ignored", g.zone("a").Because)
}

func TestNothingToAcknowledge(t *testing.T) {
	g := newRig(t, benchPlan(1, 1))
	a := g.order(Order{ID: "1", Kind: OrderAcknowledge})
	require.False(t, a.Accepted)
	require.Equal(t, "no alarm stands: there is nothing to acknowledge", a.Because)
	require.Contains(t, g.order(Order{ID: "2", Kind: OrderAcknowledge, Subject: "a9"}).Because, `no alarm and no probe "a9"`)
}

// The advice comes with the error: a ledger of a newer program asks for no new disk.
func TestWordsOfABrokenLedgerAreTheLedgersOwn(t *testing.T) {
	g := newRig(t, benchPlan(1, 1))
	g.step(&RecordFailed{Seq: g.room.recSeq + 1, Err: "its format is newer: install the program that wrote it"})
	require.Equal(t, "the ledger cannot be written: its format is newer: install the program that wrote it", storeWords(g.room, nil, nil))
}
