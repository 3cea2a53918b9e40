package operator

import (
	"context"

	"rillgate/zones/walk"
)

// The kinds of paper that a walk leaves; key: when it began.
const (
	PaperWalk     = "walk"     // which valve waters which bed
	PaperClosings = "closings" // how long outputs take to close by themselves
)

// WalkAsk says what is to be walked.
type WalkAsk struct {
	Zones    []string `json:"zones,omitempty"`    // none = all
	For      Duration `json:"for,omitempty"`      // of each opening; 0 = about 3 % of the substrate's volume
	Closings bool     `json:"closings,omitempty"` // time how outputs close on a grant that is not renewed
}

// WalkNews is what happened on a walk since the last one. Result comes with the last.
type WalkNews struct {
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
