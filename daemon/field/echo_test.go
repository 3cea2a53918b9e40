package field

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Only the word that is waited for proves the way through: not one that the broker kept,
// not another's, and not once more.
func TestEchoIsTheWordThatIsWaitedFor(t *testing.T) {
	e := &echo{}
	word, heard := e.expect()
	told := func() bool {
		select {
		case <-heard:
			return true
		default:
			return false
		}
	}
	e.hear(word, true)
	require.False(t, told(), "the broker's memory")
	e.hear([]byte(`{"echo":"0011223344556677"}`), false)
	require.False(t, told(), "another gateway's")
	e.hear(nil, false)
	require.False(t, told())
	e.hear(word, false)
	require.True(t, told())
	e.hear(word, false) // nobody waits any more
}
