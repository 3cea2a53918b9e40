package daemon

import (
	"slices"
	"time"

	"rillgate/daemon/operator"
	"rillgate/store"
	"rillgate/zones"
)

// When the store is written. One commit costs some 34 KB of flash, whatever is in
// it: readings wait for five minutes, and a line that matters pulls a commit forward
// only as far as there are early ones left (288 a day, 20 at once).
const (
	commitEvery = 5 * time.Minute
	earlyAfter  = 2 * time.Second
	earlyMost   = 20
	earlyRefill = 5 * time.Minute
	mirrorEvery = 15 * time.Minute
	thinEvery   = 24 * time.Hour
	thinFirst   = 10 * time.Minute // after a start: a box that is switched off every night thins too
	viewsMost   = 60               // minutes of history that a failing store may hold up
)

// batch is what one commit brings to the store.
type batch struct {
	lines  []operator.Line
	views  []zones.View // one a minute
	mirror bool         // with the ledger's memory
	probes []store.Probe
	papers []store.Paper
	thin   bool
	at     time.Time
	tried  chan struct{} // closed when it was written, or could not be

	silenced  []store.Acknowledgement // alarms acknowledged
	forgotten []alarmName             // whose acknowledgement is over
}

// shelf takes a batch: all of it, or none.
type shelf interface{ save(b *batch) error }

// keeper decides when the store is written and writes it on a goroutine of its own.
// Its other methods are the loop's.
type keeper struct {
	shelf   shelf
	work    chan *batch
	results chan result
	done    chan struct{}

	busy      bool
	writing   *batch // while busy: what is on its way
	failing   bool   // the last commit failed
	views     []zones.View
	noticedAt time.Duration // Mono of the first line that matters and is not saved; 0 = none
	notice    bool
	register  bool // who is known, or where, may have changed
	latched   bool // a latch or a hold may have come or gone
	early     int
	refilled  time.Duration
	committed time.Duration
	mirrored  time.Duration
	thinned   time.Duration
}

type result struct {
	batch *batch
	err   error
}

// newKeeper begins to keep; shelf nil keeps nothing.
func newKeeper(s shelf, mono time.Duration) *keeper {
	k := &keeper{shelf: s, work: make(chan *batch, 1), results: make(chan result, 1), done: make(chan struct{}),
		early: earlyMost, refilled: mono, committed: mono, mirrored: mono, thinned: mono - thinEvery + thinFirst}
	go k.write()
	return k
}

func (k *keeper) write() {
	defer close(k.done)
	for b := range k.work {
		err := k.shelf.save(b)
		k.results <- result{b, err}
		close(b.tried)
	}
}

// sample keeps a minute's look for the next commit.
func (k *keeper) sample(v *zones.View) {
	if k.shelf == nil {
		return
	}
	if len(k.views) >= viewsMost {
		k.views = k.views[1:]
	}
	k.views = append(k.views, *v)
}

// waiting gives the minutes that the store may not have yet.
func (k *keeper) waiting() []zones.View {
	if k.writing == nil {
		return slices.Clone(k.views)
	}
	return append(slices.Clone(k.writing.views), k.views...)
}

// noticed marks a line that somebody may look for after a crash.
func (k *keeper) noticed(e *zones.Entry) {
	if e.Kind != "refused" {
		k.notice = true
	}
	if e.Kind == "probe-new" || e.Kind == "plan-applied" || e.Kind == "order" {
		k.register = true
	}
	if e.Kind == "order" || e.Kind == "alarm" {
		k.latched = true
	}
}

// look is called once a second: it fetches what the last commit gave, and begins
// one when one is due.
func (k *keeper) look(d *Daemon) {
	if k.shelf == nil {
		return
	}
	k.fetch(d)
	if k.notice && k.noticedAt == 0 {
		k.noticedAt = d.now.Mono
	}
	for k.early < earlyMost && d.now.Mono-k.refilled >= earlyRefill {
		k.early++
		k.refilled += earlyRefill
	}
	if !k.busy && k.due(d.now.Mono) {
		k.begin(d)
	}
}

func (k *keeper) fetch(d *Daemon) {
	select {
	case r := <-k.results:
		k.finish(d, r)
	default:
	}
}

// saved has papers that wait, and lines where they are waited for, written at once,
// whatever the pace: a person waits. The channel closes when a commit is through, and then
// it is to be asked again; nil: none waits. false: they cannot be written now.
func (k *keeper) saved(d *Daemon, lines bool) (<-chan struct{}, bool) {
	if k.shelf == nil {
		return nil, true
	}
	k.fetch(d)
	switch {
	case k.busy:
		return k.writing.tried, true
	case len(d.papers) == 0 && !lines:
		return nil, true
	case k.failing:
		return nil, false
	}
	k.begin(d)
	return k.writing.tried, true
}

func (k *keeper) due(mono time.Duration) bool {
	if mono-k.committed >= commitEvery {
		return true
	}
	if k.noticedAt == 0 || mono-k.noticedAt < earlyAfter || k.early == 0 {
		return false
	}
	if k.early == earlyMost {
		k.refilled = mono
	}
	k.early--
	return true
}

func (k *keeper) begin(d *Daemon) {
	k.writing, k.busy = k.batch(d, false), true
	k.work <- k.writing
}

// batch takes all that is to be saved; the last one whatever its pace.
func (k *keeper) batch(d *Daemon, last bool) *batch {
	mono := d.now.Mono
	b := &batch{lines: d.trail.takeUnsaved(), views: k.views, at: d.now.Wall, tried: make(chan struct{})}
	k.views, k.notice, k.noticedAt, k.committed = nil, false, 0, mono
	b.silenced, b.forgotten = d.silenced.unsaved()
	b.papers = append(d.papers, d.teacher.paper(d.choice.plan.Room, d.room.Age(d.now), d.now.Wall, last)...)
	d.papers = nil
	if k.register {
		k.register = false
		v := d.view()
		b.probes = d.register.changed(&v)
	}
	if k.latched || mono-k.mirrored >= mirrorEvery { // what stands closed outlives a lost ledger
		b.mirror, k.mirrored, k.latched = true, mono, false
	}
	if mono-k.thinned >= thinEvery {
		b.thin, k.thinned = true, mono
	}
	return b
}

// finish notes how a commit went. What was not saved is tried again with the next.
func (k *keeper) finish(d *Daemon, r result) {
	k.busy, k.writing = false, nil
	if r.err == nil {
		d.silenced.kept(r.batch)
		if k.failing {
			k.failing = false
			d.over(zones.AlarmStoreDamaged, d.o.Room)
		}
		return
	}
	k.failing = true
	d.trail.putBack(r.batch.lines)
	d.papers = append(r.batch.papers, d.papers...)
	k.views = append(r.batch.views, k.views...)
	if extra := len(k.views) - viewsMost; extra > 0 {
		k.views = k.views[extra:]
	}
	d.trouble(zones.AlarmStoreDamaged, d.o.Room, "journal and history cannot be saved, watering goes on: "+r.err.Error())
}

// close saves what is left, with a mirror, and ends.
func (k *keeper) close(d *Daemon) {
	if k.shelf == nil {
		close(k.work)
		<-k.done
		return
	}
	if k.busy {
		k.finish(d, <-k.results)
	}
	v := d.view()
	b := k.batch(d, true)
	b.mirror = true
	b.probes = d.register.all(&v)
	k.work <- b
	if r := <-k.results; r.err != nil {
		d.o.Log.Error("save the journal at the end", "error", r.err)
	}
	close(k.work)
	<-k.done
}
