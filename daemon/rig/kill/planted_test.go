package kill

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// fault is a change of the source that the rig must catch, and what says so.
type fault struct {
	name  string
	edits []edit
	cuts  []cut
	says  string
}

// edit changes one place of one file; old stands in it once.
type edit struct{ file, old, new string }

// faults are what a rig that cannot fail would let pass. They are built into binaries of
// their own with an overlay; the source stays as it is.
var faults = []fault{
	{
		name: "an opening leaves before its record is on disk",
		edits: []edit{{"daemon/recorder.go",
			"\tr.queue = append(r.queue, &own)\n",
			"\tr.queue = append(r.queue, &own)\n\tr.answer(&zones.Recorded{Seq: rec.Seq})\n"}},
		cuts: []cut{{way: slowDisk}, {way: slowDisk}}, says: "without a durable intent",
	},
	{
		name: "the boot hold forgets the lease",
		edits: []edit{{"zones/room.go",
			"5*time.Second + max(p.Lease, m.Lease)",
			"5*time.Second"}},
		cuts: []cut{{way: atOpening}}, says: "INV-10",
	},
	{
		name: "an epoch is used twice",
		edits: []edit{{"zones/room.go",
			"r.epoch = m.Epoch + 1",
			"r.epoch = max(m.Epoch, 1)"}},
		cuts: []cut{{way: inRun, after: time.Second}, {way: atOpening}}, says: "INV-12",
	},
	{
		name: "a grant lasts for the whole run",
		edits: []edit{{"zones/output.go",
			"left := min(run.lease, run.end-r.t)",
			"left := run.end - r.t"}},
		cuts: []cut{{way: inRun, after: 2 * time.Second}}, says: "",
	},
	{
		name: "neither the state directory nor the ledger is locked",
		edits: []edit{
			{"daemon/start.go", "if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {", "if err := error(nil); err != nil {"},
			{"store/ledger/disk.go", "if err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); err != nil {", "if err := error(nil); err != nil {"},
		},
		cuts: []cut{{way: inStart, after: bootHold + 12*time.Second, second: true}}, says: "a second daemon",
	},
	{
		name: "a segment's snapshot has no charges",
		edits: []edit{{"store/ledger/segment.go",
			"payload, err := json.Marshal(l.memory)\n",
			"for _, o := range l.memory.Outputs {\n\t\to.Charges = nil\n\t}\n\tpayload, err := json.Marshal(l.memory)\n"}},
		cuts: []cut{{way: inRun, after: 3 * time.Second}, {way: inStart, after: 2 * time.Second}}, says: "the ledger charges",
	},
}

// TestPlantedFaultsAreCaught builds the daemon with one fault at a time; the rig must
// refuse each.
func TestPlantedFaultsAreCaught(t *testing.T) {
	if !*planted {
		t.Skip("it takes a minute: -kill.planted")
	}
	t.Parallel()
	needStrace(t)
	for i := range faults {
		f := &faults[i]
		t.Run(f.name, func(t *testing.T) {
			binary := f.build(t) // one after the other
			t.Parallel()
			l := newLane(t, 200+i, binary, newCounts())
			var err error
			for n := 0; n < len(f.cuts) && err == nil; n++ {
				err = l.cycle(f.cuts[n])
			}
			require.Error(t, err, "the rig let it pass")
			first, _, _ := strings.Cut(err.Error(), "\n")
			require.ErrorContains(t, err, f.says)
			t.Log(first)
		})
	}
}

// build builds the daemon with the fault in it.
func (f *fault) build(t *testing.T) string {
	t.Helper()
	root, err := filepath.Abs("../../..")
	require.NoError(t, err)
	dir := t.TempDir()
	replaced := map[string]string{}
	for i, e := range f.edits {
		path := filepath.Join(root, e.file)
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, 1, strings.Count(string(text), e.old), "%s does not hold what the fault changes: %s", e.file, e.old)
		replaced[path] = filepath.Join(dir, itoa(i)+".go")
		require.NoError(t, os.WriteFile(replaced[path], []byte(strings.Replace(string(text), e.old, e.new, 1)), 0o600))
	}
	overlay, binary := filepath.Join(dir, "overlay.json"), filepath.Join(dir, "rillgate")
	list, err := json.Marshal(map[string]map[string]string{"Replace": replaced})
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(overlay, list, 0o600))
	out, err := build(binary, "-overlay", overlay)
	require.NoError(t, err, string(out))
	return binary
}
