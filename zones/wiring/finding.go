package wiring

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Finding is one thing that the installer should know, in plain words.
type Finding struct {
	Code       string `json:"code"`
	Warning    bool   `json:"warning"` // else a note
	Controller string `json:"controller,omitempty"`
	Subject    string `json:"subject"` // "terminal 1", "valve east"
	Text       string `json:"text"`
	Do         string `json:"do"`    // what to do about it
	Basis      string `json:"basis"` // the source of the limit, or that there is none
}

// Where limits come from.
const (
	BasisHouse    = "house rule: common practice, no source"
	BasisPractice = "common practice, no source"
	BasisSDI12    = "SDI-12 version 1.3 (2016), section 3"
	BasisNEC      = "NEC chapter 9, notes to tables 11(A) and 11(B), as reprinted"
	BasisFile     = "room.yaml"
)

// The limits that SDI-12 gives: at least 10 sensors, each on 200 ft of cable, a
// ground conductor that drops less than 0.5 V, 9.6 V to 16 V.
const (
	SDI12Sensors    = 10
	SDI12CableM     = 200 * metresPerFoot
	SDI12GroundDrop = 0.5
	SDI12LeastVolts = 9.6
)

// The limits of Class 2 for sinusoidal alternating current: 30 V and 100 VA, and
// 15 V where wet contact is likely; 30 V of continuous direct current then.
const (
	Class2Volts  = 30.0
	Class2VA     = 100.0
	WetVoltsAC   = 15.0
	WetVoltsDC   = 30.0
	electrician  = "ask a licensed electrician which wiring method this room needs; this sheet does not decide it and claims no compliance"
	writeLengths = "write home_run, lead and tail of each probe into room.yaml"
)

// A list collects findings about one controller.
type list struct {
	room       *Room
	controller string
	out        []Finding
}

func (l *list) warn(code, subject, do, basis, format string, args ...any) {
	l.out = append(l.out, Finding{code, true, l.controller, subject, fmt.Sprintf(format, args...), do, basis})
}

func (l *list) note(code, subject, do, basis, format string, args ...any) {
	l.out = append(l.out, Finding{code, false, l.controller, subject, fmt.Sprintf(format, args...), do, basis})
}

func (l *list) length(m float64) string { return Length(m, l.room.US) }

// findings holds the sheets against the limits, warnings before notes.
func (r *Room) findings(sheets []ControllerSheet) []Finding {
	l := &list{room: r}
	for i := range r.Controllers {
		c, s := &r.Controllers[i], &sheets[i]
		l.controller = c.ID
		for j := range s.Terminals {
			l.terminal(&s.Terminals[j])
		}
		for j := range c.Valves {
			v := &c.Valves[j]
			name := "valve " + v.ID
			where := name
			if v.Master {
				where = "the master of supply " + v.Supply
			}
			l.valve(c, v, &s.Valves[j], name, where)
		}
		if h := c.Healthy; h != nil {
			v := h.coil()
			run := v.run(c.Volts)
			l.valve(c, v, &run, "healthy output", "`healthy`")
		}
		l.transformer(&s.Transformer)
		l.class2(&s.Transformer)
	}
	l.controller = ""
	l.canopy()
	sorted := []Finding{}
	for _, warning := range []bool{true, false} {
		for _, f := range l.out {
			if f.Warning == warning {
				sorted = append(sorted, f)
			}
		}
	}
	return sorted
}

func (l *list) terminal(t *TerminalSheet) {
	name, house := fmt.Sprintf("terminal %d", t.Number), &l.room.House
	if n := len(t.Probes); n > house.ProbesPerTerminal {
		l.warn("probes-per-terminal", name, "move probes to another terminal", BasisHouse, "%d probes, the house rule is %d at most", n, house.ProbesPerTerminal)
	}
	if n := len(t.Probes); n > SDI12Sensors {
		l.warn("bus-sensors", name, "expect lost readings, or move probes to another terminal", BasisSDI12, "%d probes: a bus must serve %d, more is not promised", n, SDI12Sensors)
	}
	l.runs(name, t)
	l.bus(name, t)
}

