package field

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker"
)

// Four losses soon after connecting within a minute are too many: two clients with one id
// throw each other out. Three are not, nor four over a longer time.
func TestTakeovers(t *testing.T) {
	at := time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)
	for name, c := range map[string]struct {
		after time.Duration // from the first to the fourth
		many  bool
	}{
		"within a minute": {time.Minute - 1, true},
		"over a minute":   {time.Minute, false},
	} {
		t.Run(name, func(t *testing.T) {
			var all takeovers
			require.False(t, all.another(at))
			require.False(t, all.another(at.Add(c.after/2)))
			require.False(t, all.another(at.Add(c.after-2)))
			require.Equal(t, c.many, all.another(at.Add(c.after)))
		})
	}
}

// What a session says that is no longer the open one comes too late: it neither cuts the
// link nor makes it.
func TestAWordOfAnEarlierSession(t *testing.T) {
	l := dial(t, config(embedded(t, broker.Options{}).URL()))
	waitUp(t, l)
	l.Drain(nil)
	open, _ := l.commands.state()
	l.setUp(&session{}, false, "an earlier one")
	l.setUp(nil, false, "there was none")
	up, why := l.Up()
	require.True(t, up, why)
	require.Empty(t, l.Drain(nil))
	l.setUp(open, false, "the open one")
	up, why = l.Up()
	require.False(t, up)
	require.Equal(t, "the open one", why)
	l.setUp(&session{}, true, "")
	up, _ = l.Up()
	require.False(t, up)
	require.Len(t, l.Drain(nil), 1)
}
