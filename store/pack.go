package store

import (
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
)

// A block holds one span of time of all series:
//
//	step:varint (minutes a slot) slots:varint
//	then for each series, in order of kind and id:
//	kind:1 shared:varint rest:varint bytes (the id: so many bytes of the id before,
//	then the rest) mask:varint (bit n = slot n is there)
//	values: zigzag varints, the first whole, the others as differences

// seriesKey names a series.
type seriesKey struct {
	kind Kind
	id   string
}

func (k seriesKey) compare(o seriesKey) int {
	return cmp.Or(cmp.Compare(k.kind, o.kind), cmp.Compare(k.id, o.id))
}

// row is one series in a block: mask says which slots are there.
type row struct {
	seriesKey
	mask   uint64
	values []int32 // one for each slot, 0 where it is not there
}

// block is one span of time.
type block struct {
	step, slots int
	rows        []row // in order
}

const slotsMost = 60

func (b *block) pack() []byte {
	out := binary.AppendUvarint(nil, uint64(b.step))
	out = binary.AppendUvarint(out, uint64(b.slots))
	last := ""
	for i := range b.rows {
		r := &b.rows[i]
		n := shared(last, r.id)
		last = r.id
		out = append(out, byte(r.kind))
		out = binary.AppendUvarint(out, uint64(n))
		out = binary.AppendUvarint(out, uint64(len(r.id)-n))
		out = append(out, r.id[n:]...)
		out = binary.AppendUvarint(out, r.mask)
		before := int64(0)
		for s, v := range r.values {
			if r.mask&(1<<s) != 0 {
				out = binary.AppendVarint(out, int64(v)-before)
				before = int64(v)
			}
		}
	}
	return out
}

// shared counts the bytes with which both begin.
func shared(a, b string) int {
	n := 0
	for n < len(a) && n < len(b) && a[n] == b[n] {
		n++
	}
	return n
}

// row gives the row of a series, made when missing.
func (b *block) row(k seriesKey) *row {
	i, ok := slices.BinarySearchFunc(b.rows, k, func(r row, k seriesKey) int { return r.compare(k) })
	if !ok {
		b.rows = slices.Insert(b.rows, i, row{seriesKey: k, values: make([]int32, b.slots)})
	}
	return &b.rows[i]
}

func (r *row) set(slot int, v int32) {
	r.mask |= 1 << slot
	r.values[slot] = v
}

var errPack = errors.New("packed block is not whole")

// reader takes a block apart.
type reader struct {
	data []byte
	id   []byte // of the row before
	bad  bool
}

func (r *reader) uvarint() uint64 {
	v, n := binary.Uvarint(r.data)
	return advance(r, v, n)
}

func (r *reader) varint() int64 {
	v, n := binary.Varint(r.data)
	return advance(r, v, n)
}

func advance[T any](r *reader, v T, n int) T {
	if n <= 0 {
		r.bad, r.data = true, nil
		var zero T
		return zero
	}
	r.data = r.data[n:]
	return v
}

func (r *reader) bytes(n uint64) []byte {
	if n > uint64(len(r.data)) {
		r.bad, r.data = true, nil
		return nil
	}
	b := r.data[:n]
	r.data = r.data[n:]
	return b
}

// unpack reads a block; only, when not nil, keeps that one series alone.
func unpack(data []byte, only *seriesKey) (*block, error) {
	r := &reader{data: data}
	b := &block{step: int(r.uvarint()), slots: int(r.uvarint())}
	if r.bad || b.step < 1 || b.step > 60 || b.slots < 1 || b.slots > slotsMost {
		return nil, fmt.Errorf("%w: %d slots of %d minutes", errPack, b.slots, b.step)
	}
	for len(r.data) > 0 {
		one, wanted := r.row(b.slots, only)
		if r.bad {
			return nil, errPack
		}
		if wanted {
			b.rows = append(b.rows, one)
		}
	}
	return b, nil
}

func (r *reader) row(slots int, only *seriesKey) (row, bool) {
	kind := Kind(r.bytes(1)[0])
	n := r.uvarint()
	if n > uint64(len(r.id)) {
		r.bad = true
		return row{}, false
	}
	r.id = append(r.id[:n], r.bytes(r.uvarint())...)
	mask := r.uvarint()
	if mask>>slots != 0 {
		r.bad = true
		return row{}, false
	}
	wanted := only == nil || kind == only.kind && string(r.id) == only.id
	one := row{mask: mask}
	if wanted {
		one.seriesKey, one.values = seriesKey{kind, string(r.id)}, make([]int32, slots)
	}
	v := int64(0)
	for s := range slots {
		if mask&(1<<s) == 0 {
			continue
		}
		v += r.varint()
		if wanted {
			one.values[s] = int32(v)
		}
	}
	return one, wanted
}
