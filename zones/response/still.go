package response

import "fmt"

// Edges of a zone that stands still; all chosen here.
const (
	stillShare = 0.2  // of its habit that it falls at most
	stillWorth = 2.5  // points that it would have fallen by
	stillLeast = 0.25 // points/h: a zone that falls less by habit shows nothing by standing still
	stillPast  = 6    // stretches to know the habit from
)

// seekStill asks whether a zone no longer falls by day while nothing is watered: what all
// its probes claim is then no evidence that it is wet.
func (m *Model) seekStill(b *bed) {
	n, habit := b.stands()
	last := middleOf(b.day[len(b.day)-1].Falls)
	if n == 0 {
		if last != unknown && last.float() >= max(habit/2, stillLeast) {
			m.clear(b, ProbesStill, "")
		}
		return
	}
	blocks := b.day[len(b.day)-n:]
	fell, hours := 0.0, 0.0
	for i := range blocks {
		hours += blocks[i].hours()
		fell += blocks[i].hours() * middleOf(blocks[i].Falls).float()
	}
	if hours*habit < stillWorth {
		return
	}
	m.raise(b, Finding{Code: ProbesStill, Since: age(blocks[0].From), Because: fmt.Sprintf(
		"%s fell by %.1f points in %.1f h of light without water; by what it has taught it falls by %.1f: its probes may be stuck, or nothing drinks there any more",
		b.zone.title(), max(fell, 0), hours, hours*habit)})
}

// stands gives how many of the last stretches by day stand still, and by how many points
// an hour the zone fell in those before; 0 where it cannot be told.
func (b *bed) stands() (n int, habit float64) {
	for k := len(b.day) - 1; k >= stillPast; k-- {
		var falls []milli
		for i := range b.day[:k] {
			falls = append(falls, middleOf(b.day[i].Falls))
		}
		before := middleOf(falls)
		if before == unknown || before.float() < stillLeast {
			break
		}
		f := middleOf(b.day[k].Falls)
		if f == unknown || b.day[k].Odd || f.float() > stillShare*before.float() {
			return n, max(habit, before.float())
		}
		n, habit = n+1, before.float()
	}
	return n, habit
}
