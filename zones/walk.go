package zones

import (
	"hash/fnv"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Bounds of a walk (chosen here).
const (
	walkQuiet   = 45 * time.Minute // windows wait so long after the last word of a walk
	walkLength  = 60 * time.Second // of an opening where the zone's numbers are not known
	walkPoints  = 3.0              // % of the substrate's volume that an opening gives, else
	walkCutWait = 3 * time.Second  // an output of an unrenewed grant has so long to close by itself

	againstAtMost = 120 // bytes of what a walk has against a wiring
)

// walking reports whether a walk is on: what is not its own waits.
func (r *Room) walking() bool {
	if r.t < r.walkTo {
		r.at(r.walkTo)
		return true
	}
	return false
}

// walkSilence says until when a walk holds the room that is not heard of again: each of its
// openings moves that on.
func (r *Room) walkSilence() string {
	return "if nothing more is heard of it, until " + r.clockWords(r.walkTo)
}

// orderWalk opens one valve, if every interlock that binds a shot by hand agrees now.
// Without a valve it only has windows wait, so that a walk can see the room at rest.
func (r *Room) orderWalk(e *Order) {
	if e.Zone == "" && e.Subject == "" && e.Kind == OrderWalk {
		r.walkTo = r.t + walkQuiet
		r.answer(e, true, NoReason, "a walk begins: windows wait until it ends; "+r.walkSilence())
		return
	}
	z, o := r.walkValve(e)
	if o == nil {
		return
	}
	if r.taken(e, z) {
		return
	}
	a := r.walkAsk(z, o, e)
	if a.length <= 0 {
		r.answer(e, false, NoReason, "an opening has a length over zero")
		return
	}
	r.lookAtLinks()
	r.see(z)
	l, ok := r.permit(z, a, supplyStep)
	switch {
	case !ok:
		r.answer(e, false, l.code, l.words(r, z, a))
		return
	case r.busy(z):
		r.answer(e, false, SupplyBusy, sprintf("supply %s is taken, or one of its valves may be open", z.supply.cfg.ID))
		return
	}
	r.walkTo = r.t + a.length + walkQuiet
	run := r.start(z, a)
	run.order = e.ID
	r.answer(e, true, Walk, sprintf("valve %s opens for %s", o.valve, words(a.length)))
}

// walkValve finds the order's valve and its zone, or answers why there is none.
func (r *Room) walkValve(e *Order) (*zone, *output) {
	for _, o := range r.outputs {
		if o.zone != nil && o.valve == e.Subject && (e.Zone == "" || o.zone.id == e.Zone) {
			return o.zone, o
		}
	}
	if e.Subject != "" {
		r.answer(e, false, NoReason, sprintf("no zone has a valve %q", e.Subject))
		return nil, nil
	}
	z := r.orderZone(e)
	if z == nil {
		return nil, nil
	}
	if len(z.outs) != 1 {
		r.answer(e, false, NoReason, sprintf("%s has %d valves: name the one to open", z.id, len(z.outs)))
		return nil, nil
	}
	return z, z.outs[0]
}

// walkAsk reckons the opening: as long as asked for, else what gives walkPoints, at most
// max_run. An unrenewed grant lasts one lease, and a moment to see it end.
func (r *Room) walkAsk(z *zone, o *output, e *Order) *ask {
	a := &ask{on: true, hand: true, reason: Walk, length: e.For, outs: []*output{o}, because: "a walk opens valve " + o.valve}
	switch {
	case e.Kind == OrderWalkCut:
		a.cut, a.length = true, r.plan.Lease+walkCutWait
		a.because = sprintf("a walk opens valve %s on a grant of %s that is not renewed", o.valve, words(r.plan.Lease))
	case e.For == 0:
		a.length = z.walkLength()
	}
	return a
}

func (z *zone) walkLength() time.Duration {
	d := walkLength
	if lph := z.cfg.PlantLPH(); lph > 0 && z.cfg.VolumeML > 0 {
		d = ceilMillis(walkPoints / 100 * z.cfg.VolumeML * 3600 / lph)
	}
	return min(d, z.maxRun())
}

// dropped reports whether every output of an unrenewed run is seen closed, past or nearly
// past its grant.
func (r *Room) dropped(run *run) bool {
	outs := run.outs
	if run.masterOn {
		outs = append([]*output{run.supply.master}, outs...)
	}
	for _, o := range outs {
		if o.wanted && (r.t+endSlack < o.deadline || !o.shown || o.open || !o.sawOpen) {
			return false
		}
	}
	return run.phase == opened
}

// orderWalkEnd closes what a walk has open, and lets windows open again.
func (r *Room) orderWalkEnd(e *Order) {
	r.walkTo = 0
	for _, z := range r.zones {
		if z.run != nil && z.run.reason == Walk {
			r.closeRun(z.run, StoppedByPerson, "the walk is ended")
		}
	}
	r.answer(e, true, NoReason, "the walk is ended, and windows open again")
}

// orderWalkAccept remembers that a zone's wiring is right: a walk has found it so, or a
// person has seen it.
func (r *Room) orderWalkAccept(e *Order) {
	z := r.zoneBy[e.Zone]
	switch {
	case z == nil:
		r.answer(e, false, NoReason, sprintf("no zone %q; %s", e.Zone, r.zonesWords()))
	case e.Subject != "" && e.Subject != z.wiring():
		r.answer(e, false, NotWalked, sprintf("the wiring of %s has changed since: walk it again", z.id))
	default:
		r.record(&Record{Kind: RecWalked, Walked: &WalkedRecord{Zone: z.id, Wiring: z.wiring()}})
		r.answer(e, true, NoReason, z.id+" counts as walked as it is wired now")
	}
}

// orderWalkReject takes back that a zone's wiring is right: a later walk of the same wiring
// has found a valve of it otherwise. Of a zone that does not count as walked there is
// nothing to take back.
func (r *Room) orderWalkReject(e *Order) {
	z := r.zoneBy[e.Zone]
	switch {
	case z == nil:
		r.answer(e, false, NoReason, sprintf("no zone %q; %s", e.Zone, r.zonesWords()))
		return
	case e.Subject != z.wiring():
		r.answer(e, false, NotWalked, sprintf("the wiring of %s has changed since: walk it again", z.id))
		return
	}
	if _, now := r.walk(z); now {
		against := e.Note
		if against == "" {
			against = "a later walk found it otherwise"
		}
		r.record(&Record{Kind: RecWalked, Walked: &WalkedRecord{Zone: z.id, Wiring: z.wiring(), Against: clip(against)}})
	}
	r.answer(e, true, NotWalked, z.id+" does not count as walked")
}

// clip cuts a sentence to what the ledger keeps of it.
func clip(s string) string {
	if len(s) <= againstAtMost {
		return s
	}
	return strings.ToValidUTF8(s[:againstAtMost], "")
}

// wiring is a mark of what the zone is wired to: outputs, master, and places of its probes,
// whatever their names.
func (z *zone) wiring() string {
	if z.mark == "" {
		z.mark = z.markWiring()
	}
	return z.mark
}

func (z *zone) markWiring() string {
	var all []string
	for _, o := range z.outs {
		all = append(all, "valve "+o.id.String())
	}
	if s := z.supply; s != nil && s.master != nil {
		all = append(all, "master "+s.master.id.String())
	}
	for _, p := range z.probes {
		all = append(all, "probe "+p.place.String())
	}
	slices.Sort(all)
	h := fnv.New64a()
	for _, one := range all {
		_, _ = h.Write([]byte(one + "\n")) // a hash takes all
	}
	return strconv.FormatUint(h.Sum64(), 16)
}

// walk gives what is remembered of the zone's walk: of the wiring as it is, under whatever
// name it had then, else of another; nil = none. now says whether the zone counts as walked.
func (r *Room) walk(z *zone) (w *WalkMemory, now bool) {
	mark := z.wiring()
	if w = z.mem.Walked; w != nil && w.Wiring == mark {
		return w, w.Against == ""
	}
	var other *WalkMemory
	for _, id := range sortedKeys(r.mem.Zones) {
		if m := r.mem.Zones[id].Walked; m != nil && m.Wiring == mark && (other == nil || m.Wall.After(other.Wall)) {
			other = m
		}
	}
	if other != nil {
		return other, other.Against == ""
	}
	return w, false
}

func isNotWalked(r *Room, z *zone, _ *ask) bool {
	if !z.cfg.RequireWalk {
		return false
	}
	_, now := r.walk(z)
	return !now
}

func notWalkedWords(r *Room, z *zone, _ *ask) string {
	w, _ := r.walk(z)
	return r.unwalkedWords(z, w)
}

// unwalkedWords says what a zone's last walk, nil = none, lacks.
func (r *Room) unwalkedWords(z *zone, w *WalkMemory) string {
	if w == nil {
		return sprintf("no walk has shown that %s is wired as the files say: `rillgate walk %s`", z.id, z.id)
	}
	day := w.Wall.In(r.location()).Format("2006-01-02")
	if w.Wiring == z.wiring() {
		return sprintf("the walk of %s found %s otherwise than the files say (%s): mend it, then `rillgate walk %s`", day, z.id, w.Against, z.id)
	}
	return sprintf("the wiring of %s has changed since its walk of %s: `rillgate walk %s`", z.id, day, z.id)
}

// walkView adds when the zone was walked, and whether that still holds.
func (r *Room) walkView(v *ZoneView, z *zone) {
	w, now := r.walk(z)
	v.Wiring = z.wiring()
	if !now {
		v.NotWalked = r.unwalkedWords(z, w)
		return
	}
	at := w.Wall.In(r.location())
	v.WalkedAt = &at
}
