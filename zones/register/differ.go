package register

import (
	"fmt"

	"rillgate/zones"
)

// Difference is what files and register say otherwise of a probe, and what makes them
// agree. room.yaml leads where it names a probe; the register fills what it leaves open;
// an exchange stands until room.yaml says another place or another offset.
type Difference struct {
	Probe   string `json:"probe"`
	Because string `json:"because"`
}

// Differences compares the probes of files with those of a room: what files and orders
// made of them, and who answers unasked.
func Differences(files []zones.Probe, room []zones.ProbeView) (out []Difference) {
	for i := range files {
		for k := range room {
			if p := &room[k]; p.ID == files[i].ID && p.Kept != nil {
				out = append(out, ofLine(&files[i], p)...)
			}
		}
	}
	for i := range room {
		if because := unnamed(files, &room[i]); because != "" {
			out = append(out, Difference{room[i].ID, because})
		}
	}
	return out
}

// ofLine compares one probe that the files name.
func ofLine(f *zones.Probe, p *zones.ProbeView) (out []Difference) {
	say := func(format string, args ...any) {
		out = append(out, Difference{p.ID, fmt.Sprintf(format, args...)})
	}
	k := p.Kept
	moved := p.Place != f.Place
	if moved && k.Instead != f.Place.String() {
		return nil // files that are not in force yet
	}
	if moved {
		say("room.yaml names %s at %s; since it was exchanged it is at %s: %s", p.ID, f.Place, p.Place, zones.LineMoves(f.Place, p.Place))
	}
	if k.Void != 0 && k.Void == f.Offset {
		say("the offset of %.1f points that room.yaml gives %s went with the probe before: take it out of its line, or write its own", k.Void.Float(), p.ID)
	}
	switch {
	case k.Label == "" || k.Label == f.Label:
	case f.Label == "":
		say("room.yaml gives %s no label; the register has %q: put `label: %q` into its line", p.ID, k.Label, k.Label)
	default:
		say("room.yaml labels %s %q, and it leads; the register has %q: `rillgate label %s %q` makes them agree", p.ID, f.Label, k.Label, p.ID, f.Label)
	}
	if k.Zone != "" && k.Zone != f.Zone {
		say("room.yaml gives %s to %s, and it leads; an order gave it to %s%s", p.ID, or(f.Zone, "no zone"), k.Zone, agree(p.ID, f.Zone))
	}
	return out
}

func agree(id, zone string) string {
	if zone == "" {
		return ": put `zone` into its line if it is to count"
	}
	return fmt.Sprintf(": `rillgate assign %s %s` makes them agree", id, zone)
}

// unnamed says what is to be done about a probe that the files do not name.
func unnamed(files []zones.Probe, p *zones.ProbeView) string {
	for i := range files {
		if files[i].Place == p.Place || files[i].ID == p.ID {
			return ""
		}
	}
	switch {
	case p.InFiles: // of files that are in force yet
		return ""
	case p.Zone != "":
		return fmt.Sprintf("%s is given to %s by an order, and room.yaml does not name it: under terminal %d of %s goes %s",
			p.ID, p.Zone, p.Place.Terminal, p.Place.Controller, zones.ProbeLine(p.ID, p.Place, p.Zone, p.Label))
	case p.AgeSeconds != nil:
		return fmt.Sprintf("%s answers at %s, and room.yaml does not name it: `rillgate assign %s ZONE` makes it count and gives the line for the file", p.ID, p.Place, p.ID)
	}
	return ""
}
