package power

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
)

// Sizes of what a card keeps or loses as one.
const (
	blockSize  = 4096
	sectorSize = 512
)

// tornOf is how many of a hundred blocks are kept in part.
const tornOf = 10

// cut gives the content of a card after the power went at a moment. A shape in seven
// is the writes up to some moment, in their order; the others keep each block by
// itself, none to all of them, a tenth of them torn between sectors.
func (m *moment) cut(shape int, dice *rand.Rand) []byte {
	image := append([]byte(nil), m.durable...)
	if shape%7 == 6 {
		for _, w := range m.log[:dice.IntN(len(m.log)+1)] {
			copy(image[w.at:], w.data)
		}
		return image
	}
	kept := (shape % 5) * 25 // of a hundred
	for _, w := range m.log {
		for from := 0; from < len(w.data); from += blockSize {
			to := min(from+blockSize, len(w.data))
			at := image[w.at+int64(from) : w.at+int64(to)]
			switch {
			case dice.IntN(100) < tornOf:
				tear(at, w.data[from:to], dice)
			case dice.IntN(100) < kept:
				copy(at, w.data[from:to])
			}
		}
	}
	return image
}

func tear(at, data []byte, dice *rand.Rand) {
	for from := 0; from < len(data); from += sectorSize {
		if dice.IntN(2) == 0 {
			to := min(from+sectorSize, len(data))
			copy(at[from:to], data[from:to])
		}
	}
}

// save writes an image to a file, with holes where it is empty.
func save(image []byte, path string) error {
	f, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("write image: %w", err)
	}
	defer f.Close()
	if err := f.Truncate(int64(len(image))); err != nil {
		return fmt.Errorf("write image: %w", err)
	}
	var empty [blockSize]byte
	for at := 0; at < len(image); at += blockSize {
		block := image[at:min(at+blockSize, len(image))]
		if bytes.Equal(block, empty[:len(block)]) {
			continue
		}
		if _, err := f.WriteAt(block, int64(at)); err != nil {
			return fmt.Errorf("write image: %w", err)
		}
	}
	return nil
}
