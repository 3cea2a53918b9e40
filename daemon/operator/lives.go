package operator

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"rillgate/zones/register"
)

// PaperProbe is the life of one probe, which the daemon writes; key: the life's own.
const PaperProbe = "probe"

// Lives reads the lives of probes from their papers. A paper that cannot be read is left
// out, and one whose probe goes on in another.
func Lives(papers []Paper) (out []register.Life) {
	for i := range papers {
		l := register.Life{}
		if err := json.Unmarshal(papers[i].Body, &l); err == nil && l.Key == papers[i].Key && l.Into == "" {
			out = append(out, l)
		}
	}
	return out
}

// Lived looks for the life of the probe that a Why is about. papers gives those of a kind.
func (e *Evidence) Lived(y *Why, papers func(kind string) ([]Paper, error)) {
	kept, err := papers(PaperProbe)
	if err != nil {
		y.warn("its life in the register cannot be read: %s", err)
		return
	}
	if all := register.Lives(Lives(kept), y.Subject); len(all) > 0 {
		e.Life = &all[0]
	}
}

// heardFirst gives when a probe was heard first, and the device that stands for it since
// an exchange; zero = not known.
func (e *Evidence) heardFirst() (probe, device time.Time) {
	if e.Life == nil {
		return e.First, time.Time{}
	}
	for _, one := range e.Life.Events {
		switch one.Kind {
		case register.Exchange:
			device = time.Time{}
		case register.Met:
			device = one.At
			if probe.IsZero() {
				probe = one.At
			}
		}
	}
	if probe.IsZero() && e.Life.Heard {
		probe = e.First // so long ago that the register forgot
	}
	return probe, device
}

// life tells what happened to a probe, the newest last.
func (e *Evidence) life(y *Why) {
	l := e.Life
	if l == nil {
		return
	}
	if l.Serial != "" && !slices.Contains(y.Numbers, Number{"serial", l.Serial}) {
		y.number("serial in the register", l.Serial)
	}
	for _, one := range l.Newest(lifeShown) {
		y.number(one.At.In(e.Now.Location()).Format(time.DateTime), one.Sentence())
	}
	if n := len(l.Events) - lifeShown; n > 0 {
		y.warn("%s", fmt.Sprintf("%d earlier events: `rillgate probes %s`", n, l.ID))
	}
}

// lifeShown is how many events of a life a Why shows.
const lifeShown = 8
