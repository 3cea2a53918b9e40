package store

import (
	"bytes"
	"encoding/json"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"

	"rillgate/zones"
)

// FuzzValue: a value is read as it was written or not at all, and what a checksum
// covers is still judged: bytes that are no value of their bucket are damage.
func FuzzValue(f *testing.F) {
	f.Add(uint8(0), []byte("schema"), []byte{1, 0, 0, 0}, uint16(3))
	f.Add(uint8(1), []byte("aa"), []byte(`{"hash":"aa","room":"cm9vbTogYQo=","accepted":"2025-03-01T12:00:00Z"}`), uint16(9))
	f.Add(uint8(2), []byte("north/1/0"), []byte(`{"place":{"controller":"north","terminal":1,"address":"0"},"first_seen":"2025-03-01T12:00:00Z"}`), uint16(0))
	f.Add(uint8(3), []byte{0, 0, 0, 0, 0, 0, 0, 1}, []byte(`{"seq":1,"at":"2025-03-01T12:00:00Z","kind":"refused","seconds":1e3}`), uint16(77))
	f.Add(uint8(5), []byte("memory"), []byte(`{"seq":41,"epoch":7,"starts":[1],"outputs":{"north/1":{"charges":[{"run":"r"}]}},"zones":{"a":null}}`), uint16(8))
	f.Fuzz(func(t *testing.T, pick uint8, key, value []byte, flip uint16) {
		bucket := allBuckets()[int(pick)%len(allBuckets())]
		stored := sealed(bucket, key, value)
		got, err := unsealed(bucket, key, stored)
		if err != nil || !bytes.Equal(got, value) {
			t.Fatalf("wrote %q, read %q (%v)", value, got, err)
		}
		bit := int(flip) % (8 * len(stored))
		stored[bit/8] ^= 1 << (bit % 8)
		if _, err := unsealed(bucket, key, stored); err == nil {
			t.Fatalf("a flipped bit %d of %q is not seen", bit, stored)
		}
		requireJudged[Plan](t, bucket, key, value)
		requireJudged[Probe](t, bucket, key, value)
		requireJudged[JournalEntry](t, bucket, key, value)
		requireJudged[Acknowledgement](t, bucket, key, value)
		requireJudged[zones.Memory](t, bucket, key, value)
	})
}

// requireJudged: bytes are damage, or a value that is written and read again the same.
func requireJudged[T any](t *testing.T, bucket bucketName, key, value []byte) {
	var one T
	err := decode(bucket, key, value, &one)
	if err != nil {
		if !isDamage(err) {
			t.Fatalf("%T from %q: %v", one, value, err)
		}
		return
	}
	first, err := json.Marshal(one)
	if err != nil { // a time past the year 9999 reads, and is never written
		return
	}
	var again T
	if err := decode(bucket, key, first, &again); err != nil {
		t.Fatalf("%T from %q does not read back from %q: %v", one, value, first, err)
	}
	second, err := json.Marshal(again)
	if err != nil || !bytes.Equal(first, second) {
		t.Fatalf("%T from %q was written as %s, then as %s (%v)", one, value, first, second, err)
	}
}

// FuzzStored puts any value under any key of any bucket, sealed as if it were ours:
// every reader ends, without an error other than damage, and what lies beside the
// value is read as before.
func FuzzStored(f *testing.F) {
	f.Add(uint8(0), []byte(keyInForce), []byte("no such plan"))
	f.Add(uint8(1), []byte("aa"), []byte(`{"hash":"zz"}`))
	f.Add(uint8(2), []byte("north/2/1"), []byte(`{"place":null}`))
	f.Add(uint8(3), bytes.Repeat([]byte{255}, 8), []byte(`{"seq":18446744073709551615,"kind":"run-opened","run":"r"}`))
	f.Add(uint8(3), []byte("x"), []byte(`{}`))
	f.Add(uint8(4), []byte("2025-02-28"), []byte("no day"))
	f.Add(uint8(5), []byte("memory"), []byte(`{"seq":7}`))
	f.Add(uint8(6), []byte("leak north"), []byte(`[]`))
	s, err := NewMemory()
	require.NoError(f, err)
	f.Cleanup(func() { require.NoError(f, s.Close()) })
	require.NoError(f, s.SavePlan(Plan{Hash: "mine", Accepted: noon()}))
	require.NoError(f, s.Write(Batch{Journal: []JournalEntry{{Seq: 500, At: noon(), Entry: zones.Entry{Kind: "mine"}}},
		Probes: []Probe{{ID: "mine", Place: zones.Place{Controller: "mine"}}}, History: wave("mine", noon(), 10)}))
	mine := ours()
	f.Fuzz(func(t *testing.T, pick uint8, key, value []byte) {
		bucket := allBuckets()[int(pick)%len(allBuckets())]
		if len(key) == 0 || len(key) > 1<<10 || len(value) > 1<<12 || mine[string(bucket)+string(key)] {
			return
		}
		before := swap(t, s, bucket, key, sealed(bucket, key, value))
		requireReadable(t, s)
		swap(t, s, bucket, key, before)
	})
}

// ours is what the test itself put there, by bucket and key.
func ours() map[string]bool {
	return map[string]bool{"plansmine": true, "registermine/0/": true, "history2025-03-01": true, "journal" + string(seqKey(500)): true}
}

// swap puts stored bytes in place and gives what was there; nil takes away.
func swap(t *testing.T, s *Store, bucket bucketName, key, stored []byte) (before []byte) {
	err := s.db.Update(func(tx *bolt.Tx) error {
		b := tx.Bucket([]byte(bucket))
		before = bytes.Clone(b.Get(key))
		if stored == nil {
			return b.Delete(key)
		}
		return b.Put(key, stored)
	})
	require.NoError(t, err)
	return before
}

func isDamage(err error) bool { return errors.Is(err, ErrDamaged) }

func requireDamageOnly(t *testing.T, err error) {
	if err != nil && !isDamage(err) && !errors.Is(err, ErrNotFound) {
		t.Fatal(err)
	}
}

func requireReadable(t *testing.T, s *Store) {
	lines, err := s.Journal(0, 0)
	requireDamageOnly(t, err)
	found := false
	for i := range lines {
		found = found || lines[i].Kind == "mine"
	}
	require.True(t, found, "a line of the journal costs no other")
	tail, err := s.JournalTail(10, func(e *JournalEntry) bool { return e.Kind == "mine" })
	requireDamageOnly(t, err)
	require.NotEmpty(t, tail)
	_, err = s.Runs(noon().Add(-time.Hour), noon().Add(time.Hour))
	requireDamageOnly(t, err)
	probes, err := s.Probes()
	requireDamageOnly(t, err)
	require.NotEmpty(t, probes)
	plans, err := s.Plans()
	requireDamageOnly(t, err)
	require.NotEmpty(t, plans)
	points, err := s.History(ProbeMoisture, "mine", noon(), noon().Add(10*time.Minute))
	requireDamageOnly(t, err)
	require.Len(t, points, 10)
	_, err = s.PlanInForce()
	requireDamageOnly(t, err)
	_, err = s.Mirror()
	requireDamageOnly(t, err)
	_, err = s.Acknowledged()
	requireDamageOnly(t, err)
	require.NoError(t, s.view("find a number", func(tx *bolt.Tx) error {
		next, err := firstFreeSeq(tx, true)
		if err == nil {
			require.Greater(t, next, uint64(500), "a number that was given is not given again")
		}
		return nil
	}))
}
