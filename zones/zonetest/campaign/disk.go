package campaign

import (
	"encoding/json"
	"fmt"
	"time"

	"rillgate/zones"
)

// lazyFor is how long a record that needs no sync of its own may wait for one.
const lazyFor = time.Minute

// disk is the ledger: what it answered for outlives a crash, of the rest a part that
// the fault decides. Records take the way through their JSON form, as frames do.
type disk struct {
	memory  *zones.Memory
	unsaved []*zones.Record
	slow    []Fault
	fails   int
	broken  bool // a record was refused: nothing is taken until a restart
	lastDue time.Duration
}

// record takes one; it answers later, or says that it cannot.
func (w *world) record(rec *zones.Record) {
	d := &w.disk
	if d.broken {
		return
	}
	life := w.lives
	if d.fails > 0 {
		d.broken = true
		seq := rec.Seq
		w.queue.push(w.now, func(w *world) {
			if w.lives == life {
				w.give(&zones.RecordFailed{Seq: seq, Err: "write ledger: no space left on device"})
			}
		})
		return
	}
	d.unsaved = append(d.unsaved, w.kept(rec))
	late := w.syncTime(rec)
	d.lastDue = max(d.lastDue, w.now+late)
	if rec.Lazy {
		d.lastDue = max(d.lastDue-late, w.now)
	}
	at, seq := d.lastDue, rec.Seq
	if rec.Lazy {
		at += lazyFor
	}
	w.queue.push(at, func(w *world) {
		if w.lives == life && w.alive {
			w.synced(seq)
		}
	})
}

// syncTime is how long the ledger takes for a record.
func (w *world) syncTime(rec *zones.Record) time.Duration {
	late := time.Duration(chanceAt(w.c.Seed, "sync", w.now, int(rec.Seq)) * float64(w.set.latency))
	for _, f := range w.disk.slow {
		late = max(late, time.Duration(chanceAt(w.c.Seed, f.Kind, w.now, int(rec.Seq))*f.Value*float64(time.Second)))
	}
	return late.Truncate(time.Millisecond)
}

// synced makes all up to seq durable and says so.
func (w *world) synced(seq uint64) {
	d := &w.disk
	n := 0
	for n < len(d.unsaved) && d.unsaved[n].Seq <= seq {
		d.memory.Apply(d.unsaved[n])
		n++
	}
	if n == 0 {
		return
	}
	d.unsaved = d.unsaved[n:]
	w.give(&zones.Recorded{Seq: seq})
}

// lose is a crash: a share of what was not answered for is gone, the last of it.
func (d *disk) lose(share float64) {
	keep := int(float64(len(d.unsaved)) * (1 - share))
	for _, rec := range d.unsaved[:keep] {
		d.memory.Apply(rec)
	}
	d.unsaved, d.broken, d.lastDue = nil, false, 0
}

// restored is what a new process reads. Where messages are sparse time is not spent on
// the JSON form either.
func (w *world) restored() *zones.Memory {
	if w.c.Sparse {
		return w.disk.memory.Clone()
	}
	var m zones.Memory
	roundTrip(w.disk.memory, &m)
	return &m
}

// kept is the record as the ledger has it: a copy of its own.
func (w *world) kept(rec *zones.Record) *zones.Record {
	c := *rec
	if !w.c.Sparse {
		roundTrip(rec, &c)
		return &c
	}
	if rec.Run != nil {
		run := *rec.Run
		c.Run = &run
	}
	return &c
}

// roundTrip copies through JSON; that these types have that form is a fact of the
// program, not of its input.
func roundTrip(from, to any) {
	b, err := json.Marshal(from)
	if err == nil {
		err = json.Unmarshal(b, to)
	}
	if err != nil {
		panic(fmt.Sprintf("copy %T: %v", from, err))
	}
}
