package ledger

import (
	"bytes"
	"encoding/json"
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

const damagedRecords = 45 // over three segments of the least size

// FuzzDamage spoils a ledger in many places at once, as a script of bytes says, and
// gives it a mirror: what is recovered is one of the memories there were, or counts
// as spent; what the mirror knows is never missing untold; and it goes on from there.
func FuzzDamage(f *testing.F) {
	f.Add([]byte{}, uint8(45))
	f.Add([]byte{0, 0, 40, 1}, uint8(0))
	f.Add([]byte{1, 1, 2, 1, 2, 1, 9}, uint8(30))
	f.Add([]byte{2, 0, 0, 0}, uint8(44))
	f.Add([]byte{3, 0, 1, 200, 3, 1, 0, 100}, uint8(20))
	f.Add([]byte{4, 0, 4, 1, 5}, uint8(3))
	f.Add([]byte{24, 0, 40, 207, 207, 207, 207}, uint8(115)) // a page of one file in the other: its frames outlive its header
	f.Add([]byte{5, 1, 0, 0, 0, 0, 9, 3}, uint8(255))
	disk := NewMemoryDisk()
	l, _, err := Open("memory", Options{Disk: disk, Size: minSize})
	require.NoError(f, err)
	memories := [][]byte{asText(f, l.Memory())}
	for seq := uint64(1); seq <= damagedRecords; seq++ {
		require.NoError(f, l.Append(entry(seq)))
		memories = append(memories, asText(f, l.Memory()))
	}
	good := map[string][]byte{}
	for _, name := range []string{segmentA, segmentB, marker} {
		good[name], err = disk.Read(name)
		require.NoError(f, err)
	}
	f.Fuzz(func(t *testing.T, script []byte, mirrored uint8) {
		if len(script) > 100 {
			return
		}
		d := NewMemoryDisk()
		for name, data := range spoil(good, script) {
			d.Put(name, data)
		}
		o := Options{Disk: d, Size: minSize, StoreExisted: mirrored > 0}
		if m := int(mirrored); m > 0 && m <= damagedRecords {
			o.Mirror = &zones.Memory{}
			require.NoError(t, json.Unmarshal(memories[m], o.Mirror))
		}
		requireHonest(t, d, o, memories)
	})
}

func asText(f *testing.F, m *zones.Memory) []byte {
	text, err := json.Marshal(m)
	require.NoError(f, err)
	return text
}

// spoil takes from a script what becomes of the files.
func spoil(good map[string][]byte, script []byte) map[string][]byte {
	files := map[string][]byte{}
	for name, data := range good {
		files[name] = bytes.Clone(data)
	}
	next := func() int {
		if len(script) == 0 {
			return 0
		}
		b := script[0]
		script = script[1:]
		return int(b)
	}
	for len(script) > 0 {
		act, name := next(), [2]string{segmentA, segmentB}[next()%2]
		data := files[name]
		place := func() int { return (next()<<8 | next()) % (len(data) + 1) }
		switch act % 6 {
		case 0:
			if at := place(); at < len(data) {
				data[at] ^= 1 << (next() % 8)
			}
		case 1: // a hole
			at := place()
			clear(data[at:min(len(data), at+next()*16)])
		case 2: // cut short
			files[name] = data[:place()]
		case 3: // an old page comes back, or one of the other file
			from := good[[2]string{segmentA, segmentB}[next()%2]]
			at := place() &^ (sector - 1)
			copy(data[at:], from[min(at, len(from)):min(at+sector, len(from))])
		case 4:
			delete(files, name)
		case 5:
			delete(files, marker)
		}
		if files[name] == nil && act%6 != 4 {
			delete(files, name)
		}
	}
	return files
}

func requireHonest(t *testing.T, d *MemoryDisk, o Options, memories [][]byte) {
	l, rec, err := Open("memory", o)
	if errors.Is(err, ErrNewer) {
		return
	}
	require.NoError(t, err)
	if rec.Lost || rec.Damaged {
		require.True(t, rec.Memory.Spent)
		require.NotEmpty(t, rec.Detail)
	}
	if !rec.Memory.Spent {
		require.LessOrEqual(t, rec.Memory.Seq, uint64(damagedRecords))
		have, err := json.Marshal(rec.Memory)
		require.NoError(t, err)
		require.JSONEq(t, string(memories[rec.Memory.Seq]), string(have))
		require.True(t, o.Mirror == nil || o.Mirror.Seq <= rec.Memory.Seq, "the store knows of record %d, the ledger of %d, and nobody is told", o.Mirror, rec.Memory.Seq)
		require.False(t, rec.Fresh && o.StoreExisted, "a used store, and no ledger: a loss")
	}
	next := entry(rec.Memory.Seq + 1)
	require.NoError(t, l.Append(next))
	d.Crash(nil)
	_, again, err := Open("memory", Options{Disk: d, Size: minSize})
	require.NoError(t, err)
	require.Equal(t, next.Seq, again.Memory.Seq)
	require.Equal(t, rec.Memory.Spent, again.Memory.Spent, "a loss stays known")
	require.False(t, again.Damaged || again.Lost || again.Fresh, "damage is told once")
}
