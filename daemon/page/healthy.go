package page

import (
	"strings"

	"rillgate/zones"
)

// healthyRow is the output that is held while all is well.
type healthyRow struct{ Output, Drives, State, Class, Since, Because, Alarms string }

// healthyWords puts its state in words.
var healthyWords = map[zones.HealthyState][2]string{
	zones.HealthyHeld:    {"held", "good"},
	zones.HealthyWaiting: {"told to hold, not reported yet", "warn"},
	zones.HealthyDropped: {"dropped", "bad"},
	zones.HealthyMaybe:   {"let go, maybe held still", "warn"},
	zones.HealthyStuck:   {"does not let go: nothing sounds", "bad"},
	zones.HealthyUnknown: {notKnown, "warn"},
}

func (d *desk) healthy() *healthyRow {
	h := d.view.Healthy
	if h == nil {
		return nil
	}
	w, ok := healthyWords[h.State]
	if !ok {
		w = healthyWords[zones.HealthyUnknown]
	}
	row := &healthyRow{Output: h.Output.String(), Drives: orElse(h.Drives, "not written down"), State: w[0], Class: w[1], Since: d.clock(h.Since),
		Because: h.Because, Alarms: strings.Join(h.Alarms, ", ")}
	if h.Held {
		row.Because = "no urgent alarm stands"
	}
	return row
}

// healthyFlag is its word on the room as a whole.
func (d *desk) healthyFlag() flag {
	row := d.healthy()
	f := flag{"✗", "healthy output " + row.State, row.Class}
	if d.view.Healthy.Held {
		f.Mark = "✓"
	}
	return f
}
