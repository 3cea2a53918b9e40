package walk

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"rillgate/zones"
)

// The pace of a walk (chosen here).
const (
	restAtLeast  = 10 * time.Minute // looked at before the first opening
	restAtMost   = 30 * time.Minute // waited for a bed to come to rest
	baseSpan     = 6 * time.Minute  // before an opening, that rises are reckoned from
	watchAtLeast = 12 * time.Minute // after a close
	watchAtMost  = 30 * time.Minute
	enough       = 5 // readings of a probe in a base, a watch's end
	askAgain     = 10 * time.Second
	askAtMost    = 20 * time.Minute // for an interlock that passes by itself
	openWithin   = 2 * time.Minute  // from the answer to the opening
)

// Ask says what is to be walked.
type Ask struct {
	Zones    []string      // none = all that have a valve
	For      time.Duration // of each opening; 0 = what gives about 3 % of the substrate's volume
	Closings bool          // time how outputs close on a grant that is not renewed, and nothing else
}

type phase uint8

const (
	atRest   phase = iota // waits until the beds are at rest
	asking                // an order is given, or will be again
	opening               // accepted, up to its close
	watching              // after the close
	ending                // judged; accepts and the end are to be ordered
	done
)

// Walk is one walk under way. The caller gives it a Look every second or few, what it
// Saw at each step of the room, and each Order to the room, whose Answer it waits for.
type Walk struct {
	plan   *zones.Plan
	ask    Ask
	res    Result
	tracks []track // as Result.Probes

	phase  phase
	age    time.Duration
	wall   time.Time
	begun  bool          // windows wait for it
	since  time.Duration // age at which the phase began
	start  time.Duration
	row    int
	tryAt  time.Duration
	openAt time.Duration
	shutAt time.Duration
	flow   meter
	sd     float64         // points, of a reading
	free   []time.Duration // by zone: age from which it counts as unwatered
	orders []zones.Order   // to be given at the end
	given  *zones.Order    // waits for its answer
	cut    []cutOutput     // of the grant that is not renewed
	news   []string
	trends []trend // by zone, before the opening that is on

	leaking []string // by zone: how it rises with nothing open; "" = it does not
}

// meter sums what one valve's meter showed while it was open.
type meter struct {
	sum float64
	n   int
}

// New begins a walk of a plan's zones; v is the room now. It fails when there is nothing
// to walk, or a zone is not in the plan.
func New(p *zones.Plan, v *zones.View, ask Ask) (*Walk, error) {
	w := &Walk{plan: p, ask: ask, age: ageOf(v), wall: v.Wall, start: ageOf(v), since: ageOf(v)}
	w.res = Result{Room: p.Room, Plan: p.Hash, Begun: v.Wall}
	for _, id := range ask.Zones {
		if !slices.ContainsFunc(p.Zones, func(z zones.Zone) bool { return z.ID == id }) {
			return nil, fmt.Errorf("walk %s: the plan has no such zone", id)
		}
	}
	for i := range p.Zones {
		z := &p.Zones[i]
		if asked := len(ask.Zones) == 0 || slices.Contains(ask.Zones, z.ID); asked && ask.For > z.Limits.MaxRun {
			return nil, fmt.Errorf("walk %s for %s: its max_run is %s", z.ID, ask.For, z.Limits.MaxRun)
		}
	}
	for i := range v.Zones {
		z := &v.Zones[i]
		w.res.Zones = append(w.res.Zones, ZoneResult{Zone: z.ID, Wiring: z.Wiring, Because: "not walked"})
		w.free = append(w.free, w.start)
		if len(ask.Zones) == 0 || slices.Contains(ask.Zones, z.ID) {
			w.addRows(v, z.ID)
			w.forewarn(z)
		}
	}
	if len(w.res.Valves) == 0 {
		return nil, errors.New("walk the room: no zone of the plan has a valve")
	}
	for i := range v.Probes {
		if x := &v.Probes[i]; x.Zone != "" && !ask.Closings {
			w.res.Probes = append(w.res.Probes, Probe{ID: x.ID, Zone: x.Zone, Label: x.Label})
			w.tracks = append(w.tracks, track{zone: w.zoneIndex(x.Zone)})
		}
	}
	return w, nil
}

