package operator

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"rillgate/zones"
)

func whySupply(v *zones.View, subject string) *Why {
	for i := range v.Supplies {
		s := &v.Supplies[i]
		if s.ID != subject {
			continue
		}
		y := &Why{Subject: s.ID, Kind: "supply", State: "free"}
		switch {
		case len(s.Latches) > 0:
			y.State = "latched"
		case s.Reason == zones.SupplyBusy:
			y.State = "in use"
		case s.Reason != zones.NoReason && s.Reason != "":
			y.State = "refused"
		}
		y.explain(s.Reason)
		y.Because = s.Because
		y.number("valves open, or maybe", fmt.Sprintf("%d of %d", s.Open, s.MaxOpen))
		if s.MaxFlowLPM > 0 {
			y.number("max_flow", fmt.Sprintf("%.1f L/min", s.MaxFlowLPM))
		}
		y.number("master", orNone(s.Master))
		y.number("zones", orNone(strings.Join(s.Zones, ", ")))
		y.number("waiting for it", orNone(strings.Join(s.Waiting, ", ")))
		y.latches(s.Latches)
		return y
	}
	return nil
}

func whyValve(v *zones.View, subject string) *Why {
	for i := range v.Valves {
		l := &v.Valves[i]
		if l.ID != subject && l.Output.String() != subject {
			continue
		}
		y := &Why{Subject: l.ID, Kind: "valve", State: string(l.State), Because: valveSentences[l.State]}
		if l.State == zones.ValveLatched {
			y.explain(zones.ValveMismatch)
		}
		y.number("output", l.Output.String())
		y.number("zone", orNone(zoneOf(v, l)))
		y.number("wanted", map[bool]string{true: "open", false: "closed"}[l.Wanted])
		if l.FlowLPM != nil {
			y.number("flow", fmt.Sprintf("%.1f L/min", *l.FlowLPM))
		} else {
			y.number("flow", "no meter is heard")
		}
		holds(y, v, l.Zone)
		return y
	}
	return nil
}

// unnamedSince is what a state that nobody knows rests on.
const unnamedSince = "no report since the start names it: its controller was not heard, or knows no output of that number"

var valveSentences = map[zones.ValveState]string{
	zones.ValveClosed:    "its controller reported it closed, or its grant has run out",
	zones.ValveOpen:      "its controller reports it open on a grant of ours",
	zones.ValveMaybeOpen: "a grant of ours may still hold it open: no report tells",
	zones.ValveUnknown:   unnamedSince,
	zones.ValveLatched:   "it did not obey; it stays out of use until a reset",
}

func whyProbe(v *zones.View, subject string) *Why {
	p := v.Probe(subject)
	if p == nil {
		return nil
	}
	y := &Why{Subject: nameOf(p), Kind: "probe", State: string(p.Quality), Because: p.Because}
	if y.Because == "" {
		y.Because = "it counts for its zone"
	}
	y.number("place", p.Place.String())
	y.number("zone", orNone(p.Zone))
	probeNumbers(y, p)
	return y
}

// probeNumbers are what it last said, and where it comes from.
func probeNumbers(y *Why, p *zones.ProbeView) {
	if p.Label != "" {
		y.number("label", p.Label)
	}
	y.number("serial", orNone(p.Serial))
	y.number("named in", map[bool]string{true: "room.yaml", false: "no file: the wire or an order brought it"}[p.InFiles])
	for _, n := range []struct {
		name, format string
		value        *float64
		more         string
	}{
		{"moisture", "%.1f %%", p.Moisture, ""}, {"bulk EC", "%.2f mS/cm", p.EC, ""}, {"bulk EC at 25 C", "%.2f mS/cm", p.EC25, ""},
		{"pore EC", "%.1f mS/cm", p.PoreEC, colon(p.PoreWhy)}, {"temperature", "%.1f C", p.Temperature, ""}, {"permittivity", "%.1f", p.Permittivity, ""},
	} {
		if n.value != nil {
			y.number(n.name, fmt.Sprintf(n.format, *n.value)+n.more)
		}
	}
	if p.PoreEC == nil && p.PoreWhy != "" {
		y.number("pore EC", "none: "+p.PoreWhy)
	}
	if p.AgeSeconds != nil {
		age := (time.Duration(*p.AgeSeconds) * time.Second).String()
		if *p.AgeSeconds < 0 {
			age = strings.TrimPrefix(age, "-") + " ahead of this machine's clock: one of the two is wrong"
		}
		y.number("age", age)
	}
}

