package store_test

import (
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"rillgate/store"
	"rillgate/store/ledger"
	"rillgate/zones"
)

const (
	megabyte     = 1_000_000
	pageSize     = 4096
	dailyMost    = 40 * megabyte
	roomZones    = 8
	probesAZone  = 5
	runsADay     = 96
	minutesADay  = 24 * 60
	runMinutes   = 4
	minutesARun  = minutesADay / runsADay
	batchMinutes = 5
)

// day writes what a room of 40 probes and 8 zones writes in a day: a reading a
// minute and probe (moisture, EC, temperature), 96 runs, and each minute a record
// of new highs. pause is called after each moment of writing: more than five seconds pass.
type day struct {
	t      *testing.T
	store  *store.Store
	ledger *ledger.Ledger
	pause  func()
	start  time.Time
	seq    uint64
	line   uint64
	batch  store.Batch
}

func (d *day) play(minutes int) {
	for m := range minutes {
		d.minute(m)
	}
}

func (d *day) minute(m int) {
	d.readings(m)
	d.record(m, zones.Record{Kind: zones.RecProgress, Zones: highs(m), Lazy: true})
	if m%10 == 0 {
		d.record(m, zones.Record{Kind: zones.RecAge})
		d.pause()
	}
	switch m % minutesARun {
	case 1:
		d.open(m)
	case 1 + runMinutes:
		d.close(m)
	}
	if m%batchMinutes == 0 {
		if m%15 == 0 {
			d.batch.Mirror = d.ledger.Memory()
		}
		d.commit()
		d.pause()
	}
}

func (d *day) at(m int) time.Time { return d.start.Add(time.Duration(m) * time.Minute) }

func (d *day) record(m int, rec zones.Record) {
	d.seq++
	rec.Seq, rec.Age, rec.Wall, rec.Trusted = d.seq, time.Duration(m)*time.Minute, d.at(m), true
	require.NoError(d.t, d.ledger.Append(&rec))
}

func (d *day) commit() {
	require.NoError(d.t, d.store.Write(d.batch))
	d.batch = store.Batch{}
}

func (d *day) note(m int, e zones.Entry) {
	d.line++
	d.batch.Journal = append(d.batch.Journal, store.JournalEntry{Seq: d.line, At: d.at(m), Entry: e})
}

func run(m int) *zones.RunRecord {
	n := m / minutesARun
	return &zones.RunRecord{ID: fmt.Sprintf("r-7-%d", n), Zone: fmt.Sprintf("zone-%d", n%roomZones),
		Outputs: []zones.Output{{Controller: "north", Number: 1 + n%roomZones}}, Length: runMinutes * time.Minute,
		Reason: zones.DriedBack, End: time.Duration(m+runMinutes) * time.Minute, Litres: 12.5}
}

// open and close save their line at once: a person may look for it after a crash.
func (d *day) open(m int) {
	r := run(m)
	d.record(m, zones.Record{Kind: zones.RecIntent, Run: r})
	d.record(m, zones.Record{Kind: zones.RecOpened, Run: r, Lazy: true})
	d.note(m, zones.Entry{Kind: "run-opened", Zone: r.Zone, Valve: r.Zone, Run: r.ID, Reason: r.Reason,
		Because: "the probes fell 4.2 points from their highs, it waters at 4.0 points"})
	d.commit()
	d.pause()
}

func (d *day) close(m int) {
	r := run(m - runMinutes)
	r.Reason = zones.ShotDone
	d.record(m, zones.Record{Kind: zones.RecClose, Run: r})
	r.Amount = runMinutes * time.Minute
	d.record(m, zones.Record{Kind: zones.RecSettle, Run: r})
	d.note(m, zones.Entry{Kind: "run-closed", Zone: r.Zone, Valve: r.Zone, Run: r.ID, Reason: r.Reason, Seconds: 240, Litres: 12.5,
		Because: "the shot of 4 min was given"})
	d.commit()
	d.pause()
}

// readings adds a minute of numbers that wander as probes do.
func (d *day) readings(m int) {
	add := func(kind store.Kind, id string, v float64) {
		p := store.Point{At: d.at(m), Value: int32(math.Round(v * 1000))}
		for i := range d.batch.History {
			if s := &d.batch.History[i]; s.Kind == kind && s.ID == id {
				s.Points = append(s.Points, p)
				return
			}
		}
		d.batch.History = append(d.batch.History, store.Sample{Kind: kind, ID: id, Points: []store.Point{p}})
	}
	for z := range roomZones {
		level := 46 + 3*math.Sin(float64(m+40*z)/90)
		add(store.ZoneMoisture, fmt.Sprintf("zone-%d", z), level)
		for p := range probesAZone {
			id := fmt.Sprintf("zone-%d-probe-%d", z, p)
			wobble := math.Sin(float64(m*7919+z*131+p*17)) / 5
			add(store.ProbeMoisture, id, level+wobble)
			add(store.ProbeEC, id, 1.8+wobble/10)
			add(store.ProbeTemperature, id, 22+wobble)
		}
	}
}

// highs is the progress of every zone, which is more than a minute mostly brings.
func highs(m int) []zones.ZoneProgress {
	var all []zones.ZoneProgress
	for z := range roomZones {
		p := zones.ZoneProgress{Zone: fmt.Sprintf("zone-%d", z), Highs: map[string]zones.Level{}}
		p.Progress.Instance = "2025-03-01/daytime"
		for i := range probesAZone {
			p.Highs[fmt.Sprintf("north/%d/%d", z, i)] = zones.Level(46_000 + m)
		}
		all = append(all, p)
	}
	return all
}