// forewarn says before the long rest what would keep a zone's valves shut after it.
func (w *Walk) forewarn(z *zones.ZoneView) {
	if z.State == zones.Held || z.State == zones.Latched {
		w.say("%s is %s now: its valves do not open while that stands (%s)", z.ID, z.State, z.Because)
	}
}

func ageOf(v *zones.View) time.Duration { return time.Duration(v.Age * float64(time.Second)) }

// addRows adds the valves of a zone, in order of output.
func (w *Walk) addRows(v *zones.View, zone string) {
	for i := range v.Valves {
		x := &v.Valves[i]
		if x.Zone != zone || x.Master {
			continue
		}
		w.res.Valves = append(w.res.Valves, Row{Valve: x.ID, Zone: zone, Output: x.Output, Verdict: NotWalked, Because: "the walk has not come to it"})
	}
}

func (w *Walk) zoneIndex(id string) int {
	return slices.IndexFunc(w.res.Zones, func(z ZoneResult) bool { return z.Zone == id })
}

func (w *Walk) planned(id string) *zones.Zone {
	for i := range w.plan.Zones {
		if w.plan.Zones[i].ID == id {
			return &w.plan.Zones[i]
		}
	}
	return nil
}

// Look takes the room as it is now. Looks come in order of time, a few seconds apart.
func (w *Walk) Look(v *zones.View) {
	w.age, w.wall = ageOf(v), v.Wall
	if w.phase >= ending {
		return
	}
	if v.Stopped {
		w.Stop("the room was stopped")
		return
	}
	if v.Plan != w.plan.Hash {
		w.Stop("another plan came in force")
		return
	}
	k := 0
	for i := range v.Probes {
		if k < len(w.res.Probes) && v.Probes[i].ID == w.res.Probes[k].ID {
			w.tracks[k].put(w.age, &v.Probes[i])
			k++
		}
	}
	if k < len(w.res.Probes) {
		w.Stop("a probe left the room's register")
		return
	}
	w.goOn(v)
}

// goOn moves to the next phase when that is due.
func (w *Walk) goOn(v *zones.View) {
	switch w.phase {
	case atRest:
		if w.begun && (w.ask.Closings || w.rested()) {
			w.enter(asking)
			w.tryAt = w.age
		}
	case opening:
		w.look(v)
	case watching:
		w.after(v)
		if w.ask.Closings || w.watched() {
			w.judgeRow()
			if w.doubtful() {
				w.again()
				return
			}
			w.next()
		}
	}
}

func (w *Walk) enter(p phase) { w.phase, w.since = p, w.age }

// look follows the valve while it is open.
func (w *Walk) look(v *zones.View) {
	row := &w.res.Valves[w.row]
	x := valveOf(v, row.Valve)
	switch {
	case x == nil:
		w.Stop("valve " + row.Valve + " left the room")
	case x.Wanted && w.openAt == 0:
		at := v.Wall
		w.openAt, row.OpenedAt = w.age, &at
	case x.Wanted:
		if flow := w.metered(v, row); flow != nil && w.age >= w.openAt+5*time.Second {
			w.flow.sum += *flow
			w.flow.n++
		}
	case w.openAt > 0:
		w.shut()
	case row.CutShort != "" || w.age > w.since+openWithin:
		w.openAt = w.age
		w.shut()
	}
}

func valveOf(v *zones.View, id string) *zones.ValveView {
	for i := range v.Valves {
		if v.Valves[i].ID == id {
			return &v.Valves[i]
		}
	}
	return nil
}

// shut notes the close and begins the watch.
func (w *Walk) shut() {
	row := &w.res.Valves[w.row]
	w.shutAt = w.age
	row.Seconds = (w.shutAt - w.openAt).Seconds()
	if w.flow.n > 0 {
		mean := w.flow.sum / float64(w.flow.n)
		row.FlowLPM = &mean
	}
	w.enter(watching)
	w.say("%s: closed after %.0f s; %s", row.Valve, row.Seconds, w.watch())
}

// watch says what comes after a close.
func (w *Walk) watch() string {
	if w.ask.Closings {
		return "its report is looked at"
	}
	return fmt.Sprintf("probes are watched for %.0f to %.0f min", watchAtLeast.Minutes(), watchAtMost.Minutes())
}