func whyController(v *zones.View, subject string) *Why {
	for i := range v.Controllers {
		c := &v.Controllers[i]
		if c.ID != subject {
			continue
		}
		y := &Why{Subject: c.ID, Kind: "controller", Because: c.Because}
		switch {
		case c.Online && c.Ready:
			y.State = "ready"
		case c.Online:
			y.State = "online"
			y.explain(zones.Starting)
		default:
			y.State = "offline"
			y.explain(zones.ControllerOffline)
		}
		if c.Because != "" {
			y.Because = c.Because
		} else if y.Because == "" {
			y.Because = "it reports, and its outputs were closed under our epoch"
		}
		y.number("boot", orNone(c.Boot))
		controllerParts(y, v, c.ID)
		return y
	}
	return nil
}

// controllerParts names what hangs on a controller, and how it is.
func controllerParts(y *Why, v *zones.View, id string) {
	for i := range v.Valves {
		if l := &v.Valves[i]; l.Output.Controller == id {
			y.number("output "+strconv.Itoa(l.Output.Number), l.ID+", "+string(l.State))
		}
	}
	if h := v.Healthy; h != nil && h.Output.Controller == id {
		y.number("output "+strconv.Itoa(h.Output.Number), "healthy, "+string(h.State))
	}
	for i := range v.Inputs {
		in := &v.Inputs[i]
		if in.Controller != id {
			continue
		}
		state := "idle"
		switch {
		case !in.Known:
			state = "not heard"
		case in.Active:
			state = "active"
		}
		y.number("input "+in.ID, string(in.Means)+", "+state)
	}
	for i := range v.Alarms {
		if a := &v.Alarms[i]; a.Subject == id {
			y.warn("alarm %s since %s: %s", a.Code, a.Since.Format(time.DateTime), a.Because)
		}
	}
}

func whyInput(v *zones.View, subject string) *Why {
	for i := range v.Inputs {
		in := &v.Inputs[i]
		if in.ID != subject {
			continue
		}
		y := &Why{Subject: in.ID, Kind: "input", State: "idle", Because: "its controller says that it is not active"}
		switch {
		case !in.Known:
			y.State, y.Because = "unknown", "it was not heard; it forbids what it guards once its controller has reported for 15 s"
		case in.Active:
			y.State, y.Because = "active", "its controller says that it is active"
		}
		y.number("means", string(in.Means))
		return y
	}
	return nil
}

// whyCode explains a code by itself, and where it stands now.
func whyCode(v *zones.View, subject string) *Why {
	e, ok := zones.Reason(subject).Explain()
	if !ok {
		return nil
	}
	y := &Why{Subject: subject, Kind: "code"}
	y.explain(zones.Reason(subject))
	if e.Harm != "" {
		y.number("keeps away", e.Harm)
	}
	y.number("latched", map[bool]string{true: "yes, until a reset", false: "no"}[e.Latch])
	for i := range v.Zones {
		if string(v.Zones[i].Reason) == subject {
			y.warn("zone %s: %s", v.Zones[i].ID, v.Zones[i].Because)
		}
	}
	for i := range v.Standing {
		if s := &v.Standing[i]; string(s.Code) == subject {
			y.warn("room: %s", s.Because)
		}
	}
	return y
}
