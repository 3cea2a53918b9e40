package zones

import "time"

// output is one controller output of ours: a zone's valve or a supply's master.
type output struct {
	id              Output
	valve           string
	ctl             *controller
	mem             *OutputMemory
	zone            *zone
	supply          *supply
	master          bool
	loose           bool // no file names it any more
	trunk           bool // and it was a master
	holding, inrush float64

	wanted    bool          // commanded open and not closed since
	granted   bool          // was granted at least once by this process
	run       string        // of the last grant
	openSeq   uint32        // first grant of the run
	openAt    time.Duration // age of it
	firstUp   time.Duration // controller's uptime at it
	renewed   time.Duration // age of the last grant
	deadline  time.Duration // age at which the last grant runs out
	until     time.Duration // the same in the controller's uptime
	untilBoot string        // of that boot
	born      time.Duration // when we began to look after it
	closeSeq  uint32        // first close since the last grant; 0 = none yet
	closeAt   time.Duration
	closeWhy  Reason
	lastClose time.Duration
	confirmed bool          // a report at or past our close shows it closed
	sureAt    time.Duration // age of that report

	shown      bool // reported at least once in this boot
	open       bool
	flow       float64 // L/min, negative when not metered
	repEpoch   uint32
	repSeq     uint32
	repAt      time.Duration
	openSeen   time.Duration // age of the last report that shows it open
	metered    float64       // litres of the run so far
	sawOpen    bool          // a report showed the run open
	wrongSince time.Duration
	wrongUp    time.Duration // the controller's uptime then
	wrongGap   bool          // it was offline since
}

func newOutput(id Output, t time.Duration) *output {
	return &output{id: id, born: t, lastClose: neverHeard, wrongSince: forever, deadline: neverHeard, flow: -1}
}

func (o *output) flowing() bool { return o.flow >= meteredFlow }

// maybeOpen reports whether water may run through it at age t.
func (o *output) maybeOpen(t time.Duration) bool {
	switch {
	case o.wanted:
		return true
	case hasLatch(o.mem.Latches, ValveMismatch) != nil && (o.supply == nil || o.supply.master == nil):
		return true // counts as open until reset
	case o.confirmed:
		return false
	case o.shown && o.open && o.repAt >= o.ctl.arrived:
		return true
	case o.granted:
		return t < o.deadline+settleGrace
	case o.shown && o.open:
		return true // never granted by us, open in the last report that named it
	}
	return t < o.born+silentOpen
}

// command sends to an output under the next number.
func (r *Room) command(o *output, c *Command) {
	r.seq++
	c.Output, c.Valve, c.Epoch, c.Seq = o.id, o.valve, r.epoch, r.seq
	if o.zone != nil {
		c.Zone = o.zone.id
	}
	r.out = append(r.out, c)
}

// grant opens or renews: until the shorter of lease and end, in the controller's
// own uptime, never past the first grant's uptime + the span that the run has for
// this output. A renewal goes on a fresh word of the controller alone: on an old one it
// could reach past the lease of a controller that nobody hears any more, or end before
// the grant that stands. The next report soon tells better.
func (r *Room) grant(o *output, run *run, span time.Duration) {
	c := o.ctl
	again := o.wanted && o.run == run.id && o.untilBoot == c.boot
	if !o.wanted || o.run != run.id {
		if !o.wanted {
			o.closeSeq, o.confirmed, o.sawOpen, o.metered = 0, false, false, 0
			o.openSeq = r.seq + 1
			o.openAt = r.t
		}
		o.run = run.id
		o.firstUp = c.uptimeAt(r.t)
		o.wrongSince = forever
	}
	left := min(run.lease, run.end-r.t)
	until := min(c.uptimeAt(r.t)+left, o.firstUp+span)
	switch {
	case again && run.retry && r.t < o.renewed+run.lease/6 && !r.short(o, run, span):
		return // its word came before that of another output's controller
	case again && r.t > c.arrived+freshWord, o.wanted && o.untilBoot == c.boot && until+endSlack < o.until:
		run.behind, c.awaited = true, r.t
		return
	}
	o.renewed = r.t
	o.wanted, o.granted = true, true
	o.deadline = r.t + left
	o.until, o.untilBoot = until, c.boot
	r.command(o, &Command{Run: run.id, Open: true, Boot: c.boot, UntilMS: until.Milliseconds(), Reason: run.reason})
}

// closeOutput commands a close now; it is repeated until a report confirms it.
func (r *Room) closeOutput(o *output, runID string, why Reason) {
	if o.wanted {
		o.wanted = false
		o.closeSeq, o.confirmed = 0, false
		o.closeAt = r.t
	}
	if runID == "" {
		if runID = o.run; runID == "" {
			runID = "c-" + itoa(int(r.epoch))
		}
	}
	o.run, o.closeWhy = runID, why
	o.lastClose = r.t
	if !r.epochSafe {
		o.lastClose = neverHeard // said as soon as the epoch is durable
		return
	}
	r.command(o, &Command{Run: runID, Reason: why})
	if o.closeSeq == 0 {
		o.closeSeq, o.closeAt = r.seq, r.t
	}
}

