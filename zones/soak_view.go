package zones

import "time"

// SoakView is a soak that is on.
type SoakView struct {
	VolumeML    float64   `json:"volume_ml"` // a plant, in all
	GivenML     float64   `json:"given_ml"`
	Runs        int       `json:"runs"`
	Begun       int       `json:"begun"`        // of them
	RunSeconds  float64   `json:"run_seconds"`  // of each
	RestSeconds float64   `json:"rest_seconds"` // between two, at least
	MaxMoisture float64   `json:"max_moisture"` // %; it ends there
	Until       time.Time `json:"until"`        // no run begins later; not when it ends
	Waits       string    `json:"waits"`        // what keeps it waiting beside its rest; "" = nothing
}

// SoakRoom is what soaks may have, in any 24 h of powered time.
type SoakRoom struct {
	UsedSeconds  float64 `json:"used_seconds"`
	LimitSeconds float64 `json:"limit_seconds"`
	LeftSeconds  float64 `json:"left_seconds"` // under that limit and the ceiling of shots and soaks together
	LeftML       float64 `json:"left_ml"`      // a plant; 0 = none, or the emitters are not known
}

// soakView fills in the soak that is on, and what soaks may have.
func (r *Room) soakView(v *ZoneView, z *zone, t time.Duration, at func(time.Duration) *time.Time) {
	l := z.cfg.Limits.Soak
	if l == nil {
		return
	}
	used := z.used(t, Soak)
	left := max(0, min(l.MaxPerDay-used, MaxPerDayCeiling-used-z.used(t, "")))
	if z.spent() {
		left = 0
	}
	v.SoakRoom = &SoakRoom{UsedSeconds: used.Seconds(), LimitSeconds: l.MaxPerDay.Seconds(), LeftSeconds: left.Seconds(),
		LeftML: z.cfg.PlantLPH() * 1000 * left.Hours()}
	if s := z.soak; s != nil {
		v.Soak = &SoakView{VolumeML: s.ml, GivenML: s.mlIn(s.given), Runs: s.runs, Begun: s.begun, RunSeconds: s.length.Seconds(),
			RestSeconds: max(s.rest, z.minRest()).Seconds(), MaxMoisture: l.MaxMoisture.Float(), Until: *at(s.until), Waits: r.soakWaits(z, t)}
	}
}

// soakNext says what happens next in a soak between its runs.
func (z *zone) soakNext(r *Room, t time.Duration) string {
	s := z.soak
	if t < r.walkTo {
		return sprintf("run %d of %d of its soak waits until the room is walked", s.begun+1, s.runs)
	}
	if rest := z.restUntil(z.rest()); rest > t {
		return sprintf("run %d of %d of its soak may begin at %s", s.begun+1, s.runs, r.clockWords(rest))
	}
	return sprintf("run %d of %d of its soak begins as soon as it may", s.begun+1, s.runs)
}

// soakWaits says what keeps a soak waiting at age t, beside its rest; "" = nothing does.
func (r *Room) soakWaits(z *zone, t time.Duration) string {
	switch {
	case z.run != nil:
		return ""
	case t < r.walkTo:
		return "the room is being walked"
	case z.waiting && z.reason == SupplyBusy:
		return "for its turn on supply " + z.supply.cfg.ID
	}
	return ""
}
