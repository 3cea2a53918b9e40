package ledger

import (
	"errors"
	"fmt"
	"sync"

	"rillgate/zones"
)

// DefaultSize is the size of a segment in bytes: about 2,500 records.
const DefaultSize = 1 << 20

const minSize = 4096

// Options of Open. The zero value is right for a daemon without a store.
type Options struct {
	// Mirror is the memory that the store holds; nil = none. A mirror that is
	// later than the ledger shows a loss, and is what is left after one.
	Mirror *zones.Memory
	// StoreExisted says that the store was in use before, so that an empty
	// directory is a loss and not a first start.
	StoreExisted bool
	// Size is that of a segment in bytes; 0 = DefaultSize.
	Size int
	// Disk stands in for the directory in tests; nil = the real one.
	Disk Disk
}

// Stats counts what was written since Open.
type Stats struct {
	Records  int   // appended and durable
	Bytes    int64 // handed to the disk in place; whole new files are not counted
	Syncs    int
	Segments int // begun
}

// Ledger is an open ledger. Its methods may be called from any goroutine.
type Ledger struct {
	mu         sync.Mutex
	disk       Disk
	size       int
	name       string // of the segment being written
	file       File
	fileSize   int
	sizes      map[string]int
	end        int
	generation uint64
	memory     *zones.Memory // the fold of all that is durable
	held       []held        // lazy records, not written yet
	dead       error
	stats      Stats
	buf        []byte
}

// Open takes the ledger in dir for this process, recovers what it holds and
// begins a segment. The error is ErrLocked or ErrNewer, and nothing was touched,
// or ErrFailed; then Recovered still tells what was found, if it could be read.
func Open(dir string, o Options) (*Ledger, Recovered, error) {
	d := o.Disk
	if d == nil {
		d = newDirectory(dir)
	}
	if o.Size == 0 {
		o.Size = DefaultSize
	}
	o.Size = padded(max(o.Size, minSize))
	if err := d.Lock(); err != nil {
		return nil, Recovered{}, fmt.Errorf("open ledger %s: %w", dir, failed(err))
	}
	l, rec, err := open(d, o)
	if err != nil {
		d.Close()
		return nil, rec, fmt.Errorf("open ledger %s: %w", dir, failed(err))
	}
	return l, rec, nil
}

// failed adds ErrFailed to an error of the disk.
func failed(err error) error {
	if errors.Is(err, ErrLocked) || errors.Is(err, ErrNewer) {
		return err
	}
	return fmt.Errorf("%w: %w", ErrFailed, err)
}

func open(d Disk, o Options) (*Ledger, Recovered, error) {
	f, err := look(d, o)
	if err != nil {
		return nil, Recovered{}, err
	}
	l := &Ledger{disk: d, size: o.Size, generation: f.generation, memory: f.Memory.Clone(), sizes: map[string]int{}}
	l.sizes[f.other.name] = f.other.size
	if f.from != nil {
		l.name, l.end, l.fileSize = f.from.name, f.from.end, f.from.size
		l.sizes[l.name] = f.from.size
		if l.file, err = d.Open(l.name); err != nil {
			return nil, f.Recovered, err
		}
	}
	if err = l.settle(f); err != nil {
		l.closeFile()
		return nil, f.Recovered, err
	}
	return l, f.Recovered, nil
}

// settle begins a segment, sees to it that both exist, and puts the marker last:
// a start that is cut short before it is still a first start.
func (l *Ledger) settle(f *found) error {
	sealed := f.from == nil || f.from.sealed
	if err := l.begin(f.other.name, sealed); err != nil {
		return err
	}
	if spare := otherName(l.name); l.sizes[spare] == 0 {
		if err := l.disk.Create(spare, make([]byte, l.size)); err != nil {
			return err
		}
		l.sizes[spare] = l.size
	}
	if f.marked {
		return nil
	}
	return l.disk.Create(marker, []byte(markerText))
}

const markerText = "A safety ledger has been kept beside this file. Do not delete it: without the\n" +
	"ledger it tells that water already given today is unknown, and all budgets\n" +
	"count as spent until a person resets them.\n"

func otherName(name string) string {
	if name == segmentA {
		return segmentB
	}
	return segmentA
}

// Memory gives a copy of what is durable: the one to mirror in the store. A mirror
// of anything later would look like a loss after a crash.
func (l *Ledger) Memory() *zones.Memory {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.memory.Clone()
}

// Stats gives the counts since Open.
func (l *Ledger) Stats() Stats {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.stats
}

// Close writes what waits and gives the ledger free for another process.
func (l *Ledger) Close() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	var err error
	if l.dead == nil {
		err = l.flush()
	}
	l.dead = fmt.Errorf("%w: it is closed", ErrFailed)
	return errors.Join(err, l.closeFile(), l.disk.Close())
}

func (l *Ledger) closeFile() error {
	if l.file == nil {
		return nil
	}
	err := l.file.Close()
	l.file = nil
	return err
}