// outputReport takes one output of a report.
func (r *Room) outputReport(o *output, e *Report, w *OutputReport) {
	if o.flow > 0 && o.wanted {
		o.metered += o.flow * (r.t - o.repAt).Minutes()
	}
	if !o.shown || o.open != w.Open || (w.FlowLPM >= meteredFlow) != o.flowing() {
		r.dirty = true
	}
	o.shown, o.open, o.flow = true, w.Open, w.FlowLPM
	o.repEpoch, o.repSeq, o.repAt = e.Epoch, e.Seq, r.t
	if w.Open {
		o.openSeen = r.t
	}
	if o.wanted {
		r.dirty = r.dirty || !w.Open // told to open and closed: does it carry our command?
		o.sawOpen = o.sawOpen || (w.Open && o.carries(o.openSeq, r.epoch))
		return
	}
	if o.carriesClose(r.epoch) && !w.Open {
		if !o.confirmed {
			o.confirmed, o.sureAt = true, r.t
			r.dirty = true
		}
	}
	if w.Open && o.confirmed { // by a report that never saw our close: say it again
		o.confirmed, o.lastClose = false, neverHeard
	}
	if !o.confirmed || o.flowing() {
		r.dirty = true
	}
}

// carries reports whether the last report acted on the command or a later one.
func (o *output) carries(seq, epoch uint32) bool {
	return o.shown && seq > 0 && o.repEpoch == epoch && o.repSeq >= seq
}

func (o *output) carriesClose(epoch uint32) bool { return o.carries(o.closeSeq, epoch) }

// lookAtOutputs repeats closes and finds outputs that do not do as told.
func (r *Room) lookAtOutputs() {
	for _, o := range r.outputs {
		if o.wanted {
			continue
		}
		r.repeatClose(o)
		r.watchClosed(o)
	}
}

// repeatClose says a close again every second from 2 s on until it is confirmed; to
// a controller that has been silent since its outputs must be shut by themselves it
// is said again when it speaks.
func (r *Room) repeatClose(o *output) {
	if o.confirmed || !r.brokerUp || !r.epochSafe {
		return
	}
	due := o.lastClose + closeEvery
	if o.closeSeq == 0 || o.lastClose == neverHeard {
		due = r.t
	} else if o.lastClose == o.closeAt {
		due = o.closeAt + confirmWithin
	}
	if o.loose && !o.shown && r.t > o.born+silentOpen {
		return // its controller has no such output any more
	}
	if !o.ctl.online && o.closeSeq != 0 && r.t > max(o.born, o.closeAt)+silentOpen {
		return
	}
	if r.t < due {
		r.at(due)
		return
	}
	why := o.closeWhy
	if why == "" {
		why = Starting
	}
	r.closeOutput(o, "", why)
	if o.closeSeq != 0 && o.closeAt == r.t {
		r.at(r.t + confirmWithin)
	} else {
		r.at(r.t + closeEvery)
	}
}

// watchClosed latches an output that is open or flowing for more than 3 s in
// reports that carry our close, or more than 5 s past its last deadline.
func (r *Room) watchClosed(o *output) {
	wrong := o.shown && (o.open || o.flowing())
	switch {
	case !wrong:
		o.wrongSince = forever
		return
	case !o.ctl.online:
		o.wrongGap = true // a controller that comes and goes hides nothing by it
		return
	}
	past := o.granted && o.repAt > o.deadline+deadlineGrace && o.pastUntil()
	if o.granted && !past {
		r.at(o.deadline + deadlineGrace + 1)
	}
	if o.carriesClose(r.epoch) {
		if o.wrongSince == forever {
			o.wrongSince, o.wrongUp, o.wrongGap = r.t, o.ctl.uptime, false
		}
		if o.wrongLeft(r.t) > 0 {
			if !o.wrongGap { // else reports alone tell
				r.at(o.wrongSince + mismatchAfter + 1)
			}
			wrong = false
		}
	} else {
		o.wrongSince = forever
		wrong = past
	}
	if wrong || past {
		r.mismatch(o)
	}
}

// wrongLeft gives how long an output must go on to show open against its close until that
// is no delay any more: by the uptimes of the reports, which may come late and all at once,
// or by our time. Where its controller was offline meanwhile ours does not tell: the report
// that comes with its return may be of an earlier moment.
func (o *output) wrongLeft(t time.Duration) time.Duration {
	since := o.ctl.uptime - o.wrongUp
	if !o.wrongGap {
		since = max(since, t-o.wrongSince)
	}
	return mismatchAfter + 1 - since
}

// pastUntil reports whether the newest report was made past the last deadline by the
// controller's own uptime: one that is only late tells of an earlier moment.
func (o *output) pastUntil() bool {
	return o.untilBoot != o.ctl.boot || o.ctl.uptime > o.until+deadlineGrace
}

// mismatch latches the zone, or with a master the whole supply, whose master closes.
func (r *Room) mismatch(o *output) {
	if hasLatch(o.mem.Latches, ValveMismatch) != nil {
		return
	}
	what := "is open"
	if !o.open {
		what = sprintf("lets %.1f L/min through", o.flow)
	}
	because := sprintf("valve %s %s though it was told to close", o.valve, what)
	outs := []Output{o.id}
	s := o.supply
	if s != nil && s.master != nil {
		outs = ids(r.withSupply([]*output{o}))
	} else if o.zone != nil {
		outs = ids(o.zone.outs)
	}
	r.record(&Record{Kind: RecLatch, Latch: &LatchRecord{Code: ValveMismatch, Outputs: outs, Because: because}})
	r.entry(&Entry{Kind: "latched", Valve: o.valve, Zone: zoneID(o.zone), Reason: ValveMismatch, Because: because})
	r.dirty = true
}

func zoneID(z *zone) string {
	if z == nil {
		return ""
	}
	return z.id
}
