package zones

import (
	"slices"
	"time"
)

const (
	offlineAfter  = 15 * time.Second
	inputSettle   = 15 * time.Second
	inputSilence  = 3 * time.Minute
	silentOpen    = LeaseMax + 2*time.Second // a silent controller's outputs after our start
	driftSpan     = 10                       // minutes
	driftAllowed  = 500*time.Millisecond + driftSpan*time.Minute/1000
	leftBoots     = 16
	meteredFlow   = 0.05 // L/min: under it a meter counts as still; common practice, no source
	confirmWithin = 2 * time.Second
	closeEvery    = time.Second
	mismatchAfter = 3 * time.Second
	deadlineGrace = 5 * time.Second
	openShownIn   = 10 * time.Second
	settleGrace   = 2 * time.Second
)

// controller is what is known of one room controller.
type controller struct {
	id      string
	cfg     *Controller
	outputs []*output

	heard    bool
	online   bool
	since    time.Duration // reporting without a break since
	last     time.Duration // age at the last report that was newer than the one before
	offWhy   string
	boot     string
	left     []string // boots that ended
	again    revenant
	uptime   time.Duration
	arrived  time.Duration
	reports  int // of this boot
	epoch    uint32
	seq      uint32
	awaited  time.Duration // a renewal waits for its next report from this age on; forever = none
	ready    bool          // closed first, and said so under our epoch
	drift    [driftSpan + 2]driftMinute
	driftBad bool
	driftOK  int
}

// driftMinute holds the least delayed uptime - age of one minute.
type driftMinute struct {
	minute int32
	offset time.Duration
}

func newController(id string, t time.Duration) *controller {
	return &controller{id: id, last: neverHeard, offWhy: "not heard since the start", awaited: forever}
}

// usable reports whether grants may be reckoned in the controller's uptime.
func (c *controller) usable() bool { return c.online && !c.driftBad }

// uptimeAt gives what the controller's uptime is at least at age t.
func (c *controller) uptimeAt(t time.Duration) time.Duration { return c.uptime + t - c.arrived }

// report takes a controller's word.
func (r *Room) report(e *Report) {
	c := r.controlBy[e.Controller]
	if c == nil || e.Retained || e.Boot == "" {
		return
	}
	if e.Boot != c.boot {
		because := "controller " + c.id + " started anew"
		if slices.Contains(c.left, e.Boot) {
			if !c.goesOn(e, r.t) {
				return
			}
			because = "controller " + c.id + " goes on in a boot that was taken for ended"
		}
		r.newBoot(c, e, because)
	} else if e.Uptime < c.uptime || (e.Uptime == c.uptime && !newer(e.Epoch, e.Seq, c.epoch, c.seq) && sameOutputsReported(c, e)) {
		return // older than the newest, or the same again
	}
	r.seeEpoch(c, e)
	if !c.online {
		c.online, c.offWhy, c.since = true, "", r.t
		r.dirty = true
		r.takeWaiting(c)
	}
	if e.Uptime-c.uptimeAt(r.t) > endSlack {
		r.dirty = true // the one before came late: what was reckoned from it is reckoned anew
	}
	if r.t >= c.awaited {
		c.awaited, r.dirty = forever, true // a renewal waits for this word
	}
	c.heard, c.last = true, r.t
	c.uptime, c.arrived = e.Uptime, r.t
	c.reports++
	c.epoch, c.seq = e.Epoch, e.Seq
	r.watchDrift(c)
	for i := range e.Outputs {
		if o := c.output(e.Outputs[i].Number); o != nil {
			r.outputReport(o, e, &e.Outputs[i])
		}
	}
	if !c.ready {
		r.dirty = true
	}
}

// output finds the controller's output of a number; nil when the plan has none.
func (c *controller) output(number int) *output {
	for _, o := range c.outputs {
		if o.id.Number == number {
			return o
		}
	}
	return nil
}

// newer reports whether the pair (e, s) is past (e2, s2).
func newer(e, s, e2, s2 uint32) bool { return e > e2 || (e == e2 && s > s2) }

func sameOutputsReported(c *controller, e *Report) bool {
	for i := range e.Outputs {
		for _, o := range c.outputs {
			if w := &e.Outputs[i]; o.id.Number == w.Number && (!o.shown || o.open != w.Open || o.flow != w.FlowLPM) {
				return false
			}
		}
	}
	return true
}

