package store

import (
	"encoding/binary"
	"fmt"
	"time"

	bolt "go.etcd.io/bbolt"
)

// Kind says what a series of numbers is of.
type Kind byte

// The kinds of series, by probe or by zone id. All numbers are thousandths.
const (
	ProbeMoisture    Kind = 1 // % by volume
	ProbeEC          Kind = 2 // mS/cm, bulk
	ProbeTemperature Kind = 3 // °C
	ZoneMoisture     Kind = 4 // % by volume
	ZoneTemperature  Kind = 5 // °C
	ZoneHalfWidth    Kind = 6 // points
	ZonePoreEC       Kind = 7 // mS/cm at 25 °C, of the pore water
)

// Point is one number of a series: of the minute that At lies in, or, in history
// older than a week, the median of the five minutes that begin there.
type Point struct {
	At    time.Time
	Value int32 // thousandths of the kind's unit
}

// Sample brings points of one series. A later point of the same minute replaces
// an earlier one.
type Sample struct {
	Kind   Kind
	ID     string
	Points []Point
}

const (
	batchMinutes = 5 // one block as written
	thinStep     = 5 // minutes of one number in a thinned block
	hourMinutes  = 60
	dayLayout    = "2006-01-02"
	keyThinned   = "thinned"
)

// PutHistory saves samples in one transaction.
func (s *Store) PutHistory(samples []Sample) error { return s.Write(Batch{History: samples}) }

// minuteOf counts minutes since the Unix epoch; false = outside of what a key holds.
func minuteOf(t time.Time) (int64, bool) {
	m := t.Unix() / 60
	return m, m > 0 && m < 1<<32-hourMinutes
}

func minuteTime(m int64) time.Time { return time.Unix(m*60, 0).UTC() }

func minuteKey(m int64) []byte { return binary.BigEndian.AppendUint32(nil, uint32(m)) }

func dayName(m int64) string { return minuteTime(m).Format(dayLayout) }

// putHistory adds samples to the blocks of their five minutes.
func putHistory(tx *bolt.Tx, samples []Sample) error {
	if len(samples) == 0 {
		return nil
	}
	h, err := at(tx, historyBucket)
	if err != nil {
		return err
	}
	blocks := map[int64]*block{}
	for i := range samples {
		if err := spread(h, blocks, &samples[i]); err != nil {
			return err
		}
	}
	for start, b := range blocks { // order: each under its own key
		if b == nil {
			continue
		}
		day, err := h.CreateBucketIfNotExists([]byte(dayName(start)))
		if err != nil {
			return err
		}
		key := minuteKey(start)
		if err := day.Put(key, sealed(historyBucket, key, b.pack())); err != nil {
			return err
		}
	}
	return nil
}

// spread puts one sample's points into blocks. A point of a day that is thinned
// already comes too late and is left out.
func spread(h *bolt.Bucket, blocks map[int64]*block, s *Sample) error {
	if len(s.ID) > 255 {
		return fmt.Errorf("save history: id of %d bytes is too long", len(s.ID))
	}
	for _, p := range s.Points {
		m, ok := minuteOf(p.At)
		if !ok {
			continue
		}
		start := m - m%batchMinutes
		b, seen := blocks[start]
		if !seen {
			b = existing(h, start)
			blocks[start] = b
		}
		if b != nil {
			b.row(seriesKey{s.Kind, s.ID}).set(int(m-start), p.Value)
		}
	}
	return nil
}

// existing gives the block that begins at a minute, new or as it is; nil = its day
// is thinned. A damaged block is begun anew.
func existing(h *bolt.Bucket, start int64) *block {
	fresh := &block{step: 1, slots: batchMinutes}
	day := h.Bucket([]byte(dayName(start)))
	if day == nil {
		return fresh
	}
	if day.Get([]byte(keyThinned)) != nil {
		return nil
	}
	key := minuteKey(start)
	data, err := unsealed(historyBucket, key, day.Get(key))
	if err != nil {
		return fresh
	}
	b, err := unpack(data, nil)
	if err != nil || b.step != 1 || b.slots != batchMinutes {
		return fresh
	}
	return b
}

// History gives a series in [from, to), oldest first.
func (s *Store) History(kind Kind, id string, from, to time.Time) ([]Point, error) {
	first, ok1 := minuteOf(from)
	last, ok2 := minuteOf(to.Add(time.Minute - 1))
	if !ok1 || !ok2 {
		return nil, fmt.Errorf("read history: %v to %v is out of range", from, to)
	}
	var out []Point
	only := &seriesKey{kind, id}
	err := s.view("read history", func(tx *bolt.Tx) error {
		return s.blocks(tx, first-hourMinutes, last, only, func(start int64, b *block) {
			for i := range b.rows {
				out = b.rows[i].points(out, start, b.step, first, last)
			}
		})
	})
	return out, err
}

// points appends the row's points in [first, last).
func (r *row) points(out []Point, start int64, step int, first, last int64) []Point {
	for slot, v := range r.values {
		m := start + int64(slot*step)
		if r.mask&(1<<slot) != 0 && m >= first && m < last {
			out = append(out, Point{minuteTime(m), v})
		}
	}
	return out
}

// blocks visits the blocks that begin in [first, last), in order; what is damaged
// is left out and counted.
func (s *Store) blocks(tx *bolt.Tx, first, last int64, only *seriesKey, visit func(start int64, b *block)) error {
	h, err := at(tx, historyBucket)
	if err != nil {
		return err
	}
	c := h.Cursor()
	end := dayName(max(last-1, 0))
	for name, v := c.Seek([]byte(dayName(max(first, 0)))); name != nil && string(name) <= end; name, v = c.Next() {
		day := h.Bucket(name)
		if v != nil || day == nil {
			continue
		}
		dc := day.Cursor()
		for k, stored := dc.Seek(minuteKey(max(first, 0))); len(k) == 4; k, stored = dc.Next() {
			start := int64(binary.BigEndian.Uint32(k))
			if start >= last {
				break
			}
			if b, err := open(k, stored, only); err == nil {
				visit(start, b)
			} else {
				s.damagedValues.Add(1)
			}
		}
	}
	return nil
}

func open(key, stored []byte, only *seriesKey) (*block, error) {
	data, err := unsealed(historyBucket, key, stored)
	if err != nil {
		return nil, err
	}
	return unpack(data, only)
}

// dropOldestDay deletes the oldest day of history, never the newest one.
func dropOldestDay(tx *bolt.Tx) (bool, error) {
	h, err := at(tx, historyBucket)
	if err != nil {
		return false, err
	}
	c := h.Cursor()
	oldest, _ := c.First()
	newest, _ := c.Last()
	if oldest == nil || string(oldest) == string(newest) {
		return false, nil
	}
	err = h.DeleteBucket(append([]byte(nil), oldest...))
	return err == nil, err
}
