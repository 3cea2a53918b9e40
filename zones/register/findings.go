package register

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"rillgate/zones"
)

// Findings gives what does not fit at an age of the room, in order of probe and code.
func (r *Register) Findings(age time.Duration) []Finding {
	var all []Finding
	for _, l := range r.lives {
		s := r.spots[l.Place]
		if l.Gone || s == nil {
			continue
		}
		if f, ok := r.twice(l, s, age); ok {
			all = append(all, f)
		} else if f, ok := r.stranger(l, s, age); ok {
			all = append(all, f)
		}
	}
	for _, l := range r.lives {
		if f, ok := r.doubled(l, age); ok {
			all = append(all, f)
		}
	}
	slices.SortFunc(all, func(a, b Finding) int {
		return strings.Compare(a.Probe+" "+string(a.Code), b.Probe+" "+string(b.Code))
	})
	return slices.CompactFunc(all, func(a, b Finding) bool { return a.Probe == b.Probe && a.Code == b.Code })
}

// twice finds two probes with one address.
func (r *Register) twice(l *Life, s *spot, age time.Duration) (Finding, bool) {
	f := Finding{Code: zones.FindingAddressTwice, Probe: l.ID}
	switch {
	case s.serial.alternates(age) && !r.elsewhere(s.serial.before, l.Place):
		f.Because = fmt.Sprintf("%s and %s answer by turns at %s: two probes have one address. Take one off the line, and give it another address, alone on the line",
			min(s.serial.before, s.serial.now), max(s.serial.before, s.serial.now), l.Place)
	case s.jumps(age) >= jumpsMin:
		f.Because = fmt.Sprintf("%s at %s jumped up and down %d times in half an hour, more than a substrate can: two probes have one address, or a plug is loose. Take the probes of this line off one by one until it stands still",
			l.ID, l.Place, s.jumps(age))
	default:
		return f, false
	}
	return f, true
}

// elsewhere reports whether a serial number is heard at another place for sure.
func (r *Register) elsewhere(serial string, place zones.Place) bool {
	s := r.serials[serial]
	return s != nil && s.sure() && s.now != place.String()
}

// stranger finds what answers at the place of a probe and is not that one.
func (r *Register) stranger(l *Life, s *spot, age time.Duration) (Finding, bool) {
	is := s.serial.now
	if !s.serial.sure() || is == l.Serial || age-s.serial.at > lately || r.where(is).now != l.Place.String() {
		return Finding{}, false
	}
	o := r.owner(is)
	if o != nil && !named(o) {
		o = nil // who answers unasked has no place of its own
	}
	switch {
	case o != nil && r.where(is).alternates(age):
		return Finding{}, false // one number at two places: told as that
	case o != nil && l.Serial != "" && r.heardAt(o.Place) == l.Serial:
		return Finding{zones.FindingProbeMoved, o.ID, fmt.Sprintf("%s and %s have changed places: %s (%s) answers at %s, and %s (%s) at %s. Change the two plugs back, or the places of both lines in room.yaml and `rillgate apply`",
			o.ID, l.ID, o.ID, is, l.Place, l.ID, l.Serial, o.Place)}, true
	case o != nil && named(l):
		return Finding{zones.FindingProbeMoved, o.ID, fmt.Sprintf("%s (%s) answers at %s, the place of %s, and not at its own, %s: put it back, or change both lines in room.yaml and `rillgate apply`",
			o.ID, is, l.Place, l.ID, o.Place)}, true
	case o != nil:
		return Finding{zones.FindingProbeMoved, o.ID, fmt.Sprintf("%s (%s) answers at %s now, and not at %s: `rillgate exchange %s %s` lets it go on there, or put it back",
			o.ID, is, l.Place, o.Place, o.ID, l.Place)}, true
	case l.Serial == "" || !named(l):
		return Finding{}, false
	}
	return Finding{zones.FindingProbeExchanged, l.ID, fmt.Sprintf("%s answers at %s, where %s was %s: if it was exchanged, `rillgate exchange %s` lets it begin anew; if not, it is wired to the wrong place or bears the wrong address",
		is, l.Place, l.ID, l.Serial, l.ID)}, true
}

// named reports whether somebody named the probe: in the files, or by giving it a zone.
func named(l *Life) bool { return l.InFiles || l.Zone != "" }

// doubled finds one serial number at two places.
func (r *Register) doubled(l *Life, age time.Duration) (Finding, bool) {
	s := r.serials[l.Serial]
	if l.Gone || l.Serial == "" || s == nil || !s.alternates(age) {
		return Finding{}, false
	}
	return Finding{zones.FindingSerialTwice, l.ID, fmt.Sprintf("serial number %s answers by turns at %s and %s: one cable on two terminals, a controller that reports a line twice, or a copied number. Unplug %s and see which of the two falls silent",
		l.Serial, min(s.before, s.now), max(s.before, s.now), l.ID)}, true
}
