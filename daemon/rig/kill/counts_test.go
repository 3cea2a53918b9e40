package kill

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"
)

// counts sums up what the lanes did.
type counts struct {
	mu      sync.Mutex
	began   time.Time
	lives   int // ended
	good    int // of them judged, with nothing found
	byWay   map[string]int
	other   map[string]int
	latest  time.Duration // from a start to its first opening
	longest time.Duration // of a life
}

func newCounts() *counts {
	return &counts{began: time.Now(), byWay: map[string]int{}, other: map[string]int{}}
}

func (c *counts) add(what string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.other[what]++
}

func (c *counts) opened(after time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.other["lives that opened a valve"]++
	c.latest = max(c.latest, after)
}

func (c *counts) died(u cut, call string, v *life) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.lives++
	c.longest = max(c.longest, time.Since(v.began))
	where := string(u.way)
	if u.way == bootCall || u.way == shotCall {
		if call == "" {
			where += ": not made so often, ended by hand"
		} else {
			where += ": before " + call
		}
	}
	c.byWay[where]++
}

// done counts a life that was judged, with nothing found, and gives how many there are.
func (c *counts) done() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.good++
	return c.good
}

func (c *counts) String() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	took := time.Since(c.began)
	var b strings.Builder
	fmt.Fprintf(&b, "%d lives ended by SIGKILL, %d of them judged good, in %s (%.1f s a life); an opening at most %.1f s after a start\n",
		c.lives, c.good, took.Round(time.Second), took.Seconds()/float64(max(1, c.lives)), c.latest.Seconds())
	for _, m := range []map[string]int{c.byWay, c.other} {
		for _, k := range slices.Sorted(maps.Keys(m)) {
			fmt.Fprintf(&b, "%6d  %s\n", m[k], k)
		}
	}
	return b.String()
}