// after notes water that a meter shows well after the close.
func (w *Walk) after(v *zones.View) {
	row := &w.res.Valves[w.row]
	if flow := w.metered(v, row); flow != nil && w.age > w.shutAt+10*time.Second {
		row.AfterLPM = max(row.AfterLPM, *flow)
	}
}

// next goes to the next valve, or to the end.
func (w *Walk) next() {
	w.row++
	w.openAt, w.shutAt, w.flow = 0, 0, meter{}
	if w.row < len(w.res.Valves) {
		w.enter(atRest)
		return
	}
	w.finish("")
}

// doubtful reports whether the valve that was watched left a doubt that a second
// opening may end.
func (w *Walk) doubtful() bool {
	row := &w.res.Valves[w.row]
	if w.ask.Closings || row.again || row.CutShort != "" {
		return false
	}
	doubt := slices.ContainsFunc(row.Cells, func(c Cell) bool { return c.Seen == Doubt })
	return doubt || row.Verdict == Unsure
}

// again has the valve opened a second time, when the beds are at rest.
func (w *Walk) again() {
	row := &w.res.Valves[w.row]
	row.again = true
	w.openAt, w.shutAt, w.flow = 0, 0, meter{}
	w.say("%s: not sure, it is opened once more", row.Valve)
	w.enter(atRest)
}

// finish judges what there is and leaves the last orders.
func (w *Walk) finish(why string) {
	if w.phase >= ending {
		return
	}
	w.res.Partial, w.res.Why, w.res.Ended = why != "", why, w.wall
	if w.row < len(w.res.Valves) && (w.phase == opening || w.phase == watching) && !w.res.Valves[w.row].Watched {
		w.res.Valves[w.row].Because = "it was opened, and the walk ended before its probes had their time to rise"
	}
	w.judge()
	for i := range w.res.Zones {
		z := &w.res.Zones[i]
		if z.Good {
			w.orders = append(w.orders, zones.Order{Kind: zones.OrderWalkAccept, Zone: z.Zone, Subject: z.Wiring, Note: "the walk found it as configured"})
		} else if against := w.against(z.Zone); against != "" {
			w.orders = append(w.orders, zones.Order{Kind: zones.OrderWalkReject, Zone: z.Zone, Subject: z.Wiring, Note: against})
		}
	}
	w.orders = append(w.orders, zones.Order{Kind: zones.OrderWalkEnd, Note: why})
	w.enter(ending)
}

// against says which valve of a zone was found to be otherwise than configured; "" = none
// surely is: what is not sure takes nothing from a walk before.
func (w *Walk) against(zone string) string {
	for i := range w.res.Valves {
		row := &w.res.Valves[i]
		if row.Zone == zone && row.contrary() && !w.ask.Closings {
			return "valve " + row.Valve + ": " + string(row.Verdict)
		}
	}
	return ""
}

// Stop ends the walk: what is open is ordered to close, what was found is kept.
func (w *Walk) Stop(why string) {
	if why == "" {
		why = "it was ended"
	}
	w.finish(why)
}

// Done reports whether the walk is over and all its orders are answered.
func (w *Walk) Done() bool { return w.phase == done }

// Result gives what was found so far, of the zones that are walked and of others that
// rise with nothing open; a copy that shares nothing that changes.
func (w *Walk) Result() *Result {
	r := w.res
	r.Probes, r.Valves = slices.Clone(w.res.Probes), slices.Clone(w.res.Valves)
	r.Closings, r.Zones = slices.Clone(w.res.Closings), nil
	for i := range w.res.Zones {
		z := w.res.Zones[i]
		if w.leaking != nil && w.leaking[i] != "" && w.valvesOf(z.Zone) == 0 {
			z.Because = w.leaking[i]
			r.Zones = append(r.Zones, z)
		} else if w.valvesOf(z.Zone) > 0 {
			r.Zones = append(r.Zones, z)
		}
	}
	return &r
}

// News gives what happened since it was last asked, a sentence each.
func (w *Walk) News() []string {
	n := w.news
	w.news = nil
	return n
}

func (w *Walk) say(format string, args ...any) { w.news = append(w.news, fmt.Sprintf(format, args...)) }

// Minutes gives about how long the walk of n valves takes.
func Minutes(valves int) int {
	each := watchAtLeast + 10*time.Minute
	return int((restAtLeast + time.Duration(valves)*each).Minutes())
}
