package store

import (
	"fmt"
	"slices"
	"time"

	bolt "go.etcd.io/bbolt"
)

// Series gives every series that wanted accepts in [from, to), in order of kind and id,
// each oldest first. It reads the time once for all of them.
func (s *Store) Series(from, to time.Time, wanted func(Kind, string) bool) ([]Sample, error) {
	first, ok1 := minuteOf(from)
	last, ok2 := minuteOf(to.Add(time.Minute - 1))
	if !ok1 || !ok2 {
		return nil, fmt.Errorf("read history: %v to %v is out of range", from, to)
	}
	all := map[seriesKey][]Point{}
	err := s.view("read history", func(tx *bolt.Tx) error {
		return s.blocks(tx, first-hourMinutes, last, nil, func(start int64, b *block) {
			for i := range b.rows {
				if r := &b.rows[i]; wanted(r.kind, r.id) {
					all[r.seriesKey] = r.points(all[r.seriesKey], start, b.step, first, last)
				}
			}
		})
	})
	return inOrder(all), err
}

func inOrder(all map[seriesKey][]Point) (out []Sample) {
	for k, points := range all { // order: sorted below
		if len(points) > 0 {
			out = append(out, Sample{Kind: k.kind, ID: k.id, Points: points})
		}
	}
	slices.SortFunc(out, func(a, b Sample) int {
		return seriesKey{a.Kind, a.ID}.compare(seriesKey{b.Kind, b.ID})
	})
	return out
}