// runs judges how far the probes are: those over the bus's own limit, else those
// over the house's.
func (l *list) runs(name string, t *TerminalSheet) {
	house := l.room.House.FarthestProbeM
	const do = "shorten the way, or use a terminal nearer to it"
	if far, which := beyond(t, SDI12CableM); far > 0 {
		l.warn("bus-length", name, do, BasisSDI12, "%s of cable to %s: a bus promises %s a probe; the house rule is %s", l.length(far), andList(which), l.length(SDI12CableM), l.length(house))
	} else if far, which := beyond(t, house); far > 0 {
		l.warn("farthest-probe", name, do, BasisHouse, "%s of cable to %s: the house rule is %s at most", l.length(far), andList(which), l.length(house))
	}
}

// beyond gives the longest run over a limit, and the probes whose run is over it, the
// farthest first.
func beyond(t *TerminalSheet, limit float64) (far float64, which []string) {
	over := slices.DeleteFunc(slices.Clone(t.Probes), func(p ProbeLine) bool { return !p.Run.Over(limit) })
	slices.SortStableFunc(over, func(a, b ProbeLine) int { return cmp.Compare(b.Run.value, a.Run.value) })
	for i := range over {
		far = over[0].Run.value
		which = append(which, over[i].ID)
	}
	if len(which) > 4 {
		which = append(which[:3:3], fmt.Sprintf("%d more", len(which)-3))
	}
	return far, which
}

// bus judges the voltage at the probe that gets least, copper at 75 °C.
func (l *list) bus(name string, t *TerminalSheet) {
	if len(t.Probes) == 0 {
		return
	}
	if drop, known := t.Hot.GroundDrop.Value(); t.Hot.GroundDrop.Over(SDI12GroundDrop) {
		l.warn("ground-drop", name, "thicker cable, a shorter way, or fewer probes", BasisSDI12, "the ground conductor drops %.3f V up to probe %s when all draw %s, the limit is %.1f V", drop, t.Lowest, milliamps(t.DrawA), SDI12GroundDrop)
	} else if !known {
		l.note("bus-unknown", name, "write `cable` and the lengths into room.yaml", BasisFile, "cable or lengths are not given, so the voltage at the far probe is not known")
	}
	if v, known := t.Hot.ProbeVolts.Value(); known && v <= 0 {
		l.warn("probe-voltage", name, "thicker cable, a shorter way, or fewer probes", BasisFile, "this cable would take more than the %.1f V there are: nothing reaches probe %s when all draw", t.Volts, t.Lowest)
	} else if t.Hot.ProbeVolts.Under(SDI12LeastVolts) && t.Volts >= SDI12LeastVolts {
		l.warn("probe-voltage", name, "thicker cable, a shorter way, or fewer probes; the probe's own sheet says what it needs", BasisSDI12, "%.1f V reach probe %s when all draw, an SDI-12 line has %.1f V at least", v, t.Lowest, SDI12LeastVolts)
	}
	if !t.LongestM.known {
		l.note("run-unknown", name, writeLengths, BasisFile, "a length is not given, so the way to the farthest probe is not known")
	}
}

func milliamps(a float64) string { return decimals(a*1000, 1) + " mA" }

// valve judges the run of a valve, or of what is wired like one; where is its place in
// room.yaml.
func (l *list) valve(c *Controller, v *Valve, run *ValveRun, name, where string) {
	if least := l.room.House.ValveWire; v.Wire.Given() && least.Given() && v.Wire.Finer(least) {
		l.warn("valve-wire", name, "use "+least.String()+" or thicker", BasisHouse, "its wire is %s, the house rule is %s at least", v.Wire, least)
	}
	drop, _ := run.Hot.InrushDrop.Value()
	if c.Volts > 0 && run.Hot.InrushDrop.Over(AllowedDrop*c.Volts) {
		far, _ := run.Longest.Value()
		l.warn("valve-drop", name, l.thicker(c, v), BasisPractice, "%.2f V (%s) are lost at its inrush over %s of %s at 75 °C, more than %.0f %%: at most %s of this wire", drop, percent(drop/c.Volts), l.length(v.LengthM), v.Wire, AllowedDrop*100, l.length(far))
	}
	var missing []string
	for _, m := range []struct {
		gone bool
		key  string
	}{{v.LengthM < 0, "length"}, {!v.Wire.Given(), "wire"}, {v.Holding <= 0, "holding"}} {
		if m.gone {
			missing = append(missing, "`"+m.key+"`")
		}
	}
	if len(missing) > 0 {
		l.note("valve-unknown", name, "write "+strings.Join(missing, ", ")+" of "+where+" into room.yaml", BasisFile, "%s not given, so its run is not reckoned", strings.Join(missing, ", "))
	}
}

