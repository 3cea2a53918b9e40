// Package ledger is the append-only safety ledger: what must be durable before a
// valve opens, and what must outlive the process.
//
//	dir/                  flock on the directory: one writer (INV-13)
//	  ledger-a, ledger-b  two segments of a fixed size, used in turn
//	  ledger.marker       says that a ledger has existed here
//
//	segment:  header 64 B | snapshot frame | record frame ... | seal | unused
//	header:   "RILLLEDG" version:4 size:4 generation:8 zero:36 crc:4
//	frame:    "RLF1" length:4 generation:8 seq:8 durable:8 kind:4 crc:4 | payload | pad to 8
//
// Numbers are little-endian, checksums CRC-32C. A snapshot is the JSON of a
// zones.Memory, a record that of a zones.Record; a seal is empty. Generation tells
// a frame from what an earlier use of the segment left behind it. Durable is the
// highest seq that was synced before the frame was written: a broken frame that a
// later one calls durable is damage, any other is the torn tail of a power cut.
//
// A segment is used again only after the other one was begun with a snapshot that
// is synced; then the old one gets a seal, so that a lost successor is noticed.
// Every start begins a segment: nothing is ever written behind a torn tail.
//
// What is not noticed: a bit that flips in the very last frame looks like a torn
// tail. The mirror in the store, if it is later, tells.
package ledger

import "errors"

// What Open and Append can say; test with errors.Is.
var (
	// ErrLocked: another process holds the ledger.
	ErrLocked = errors.New("another process holds the ledger")
	// ErrNewer: a later version of the program wrote the ledger.
	ErrNewer = errors.New("the ledger's format is newer than this program: install the one that wrote it, or a later one")
	// ErrFailed: the disk refused once; nothing is durable any more until the
	// process starts again (INV-25).
	ErrFailed = errors.New("the ledger cannot be written: look at its disk, then start again")
)
