package operator

import (
	"fmt"
	"time"

	"rillgate/zones"
)

// probe tells what the judgement of a probe rests on.
func (e *Evidence) probe(y *Why, p *zones.ProbeEvidence) {
	if !e.Dead {
		e.hearing(y, p)
		e.inZone(y, p)
	}
	calibration(y, p)
	first, since := e.heardFirst()
	if !first.IsZero() {
		y.number("first heard", e.clock(first))
	}
	if !since.IsZero() && !since.Equal(first) {
		y.number("this one first heard", e.clock(since))
	}
	if !e.Last.IsZero() && (e.Dead || p.HeardAt == nil) {
		y.number("last heard", e.clock(e.Last))
	}
	for i := range e.Lines {
		l := &e.Lines[i]
		text := fmt.Sprintf("%s %s: %s", e.clock(l.At), l.Kind, orCode(l))
		if l.By != "" {
			text += " (by " + l.By + ")"
		}
		y.number("journal", text)
	}
}

// orCode gives what a line says, else the code that it is about.
func orCode(l *Line) string {
	if l.Because == "" {
		return string(l.Reason)
	}
	return l.Because
}

// hearing tells how it is heard.
func (e *Evidence) hearing(y *Why, p *zones.ProbeEvidence) {
	y.number("last reading", e.at(p.HeardAt))
	if p.HeardAt != nil {
		y.number("readings in a row", fmt.Sprintf("%d since the start or the last silence; %s", p.Readings,
			map[bool]string{true: "they bear a time of their own", false: "they bear no time of their own"}[p.OwnTime]))
	}
	y.number("stale after", (time.Duration(p.Stale * float64(time.Second))).String())
	y.number("plausible", fmt.Sprintf("%.4g to %.4g %%", p.Lowest, p.Highest))
	if p.FellFrom != nil {
		y.number("left out", fmt.Sprintf("it fell from %.1f %% faster than substrate dries", *p.FellFrom))
	}
	if p.LeftOut != nil {
		y.number("ignored by a person", "until "+e.at(p.LeftOut))
	}
}

// inZone tells whether it counts, and how its zone stands.
func (e *Evidence) inZone(y *Why, p *zones.ProbeEvidence) {
	if p.ZoneHas == 0 && p.Quorum == 0 {
		y.number("counts", "no: it is in no zone")
		return
	}
	y.number("counts", map[bool]string{true: "yes", false: "no: " + y.Because}[p.Counts])
	text := fmt.Sprintf("%d of %d probes count, %d are needed", p.ZoneCounts, p.ZoneHas, p.Quorum)
	if p.ZoneValue != nil {
		text = fmt.Sprintf("%.1f %% from them; ", *p.ZoneValue) + text
	}
	y.number("its zone", text)
}

// calibration tells how its signal becomes a moisture.
func calibration(y *Why, p *zones.ProbeEvidence) {
	switch {
	case p.Sent:
		y.number("moisture by", "the probe itself: no curve is asked")
	case p.Curve == "":
		y.number("moisture by", "nothing: a curve belongs to a zone's substrate")
	case p.CurveOwn:
		y.number("moisture by", "permittivity and your own samples of this substrate, if it sends no moisture")
	default:
		y.number("moisture by", fmt.Sprintf("permittivity and the curve %s (%s), if it sends no moisture", p.Curve, p.CurveSource))
	}
	if p.CurveDoubt > 0 && !p.Sent {
		y.number("curve good to", fmt.Sprintf("%.0f points", p.CurveDoubt))
	}
	if p.Offset != 0 {
		y.number("offset", fmt.Sprintf("%+.2g points, added to each moisture", p.Offset))
	} else {
		y.number("offset", "none")
	}
}
