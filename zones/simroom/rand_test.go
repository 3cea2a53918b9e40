package simroom

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// The first outputs of SplitMix64 for the seed 1234567, as they are commonly published
// beside its reference code (numbers from memory).
func TestStreamIsSplitMix64(t *testing.T) {
	s := stream{x: 1234567}
	for _, want := range []uint64{
		6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431, 16408922859458223821,
	} {
		require.Equal(t, want, s.next())
	}
}

func TestNormalHasMeanAndDeviation(t *testing.T) {
	s := newStream(1, "n")
	const n = 200000
	var sum, squares float64
	for i := 0; i < n; i++ {
		x := s.normal()
		sum += x
		squares += x * x
	}
	require.InDelta(t, 0, sum/n, 0.01) // 4.5 standard errors
	require.InDelta(t, 1, squares/n, 0.015)
}
