package zones

import "time"

// revenant is a boot that was taken for ended and speaks again. A process that has just
// begun cannot know which boot is the newer: a repeated report of the one before ends the
// true one.
type revenant struct {
	boot   string
	offset time.Duration // uptime - age of its reports
	since  time.Duration // age of the first that ran with our clock
	last   time.Duration // age of the newest
	uptime time.Duration // in the newest
}

// goesOn reports whether a boot that ended has not: the one taken for newer is silent, and
// for as long as makes a controller offline this one's reports ran with our clock. What is
// repeated comes by ones, or all at once.
func (c *controller) goesOn(e *Report, t time.Duration) bool {
	v := &c.again
	offset := e.Uptime - t
	switch {
	case v.boot != e.Boot, t-v.last > 2*offlineAfter, offset > v.offset+driftAllowed:
		*v = revenant{boot: e.Boot, offset: offset, since: t, last: t, uptime: e.Uptime}
		return false
	case e.Uptime <= v.uptime, offset < v.offset-driftAllowed:
		return false // repeated, or late
	}
	v.last, v.uptime = t, e.Uptime
	return !c.online && t-v.since >= offlineAfter
}
