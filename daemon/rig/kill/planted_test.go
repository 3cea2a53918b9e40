package kill

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones/zonetest/overlay"
)

// fault is a change of the source that the rig must catch, and what says so.
type fault struct {
	name  string
	edits []overlay.Edit
	cuts  []cut
	says  string
}

// faults are what a rig that cannot fail would let pass. They are built into binaries of
// their own with an overlay; the source stays as it is.
var faults = []fault{
	{
		name: "an opening leaves before its record is on disk",
		edits: []overlay.Edit{{File: "daemon/recorder.go",
			Old: "\tr.queue = append(r.queue, &own)\n",
			New: "\tr.queue = append(r.queue, &own)\n\tr.answer(&zones.Recorded{Seq: rec.Seq})\n"}},
		cuts: []cut{{way: slowDisk}, {way: slowDisk}}, says: "without a durable intent",
	},
	{
		name: "the boot hold forgets the lease",
		edits: []overlay.Edit{{File: "zones/room.go",
			Old: "5*time.Second + max(p.Lease, m.Lease)",
			New: "5*time.Second"}},
		cuts: []cut{{way: atOpening}}, says: "INV-10",
	},
	{
		name: "an epoch is used twice",
		edits: []overlay.Edit{{File: "zones/room.go",
			Old: "r.epoch = m.Epoch + 1",
			New: "r.epoch = max(m.Epoch, 1)"}},
		cuts: []cut{{way: inRun, after: time.Second}, {way: atOpening}}, says: "INV-12",
	},
	{
		name: "a grant lasts for the whole run",
		edits: []overlay.Edit{{File: "zones/output.go",
			Old: "left := min(run.lease, run.end-r.t)",
			New: "left := run.end - r.t"}},
		cuts: []cut{{way: inRun, after: 2 * time.Second}}, says: "",
	},
	{
		name: "neither the state directory nor the ledger is locked",
		edits: []overlay.Edit{
			{File: "daemon/start.go", Old: "if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {", New: "if err := error(nil); err != nil {"},
			{File: "store/ledger/disk.go", Old: "if err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); err != nil {", New: "if err := error(nil); err != nil {"},
		},
		cuts: []cut{{way: inStart, after: bootHold + 12*time.Second, second: true}}, says: "a second daemon",
	},
	{
		name: "a segment's snapshot has no charges",
		edits: []overlay.Edit{{File: "store/ledger/segment.go",
			Old: "payload, err := json.Marshal(l.memory)\n",
			New: "for _, o := range l.memory.Outputs {\n\t\to.Charges = nil\n\t}\n\tpayload, err := json.Marshal(l.memory)\n"}},
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
	root, err := filepath.Abs("../../..")
	require.NoError(t, err)
	b := &overlay.Builder{Root: root, Dir: t.TempDir()}
	for i := range faults {
		f := &faults[i]
		t.Run(f.name, func(t *testing.T) {
			binary, err := b.Program(t.Context(), "cmd/rillgate", f.edits...) // one after the other
			require.NoError(t, err)
			t.Parallel()
			l := newLane(t, 200+i, binary, newCounts())
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