func (l *list) thicker(c *Controller, v *Valve) string {
	if w, ok := v.enough(c.Volts); ok {
		return fmt.Sprintf("use %s, or a controller nearer to it", w)
	}
	return "put a controller nearer to it"
}

func (l *list) transformer(t *Transformer) {
	need, known := t.Need.Value()
	rating, rated := t.Rating.Value()
	wanted, _ := t.Wanted.Value()
	if len(t.Open) > 0 && (len(t.Unknown) > 0 || !known) {
		l.note("transformer-unknown", "transformer", "write `power` of the controller, and `holding` and `inrush` of each valve, master and `healthy`, into room.yaml", BasisFile, "its load is not wholly known")
	}
	switch {
	case !known:
	case !rated:
		l.note("transformer-unrated", "transformer", fmt.Sprintf("write `rating` under `power`; %s VA or more keeps a quarter spare", decimals(wanted, 1)), BasisFile, "it must give %s VA, its rating is not given", decimals(need, 1))
	case t.Need.Over(rating):
		l.warn("transformer-load", "transformer", fmt.Sprintf("%s VA or more, or a lower max_open; until then valves wait for each other", decimals(wanted, 1)), BasisFile, "%s VA are needed when %s are open and %s opens, it gives %s VA", decimals(need, 1), andList(t.Open), t.Opening, decimals(rating, 1))
	case t.Wanted.Over(rating):
		l.warn("transformer-spare", "transformer", fmt.Sprintf("%s VA or more, or a lower max_open", decimals(wanted, 1)), BasisPractice, "%s VA are needed and it gives %s VA: %.0f %% spare, a quarter is wanted", decimals(need, 1), decimals(rating, 1), (rating/need-1)*100)
	}
}

// class2 says where the supply of the valves leaves the limits within which simple
// wiring methods are usual. It never says that they are kept.
func (l *list) class2(t *Transformer) {
	volts, known := t.Volts.Value()
	if !known || len(t.Open) == 0 {
		return
	}
	if t.Volts.Over(Class2Volts) {
		l.warn("class-2-volts", "transformer", electrician, BasisNEC, "%s V is over the %.0f V of a Class 2 source", decimals(volts, 1), Class2Volts)
	}
	if rating, _ := t.Rating.Value(); t.Rating.Over(Class2VA) {
		l.warn("class-2-power", "transformer", electrician, BasisNEC, "%s VA is over the %.0f VA of a Class 2 source", decimals(rating, 1), Class2VA)
	}
	limit, kind := WetVoltsAC, "a.c."
	if t.Kind == "dc" {
		limit, kind = WetVoltsDC, "continuous d.c."
	}
	if t.Volts.Over(limit) {
		l.warn("wet-contact", "transformer", electrician, BasisNEC, "%s V: where wet contact is likely, as in a growing room, Class 2 wiring ends at %.0f V %s and other methods begin", decimals(volts, 1), limit, kind)
	}
}

// canopy holds the number of probes against the area.
func (l *list) canopy() {
	rule := l.room.House.CanopyPerProbeM2
	for _, z := range l.room.Zones {
		if z.CanopyM2 <= 0 || z.Probes == 0 || rule <= 0 {
			continue
		}
		if each := Known(z.CanopyM2 / float64(z.Probes)); each.Over(rule) {
			l.warn("canopy-per-probe", "zone "+z.ID, "add probes", BasisHouse, "%s of canopy on each probe, the house rule is %s at most", Area(each.value, l.room.US), Area(rule, l.room.US))
		}
	}
}

func andList(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}