// newBoot ends the controller's runs (their charge is kept) and begins its start
// again: closed first, confirmed under our epoch.
func (r *Room) newBoot(c *controller, e *Report, because string) {
	was := c.boot
	c.again = revenant{}
	c.left = slices.DeleteFunc(c.left, func(b string) bool { return b == e.Boot })
	c.boot, c.uptime, c.reports, c.ready = e.Boot, -1, 0, false
	c.epoch, c.seq = 0, 0
	c.drift = [driftSpan + 2]driftMinute{}
	c.driftBad, c.driftOK = false, 0
	for _, o := range c.outputs {
		o.shown, o.confirmed = false, false
		o.closeSeq, o.lastClose = 0, neverHeard
		o.wrongSince = forever
	}
	if was != "" {
		if c.left = append(c.left, was); len(c.left) > leftBoots {
			c.left = slices.Delete(c.left, 0, 1)
		}
		for _, z := range r.zones {
			if z.run != nil && slices.Contains(z.ctls, c) {
				z.run.keepCharge = true
				r.closeRun(z.run, Starting, because)
			}
		}
		r.entry(&Entry{Kind: "controller-restarted", Because: because})
	}
	r.dirty = true
}

// topEpoch is the highest that ours rises above by itself. Epochs stay under 2^31: one start
// after the other must have room above, and no controller obeys what is past that.
const topEpoch = 1<<31 - 1 - 1<<20

// seeEpoch takes the highest epoch seen. During the boot hold ours rises above it;
// later it is a second gateway's.
func (r *Room) seeEpoch(c *controller, e *Report) {
	foreign := e.Epoch > r.epoch || (e.Epoch == r.epoch && e.Seq > r.seq)
	if !foreign {
		return
	}
	if e.Epoch <= topEpoch {
		r.highest = max(r.highest, e.Epoch)
	}
	if !r.unknown && (r.t < r.holdTo || (r.fresh && !c.heard)) {
		r.unknown = true
		because := sprintf("controller %s obeyed epoch %d before, and nothing here remembers it: the water of the last 24 h counts as spent, and a stop, latch or hold of that time may be forgotten", c.id, e.Epoch)
		r.record(&Record{Kind: RecSpent})
		r.entry(&Entry{Kind: "budget-unknown", Reason: DailyLimit, Because: because})
	}
	if r.t < r.holdTo && e.Epoch <= topEpoch {
		if e.Epoch >= r.epoch {
			r.takeEpoch(e.Epoch + 1)
		}
		return
	}
	if hasLatch(r.mem.Latches, SecondGateway) == nil {
		r.latchRoom(SecondGateway, sprintf("controller %s obeys epoch %d, ours is %d: another gateway commands this room", c.id, e.Epoch, r.epoch))
	}
}

// takeEpoch makes a higher epoch ours once it is durable; all is closed first again.
func (r *Room) takeEpoch(epoch uint32) {
	r.epoch, r.epochSafe, r.seq = epoch, r.storeBroken != "", 0
	r.epochRec = r.record(&Record{Kind: RecEpoch, Epoch: epoch, Wait: true})
	for _, c := range r.controllers {
		c.ready = false
		for _, o := range c.outputs {
			o.confirmed = false
			o.closeSeq, o.lastClose = 0, neverHeard
		}
	}
	r.dirty = true
}

// watchDrift compares the controller's uptime with ours over 10 minutes, by the
// least delayed reports of each minute.
func (r *Room) watchDrift(c *controller) {
	m := minuteOf(r.t)
	d := &c.drift[int(m)%len(c.drift)]
	offset := c.uptime - r.t
	if d.minute == m {
		d.offset = max(d.offset, offset)
		return
	}
	*d = driftMinute{m, offset}
	if m <= driftSpan+1 {
		return
	}
	now := c.drift[int(m-1)%len(c.drift)]
	then := c.drift[int(m-1-driftSpan)%len(c.drift)]
	if now.minute != m-1 || then.minute != m-1-driftSpan {
		return
	}
	off := now.offset - then.offset
	if off > driftAllowed || off < -driftAllowed {
		c.driftBad, c.driftOK = true, 0
		r.dirty = true
		return
	}
	if c.driftOK++; c.driftBad && c.driftOK >= 2 {
		c.driftBad = false
		r.dirty = true
	}
}

