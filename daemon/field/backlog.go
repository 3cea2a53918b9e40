package field

// backlog is a bounded queue in order of arrival that also bounds what one key
// may hold: a talkative probe pushes out its own oldest message, and when all is
// full the oldest of all goes. Its memory is fixed.
type backlog[K comparable] struct {
	nodes      []node[K]
	keys       map[K]chain
	head, tail int32 // oldest and newest node, none when empty
	free       int32 // first free node
	perKey     int32
	held       int
}

// node is one arrival; prev and next keep the order of arrival, after leads to
// the next of the same key.
type node[K comparable] struct {
	arrival    Arrival
	key        K
	prev, next int32
	after      int32
}

// chain is what a key holds, oldest first.
type chain struct{ head, tail, n int32 }

const none int32 = -1

func newBacklog[K comparable](limit, perKey int) *backlog[K] {
	b := &backlog[K]{nodes: make([]node[K], limit), keys: make(map[K]chain), perKey: int32(perKey)}
	b.head, b.tail = none, none
	for i := range b.nodes {
		b.nodes[i].next = int32(i) + 1
	}
	b.nodes[limit-1].next = none
	return b
}

// push adds an arrival and reports whether another had to go for it.
func (b *backlog[K]) push(key K, a Arrival) (shed bool) {
	c, known := b.keys[key]
	switch {
	case known && c.n == b.perKey:
		b.drop(key)
		c, known = b.keys[key]
		shed = true
	case b.free == none:
		oldest := b.nodes[b.head].key
		b.drop(oldest)
		if oldest == key {
			c, known = b.keys[key]
		}
		shed = true
	}
	i := b.append(key, a)
	if known {
		b.nodes[c.tail].after = i
		b.keys[key] = chain{c.head, i, c.n + 1}
	} else {
		b.keys[key] = chain{i, i, 1}
	}
	return shed
}

func (b *backlog[K]) append(key K, a Arrival) int32 {
	i := b.free
	b.free = b.nodes[i].next
	b.nodes[i] = node[K]{arrival: a, key: key, prev: b.tail, next: none, after: none}
	if b.tail == none {
		b.head = i
	} else {
		b.nodes[b.tail].next = i
	}
	b.tail = i
	b.held++
	return i
}

// drop takes a key's oldest arrival away.
func (b *backlog[K]) drop(key K) {
	c := b.keys[key]
	i := c.head
	n := &b.nodes[i]
	if c.n == 1 {
		delete(b.keys, key)
	} else {
		b.keys[key] = chain{n.after, c.tail, c.n - 1}
	}
	if n.prev == none {
		b.head = n.next
	} else {
		b.nodes[n.prev].next = n.next
	}
	if n.next == none {
		b.tail = n.prev
	} else {
		b.nodes[n.next].prev = n.prev
	}
	n.arrival = Arrival{}
	n.next, b.free = b.free, i
	b.held--
}

// empty appends all arrivals, oldest first, and forgets them.
func (b *backlog[K]) empty(into []Arrival) []Arrival {
	if b.held == 0 {
		return into
	}
	few := b.held <= fewHeld // then it costs less to take the keys out one by one
	for i := b.head; i != none; i = b.nodes[i].next {
		into = append(into, b.nodes[i].arrival)
		b.nodes[i].arrival = Arrival{}
		if few {
			delete(b.keys, b.nodes[i].key)
		}
	}
	if !few {
		clear(b.keys)
	}
	b.nodes[b.tail].next, b.free = b.free, b.head
	b.head, b.tail, b.held = none, none, 0
	return into
}

const fewHeld = 64

// merge puts two runs in order of arrival behind into; of equal times a's come first.
func merge(into, a, b []Arrival) []Arrival {
	for len(a) > 0 && len(b) > 0 {
		if b[0].Arrived < a[0].Arrived {
			into, b = append(into, b[0]), b[1:]
		} else {
			into, a = append(into, a[0]), a[1:]
		}
	}
	return append(append(into, a...), b...)
}
