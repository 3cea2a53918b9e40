package campaign

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// Shrink makes a failing case as small as it can within a number of runs: an earlier
// end, fewer faults, the same invariant broken. It gives the case and its result.
func Shrink(c *Case, runs int) (*Case, *Result) {
	s := shrinker{left: runs, best: c, result: Run(c)}
	if s.result.Err == nil {
		return c, s.result
	}
	s.what = kindOf(s.result.Err)
	s.endEarlier()
	s.pin()
	for size := (len(s.best.Faults) + 1) / 2; size > 0 && s.left > 0; {
		if !s.leaveOut(size) || size > len(s.best.Faults) {
			size /= 2
		}
	}
	s.endEarlier()
	return s.best, s.result
}

type shrinker struct {
	left   int
	what   string
	best   *Case
	result *Result
}

// kindOf names what was broken: "INV-5", "model", and the words up to the first digit.
func kindOf(err error) string {
	text := err.Error()
	if i := strings.IndexAny(text, " "); i > 0 {
		return strings.TrimSuffix(text[:i], ":")
	}
	return text
}

// try takes a case if it breaks the same.
func (s *shrinker) try(c *Case) bool {
	if s.left <= 0 {
		return false
	}
	s.left--
	r := Run(c)
	if r.Err == nil || kindOf(r.Err) != s.what {
		return false
	}
	s.best, s.result = c, r
	return true
}

// endEarlier cuts off what comes after the violation.
func (s *shrinker) endEarlier() {
	c := *s.best
	end := s.result.At + time.Second
	if end >= c.end() {
		return
	}
	calm := c.calm()
	c.Days = float64(end) / float64(day)
	if c.CalmDays > 0 {
		c.CalmDays = max(0, float64(end-calm)/float64(day))
	}
	c.Faults = nil
	for _, f := range s.best.Faults {
		if f.At <= end {
			c.Faults = append(c.Faults, f)
		}
	}
	s.try(&c)
}

// pin puts every fault at the instant at which it began, and leaves out those that did
// not: then what is left out no longer moves those that wait for an opening.
func (s *shrinker) pin() {
	c := *s.best
	c.Faults = slices.Clone(s.result.Begun)
	slices.SortStableFunc(c.Faults, func(a, b Fault) int { return cmp.Compare(a.At, b.At) })
	s.try(&c)
}

// leaveOut leaves out stretches of the list; it reports whether any could go.
func (s *shrinker) leaveOut(size int) bool {
	any := false
	for from := 0; from < len(s.best.Faults) && s.left > 0; {
		c := *s.best
		to := min(from+size, len(c.Faults))
		c.Faults = append(append([]Fault(nil), c.Faults[:from]...), c.Faults[to:]...)
		if s.try(&c) {
			any = true
		} else {
			from += size
		}
	}
	return any
}
