package power

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

func page(value byte) []byte { return bytes.Repeat([]byte{value}, blockSize) }

// An honest card keeps what was flushed, whatever else is lost; of the rest, each block
// may be there or not, and a prefix may be.
func TestCutKeepsWhatWasFlushed(t *testing.T) {
	c := newCard(4 * blockSize)
	require.True(t, c.write(page(1), 0))
	c.flush()
	sprung := c.arm(false, 2)
	c.write(page(2), 0)
	c.write(page(3), 2*blockSize)
	m := <-sprung
	require.Len(t, m.log, 2)
	kept := map[[2]byte]bool{}
	dice := rand.New(rand.NewPCG(1, 1))
	for shape := range 300 {
		image := m.cut(shape, dice)
		require.Contains(t, []byte{1, 2}, image[0])
		require.Contains(t, []byte{0, 3}, image[2*blockSize])
		require.Zero(t, image[blockSize])
		kept[[2]byte{image[0], image[2*blockSize]}] = true
	}
	require.Len(t, kept, 4, "each write is lost and kept, with and without the other")
	require.False(t, c.write(page(1), 4*blockSize), "past the end")
}

// A card that lies says what it has kept: less than was flushed.
func TestLateFlush(t *testing.T) {
	c := newCard(blockSize)
	var told int64
	c.told = func() int64 { return told }
	c.lie(2)
	for value := range byte(5) {
		c.write(page(value+1), 0)
		told = int64(value + 1)
		c.flush()
	}
	require.Equal(t, byte(3), c.durable[0], "two flushes late")
	require.Equal(t, int64(3), c.kept)
	require.Len(t, c.log, 2)
	require.Equal(t, byte(5), c.now[0])
}
