package schedule

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/zones/zonetest/purity"
)

// The schedule answers from what it is given: were it to read a clock, a file or
// the order of a map, a replay would not repeat what the room did.
func TestPure(t *testing.T) {
	found, err := purity.Check(".", "github.com/robfig/cron/v3")
	require.NoError(t, err)
	require.Empty(t, found, "this package must be pure:\n%s", strings.Join(found, "\n"))
}
