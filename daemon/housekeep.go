package daemon

import (
	"fmt"
	"slices"
	"time"

	"rillgate/daemon/publish"
	"rillgate/zones"
	lives "rillgate/zones/register"
)

// Pace of what is not urgent.
const (
	publishGap   = 100 * time.Millisecond // between two looks of topics and page, at least
	publishEvery = time.Second            // and at most, in real time
	gatherFor    = 50 * time.Millisecond  // from a change to the look, so that what follows from it is in it
	historyEvery = time.Minute
)

// tell gives page, topics and socket a fresh look when something changed, or a
// second passed. A look costs more than a step: it keeps out of the way of commands
// that have just left, and of reports that answer them.
func (d *Daemon) tell() {
	if d.changed && d.changedAt == 0 {
		d.changedAt = d.now.Mono
	}
	if d.now.Mono < d.published+d.publishEvery && d.now.Mono < d.tellDue() {
		return
	}
	d.changed, d.changedAt, d.published = false, 0, d.now.Mono
	d.show()
}

// tellDue gives the Mono of the look that a change asks for.
func (d *Daemon) tellDue() time.Duration {
	if d.changedAt == 0 {
		return forever
	}
	return max(d.changedAt+d.gatherFor, d.published+publishGap)
}

const forever = time.Duration(1<<63 - 1)

// show makes the look that others see.
func (d *Daemon) show() {
	s := &shown{view: d.view(), plan: d.choice.plan, planError: d.choice.rejected, loaded: d.choice.loaded}
	s.notices = append(d.notices(), d.differences(&s.view)...)
	d.shown.Store(s)
	if d.link != nil && d.link.Session() != d.session {
		d.session = d.link.Session()
		d.publisher.Connected() // the broker may have forgotten what it kept for us
	}
	if d.publisher != nil {
		d.publisher.Update(&publish.Snapshot{View: s.view, PlanError: s.planError, Walk: d.walkTopic(&s.view)})
	}
}

// view is the room's, with the alarms that the shell raised.
func (d *Daemon) view() zones.View {
	v := d.room.View(d.now)
	d.teacher.show(&v)
	d.register.book.Number(&v)
	v.Alarms = append(v.Alarms, d.troubles.views()...)
	if closed := d.choice.keepsClosed(); closed != "" {
		v.Standing = append([]zones.StandingView{{Code: zones.AlarmPlanRejected, Because: closed}}, v.Standing...)
	}
	d.silenced.put(v.Alarms, d.now.Wall, d.now.Mono)
	slices.SortStableFunc(v.Alarms, func(a, b zones.AlarmView) int { return a.Since.Compare(b.Since) })
	return v
}

// differing bounds how many differences of files and register are shown one by one.
const differing = 5

// differences says where the files in force and the register differ.
func (d *Daemon) differences(v *zones.View) (out []string) {
	all := lives.Differences(d.choice.plan.Probes, v.Probes)
	for i := range all[:min(len(all), differing)] {
		out = append(out, all[i].Because)
	}
	if n := len(all) - differing; n > 0 {
		out = append(out, fmt.Sprintf("files and register differ in %d things more: `rillgate check` lists them", n))
	}
	return out
}

// notices are the sentences at the top of the page.
func (d *Daemon) notices() (out []string) {
	if d.choice.rejected != "" {
		out = append(out, d.choice.rejected)
	}
	if d.differ != "" {
		out = append(out, d.differ)
	}
	if !d.now.Trusted {
		out = append(out, d.doubt)
	}
	if d.link != nil {
		if up, why := d.link.Up(); !up {
			out = append(out, "no connection to the room controllers: "+why)
		}
		if up, why := d.link.ReadingsUp(); !up && why != "" {
			out = append(out, "no connection for readings: "+why)
		}
	}
	return append(out, d.refusals.recent...)
}

// housekeep does once a second what can wait for a second.
func (d *Daemon) housekeep() {
	if d.now.Mono-d.minute >= historyEvery {
		d.minute = d.now.Mono
		v := d.room.View(d.now)
		d.recent.sample(&v)
		d.keeper.sample(&v)
		d.learn(&v)
		d.refusals.look(d)
	}
	d.lookAtRegister()
	d.lookAtWalk()
	d.keeper.look(d)
	d.card.look(d)
}
