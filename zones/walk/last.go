package walk

import (
	"encoding/json"
	"slices"
	"time"

	"rillgate/zones"
)

// Book keeps what the walks of a room have left: of each valve the last row that says
// something, with its own date and walker. A row that says nothing (not reached, refused,
// cut short) stands only where there is no other.
type Book struct {
	rows     map[string]*LastRow // by valve
	probes   []Probe             // of all rows, as they were named first
	good     map[string]time.Time
	accepted map[string]Accepted // by zone
	newest   *Newest
}

// Kept is one walk as it was kept, with who walked.
type Kept struct {
	By     string
	Result *Result
}

// Accepted is a person's word that a zone is wired as the files say.
type Accepted struct {
	Zone   string    `json:"zone"`
	Wiring string    `json:"wiring"` // mark of the wiring that was meant
	At     time.Time `json:"at"`
	By     string    `json:"by"`
	Note   string    `json:"note"`
}

// Newest is the last walk, whatever came of it.
type Newest struct {
	Begun   time.Time `json:"begun"`
	Ended   time.Time `json:"ended"` // zero = it goes on, or was cut off
	By      string    `json:"by"`
	Partial bool      `json:"partial"`
	Why     string    `json:"why,omitempty"`
	Found   string    `json:"found"` // in a sentence
}

// LastRow is one valve as it was walked last.
type LastRow struct {
	Row
	Walked time.Time `json:"walked"` // when it was opened; where it was not, when that walk began
	By     string    `json:"by"`
	Plan   string    `json:"plan"` // hash of the plan in force then

	begun time.Time       // of its walk
	own   map[string]bool // probes of its zone, as they were then
}

// LastZone is how one zone stands by the rule of the core, which waters by it.
type LastZone struct {
	Zone      string     `json:"zone"`
	WalkedAt  *time.Time `json:"walked_at"`          // nil = it does not count as walked
	NotWalked string     `json:"not_walked"`         // why it does not
	Accepted  *Accepted  `json:"accepted,omitempty"` // it counts by a person's word
	Doubt     string     `json:"doubt,omitempty"`    // what a later walk was not sure of
}

// Last is what is shown of a Book: the valves of some zones as the room is now.
type Last struct {
	Room   string     `json:"room"`
	Walk   *Newest    `json:"walk"` // the last walk, whatever came of it; nil = none is kept
	Probes []Probe    `json:"probes,omitempty"`
	Valves []LastRow  `json:"valves"` // cells in the order of Probes; Seen "" = it was no probe of the room then
	Zones  []LastZone `json:"zones"`
}

// NewBook is an empty book.
func NewBook() *Book {
	return &Book{rows: map[string]*LastRow{}, good: map[string]time.Time{}, accepted: map[string]Accepted{}}
}

// Empty reports whether nothing was ever walked or accepted.
func (b *Book) Empty() bool { return b.newest == nil && len(b.accepted) == 0 }

// Accept takes a person's word; of two of a zone the later one stands.
func (b *Book) Accept(a Accepted) {
	if !a.At.Before(b.accepted[a.Zone].At) {
		b.accepted[a.Zone] = a
	}
}

// Add takes a walk. The same walk, kept again later, takes its own place; walks come in
// order of their beginning.
func (b *Book) Add(k Kept) {
	r := k.Result
	b.newest = &Newest{Begun: r.Begun, Ended: r.Ended, By: k.By, Partial: r.Partial, Why: r.Why, Found: r.Sentence()}
	own := map[string]map[string]bool{}
	for _, p := range r.Probes {
		if own[p.Zone] == nil {
			own[p.Zone] = map[string]bool{}
		}
		own[p.Zone][p.ID] = true
		if !slices.ContainsFunc(b.probes, func(o Probe) bool { return o.ID == p.ID }) {
			b.probes = append(b.probes, p)
		}
	}
	for i := range r.Valves {
		row := &LastRow{Row: r.Valves[i], By: k.By, Plan: r.Plan, Walked: r.Begun, begun: r.Begun, own: own[r.Valves[i].Zone]}
		if row.OpenedAt != nil {
			row.Walked = *row.OpenedAt
		}
		if was := b.rows[row.Valve]; was == nil || row.Says() || !was.Says() || was.begun.Equal(row.begun) {
			b.rows[row.Valve] = row
		}
	}
	for _, z := range r.Zones {
		if z.Good {
			b.good[z.Zone] = r.Begun
		}
	}
}

