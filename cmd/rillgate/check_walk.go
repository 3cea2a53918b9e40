package main

import (
	"fmt"
	"io"

	"rillgate/configs"
	"rillgate/zones"
)

// unwalked is a zone that no walk has found wired as the files say.
type unwalked struct {
	Zone    string `json:"zone"`
	Because string `json:"because"`
}

// unwalked tells which zones with a valve do not count as walked as these files wire them.
// v is the room as it is or was, nil = not known: then nothing is said. Where the files
// are not the plan of v, what the ledger remembers is held against them.
func (f *flags) unwalked(loaded *configs.Loaded, v *zones.View) (out []unwalked) {
	if v != nil && v.Plan != loaded.Hash {
		v = f.asRemembered(loaded.Plan)
	}
	if v == nil {
		return nil
	}
	for i := range v.Zones {
		if z := &v.Zones[i]; z.NotWalked != "" && hasValve(loaded.Plan, z.ID) {
			out = append(out, unwalked{z.ID, z.NotWalked})
		}
	}
	return out
}

func hasValve(p *zones.Plan, zone string) bool {
	for i := range p.Zones {
		if p.Zones[i].ID == zone {
			return len(p.Zones[i].Valves) > 0
		}
	}
	return false
}

// asRemembered is a room of another plan with what the ledger remembers; nil = it cannot
// be read.
func (f *flags) asRemembered(p *zones.Plan) *zones.View {
	dir, err := f.stateDir()
	if err != nil {
		return nil
	}
	memory := ledgerMemory(dir)
	if memory == nil {
		return nil
	}
	room, now := roomOf(p, memory)
	v := room.View(now)
	return &v
}

// notWalked prints zones that do not count as walked.
func notWalked(out io.Writer, all []unwalked) {
	if len(all) == 0 {
		return
	}
	fmt.Fprint(out, "\nnot walked as these files wire them:\n")
	for _, z := range all {
		fmt.Fprintf(out, "  %s: %s\n", z.Zone, z.Because)
	}
}