// status takes a live `offline` at once; `online` proves nothing, and what is
// retained less.
func (r *Room) status(e *Status) {
	c := r.controlBy[e.Controller]
	if c == nil || e.Online || e.Retained {
		return
	}
	r.offline(c, "it said offline")
}

func (r *Room) offline(c *controller, why string) {
	if !c.online {
		return
	}
	c.online, c.offWhy = false, why
	r.dirty = true
}

// lookAtLinks marks silent controllers, closes first what must be, and finds
// those that are ready.
func (r *Room) lookAtLinks() {
	if r.t < r.holdTo {
		r.at(r.holdTo)
	}
	for _, c := range r.controllers {
		if c.online && r.t > c.last+offlineAfter {
			r.offline(c, "no report for 15 s")
		}
		if !c.ready && c.online && c.reports >= 2 && r.closedFirst(c) {
			c.ready = true
			r.entry(&Entry{Kind: "controller-ready", Because: "controller " + c.id + " reports all its outputs closed"})
		}
	}
}

// silence gives the age at which the next controller or input counts as silent, if
// nothing is heard of it; forever when there is none.
func (r *Room) silence() time.Duration {
	t := forever
	for _, c := range r.controllers {
		if c.online {
			t = min(t, c.last+offlineAfter+1)
		}
	}
	for _, in := range r.inputs {
		if !in.ctl.online {
			continue
		}
		if s := in.ctl.since + inputSettle; !in.known && r.looked < s {
			t = min(t, s)
		}
		if s := max(in.heard, in.ctl.since) + inputSilence + 1; in.known && r.looked < s {
			t = min(t, s)
		}
	}
	return t
}

// closedFirst reports whether every output of ours was commanded closed in this
// epoch and boot and is reported so. A loose one that no report shows may be gone.
func (r *Room) closedFirst(c *controller) bool {
	for _, o := range c.outputs {
		if !o.confirmed && (!o.loose || o.shown) {
			return false
		}
	}
	return true
}

// inputState takes a contact's word: active counts at once, retained or not;
// inactive when live, or retained while its controller reports.
func (r *Room) inputState(e *InputState) {
	for _, in := range r.inputs {
		if in.ctl.id != e.Controller || in.cfg.ID != e.ID {
			continue
		}
		in.wait = e.Retained && !e.Active && !in.ctl.online
		if !in.wait {
			r.hear(in, e.Active)
		}
		return
	}
}

// takeWaiting lets retained words of a controller's inputs count once it reports.
func (r *Room) takeWaiting(c *controller) {
	for _, in := range r.inputs {
		if in.ctl == c && in.wait {
			in.wait = false
			r.hear(in, false)
		}
	}
}

// hear takes what an input says.
func (r *Room) hear(in *input, active bool) {
	forbade := in.forbids(r.t)
	changed := in.active != active || !in.known
	in.active, in.known, in.heard = active, true, r.t
	if changed {
		r.inputChanged(in)
	}
	r.dirty = r.dirty || forbade != in.forbids(r.t)
}

func (r *Room) inputChanged(in *input) {
	r.dirty = true
	word := "inactive"
	if in.active {
		word = "active"
	}
	r.entry(&Entry{Kind: "input", Because: "input " + in.cfg.ID + " is " + word})
	if !in.active {
		return
	}
	switch in.cfg.Means {
	case Leak:
		r.latchRoom(LeakFound, "leak input "+in.cfg.ID+" is active")
	case StopInput:
		r.latchRoom(StoppedByPerson, "stop input "+in.cfg.ID+" is active")
	}
}

// forbids reports whether the input forbids now: active, never heard from a
// controller that has reported for 15 s, or silent for 3 min while it reports.
func (in *input) forbids(t time.Duration) bool {
	if in.active {
		return true
	}
	if !in.ctl.online {
		return false
	}
	if !in.known {
		return t >= in.ctl.since+inputSettle
	}
	return t > max(in.heard, in.ctl.since)+inputSilence
}
