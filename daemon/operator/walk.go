package operator

import (
	"context"
	"time"

	"rillgate/zones/walk"
)

// The kinds of paper that a walk leaves; key: when it began.
const (
	PaperWalk     = "walk"     // which valve waters which bed
	PaperClosings = "closings" // how long outputs take to close by themselves

	PaperAccept = "walk-accept" // a person's word that a zone is wired as the files say; key: when, and the zone
)

// WalkAsk says what is to be walked.
type WalkAsk struct {
	Zones    []string `json:"zones,omitempty"`    // none = all
	For      Duration `json:"for,omitempty"`      // of each opening; 0 = about 3 % of the substrate's volume
	Closings bool     `json:"closings,omitempty"` // time how outputs close on a grant that is not renewed
}

// WalkNews is what happened on a walk since the last one. Result comes with the last.
type WalkNews struct {
	At     time.Time    `json:"at"` // in the room's time zone
	Said   []string     `json:"said,omitempty"`
	Result *walk.Result `json:"result,omitempty"`
}

// Walker walks a room until it is through, or ctx ends; tell gets what happens.
type Walker interface {
	Walk(ctx context.Context, ask WalkAsk, by, note string, tell func(WalkNews) error) (*walk.Result, error)
}

func (d *Desk) walk(ctx context.Context, req *Request, by string, reply func(Reply) error) error {
	if d.Walks == nil {
		return &Refusal{Text: "this room cannot be walked"}
	}
	ask := WalkAsk{}
	if req.Walk != nil {
		ask = *req.Walk
	}
	r, err := d.Walks.Walk(ctx, ask, by, req.Note, func(n WalkNews) error { return reply(Reply{Walk: &n}) })
	if err != nil {
		return err
	}
	return one(reply, Reply{Walk: &WalkNews{Result: r}}, nil)
}

// BookOf gives what papers of PaperWalk and PaperAccept, in order of key, have left. What
// cannot be read is left out.
func BookOf(walks, accepts []Paper) *walk.Book {
	b := walk.NewBook()
	for i := range walks {
		b.Read(walks[i].By, walks[i].Body)
	}
	for i := range accepts {
		b.ReadAccepted(accepts[i].Body)
	}
	return b
}
