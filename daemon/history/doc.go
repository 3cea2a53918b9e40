// Package history writes what the store keeps of a room's past as a table: one line for
// each minute of each zone and probe, and one for each run.
//
//	time            clock_Europe/…  record  zone  probe  moisture_percent …  litres …
//	2027-03-…+01:00 2027-03-28 …    zone    east         46.2
//	2027-03-…+01:00 2027-03-28 …    probe         e1     45.9
//	2027-03-…+01:00 2027-03-28 …    run     east                             6.4
//
// The table is CSV by RFC 4180: commas, lines that end in CR LF, quotes where they are
// needed, as many cells in every line. Times are RFC 3339 with their offset; the column
// beside them is the room's own clock, and its name says in which time zone. Names of
// columns bear the units. An empty cell is a number that is not known.
package history

import (
	"fmt"
	"time"
)

// Ask says what of the past is wanted. Zone and Probe both "" = all there is.
type Ask struct {
	Zone  string `json:"zone,omitempty"`
	Probe string `json:"probe,omitempty"`
	From  string `json:"from,omitempty"` // a date, a date with a time, RFC 3339, today, yesterday; "" = 24 h before To
	To    string `json:"to,omitempty"`   // likewise; a date alone = its end; "" = now
	// Picture wants a drawing of the one zone or probe in the place of the table: AsSVG or
	// AsHTML.
	Picture string `json:"picture,omitempty"`
}

// The forms of a picture.
const (
	AsSVG  = "svg"
	AsHTML = "html"
)

// Usual is how far back a table or a picture reaches when nobody says.
const (
	Usual        = 24 * time.Hour
	UsualPicture = 72 * time.Hour
)

// Span gives the instants that the ask bounds, From taken in and To not. A time without
// an offset is of loc; one that comes twice there, or never, is an error.
func (a *Ask) Span(now time.Time, loc *time.Location) (from, to time.Time, err error) {
	to, usual := now, Usual
	if a.Picture != "" {
		usual = UsualPicture
	}
	if a.To != "" {
		if _, to, err = readTime(a.To, now, loc); err != nil {
			return from, to, err
		}
	}
	from = to.Add(-usual)
	if a.From != "" {
		if from, _, err = readTime(a.From, now, loc); err != nil {
			return from, to, err
		}
	}
	if !from.Before(to) {
		return from, to, fmt.Errorf("read the time from %s to %s: it ends before it begins", from.In(loc).Format(time.RFC3339), to.In(loc).Format(time.RFC3339))
	}
	return from, to, nil
}
