package handover

import (
	"rillgate/zones"
)

// healthy is the output that is held while all is well.
type healthy struct{ Output, Drives, State string }

// trials are how it is shown that whatever fails sounds.
var trials = []string{"the controller's plug pulled", "the cable from output to relay pulled", "the controller's network cable pulled",
	"the daemon stopped (`systemctl stop rillgate`)", "an urgent alarm (leak switch wet)"}

func (w writing) healthy(p *zones.Plan, v *zones.View, running bool) *healthy {
	if p.Healthy == nil {
		return nil
	}
	h := &healthy{Output: p.Healthy.String(), Drives: p.HealthyPart.Drives}
	if running && v != nil && v.Healthy != nil {
		h.State = string(v.Healthy.State) + " since " + v.Healthy.Since.In(w.loc).Format("2006-01-02 15:04")
	}
	return h
}

// fallen is what stands about it: it is not held.
func (w writing) fallen(v *zones.View, running bool) []Open {
	if !running || v == nil || v.Healthy == nil || v.Healthy.Held {
		return nil
	}
	h := v.Healthy
	return []Open{{What: "Healthy output " + string(h.State), Subject: h.Output.String(), Text: h.Because, Since: h.Since.In(w.loc).Format("2006-01-02 15:04")}}
}
