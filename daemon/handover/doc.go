// Package handover writes a room as it was built, for people who will keep it: one
// document to print, and the hand card, one page of numbers for watering by hand.
//
//	plan, words, wiring --.
//	view, papers ---------+--> New  --> HTML: the whole document
//	days in numbers ------+--> Deal --> CardHTML: the hand card alone
//
// It is pure: what it writes depends on what it is given alone.
package handover

import (
	"encoding/json"
	"time"

	"rillgate/configs"
	"rillgate/daemon/report"
	"rillgate/zones"
)

// GoodDays is how many whole days before today the hand card looks at.
const GoodDays = 7

// Input is what the documents are made of.
type Input struct {
	Loaded   *configs.Loaded
	Problems []configs.Problem // warnings of the files
	Now      time.Time
	Days     *report.Report // whole days before today; nil = not known
	View     *zones.View    // nil = not known
	Running  bool           // the view is of now, not as last recorded
	Notices  []string       // what the reader must know of where all this comes from
	Walks    []Paper
	Accepts  []Paper // persons' words that a zone is wired as the files say
	Closings []Paper // how outputs close on a grant that is not renewed
	Catches  []Paper
}

// Paper is something that a person measured or walked.
type Paper struct {
	Key  string
	At   time.Time
	By   string
	Body json.RawMessage
}

// Ask asks for the days that the hand card is made from.
func Ask(now time.Time, loc *time.Location) report.Ask {
	return report.Ask{Day: now.In(loc).AddDate(0, 0, -GoodDays).Format(time.DateOnly), Days: GoodDays}
}
