package zones

import "time"

// HealthyState is the honest state of the output that is held while all is well.
type HealthyState string

// The states of the healthy output.
const (
	HealthyHeld    HealthyState = "held"       // its controller reports it held on a grant of ours
	HealthyWaiting HealthyState = "waiting"    // told to hold; no report shows it yet
	HealthyDropped HealthyState = "dropped"    // reported dropped, or its grant has run out
	HealthyMaybe   HealthyState = "maybe-held" // told to let go; a grant may hold it still
	HealthyStuck   HealthyState = "stuck"      // told to let go, and reported held
	HealthyUnknown HealthyState = "unknown"    // no report since the start names it
)

// HealthyView is the output that is held while all is well.
type HealthyView struct {
	Output  Output       `json:"output"`
	Drives  string       `json:"drives"` // what hangs on it; "" = nobody said
	State   HealthyState `json:"state"`
	Held    bool         `json:"held"`
	Since   time.Time    `json:"since"`   // since then it is told to hold, or not to
	Because string       `json:"because"` // why it is not held; "" = it is
	Alarms  []string     `json:"alarms"`  // that keep it dropped: code and subject, "leak-bay"
}

func (r *Room) healthyView(wall time.Time, t time.Duration) *HealthyView {
	h := r.healthy
	if h == nil {
		return nil
	}
	v := &HealthyView{Output: h.out.id, Drives: r.plan.HealthyPart.Drives, State: r.healthyState(h, t), Because: h.because,
		Since: *r.onWall(wall, t)(h.since), Alarms: []string{}}
	v.Held = v.State == HealthyHeld
	if v.State == HealthyWaiting {
		v.Because = "no report shows it held yet"
	}
	for _, a := range r.sortedAlarms() {
		if from, ok := r.urgentFrom(a); ok && from <= t {
			v.Alarms = append(v.Alarms, alarmID(a.code, a.subject))
		}
	}
	return v
}

// healthyState tells held from dropped by reports alone, as that of a valve.
func (r *Room) healthyState(h *healthy, t time.Duration) HealthyState {
	o := h.out
	heard := r.brokerUp && o.ctl.online && o.shown && o.repAt >= o.ctl.arrived // the newest report names it
	switch {
	case h.turn != nil && o.sawOpen:
		return HealthyHeld
	case h.turn != nil:
		return HealthyWaiting
	case o.confirmed:
		return HealthyDropped
	case heard && o.open && (o.carries(o.closeSeq, r.epoch) || o.granted && t > o.deadline+settleGrace):
		return HealthyStuck
	case heard && o.open, o.granted && t < o.deadline+settleGrace:
		return HealthyMaybe
	case o.granted:
		return HealthyDropped // its grant has run out
	}
	return HealthyUnknown
}
