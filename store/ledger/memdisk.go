package ledger

import (
	"fmt"
	"io/fs"
	"maps"
	"math/rand"
	"slices"
	"sync"
)

const sector = 512

// MemoryDisk is a Disk in memory for tests: it fails on demand, and a crash loses
// what was not synced. It stays when the ledger on it is closed.
type MemoryDisk struct {
	mu     sync.Mutex
	files  map[string]*memoryFile
	locked bool
	ops    int
	failAt int
	onward bool
	err    error
}

type memoryFile struct {
	disk    *MemoryDisk
	view    []byte // what a reader sees
	durable []byte // what a power cut leaves
	pending []write
}

type write struct {
	at   int
	data []byte
}

// NewMemoryDisk gives an empty disk.
func NewMemoryDisk() *MemoryDisk { return &MemoryDisk{files: map[string]*memoryFile{}} }

// FailAt makes the nth operation from now (1 = the next) fail with err; with
// onward every later one too. Operations are opening, writing and syncing in
// place, and four in putting a new file in place.
func (d *MemoryDisk) FailAt(n int, onward bool, err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.failAt, d.onward, d.err = d.ops+n, onward, err
}

// Operations counts the operations so far.
func (d *MemoryDisk) Operations() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.ops
}

// Crash cuts the power: of what was not synced each sector is kept or lost as rng
// says; nil loses all. Faults and the lock end.
func (d *MemoryDisk) Crash(rng *rand.Rand) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, name := range slices.Sorted(maps.Keys(d.files)) {
		d.files[name].crash(rng)
	}
	d.locked, d.failAt, d.onward = false, 0, false
}

func (f *memoryFile) crash(rng *rand.Rand) {
	for _, w := range f.pending {
		for i := 0; rng != nil && i < len(w.data); {
			n := min(sector-(w.at+i)%sector, len(w.data)-i)
			if rng.Intn(2) == 0 {
				copy(f.durable[w.at+i:], w.data[i:i+n])
			}
			i += n
		}
	}
	f.pending, f.view = nil, slices.Clone(f.durable)
}

// step counts an operation and says whether it fails.
func (d *MemoryDisk) step(what string) error {
	d.ops++
	if d.failAt > 0 && (d.ops == d.failAt || d.onward && d.ops > d.failAt) {
		return fmt.Errorf("%s: %w", what, d.err)
	}
	return nil
}

// Lock implements Disk.
func (d *MemoryDisk) Lock() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.locked {
		return ErrLocked
	}
	d.locked = true
	return nil
}

// Close implements Disk.
func (d *MemoryDisk) Close() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.locked = false
	return nil
}

// Read implements Disk.
func (d *MemoryDisk) Read(name string) ([]byte, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	f := d.files[name]
	if f == nil {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	return slices.Clone(f.view), nil
}

// Create implements Disk.
func (d *MemoryDisk) Create(name string, data []byte) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, what := range []string{"allocate", "write", "sync"} {
		if err := d.step(what + " " + name); err != nil {
			return err
		}
	}
	d.files[name] = &memoryFile{disk: d, view: slices.Clone(data), durable: slices.Clone(data)}
	return d.step("sync directory of " + name)
}

// Put sets a file as it would be found at the next start; nil removes it.
func (d *MemoryDisk) Put(name string, data []byte) {
	d.mu.Lock()
	defer d.mu.Unlock()
	delete(d.files, name)
	if data != nil {
		d.files[name] = &memoryFile{disk: d, view: slices.Clone(data), durable: slices.Clone(data)}
	}
}

// Open implements Disk.
func (d *MemoryDisk) Open(name string) (File, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.step("open " + name); err != nil {
		return nil, err
	}
	f := d.files[name]
	if f == nil {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	return f, nil
}

// WriteAt implements File; a write that fails leaves half of itself.
func (f *memoryFile) WriteAt(b []byte, at int64) (int, error) {
	f.disk.mu.Lock()
	defer f.disk.mu.Unlock()
	err := f.disk.step("write")
	if err != nil {
		b = b[:len(b)/2]
	}
	if int(at)+len(b) > len(f.view) {
		return 0, fmt.Errorf("write past the end at %d: the size must not change", at)
	}
	copy(f.view[at:], b)
	f.pending = append(f.pending, write{int(at), slices.Clone(b)})
	return len(b), err
}

// Sync implements File; as on Linux, after one that fails the pages count as
// clean and are never written.
func (f *memoryFile) Sync() error {
	f.disk.mu.Lock()
	defer f.disk.mu.Unlock()
	if err := f.disk.step("sync"); err != nil {
		f.pending = nil
		return err
	}
	for _, w := range f.pending {
		copy(f.durable[w.at:], w.data)
	}
	f.pending = nil
	return nil
}

// Close implements File.
func (f *memoryFile) Close() error { return nil }
