package power

import "sync"

// write is one write that the card took, not durable yet.
type write struct {
	at   int64
	data []byte
}

// mark is a flush that a lying card has acknowledged and not done.
type mark struct {
	writes int   // of the log, that it covers
	told   int64 // of the facts, when it came
}

// card is a storage device with a volatile cache. Its methods may be called from
// any goroutine.
type card struct {
	mu      sync.Mutex
	now     []byte // what a reader sees
	durable []byte // what a power cut leaves for certain
	log     []write
	late    int // flushes by which a flush takes effect late; 0 = honest
	marks   []mark
	kept    int64 // facts that were told before the last flush that took effect
	told    func() int64

	writes, flushes int
	armed           *trap
}

// trap asks for the state of the card at a moment to come.
type trap struct {
	flushes bool // count flushes, else writes
	left    int
	sprung  chan *moment
}

// moment is a card as it stood when the power went.
type moment struct {
	durable []byte
	log     []write
	told    int64 // facts there were
	kept    int64 // of those, the ones that must not be lost
}

func newCard(size int) *card {
	return &card{now: make([]byte, size), durable: make([]byte, size), told: func() int64 { return 0 }}
}

// count gives how many writes and flushes there were.
func (c *card) count() (writes, flushes int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.writes, c.flushes
}

func (c *card) size() int64 { return int64(len(c.now)) }

func (c *card) read(into []byte, at int64) int {
	c.mu.Lock()
	defer c.mu.Unlock()
	if at >= c.size() {
		return 0
	}
	return copy(into, c.now[at:])
}

// write takes bytes, which it copies; false = past the end.
func (c *card) write(data []byte, at int64) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if at < 0 || at+int64(len(data)) > c.size() {
		return false
	}
	copy(c.now[at:], data)
	c.log = append(c.log, write{at, append([]byte(nil), data...)})
	c.writes++
	c.spring(false)
	return true
}

// flush makes durable all that was written before, or says so and does it later.
func (c *card) flush() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.spring(true)
	c.flushes++
	c.marks = append(c.marks, mark{len(c.log), c.told()})
	if len(c.marks) <= c.late {
		return
	}
	m := c.marks[0]
	for _, w := range c.log[:m.writes] {
		copy(c.durable[w.at:], w.data)
	}
	c.kept = m.told
	c.log = append([]write(nil), c.log[m.writes:]...)
	c.marks = append([]mark(nil), c.marks[1:]...)
	for i := range c.marks {
		c.marks[i].writes -= m.writes
	}
}

// lie sets by how many flushes a flush is late from now on.
func (c *card) lie(late int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.late = late
}

// arm waits, from now on, for the n-th write or flush at which something is not
// durable; the moment comes over the channel. A trap that has not sprung is forgotten.
func (c *card) arm(flushes bool, n int) <-chan *moment {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.armed = &trap{flushes, n, make(chan *moment, 1)}
	return c.armed.sprung
}

func (c *card) spring(flush bool) {
	t := c.armed
	if t == nil || t.flushes != flush || len(c.log) == 0 {
		return
	}
	if t.left--; t.left > 0 {
		return
	}
	c.armed = nil
	t.sprung <- &moment{durable: append([]byte(nil), c.durable...), log: append([]write(nil), c.log...), told: c.told(), kept: c.kept}
}
