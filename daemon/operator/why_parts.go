package operator

import (
	"fmt"
	"time"

	"rillgate/zones"
)

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
		y.number("zone", orNone(l.Zone))
		y.number("wanted", map[bool]string{true: "open", false: "closed"}[l.Wanted])
		if l.FlowLPM != nil {
			y.number("flow", fmt.Sprintf("%.1f L/min", *l.FlowLPM))
		}
		return y
	}
	return nil
}

var valveSentences = map[zones.ValveState]string{
	zones.ValveClosed:    "its controller reported it closed, or its grant has run out",
	zones.ValveOpen:      "its controller reports it open on a grant of ours",
	zones.ValveMaybeOpen: "a grant of ours may still hold it open: no report tells",
	zones.ValveUnknown:   "its controller was not heard since the start",
	zones.ValveLatched:   "it did not obey; it stays out of use until a reset",
}

func whyProbe(v *zones.View, subject string) *Why {
	for i := range v.Probes {
		p := &v.Probes[i]
		if p.ID != subject && p.Place.String() != subject {
			continue
		}
		y := &Why{Subject: nameOf(p), Kind: "probe", State: string(p.Quality), Because: p.Because}
		if y.Because == "" {
			y.Because = "it counts for its zone"
		}
		y.number("place", p.Place.String())
		y.number("zone", orNone(p.Zone))
		if p.Moisture != nil {
			y.number("moisture", fmt.Sprintf("%.1f %%", *p.Moisture))
		}
		if p.AgeSeconds != nil {
			y.number("age", (time.Duration(*p.AgeSeconds) * time.Second).String())
		}
		return y
	}
	return nil
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
		return y
	}
	return nil
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
			y.Warnings = append(y.Warnings, "zone "+v.Zones[i].ID+": "+v.Zones[i].Because)
		}
	}
	return y
}
