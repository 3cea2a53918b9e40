package operator

import (
	"encoding/json"
	"fmt"
	"time"

	"rillgate/zones/register"
)

// PaperProbe is the life of one probe, which the daemon writes; key: the life's own.
const PaperProbe = "probe"

// Lives reads the lives of probes from their papers. A paper that cannot be read is left
// out.
func Lives(papers []Paper) (out []register.Life) {
	for i := range papers {
		l := register.Life{}
		if err := json.Unmarshal(papers[i].Body, &l); err == nil && l.Key == papers[i].Key {
			out = append(out, l)
		}
	}
	return out
}

// LifeOf puts the life of the probe that a Why is about into it: serial number, and what
// happened to it, the newest last. papers gives those of a kind.
func LifeOf(y *Why, papers func(kind string) ([]Paper, error)) {
	kept, err := papers(PaperProbe)
	if err != nil {
		y.warn("its life in the register cannot be read: %s", err)
		return
	}
	all := register.Lives(Lives(kept), y.Subject)
	if len(all) == 0 {
		return
	}
	l := &all[0]
	if l.Serial != "" {
		y.number("serial number", l.Serial)
	}
	for _, e := range l.Newest(lifeShown) {
		y.number(e.At.Format(time.DateTime), e.Sentence())
	}
	if n := len(l.Events) - lifeShown; n > 0 {
		y.warn("%s", fmt.Sprintf("%d earlier events: `rillgate probes %s`", n, l.ID))
	}
}

// lifeShown is how many events of a life a Why shows.
const lifeShown = 8
