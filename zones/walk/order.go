package walk

import (
	"time"

	"rillgate/zones"
)

// Order gives the order that is due now; nil = none. Its Answer must follow before it is
// asked again.
func (w *Walk) Order() *zones.Order {
	if w.given != nil {
		return nil
	}
	switch {
	case w.phase < ending && !w.begun:
		w.given = &zones.Order{Kind: zones.OrderWalk, Note: "a walk begins"}
	case w.phase == asking && w.age >= w.tryAt:
		row := &w.res.Valves[w.row]
		w.given = &zones.Order{Kind: zones.OrderWalk, Zone: row.Zone, Subject: row.Valve, For: w.ask.For}
		if w.ask.Closings {
			w.given.Kind, w.given.For = zones.OrderWalkCut, 0
		}
	case w.phase == ending && len(w.orders) > 0:
		w.given, w.orders = &w.orders[0], w.orders[1:]
	}
	return w.given
}

// Answer takes the room's answer to the last order.
func (w *Walk) Answer(a *zones.Answer) {
	o := w.given
	w.given = nil
	switch {
	case o == nil:
	case o.Kind == zones.OrderWalkAccept:
		if z := w.zoneIndex(o.Zone); !a.Accepted && z >= 0 {
			w.res.Zones[z].Good, w.res.Zones[z].Because = false, a.Because
		}
	case w.phase == ending:
		if len(w.orders) == 0 {
			w.phase = done
		}
	case o.Subject == "":
		w.begun = true
		if !a.Accepted {
			w.Stop(a.Because)
		} else if !w.ask.Closings {
			w.say("the beds are watched at rest for %.0f to %.0f min before the first valve opens", restAtLeast.Minutes(), restAtMost.Minutes())
		}
	case a.Accepted:
		w.rememberBase()
		w.enter(opening)
		w.say("%s: %s", o.Subject, a.Because)
	default:
		w.refused(a)
	}
}

// refused asks again for what passes by itself, and else goes on with the next valve.
func (w *Walk) refused(a *zones.Answer) {
	row := &w.res.Valves[w.row]
	switch a.Reason {
	case zones.RestingStill, zones.SupplyBusy, zones.Starting, zones.ControllerOffline, zones.BrokerLost, zones.SupplyIsLow:
		if w.age < w.since+askAtMost {
			w.tryAt = w.age + askAgain
			if row.refusedBy != a.Reason {
				w.say("%s: waits (%s): %s", row.Valve, a.Reason, a.Because)
			}
			row.refusedBy = a.Reason
			return
		}
	}
	row.refusedBy, row.Verdict, row.Because = a.Reason, Refused, string(a.Reason)+": "+a.Because
	if a.Reason == zones.LeakFound {
		row.Verdict = Leak
	}
	w.say("%s: %s (%s)", row.Valve, row.Verdict, row.Because)
	w.next()
}

// cutOutput is one output under a grant that is not renewed.
type cutOutput struct {
	at       zones.Output
	valve    string
	until    time.Duration // by its controller's uptime
	boot     string
	open     bool // a report showed it open
	told     bool // it was told to close
	late     time.Duration
	measured bool
}

// Saw takes one step of the room: what came and what followed.
func (w *Walk) Saw(ev zones.Event, effects []zones.Effect) {
	if w.phase != opening && w.phase != watching {
		return
	}
	row := &w.res.Valves[w.row]
	if r, ok := ev.(*zones.Report); ok && w.ask.Closings {
		w.sawReport(r)
	}
	for _, e := range effects {
		switch e := e.(type) {
		case *zones.Command:
			if w.ask.Closings {
				w.sawCommand(e)
			}
		case *zones.Entry:
			if e.Kind == "run-closed" && e.Valve == row.Valve && e.Reason != zones.ShotDone {
				row.CutShort = string(e.Reason) + ": " + e.Because
			}
		}
	}
}

func (w *Walk) sawCommand(c *zones.Command) {
	for i := range w.cut {
		if o := &w.cut[i]; o.at == c.Output {
			o.told = o.told || !c.Open
			if c.Open {
				o.until, o.boot = time.Duration(c.UntilMS)*time.Millisecond, c.Boot
			}
			return
		}
	}
	if c.Open {
		w.cut = append(w.cut, cutOutput{at: c.Output, valve: c.Valve, until: time.Duration(c.UntilMS) * time.Millisecond, boot: c.Boot})
	}
}

// sawReport measures by the controller's own time: it reports at once when an output
// changes. A close that came after ours says nothing of the output itself.
func (w *Walk) sawReport(r *zones.Report) {
	for i := range w.cut {
		o := &w.cut[i]
		if o.at.Controller != r.Controller || o.boot != r.Boot || r.Retained || o.measured || o.told {
			continue
		}
		for _, x := range r.Outputs {
			if x.Number != o.at.Number {
				continue
			}
			if o.open = o.open || x.Open; o.open && !x.Open {
				o.late, o.measured = r.Uptime-o.until, true
			}
		}
	}
}