// Read takes a walk from the JSON of its Result; false: it is none.
func (b *Book) Read(by string, body []byte) bool {
	r := &Result{}
	if json.Unmarshal(body, r) != nil || len(r.Valves) == 0 {
		return false
	}
	b.Add(Kept{By: by, Result: r})
	return true
}

// ReadAccepted takes a person's word from its JSON; what is none is left out.
func (b *Book) ReadAccepted(body []byte) {
	var a Accepted
	if json.Unmarshal(body, &a) == nil {
		b.Accept(a)
	}
}

// Last gives what the book says of a room as v shows it; only = these zones, none = all.
// Valves that the room has no more are left out; those that were never walked are not.
func (b *Book) Last(v *zones.View, only []string) *Last {
	l := b.brief(v, only)
	b.align(l)
	return l
}

// Brief gives Last of all zones without its matrix.
func (b *Book) Brief(v *zones.View) *Last {
	l := b.brief(v, nil)
	for i := range l.Valves {
		l.Valves[i].Cells = nil
	}
	return l
}

// brief is Last with the cells as each walk left them.
func (b *Book) brief(v *zones.View, only []string) *Last {
	l := &Last{Room: v.Room, Walk: b.newest, Valves: []LastRow{}, Zones: []LastZone{}, Probes: []Probe{}}
	for i := range v.Zones {
		z := &v.Zones[i]
		if len(only) > 0 && !slices.Contains(only, z.ID) {
			continue
		}
		rows := b.rowsOf(v, z.ID)
		if len(rows) == 0 {
			continue
		}
		l.Valves = append(l.Valves, rows...)
		l.Zones = append(l.Zones, b.zone(z, rows))
	}
	return l
}

// rowsOf gives the rows of a zone's valves, in order of output.
func (b *Book) rowsOf(v *zones.View, zone string) (out []LastRow) {
	for i := range v.Valves {
		x := &v.Valves[i]
		if x.Zone != zone || x.Master {
			continue
		}
		if row := b.rows[x.ID]; row != nil {
			out = append(out, *row)
			continue
		}
		out = append(out, LastRow{Row: Row{Valve: x.ID, Zone: zone, Output: x.Output, Verdict: NotWalked, Because: "no walk of it is kept"}})
	}
	return out
}

// zone says how a zone stands: whether it counts as walked is the core's word alone.
func (b *Book) zone(z *zones.ZoneView, rows []LastRow) LastZone {
	out := LastZone{Zone: z.ID, WalkedAt: z.WalkedAt, NotWalked: z.NotWalked}
	if z.NotWalked != "" {
		return out
	}
	for i := range rows {
		if row := &rows[i]; row.Says() && row.Verdict != AsConfigured && out.Doubt == "" {
			out.Doubt = "valve " + row.Valve + ": " + string(row.Verdict) + ": " + row.Because
		}
	}
	if a, ok := b.accepted[z.ID]; ok && a.Wiring == z.Wiring && a.At.After(b.good[z.ID]) {
		out.Accepted = &a
	}
	return out
}

// align gives all rows the same columns: the probes of any row that is shown.
func (b *Book) align(l *Last) {
	for _, p := range b.probes {
		if slices.ContainsFunc(l.Valves, func(r LastRow) bool { return r.cellOf(p.ID).Seen != "" }) {
			l.Probes = append(l.Probes, p)
		}
	}
	for i := range l.Valves {
		row := &l.Valves[i]
		if len(row.Cells) == 0 {
			continue
		}
		cells := make([]Cell, len(l.Probes))
		for k, p := range l.Probes {
			cells[k] = row.cellOf(p.ID)
		}
		row.Cells = cells
	}
}

// cellOf gives the cell of a probe; its Seen is "" where there is none.
func (r *LastRow) cellOf(probe string) Cell {
	for i := range r.Cells {
		if r.Cells[i].Probe == probe {
			return r.Cells[i]
		}
	}
	return Cell{Probe: probe}
}

// Own reports whether a probe was of the valve's zone when it was walked.
func (r *LastRow) Own(probe string) bool { return r.own[probe] }

// Good reports whether every zone that is shown counts as walked.
func (l *Last) Good() bool {
	return len(l.Zones) > 0 && !slices.ContainsFunc(l.Zones, func(z LastZone) bool { return z.NotWalked != "" })
}
