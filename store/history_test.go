package store

import (
	"fmt"
	"math"
	"math/rand"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"
)

func TestHistoryGivesBackWhatWasBrought(t *testing.T) {
	s := inMemory(t)
	rng := rand.New(rand.NewSource(1))
	from := time.Date(2025, 3, 1, 23, 41, 0, 0, time.UTC) // over midnight
	want := map[string][]Point{}
	for start := 0; start < 300; start += 5 {
		var batch []Sample
		for _, id := range []string{"a", "b", "a-1"} {
			var ps []Point
			for i := range 5 {
				if rng.Intn(4) > 0 { // some minutes have none
					ps = append(ps, Point{from.Add(time.Duration(start+i) * time.Minute), rng.Int31() - 1<<30})
				}
			}
			want[id] = append(want[id], ps...)
			batch = append(batch, Sample{Kind: ProbeEC, ID: id, Points: ps})
		}
		require.NoError(t, s.PutHistory(batch))
	}
	for id, points := range want {
		got, err := s.History(ProbeEC, id, from, from.Add(5*time.Hour))
		require.NoError(t, err)
		require.Equal(t, points, got, id)
	}
	part, err := s.History(ProbeEC, "a", from.Add(7*time.Minute), from.Add(13*time.Minute))
	require.NoError(t, err)
	for _, p := range part {
		require.False(t, p.At.Before(from.Add(7*time.Minute)) || !p.At.Before(from.Add(13*time.Minute)))
	}
	none, err := s.History(ProbeMoisture, "a", from, from.Add(5*time.Hour))
	require.NoError(t, err)
	require.Empty(t, none)
}

func TestALaterPointOfAMinuteReplaces(t *testing.T) {
	s := inMemory(t)
	at := noon().Add(20 * time.Second)
	for i, v := range []int32{math.MaxInt32, math.MinInt32, 7} {
		require.NoError(t, s.PutHistory([]Sample{{ZoneMoisture, "east", []Point{{at, v}}}}))
		got, err := s.History(ZoneMoisture, "east", noon(), noon().Add(time.Minute))
		require.NoError(t, err)
		require.Equal(t, []Point{{noon(), v}}, got, i)
	}
}

func TestTimesThatAreNoneAreLeftOut(t *testing.T) {
	s := inMemory(t)
	require.NoError(t, s.PutHistory([]Sample{{ZoneMoisture, "east", []Point{
		{time.Time{}, 1}, {time.Date(1969, 1, 1, 0, 0, 0, 0, time.UTC), 2}, {time.Date(30000, 1, 1, 0, 0, 0, 0, time.UTC), 3}}}}))
	days, err := s.days()
	require.NoError(t, err)
	require.Empty(t, days)
	_, err = s.History(ZoneMoisture, "east", time.Time{}, noon())
	require.Error(t, err)
}

func TestThinKeepsMediansThenNothing(t *testing.T) {
	s := inMemory(t)
	for day := range 10 {
		require.NoError(t, s.PutHistory(wave("p", noon().AddDate(0, 0, day), 120)))
	}
	now := noon().AddDate(0, 0, 9).Add(3 * time.Hour)
	done, err := s.Thin(now, 8*24*time.Hour)
	require.NoError(t, err)
	require.Equal(t, Thinned{Days: 1, Dropped: 1}, done)
	series := func(day int) []Point {
		d := noon().AddDate(0, 0, day)
		got, err := s.History(ProbeMoisture, "p", d.Add(-time.Hour), d.Add(10*time.Hour))
		require.NoError(t, err)
		return got
	}
	require.Empty(t, series(0), "older than keep")
	require.Len(t, series(2), 120, "younger than a week")
	got := series(1)
	require.Len(t, got, 24)
	full := wave("p", noon().AddDate(0, 0, 1), 120)[0].Points
	for i, p := range got {
		five := full[5*i : 5*i+5]
		require.Equal(t, five[0].At, p.At)
		if i != 19 { // there the wave jumps, see below
			require.Equal(t, five[2].Value, p.Value, "the middle of five falling values")
		}
	}
	require.Equal(t, int32(46_000-10*2), got[19].Value, "0, 1, 2, 95 and 96 steps down: 2 is the middle")
}

func TestThinTwiceChangesNothing(t *testing.T) {
	s := inMemory(t)
	require.NoError(t, s.PutHistory(wave("p", noon(), 120)))
	now := noon().AddDate(0, 0, 20)
	_, err := s.Thin(now, 90*24*time.Hour)
	require.NoError(t, err)
	first, err := s.History(ProbeMoisture, "p", noon(), now)
	require.NoError(t, err)
	done, err := s.Thin(now, 90*24*time.Hour)
	require.NoError(t, err)
	require.Zero(t, done)
	require.NoError(t, s.PutHistory(wave("p", noon(), 10)), "comes too late, and is left out")
	again, err := s.History(ProbeMoisture, "p", noon(), now)
	require.NoError(t, err)
	require.Equal(t, first, again)
}

func TestMedian(t *testing.T) {
	for want, values := range map[int32][]int32{3: {3}, 4: {3, 5}, 7: {9, 7, 1}, 0: {math.MinInt32 + 1, math.MaxInt32}} {
		r := row{values: make([]int32, 5)}
		for i, v := range values {
			r.set(i, v)
		}
		require.Equal(t, want, r.median())
	}
}

func TestADamagedBlockCostsFiveMinutes(t *testing.T) {
	s := inMemory(t)
	require.NoError(t, s.PutHistory(wave("p", noon(), 30)))
	m, _ := minuteOf(noon().Add(10 * time.Minute))
	require.NoError(t, s.db.Update(func(tx *bolt.Tx) error {
		day := tx.Bucket([]byte(historyBucket)).Bucket([]byte("2025-03-01"))
		return day.Put(minuteKey(m), []byte("nonsense"))
	}))
	got, err := s.History(ProbeMoisture, "p", noon(), noon().Add(time.Hour))
	require.NoError(t, err)
	require.Len(t, got, 25)
	require.Equal(t, int64(1), s.Stats().DamagedValues)
	require.NoError(t, s.PutHistory(wave("p", noon(), 30)), "is begun anew")
	got, err = s.History(ProbeMoisture, "p", noon(), noon().Add(time.Hour))
	require.NoError(t, err)
	require.Len(t, got, 30)
}

func TestABlockOfARoomIsSmall(t *testing.T) {
	b := &block{step: 1, slots: 5}
	for p := range 40 {
		for slot := range 5 {
			b.row(seriesKey{ProbeMoisture, fmt.Sprintf("east-%02d", p)}).set(slot, int32(46_000+slot*30))
		}
	}
	require.Less(t, len(b.pack()), 40*13, "bytes for five minutes of 40 probes")
}

// FuzzUnpack: no bytes make it panic, and what it takes it gives again.
func FuzzUnpack(f *testing.F) {
	b := &block{step: 1, slots: 5}
	b.row(seriesKey{ProbeMoisture, "east-1"}).set(2, -40)
	f.Add(b.pack())
	f.Add([]byte{1, 5, 1})
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := unpack(data, nil)
		if err != nil {
			return
		}
		again, err := unpack(b.pack(), nil)
		require.NoError(t, err)
		require.Equal(t, b, again)
	})
}