// pages is a disk that counts the pages written between two syncs.
type pages struct {
	ledger.Disk
	bytes int64
	syncs int
}

type pagedFile struct {
	ledger.File
	disk  *pages
	dirty map[int64]bool
}

func (d *pages) Open(name string) (ledger.File, error) {
	f, err := d.Disk.Open(name)
	return &pagedFile{f, d, map[int64]bool{}}, err
}

func (d *pages) Create(name string, data []byte) error {
	d.bytes += int64(len(data)+pageSize-1) / pageSize * pageSize
	return d.Disk.Create(name, data)
}

func (f *pagedFile) WriteAt(b []byte, at int64) (int, error) {
	for p := at / pageSize; p <= (at+int64(len(b))-1)/pageSize; p++ {
		f.dirty[p] = true
	}
	return f.File.WriteAt(b, at)
}

func (f *pagedFile) Sync() error {
	f.disk.bytes += int64(len(f.dirty)) * pageSize
	f.disk.syncs++
	clear(f.dirty)
	return f.File.Sync()
}

// The pages that a day hands to the device, counted exactly; what the file system
// adds is measured by TestADayOnABlockDevice.
func TestPagesWrittenInADay(t *testing.T) {
	s, err := store.NewMemory()
	require.NoError(t, err)
	disk := &pages{Disk: ledger.NewMemoryDisk()}
	l, _, err := ledger.Open("memory", ledger.Options{Disk: disk})
	require.NoError(t, err)
	before := s.Stats()
	d := &day{t: t, store: s, ledger: l, pause: func() {}, start: time.Date(2025, 3, 1, 0, 0, 0, 0, time.UTC)}
	d.play(minutesADay)
	after := s.Stats()
	stored := after.Bytes - before.Bytes
	t.Logf("store: %.1f MB in %d commits; ledger: %.1f MB in %d syncs, %d records, %d segments; together %.1f MB",
		float64(stored)/megabyte, after.Commits-before.Commits, float64(disk.bytes)/megabyte, disk.syncs,
		l.Stats().Records, l.Stats().Segments, float64(stored+disk.bytes)/megabyte)
	require.Less(t, stored+disk.bytes, int64(dailyMost))
	require.Greater(t, disk.bytes, int64(minutesADay*pageSize), "each record costs a page at least")
	require.NoError(t, s.Close())
	require.NoError(t, l.Close())
}

var (
	onDevice    = flag.Bool("flash-device", false, "measure what a loop device with ext4 is given (needs root, and real time)")
	deviceHours = flag.Int("flash-hours", 1, "hours of the day to play on the device")
)

// TestADayOnABlockDevice plays a part of the day on ext4 on a loop device and reads
// what the device was given. It waits six real seconds after each moment, since
// what the file system adds hangs on its own timer of five: an hour takes about
// nine minutes.
//
//	go test ./store -run TestADayOnABlockDevice -flash-device -timeout 1h -v
func TestADayOnABlockDevice(t *testing.T) {
	if !*onDevice {
		t.Skip("asked for with -flash-device")
	}
	for _, options := range []string{"defaults", "noatime,lazytime"} {
		t.Run(options, func(t *testing.T) {
			t.Parallel()
			dir, device := mounted(t, options)
			s, _, err := store.Open(filepath.Join(dir, "store.db"), store.Options{})
			require.NoError(t, err)
			l, _, err := ledger.Open(filepath.Join(dir, "ledger"), ledger.Options{})
			require.NoError(t, err)
			flush(t, dir)
			before := written(t, device)
			d := &day{t: t, store: s, ledger: l, pause: func() { time.Sleep(6 * time.Second) },
				start: time.Date(2025, 3, 1, 0, 0, 0, 0, time.UTC)}
			d.play(*deviceHours * 60)
			flush(t, dir)
			bytes := (written(t, device) - before) * 24 / int64(*deviceHours)
			t.Logf("%s: %.1f MB at the device in a day", options, float64(bytes)/megabyte)
			require.NoError(t, s.Close())
			require.NoError(t, l.Close())
			require.Less(t, bytes, int64(dailyMost))
		})
	}
}

// flush writes out all that the file system still holds back.
func flush(t *testing.T, dir string) {
	t.Helper()
	f, err := os.Open(dir)
	require.NoError(t, err)
	defer f.Close()
	require.NoError(t, unix.Syncfs(int(f.Fd())))
}

// mounted gives a fresh ext4 and the name of its device.
func mounted(t *testing.T, options string) (dir, device string) {
	t.Helper()
	image := filepath.Join(t.TempDir(), "card")
	require.NoError(t, os.WriteFile(image, nil, 0o600))
	require.NoError(t, os.Truncate(image, 512<<20))
	tool := func(name string, args ...string) string {
		out, err := exec.Command(name, args...).CombinedOutput()
		require.NoError(t, err, "%s: %s", name, out)
		return strings.TrimSpace(string(out))
	}
	loop := tool("losetup", "--find", "--show", image)
	t.Cleanup(func() { tool("losetup", "-d", loop) })
	tool("mkfs.ext4", "-q", "-E", "lazy_itable_init=0,lazy_journal_init=0", loop)
	dir = t.TempDir()
	tool("mount", "-o", options, loop, dir)
	t.Cleanup(func() { tool("umount", dir) })
	return dir, filepath.Base(loop)
}

// written gives the bytes that a device was given: sectors of 512 bytes, the
// seventh field of its stat (Documentation/block/stat.rst of the kernel).
func written(t *testing.T, device string) int64 {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("/sys/block", device, "stat"))
	require.NoError(t, err)
	sectors, err := strconv.ParseInt(strings.Fields(string(data))[6], 10, 64)
	require.NoError(t, err)
	return sectors * 512
}
