package trace

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"time"
)

// Reader reads a trace line by line. Empty lines are skipped.
type Reader struct {
	in     *bufio.Reader
	decode *decoder
	number int
	last   time.Time
}

// NewReader reads a trace from r.
func NewReader(r io.Reader) *Reader {
	return &Reader{in: bufio.NewReaderSize(r, maxLine), decode: newDecoder()}
}

// Next gives the next line; io.EOF after the last. A wrong line is a *LineError.
func (r *Reader) Next() (Line, error) {
	for {
		b, err := r.in.ReadSlice('\n')
		if len(b) == 0 && err != nil {
			return Line{}, r.readError(err)
		}
		r.number++
		if errors.Is(err, bufio.ErrBufferFull) {
			return Line{}, &LineError{Line: r.number, What: fmt.Sprintf("longer than %d bytes", maxLine), Help: "a trace has one event on a line"}
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return Line{}, r.readError(err)
		}
		if b = bytes.TrimSuffix(b, []byte{'\n'}); len(bytes.TrimSpace(b)) > 0 {
			return r.line(b)
		}
	}
}

func (r *Reader) readError(err error) error {
	if errors.Is(err, io.EOF) {
		return io.EOF
	}
	return fmt.Errorf("read trace after line %d: %w", r.number, err)
}

// line decodes one line and puts it in its place in time.
func (r *Reader) line(b []byte) (Line, error) {
	l, err := r.decode.decode(b)
	if err != nil {
		var where *LineError
		if errors.As(err, &where) {
			where.Line = r.number
		}
		return Line{}, err
	}
	if l.At.Before(r.last) {
		return Line{}, &LineError{
			Line: r.number, What: fmt.Sprintf("\"at\" %s is before the line above it, %s", stampText(l.At), stampText(r.last)),
			Help: "`at` is true time and never falls back; step the wall clock with {\"clock\":{\"step\":\"-1h\"}}",
		}
	}
	if y := l.At.Year(); y < 1970 || y > 9999 {
		return Line{}, &LineError{Line: r.number, What: "the year is outside 1970 to 9999", Help: "`at` is true time"}
	}
	l.Number, r.last = r.number, l.At
	return l, nil
}

// batchSize is how many lines travel from the reading goroutine at once.
const batchSize = 512

// batch is some lines, and the error that ended the trace after them.
type batch struct {
	lines []Line
	err   error // io.EOF at its end
}

// readAhead decodes a trace in a goroutine of its own, a few batches ahead, until
// its end or until stop is closed.
func readAhead(in io.Reader, stop <-chan struct{}) <-chan batch {
	out := make(chan batch, 8)
	go func() {
		defer close(out)
		r := NewReader(in)
		for {
			b := r.batch()
			select {
			case out <- b:
			case <-stop:
				return
			}
			if b.err != nil {
				return
			}
		}
	}()
	return out
}

func (r *Reader) batch() batch {
	b := batch{lines: make([]Line, 0, batchSize)}
	for len(b.lines) < batchSize {
		l, err := r.Next()
		if err != nil {
			b.err = err
			return b
		}
		b.lines = append(b.lines, l)
	}
	return b
}
