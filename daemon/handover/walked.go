package handover

import (
	"fmt"

	"rillgate/zones/walk"
)

// walked is what the commissioning walks of a room have left: of each valve its last row
// that says something, with its date and walker, as a table valve by probe.
type walked struct {
	Last   string // the last walk, whatever came of it; "" = a person's word is all there is
	Unread int    // papers that are no walk of ours
	Probes []string
	Rows   []walkedRow
	Zones  []walkedZone
}

// walkedRow is one valve of it.
type walkedRow struct {
	Valve, Zone, Date, By, Verdict, Because, Flow string
	Cells                                         []walkedCell
}

type walkedCell struct {
	Text string
	Own  bool // of the valve's zone, as it was then
}

// walkedZone is how a zone stands, by the word of the room.
type walkedZone struct {
	Zone, Words string
	Open        bool // it does not count as walked
}

// walked gives what is kept of walks; nil = nothing, or the room is not known.
func (w writing) walked(in *Input) *walked {
	if in.View == nil {
		return nil
	}
	d := &walked{}
	book := walk.NewBook()
	for i := range in.Walks {
		if !book.Read(in.Walks[i].By, in.Walks[i].Body) {
			d.Unread++
		}
	}
	for i := range in.Accepts {
		book.ReadAccepted(in.Accepts[i].Body)
	}
	if book.Empty() && d.Unread == 0 {
		return nil
	}
	w.fill(d, book.Last(in.View, nil))
	return d
}

func (w writing) fill(d *walked, l *walk.Last) {
	if l.Walk != nil {
		d.Last = l.Walk.Words(w.loc)
	}
	for i := range l.Probes {
		d.Probes = append(d.Probes, l.Probes[i].ID)
	}
	for i := range l.Valves {
		d.Rows = append(d.Rows, w.walkedRow(&l.Valves[i]))
	}
	for i := range l.Zones {
		z := &l.Zones[i]
		d.Zones = append(d.Zones, walkedZone{Zone: z.Zone, Words: z.Words(w.loc), Open: z.NotWalked != ""})
	}
}

func (w writing) walkedRow(v *walk.LastRow) walkedRow {
	row := walkedRow{Valve: v.Valve, Zone: v.Zone, By: v.By, Verdict: string(v.Verdict), Because: v.Because}
	if !v.Walked.IsZero() {
		row.Date = v.Walked.In(w.loc).Format("2006-01-02 15:04")
	}
	if v.FlowLPM != nil {
		row.Flow = fmt.Sprintf("%.2f L/min", *v.FlowLPM)
	}
	for k := range v.Cells {
		own := v.Own(v.Cells[k].Probe)
		row.Cells = append(row.Cells, walkedCell{v.Cells[k].Text(own), own})
	}
	return row
}
