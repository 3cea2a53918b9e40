package substrate

import "strings"

// Medium is a kind of substrate with what is known of it. A Figure that is not Known
// has no number worth having.
type Medium struct {
	Name     string
	Soilless bool
	Porosity Figure // m3/m3
	// Retention and its standing; Fitted is the zero Standing where there is none.
	Retention Retention
	Fitted    Standing
	PoreShift Figure // offset of Hilhorst's formula
	Curve     string // from permittivity to moisture: a name of Curves, or "mixing"
}

const noFit = "no published fit; a commonly described shape, inside the classes of De Boodt & Verdonck 1972"

// Media gives the media known by name, in a fixed order.
func Media() []Medium {
	mean := Figure{MeanOffset, Recalled, "Hilhorst 2000, mean over soils"}
	return []Medium{
		{
			Name: "stone-wool", Soilless: true, Porosity: Figure{0.94, Recalled, "92 to 97 % is commonly given"},
			Retention: Retention{0.01, 0.94, 0.065, 3.00}, Fitted: Ours, Curve: "mixing",
			PoreShift: Figure{4.1, Reported, "Hilhorst 2000, table 1"},
		},
		{
			Name: "coir", Soilless: true, Porosity: Figure{0.88, Ours, noFit},
			Retention: Retention{0.10, 0.88, 0.200, 1.50}, Fitted: Ours, Curve: "nagare-2011",
			PoreShift: Figure{1.64, Reported, "Lee & Kim 2024, doi 10.1016/j.agwat.2024.108836"},
		},
		{
			Name: "peat", Soilless: true, Porosity: Figure{0.93, Ours, noFit},
			Retention: Retention{0.10, 0.93, 0.120, 1.45}, Fitted: Ours, Curve: "nagare-2011", PoreShift: mean,
		},
		{Name: "bark", Soilless: true, Curve: "nagare-2011", PoreShift: mean},
		{Name: "perlite", Soilless: true, Curve: "mixing", PoreShift: mean},
		{Name: "mineral soil", Curve: "topp-1980", PoreShift: mean},
	}
}

// kinds leads words of a substrate's kind to a medium, the first that fits.
func kinds() [][2]string {
	return [][2]string{
		{"wool", "stone-wool"}, {"coir", "coir"}, {"coco", "coir"}, {"peat", "peat"},
		{"bark", "bark"}, {"perlite", "perlite"},
	}
}

// MediumOf gives the medium for a zone's kind of substrate, by the words in it. Only
// "soil", "mineral soil" and "field soil" are mineral soil: "soilless mix" and
// "potting soil" are not. ok is false for a kind that is not known; the medium is
// then a soilless one of which nothing is known.
func MediumOf(kind string) (m Medium, ok bool) {
	kind = strings.ToLower(strings.TrimSpace(kind))
	name := ""
	switch kind {
	case "soil", "mineral soil", "field soil":
		name = "mineral soil"
	}
	for _, k := range kinds() {
		if name == "" && strings.Contains(kind, k[0]) {
			name = k[1]
		}
	}
	for _, m := range Media() {
		if m.Name == name {
			return m, true
		}
	}
	return Medium{
		Name: "unknown", Soilless: true, Curve: "nagare-2011",
		PoreShift: Figure{MeanOffset, Recalled, "Hilhorst 2000, mean over soils"},
	}, false
}

// UsualSolid is the permittivity of solids that the mixing model takes where nothing
// better is known, chosen here from the usual 3 to 5.
const UsualSolid = 4.0

// mixingPorosity is that of a loose soilless medium of which none is known (ours).
const mixingPorosity = 0.95

// literatureDoubt is how far published curves for organic media lie apart, half of
// 0.13 m3/m3 and rounded up: what a curve is worth that was not made for this medium.
const literatureDoubt = 0.07

// DefaultCurve gives the curve for a zone's kind of substrate until it has one of its
// own. For a soilless substrate, and for an unknown one, it is never one of mineral
// soil. Its Doubt is at least 0.07 m3/m3 but for mineral soil.
func DefaultCurve(kind string) Curve {
	m, _ := MediumOf(kind)
	porosity := mixingPorosity
	if m.Porosity.Known() {
		porosity = m.Porosity.Value
	}
	c, err := Mixing(porosity, UsualSolid)
	if m.Curve != "mixing" || err != nil {
		c = named(m.Curve)
	}
	if m.Soilless {
		c.Doubt = max(c.Doubt, literatureDoubt)
	}
	if m.Porosity.Known() {
		c.Top = min(c.Top, m.Porosity.Value)
	}
	return c
}

// named gives a curve that is known to exist.
func named(name string) Curve {
	for _, c := range Curves() {
		if c.Name == name {
			return c
		}
	}
	return Curve{}
}
