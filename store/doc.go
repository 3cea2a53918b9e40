// Package store keeps what a room would rather not lose but can water without:
// plans, the register of probes, the journal, history, a mirror of the ledger.
// One bbolt file, one writer; every value carries a checksum over its place and
// its bytes, since a flipped bit in a value is otherwise silent.
//
//	meta      schema, install, created, open (set while a process writes)
//	          plan-in-force -> hash, seq-floor -> least number of the next journal entry
//	plans     <hash>                 -> JSON of Plan
//	register  <controller/terminal/address> -> JSON of Probe
//	journal   <seq, 8 bytes>         -> JSON of JournalEntry
//	history   <day, 2025-03-01 UTC>
//	            <minute, 4 bytes>    -> packed block: 5 slots of a minute, or, once
//	                                    thinned, 12 of five minutes; all series
//	            thinned              -> "1"
//	mirror    memory                 -> JSON of zones.Memory
//	alarms    <code> <subject>       -> JSON of Acknowledgement
//	papers    <kind>/<key>           -> JSON of Paper: what was learned, measured or walked
//
// History is laid out by time and not by probe: a batch of five minutes is one
// value in one page, whatever the number of probes. Bytes on flash count more here
// than the speed of a chart.
//
// The file is opened in a child process first (ProbeMain), because a damaged page
// can kill the process that maps it. A damaged file is put aside and a new one
// begun. Nothing here is ever needed to close a valve.
package store

import "errors"

// What the store can say; test with errors.Is.
var (
	// ErrLocked: another process has the file open.
	ErrLocked = errors.New("another process holds the store: ask the daemon over its socket, or stop it")
	// ErrNewer: a later version of the program wrote the file.
	ErrNewer = errors.New("the store's schema is newer than this program: install that version again, or restore a backup")
	// ErrDamaged: the file or a value in it cannot be trusted.
	ErrDamaged = errors.New("the store is damaged")
	// ErrReadOnly: the file, its directory or its file system cannot be written (or
	// not even be read).
	ErrReadOnly = errors.New("no access to the store: check who owns its directory, and that its file system is not mounted read-only")
	// ErrFull: no room on the disk, or the store is at its greatest size.
	ErrFull = errors.New("no room for the store: free some space on its disk")
	// ErrFailed: the disk failed once; nothing more is written until a restart.
	ErrFailed = errors.New("the store's disk failed")
	// ErrNotFound: there is no such thing in the store.
	ErrNotFound = errors.New("not in the store")
)
