package zones

import "time"

// Room is the core: a deterministic state machine over one growing room.
type Room struct {
	plan *Plan
}

// NewRoom starts a room from what is remembered. The effects begin with the
// record of the start, which carries a new epoch.
func NewRoom(p *Plan, m *Memory, now Instant) (*Room, []Effect) { return &Room{plan: p}, nil }

// Step takes one event and gives the effects in order; the slice is reused.
func (r *Room) Step(now Instant, ev Event) []Effect { return nil }

// Next gives the Mono before which a Tick has nothing to do.
func (r *Room) Next() time.Duration { return 0 }

// View gives the whole room at an instant.
func (r *Room) View(now Instant) View { return View{} }

// Memory gives a copy of what is remembered, for a mirror.
func (r *Room) Memory() *Memory { return nil }

// NewMemory is the memory of a first start: full budgets.
func NewMemory() *Memory { return &Memory{} }

// LostMemory is the memory after a loss: epoch is the highest known, every budget
// counts as spent until a person resets it.
func LostMemory(epoch uint32) *Memory { return &Memory{Epoch: epoch, Spent: true} }

// Apply folds one record into the memory.
func (m *Memory) Apply(rec *Record) {}
