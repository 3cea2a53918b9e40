package operator

import (
	"time"

	"rillgate/daemon/report"
)

// WrittenOf puts into the why of a zone what people measured there: the newest drain
// sample and the catch test. papers gives those of a kind; what cannot be read is told.
func WrittenOf(y *Why, papers func(kind string) ([]Paper, error)) {
	for _, kind := range []string{PaperDrain, PaperCatch} {
		list, err := papers(kind)
		if err != nil {
			y.warn("read what was measured here: %v", err)
			return
		}
		if name, value, ok := newestWritten(list, kind, y.Subject); ok {
			y.number(name, value)
		}
	}
}

// newestWritten gives a zone's newest paper that can be judged, in words.
func newestWritten(list []Paper, kind, zone string) (name, value string, ok bool) {
	var at time.Time
	for i := range list {
		p := &list[i]
		if !at.IsZero() && !p.At.After(at) {
			continue
		}
		n, v, of := written(p, kind)
		if of == zone && v != "" {
			at, name, value, ok = p.At, n, v, true
		}
	}
	return name, value, ok
}

// written gives one paper in words, and its zone; "" where it cannot be judged.
func written(p *Paper, kind string) (name, value, zone string) {
	if kind == PaperDrain {
		d, err := report.ReadDrain(p.Body, p.At)
		if err != nil {
			return "", "", ""
		}
		s, err := d.Judge()
		if err != nil {
			return "", "", d.Zone
		}
		return "drain, " + p.At.Format(time.DateTime), s.Words(), d.Zone
	}
	c, err := report.ReadCatch(p.Body, p.At)
	if err != nil {
		return "", "", ""
	}
	s, err := c.Judge()
	if err != nil {
		return "", "", c.Zone
	}
	return "uniformity, " + p.At.Format(time.DateOnly), s.Words(), c.Zone
}
