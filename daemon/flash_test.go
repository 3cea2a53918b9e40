package daemon

import (
	"context"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/configs"
	"rillgate/daemon/broker"
	"rillgate/daemon/simfield"
	"rillgate/zones/simroom"
)

var flashDay = flag.Bool("rillgate.flash", false, "count what a day of a room with 40 probes writes to its disk")

// Go test the bytes that a day costs:
//
//	go test ./daemon -run TestFlashOfADay -rillgate.flash -v
//
// Counted are the bytes handed to the system: ledger frames in place, pages of the
// store, files of the trace. What the file system adds to a commit of the store was
// measured once, at a loop device under ext4 with its default options: 34.2 KB for an
// isolated commit of 16.8 KB, and 4.2 KB for a ledger record with its sync.
func TestFlashOfADay(t *testing.T) {
	if !*flashDay {
		t.Skip("a minute of work: -rillgate.flash")
	}
	d, c, sim := bigRoom(t)
	ctx := context.Background()
	for now := time.Duration(0); now <= 24*time.Hour; {
		c.Set(now)
		n, err := sim.Step(ctx, now)
		require.NoError(t, err)
		for commanded := false; n > 0 || commanded; {
			require.NoError(t, sim.Barrier(ctx))
			require.NoError(t, d.Barrier(ctx))
			commanded = d.Settle()
			if n = 0; commanded {
				require.NoError(t, d.Barrier(ctx))
				require.NoError(t, sim.Barrier(ctx))
				n, err = sim.Step(ctx, now)
				require.NoError(t, err)
			}
		}
		_, err = d.Advance()
		require.NoError(t, err)
		if d.keeper.busy { // the disk is faster than a virtual day
			d.keeper.finish(d, <-d.keeper.results)
		}
		now = max(now+time.Second, min(sim.Next(), d.NextAfter()).Round(time.Second))
	}
	store, ledger := d.files.store.Stats(), d.files.open.Stats()
	folder := filepath.Join(d.o.State, traceFolder)
	var shots int64
	for _, z := range d.view().Zones {
		shots += z.ShotsTotal
	}
	require.NoError(t, d.Close(nil))
	traced := sizeOf(t, folder)
	added := store.Commits * (34_200 - 16_800)
	total := store.Bytes + added + int64(ledger.Syncs)*4_200 + traced*2
	t.Logf("shots %d; store: %d commits, %.1f MB in pages; ledger: %d records, %d syncs; trace: %.1f MB packed",
		shots, store.Commits, mb(store.Bytes), ledger.Records, ledger.Syncs, mb(traced))
	t.Logf("at the device, reckoned: store %.1f MB, ledger %.1f MB, trace %.1f MB; in all %.1f MB a day",
		mb(store.Bytes+added), mb(int64(ledger.Syncs)*4_200), mb(traced*2), mb(total))
	require.Positive(t, shots)
	require.LessOrEqual(t, total, int64(40e6))
}

func mb(n int64) float64 { return float64(n) / 1e6 }

func sizeOf(t *testing.T, folder string) (n int64) {
	t.Helper()
	require.NoError(t, filepath.WalkDir(folder, func(_ string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		info, err := e.Info()
		n += info.Size()
		return err
	}))
	return n
}

// bigRoom is a room of 40 probes in eight zones with twelve shots a day and zone.
func bigRoom(t *testing.T) (*Daemon, *VirtualClock, *simfield.Field) {
	t.Helper()
	b, err := broker.Start("127.0.0.1:0", broker.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { _ = b.Close() })
	dir := t.TempDir()
	o := Options{Config: filepath.Join(dir, "config"), State: filepath.Join(dir, "state"), Room: "big", NoPage: true, Past: noon.AddDate(-1, 0, 0)}
	require.NoError(t, os.Mkdir(o.Config, 0o750))
	for name, text := range bigFiles(b.URL()) {
		require.NoError(t, os.WriteFile(filepath.Join(o.Config, name), []byte(text), 0o600))
	}
	loaded, problems := configs.Load(o.Config)
	require.NotNil(t, loaded, "%v", problems)
	c := NewVirtualClock(noon)
	o.Clock = c
	room, err := simroom.New(loaded.Plan, simroom.Options{Seed: 1, Start: noon})
	require.NoError(t, err)
	sim, err := simfield.New(loaded.Plan, room, simfield.Options{Broker: b.URL()})
	require.NoError(t, err)
	t.Cleanup(sim.Close)
	require.NoError(t, sim.Start(t.Context()))
	d := open(t, o)
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	require.NoError(t, d.Await(ctx))
	return d, c, sim
}

func bigFiles(url string) map[string]string {
	var probes, valves, zones, use strings.Builder
	for z := range 8 {
		if z%2 == 0 {
			fmt.Fprintf(&probes, "      - number: %d\n        layout: chain\n        home_run: 10 m\n        cable: 18 AWG\n        probes:\n", z/2+1)
		}
		for p := range 5 {
			fmt.Fprintf(&probes, "          - {id: p%d-%d, address: \"%d\", zone: z%d, lead: 1 m, tail: 5 m}\n", z, p, z%2*5+p, z)
		}
		fmt.Fprintf(&valves, "  - {id: v%d, controller: north, output: %d}\n", z, z+1)
		fmt.Fprintf(&zones, "  - {id: z%d, name: Zone %d, plants: 48, valves: [v%d]}\n", z, z, z)
		fmt.Fprintf(&use, "  z%d: {routine: all}\n", z)
	}
	return map[string]string{
		configs.RoomFile: "room: {id: big, name: Big, time_zone: UTC, units: metric}\ncontrollers:\n  - id: north\n    terminals:\n" + probes.String() +
			"supplies:\n  - {id: feed, max_open: 2}\nvalves:\n" + valves.String() + `defaults:
  substrate: {kind: coir, volume_per_plant: 6.5 L, height: 20 cm}
  emitters: {per_plant: 2, flow: 2 L/h}
  moisture: {combine: median, quorum: 2, stale_after: 3 min, plausible: 2 % to 95 %}
  limits: {max_run: 6 min, min_rest: 5 min, max_per_day: 60 min, max_moisture: 70 %}
zones:
` + zones.String(),
		configs.ScheduleFile: `day: {lights_on: "06:00", lights_off: "18:00"}
routines:
  all: [{window: timed, from: "12:00", until: "11:00", shot: 240 s, rest: 2 h, max_shots: 12}]
zones:
` + use.String(),
		configs.GatewayFile: "mqtt: {broker: \"" + url + "\"}\n",
	}
}
