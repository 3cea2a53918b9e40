package trace

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
	"rillgate/zones/response"
)

// What a room was told of a zone's past comes back from the trace, but for how many
// observations it is of and their spread, which the room does not ask.
func TestTaughtComesBack(t *testing.T) {
	n := func(value, half float64) response.Number { return response.Number{Value: value, HalfWidth: half, N: 1} }
	for _, e := range []zones.Taught{
		{Zone: "east", Field: 54200, Day: n(1.1, 0.1), Night: n(0.2, 0.05), At: 51.5, Slope: n(0.02, 0.004)},
		{Zone: "east", Day: n(1.1, 0.1), At: 51.5, Slope: n(0, 0.01)},
		{Zone: "west"},
	} {
		require.Equal(t, &e, taughtOf(&e).event())
	}
}
