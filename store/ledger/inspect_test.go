package ledger

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

func TestInspectTouchesNothing(t *testing.T) {
	dir := t.TempDir()
	rec, err := Inspect(dir)
	require.NoError(t, err)
	require.True(t, rec.Fresh)
	l, _, err := Open(dir, Options{})
	require.NoError(t, err)
	require.NoError(t, l.Append(entries(1, 5)...))
	before := onDisk(t, dir)
	rec, err = Inspect(dir)
	require.NoError(t, err)
	require.Equal(t, uint64(5), rec.Memory.Seq)
	require.Equal(t, before, onDisk(t, dir))
	require.NoError(t, l.Close())
}

func TestRecordsOfBothSegments(t *testing.T) {
	dir := t.TempDir()
	all, err := Records(dir)
	require.NoError(t, err)
	require.Empty(t, all)
	for life := range uint64(3) {
		l, _, err := Open(dir, Options{})
		require.NoError(t, err)
		require.NoError(t, l.Append(entries(life*4+1, 4)...))
		require.NoError(t, l.Close())
	}
	all, err = Records(dir)
	require.NoError(t, err)
	require.Len(t, all, 8, "the first life's segment was used again")
	for i, rec := range all {
		require.Equal(t, uint64(i+5), rec.Seq)
	}
}

func onDisk(t *testing.T, dir string) map[string]string {
	t.Helper()
	all := map[string]string{}
	for _, name := range []string{segmentA, segmentB, marker} {
		data, err := newDirectory(dir).Read(name)
		require.NoError(t, err)
		all[name] = string(data)
	}
	return all
}

func TestAnAdoptedMemoryIsSpentAndLosesNoLatch(t *testing.T) {
	d := NewMemoryDisk()
	l, _ := openOn(t, d)
	require.NoError(t, l.Append(entries(1, 30)...)) // latches on north/0 to 3, epoch up to 28
	backup := zones.NewMemory()
	backup.Seq, backup.Epoch, backup.Age, backup.Plan = 12, 90, time.Minute, "old"
	backup.Outputs["south/1"] = &zones.OutputMemory{Ran: true}
	require.NoError(t, l.Adopt(backup))
	require.False(t, backup.Spent, "the caller's own is left alone")
	require.NoError(t, l.Append(entry(31)))
	d.Crash(nil)
	_, rec := openOn(t, d)
	m := rec.Memory
	require.False(t, rec.Lost || rec.Damaged)
	require.Equal(t, uint64(31), m.Seq)
	require.Equal(t, uint32(90), m.Epoch)
	require.Equal(t, 31*time.Minute, m.Age)
	require.Equal(t, "old", m.Plan)
	require.True(t, m.Spent && m.Outputs["south/1"].Spent)
	require.Equal(t, zones.NoResponse, m.Outputs["north/0"].Latches[0].Code)
	require.True(t, m.Outputs["north/0"].Spent)
}

func TestLatchesBehindTheDamageStand(t *testing.T) {
	d := NewMemoryDisk()
	l, _, err := Open("memory", Options{Disk: d})
	require.NoError(t, err)
	for seq := uint64(1); seq <= 20; seq++ {
		require.NoError(t, l.Append(entry(seq)))
	}
	seg, err := d.Read(segmentA)
	require.NoError(t, err)
	frames := ofGeneration(framesIn(seg), 1)
	seg[frames[5].start+frameHead+3] ^= 4 // record 5
	d.Crash(nil)
	d.Put(segmentA, seg)
	_, rec := openOn(t, d)
	require.True(t, rec.Damaged && rec.Memory.Spent)
	require.Equal(t, uint32(18), rec.Memory.Epoch)
	for _, key := range []string{"north/0", "north/1", "north/2", "north/3"} { // records 4, 9, 14, 19
		require.Equal(t, zones.NoResponse, rec.Memory.Outputs[key].Latches[0].Code, key)
		require.True(t, rec.Memory.Outputs[key].Spent, key)
	}
	require.Equal(t, uint64(20), rec.Memory.Seq, "no number is given twice")
}

// Lines as in proc(5), from memory.
func TestMountProblems(t *testing.T) {
	info := `22 1 179:2 / / rw,noatime shared:1 - ext4 /dev/mmcblk0p2 rw
40 22 179:3 / /var/lib rw,noatime - ext4 /dev/mmcblk0p3 rw,nobarrier
41 40 8:1 / /var/lib/my\040disk rw - ext4 /dev/sda1 rw,fast_commit
42 22 8:2 / /var/library rw - xfs /dev/sdb1 rw
broken line
`
	for path, want := range map[string]string{
		"/home":                         "",
		"/var/lib/rillgate/ledger":      "nobarrier",
		"/var/lib/my disk/rillgate":     "fast_commit",
		"/var/library":                  "",
		"/var/liberty":                  "",
		"/var/lib/my disk2/with/ledger": "nobarrier",
	} {
		m, err := mountOf(strings.NewReader(info), path)
		require.NoError(t, err)
		if want == "" {
			require.Empty(t, m.problem(), path)
		} else {
			require.Contains(t, m.problem(), want, path)
		}
	}
	_, err := mountOf(strings.NewReader(""), "/x")
	require.Error(t, err)
	_, err = MountProblem(t.TempDir())
	require.NoError(t, err)
}

// The seal that would tell is gone too: records in the other segment tell.
func TestHeadAndSealGone(t *testing.T) {
	files := written(t, 33)
	newest, now, err := newestOf(files)
	require.NoError(t, err)
	older := otherName(newest)
	before, err := parseSegment(older, files[older])
	require.NoError(t, err)
	require.True(t, before.sealed)
	frames := ofGeneration(framesIn(files[older]), before.generation)
	clear(files[older][frames[len(frames)-1].start:])
	clear(files[newest][:headerSize+8])
	require.Greater(t, now.memory.Seq, before.memory.Seq)
	rec := recoverFrom(t, files)
	require.True(t, rec.Damaged && rec.Memory.Spent)
	require.Equal(t, now.memory.Seq, rec.Memory.Seq, "no number is given twice")
}

// A number that is missing between whole frames is damage, and nothing behind it counts.
func TestAGapInTheNumbers(t *testing.T) {
	seg := appendHeader(nil, header{version: formatVersion, size: minSize, generation: 1})
	seg = appendFrame(seg, frame{generation: 1, kind: snapshotFrame, payload: must(json.Marshal(zones.NewMemory()))})
	for _, seq := range []uint64{1, 2, 4} {
		seg = appendFrame(seg, frame{generation: 1, seq: seq, durable: seq - 1, kind: recordFrame, payload: must(json.Marshal(entry(seq)))})
	}
	s, err := parseSegment(segmentA, append(seg, make([]byte, minSize)...))
	require.NoError(t, err)
	require.Equal(t, uint64(2), s.memory.Seq)
	require.True(t, s.lostDurable())
}
