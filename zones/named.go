package zones

import "strings"

// Probe gives the probe that a word means: by its id, else by its place such as
// "north/1/0", else by a serial number that no other one has. nil: none.
func (v *View) Probe(word string) *ProbeView {
	if word == "" {
		return nil
	}
	for _, means := range []func(p *ProbeView) bool{
		func(p *ProbeView) bool { return p.ID == word },
		func(p *ProbeView) bool { return p.Place.String() == word },
		func(p *ProbeView) bool { return p.Serial == word },
	} {
		if p := v.only(means); p != nil {
			return p
		}
	}
	return nil
}

// Names writes names as a sentence does: "a, b and c".
func Names(all []string) string {
	if len(all) < 2 {
		return strings.Join(all, "")
	}
	return strings.Join(all[:len(all)-1], ", ") + " and " + all[len(all)-1]
}

// only gives the one probe that is meant, nil for none or several.
func (v *View) only(means func(p *ProbeView) bool) (one *ProbeView) {
	for i := range v.Probes {
		if p := &v.Probes[i]; means(p) {
			if one != nil {
				return nil
			}
			one = p
		}
	}
	return one
}
