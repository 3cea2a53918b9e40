package daemon

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"rillgate/daemon/trace"
	"rillgate/zones"
)

// What is kept of the inputs, for `journal --trace`.
const (
	traceFolder  = "trace"
	tracePeriod  = time.Hour       // of one file
	traceFiles   = 25              // so that a whole day is always there
	traceFlush   = 5 * time.Minute // until what came in is in the file
	traceChunk   = 32 << 10        // bytes handed to the writer at once
	traceWaiting = 64              // chunks that a slow disk may hold up; then some are lost
)

// tracer keeps what came in over the last day, as a trace: hourly files, packed. The
// loop only writes into memory; a goroutine of its own has the disk. It is for
// looking back, never for safety: what a slow disk cannot take is lost, and counted.
type tracer struct {
	folder   string
	recorder *trace.Recorder
	buffer   bytes.Buffer
	flushed  time.Duration
	lost     int
	work     chan traceJob
	done     chan struct{}
}

// traceJob is one thing for the goroutine: bytes to append, a file to flush, or both.
type traceJob struct {
	data  []byte
	at    time.Time
	flush bool
	ready chan struct{} // closed when done; nil = nobody waits
}

// newTracer begins to keep a trace in the state directory. It goes on behind what
// an earlier process kept, with a restart between.
func newTracer(state string, plan *zones.Plan, now zones.Instant) (*tracer, error) {
	t := &tracer{folder: filepath.Join(state, traceFolder), work: make(chan traceJob, traceWaiting), done: make(chan struct{}), flushed: now.Mono}
	if err := os.MkdirAll(t.folder, 0o750); err != nil {
		return nil, fmt.Errorf("create the trace's directory: %w", err)
	}
	t.recorder = trace.NewRecorder(plan, &t.buffer)
	if old, _ := t.list(); len(old) > 0 {
		if err := t.recorder.Restart(now); err != nil {
			return nil, err
		}
	}
	go t.write()
	return t, nil
}

// observe takes one step of the room.
func (t *tracer) observe(now zones.Instant, ev zones.Event, effects []zones.Effect) {
	if t == nil {
		return
	}
	if err := t.recorder.Observe(now, ev, effects); err != nil {
		t.lost++
	}
	flush := now.Mono-t.flushed >= traceFlush
	if t.buffer.Len() < traceChunk && !flush {
		return
	}
	t.hand(now, traceJob{flush: flush})
}

// hand gives what is buffered to the goroutine; it never blocks.
func (t *tracer) hand(now zones.Instant, job traceJob) bool {
	if err := t.recorder.Flush(); err != nil {
		t.lost++
	}
	job.at, job.data = now.Wall, bytes.Clone(t.buffer.Bytes())
	t.buffer.Reset()
	if job.flush {
		t.flushed = now.Mono
	}
	select {
	case t.work <- job:
		return true
	default:
		t.lost++
		return false
	}
}

// close writes what is left.
func (t *tracer) close(now zones.Instant) {
	if t == nil {
		return
	}
	t.hand(now, traceJob{flush: true})
	close(t.work)
	<-t.done
}

// list gives the files kept, oldest first.
func (t *tracer) list() ([]string, error) {
	files, err := filepath.Glob(filepath.Join(t.folder, "*.jsonl.gz"))
	slices.Sort(files)
	return files, err
}

// write is the goroutine that has the disk.
func (t *tracer) write() {
	defer close(t.done)
	var f *traceFile
	for job := range t.work {
		if f != nil && job.at.Sub(f.began).Abs() >= tracePeriod {
			f.close()
			f = nil
		}
		if f == nil {
			f = t.open(job.at)
		}
		f.append(job.data, job.flush)
		if job.ready != nil {
			close(job.ready)
		}
	}
	f.close()
}

// open begins a file and removes the oldest; nil when the disk refuses.
func (t *tracer) open(at time.Time) *traceFile {
	files, err := t.list()
	for ; err == nil && len(files) >= traceFiles; files = files[1:] {
		err = os.Remove(files[0])
	}
	n := 0
	if len(files) > 0 {
		_, _ = fmt.Sscanf(filepath.Base(files[len(files)-1]), "%d-", &n)
	}
	name := fmt.Sprintf("%08d-%s.jsonl.gz", n+1, at.UTC().Format("20060102T150405Z"))
	f, err := os.OpenFile(filepath.Join(t.folder, name), os.O_CREATE|os.O_WRONLY|os.O_EXCL, 0o640)
	if err != nil {
		return nil
	}
	packed, _ := gzip.NewWriterLevel(f, gzip.BestSpeed)
	return &traceFile{began: at, file: f, packed: packed}
}

// traceFile is one hour of the trace; a nil one takes everything and keeps nothing.
type traceFile struct {
	began  time.Time
	file   *os.File
	packed *gzip.Writer
}

func (f *traceFile) append(data []byte, flush bool) {
	if f == nil {
		return
	}
	_, _ = f.packed.Write(data)
	if flush {
		_ = f.packed.Flush()
	}
}

func (f *traceFile) close() {
	if f == nil {
		return
	}
	_ = f.packed.Close()
	_ = f.file.Close()
}

// KeptTrace writes the trace that a daemon, which runs no more, left in a state
// directory; an error when there is none.
func KeptTrace(ctx context.Context, state string, w io.Writer) error {
	t := &tracer{folder: filepath.Join(state, traceFolder)}
	files, err := t.list()
	if err == nil && len(files) == 0 {
		return fmt.Errorf("read the trace: no file of one is in %s", t.folder)
	}
	return t.copyTo(ctx, w)
}

// copyTo writes all that is kept, in order. A file that a crash left unfinished
// gives what it has.
func (t *tracer) copyTo(ctx context.Context, w io.Writer) error {
	files, err := t.list()
	if err != nil {
		return fmt.Errorf("list the trace's files: %w", err)
	}
	for _, name := range files {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := unpack(w, name); err != nil {
			return err
		}
	}
	return nil
}

func unpack(w io.Writer, name string) error {
	f, err := os.Open(name)
	if err != nil {
		return fmt.Errorf("read the trace: %w", err)
	}
	defer f.Close()
	packed, err := gzip.NewReader(f)
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return nil // it was only begun
	}
	if err != nil {
		return fmt.Errorf("read the trace %s: %w", name, err)
	}
	if _, err := io.Copy(w, packed); err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
		return fmt.Errorf("read the trace %s: %w", name, err)
	}
	return nil
}
