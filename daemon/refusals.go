package daemon

import (
	"fmt"
	"time"

	"rillgate/daemon/field"
	"rillgate/zones"
)

// refusalEvery is how often one cause is journalled while it goes on.
const refusalEvery = time.Hour

// refusals tells people of messages from the field that were refused, by cause:
// installers wire a room by them.
type refusals struct {
	seen   map[string]refusalSeen
	recent []string // sentences about the causes of the last minutes
}

type refusalSeen struct {
	count uint64
	told  time.Duration // Mono of the last line in the journal
}

// look is called once a minute.
func (r *refusals) look(d *Daemon) {
	r.recent = nil
	if d.link == nil {
		return
	}
	if r.seen == nil {
		r.seen = map[string]refusalSeen{}
	}
	for _, x := range d.link.Refusals() {
		was, met := r.seen[x.Cause]
		if x.Count == was.count {
			continue
		}
		said := refusalWords(x)
		r.recent = append(r.recent, said)
		is := refusalSeen{count: x.Count, told: was.told}
		if !met || d.now.Mono-was.told >= refusalEvery {
			is.told = d.now.Mono
			d.entry(d.now.Wall, &zones.Entry{Kind: "message-refused", Because: said})
			d.o.Log.Warn("message refused", "cause", x.Cause, "count", x.Count, "hint", x.Hint, "topic", x.Topic)
		}
		r.seen[x.Cause] = is
	}
}

func refusalWords(x field.Refusal) string {
	return fmt.Sprintf("%d messages refused since the start, %s: %s (last on %s)", x.Count, x.Cause, x.Hint, x.Topic)
}
