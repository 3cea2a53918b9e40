package daemon

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/configs"
	"rillgate/daemon/operator"
	"rillgate/store"
	"rillgate/zones"
)

func TestMain(m *testing.M) {
	store.ProbeMain() // Open looks at a store in a child of this test's own program
	os.Exit(m.Run())
}

// inRoom writes the example room's files and gives options for a daemon in it, which
// nobody drives but the test.
func inRoom(t *testing.T) (Options, *VirtualClock) {
	t.Helper()
	dir := t.TempDir()
	o := Options{Config: filepath.Join(dir, "config"), State: filepath.Join(dir, "state"), Room: "demo", NoPage: true, Past: noon.AddDate(-1, 0, 0)}
	require.NoError(t, os.Mkdir(o.Config, 0o750))
	for name, text := range configs.ExampleFiles(configs.ExampleDemo) {
		require.NoError(t, os.WriteFile(filepath.Join(o.Config, name), text, 0o600))
	}
	c := NewVirtualClock(noon)
	o.Clock = c
	return o, c
}

func open(t *testing.T, o Options) *Daemon {
	t.Helper()
	d, err := Open(o)
	require.NoError(t, err)
	d.Settle()
	return d
}

func TestStateDirectoryIsHeldByOne(t *testing.T) {
	o, _ := inRoom(t)
	d := open(t, o)
	_, err := Open(o)
	require.ErrorIs(t, err, ErrOtherRuns)
	require.NoError(t, d.Close(nil))
	d = open(t, o)
	require.NoError(t, d.Close(nil))
}

// A breach closes everything, is an error, and does not count as a clean end.
func TestBreachIsNoCleanEnd(t *testing.T) {
	o, _ := inRoom(t)
	d := open(t, o)
	d.breach = &zones.Breach{Invariant: "INV-6", Detail: "planted"}
	require.ErrorIs(t, d.broken(), ErrBreach)
	require.ErrorIs(t, d.Close(d.broken()), ErrBreach)
	d = open(t, o)
	require.Len(t, d.room.Memory().Starts, 1, "the end before counts as unclean")
	require.NoError(t, d.Close(nil))
	d = open(t, o)
	require.NoError(t, d.Close(nil))
}

func TestSecondEndIsClean(t *testing.T) {
	o, _ := inRoom(t)
	require.NoError(t, open(t, o).Close(nil))
	d := open(t, o)
	require.Empty(t, d.room.Memory().Starts)
	require.NoError(t, d.Close(nil))
}

// Epochs rise at each start, whatever the end before.
func TestEpochRisesAtEachStart(t *testing.T) {
	o, _ := inRoom(t)
	var last uint32
	for range 3 {
		d := open(t, o)
		require.Greater(t, d.room.Memory().Epoch, last)
		last = d.room.Memory().Epoch
		require.NoError(t, d.Close(nil))
	}
}

// A damaged store is put aside, told, and the ledger's memory holds.
func TestDamagedStoreIsPutAside(t *testing.T) {
	o, _ := inRoom(t)
	d := open(t, o)
	ask(t, d, func(ctx context.Context) { _, _ = d.Order(ctx, zones.Order{Kind: zones.OrderStop, Zone: "bench-a"}) })
	require.NoError(t, d.Close(nil))
	path := filepath.Join(o.State, StoreName)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	for i := range text {
		text[i] ^= 0x5a
	}
	require.NoError(t, os.WriteFile(path, text, 0o600))
	d = open(t, o)
	v := d.view()
	require.Len(t, v.Zones[0].Latches, 1, "the latch is in the ledger")
	require.Equal(t, zones.StoppedByPerson, v.Zones[0].Latches[0].Code)
	require.True(t, hasAlarm(&v, zones.AlarmStoreDamaged))
	kept, err := filepath.Glob(path + "*damaged*")
	require.NoError(t, err)
	require.NotEmpty(t, kept)
	ask(t, d, func(ctx context.Context) {
		_, _ = d.Order(ctx, zones.Order{Kind: zones.OrderAcknowledge, Subject: string(zones.AlarmStoreDamaged)})
	})
	v = d.view()
	require.False(t, hasAlarm(&v, zones.AlarmStoreDamaged), "it tells of the past: acknowledged, it is over")
	require.NoError(t, d.Close(nil))
}

// A stop and a hold are in the store's mirror some seconds later, so that a crash after
// which the ledger cannot be read loses neither.
func TestStopOutlivesALostLedger(t *testing.T) {
	o, c := inRoom(t)
	d := open(t, o)
	ask(t, d, func(ctx context.Context) {
		_, _ = d.Order(ctx, zones.Order{Kind: zones.OrderHold, Zone: "bench-b", For: time.Hour})
		_, _ = d.Order(ctx, zones.Order{Kind: zones.OrderStop, Zone: "bench-a"})
	})
	for at := time.Second; at <= 5*time.Second; at += time.Second {
		c.Set(at)
		_, err := d.Advance()
		require.NoError(t, err)
	}
	if d.keeper.busy { // a quick disk has it already
		d.keeper.finish(d, <-d.keeper.results)
	}
	text, err := os.ReadFile(filepath.Join(o.State, StoreName))
	require.NoError(t, err)
	require.NoError(t, d.Close(nil))

	crashed := o
	crashed.State = filepath.Join(t.TempDir(), "state")
	require.NoError(t, os.Mkdir(crashed.State, 0o750))
	require.NoError(t, os.WriteFile(filepath.Join(crashed.State, StoreName), text, 0o600))
	d = open(t, crashed)
	require.True(t, d.room.Memory().Spent)
	v := d.view()
	require.Len(t, v.Zones[0].Latches, 1)
	require.Equal(t, zones.StoppedByPerson, v.Zones[0].Latches[0].Code)
	require.Contains(t, d.room.Memory().Zones, "bench-b")
	require.Positive(t, d.room.Memory().Zones["bench-b"].HoldUntil)
	require.NoError(t, d.Close(nil))
}

// With a ledger that cannot be written nothing opens, and the room runs on to say so.
func TestUnusableLedgerKeepsTheRoomClosed(t *testing.T) {
	o, c := inRoom(t)
	require.NoError(t, open(t, o).Close(nil))
	for _, name := range []string{"ledger-a", "ledger-b"} { // what no disk should do
		require.NoError(t, os.Remove(filepath.Join(o.State, name)))
		require.NoError(t, os.Mkdir(filepath.Join(o.State, name), 0o700))
	}
	d := open(t, o)
	c.Set(2 * time.Minute)
	_, err := d.Advance()
	require.NoError(t, err)
	v := d.view()
	require.True(t, hasAlarm(&v, zones.StoreFailed), "%+v", v.Alarms)
	require.NoError(t, d.Close(nil))
}

func hasAlarm(v *zones.View, code zones.Reason) bool {
	for i := range v.Alarms {
		if v.Alarms[i].Code == code {
			return true
		}
	}
	return false
}

// ask runs f while the test's goroutine plays the loop.
func ask(t *testing.T, d *Daemon, f func(ctx context.Context)) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	done := make(chan struct{})
	go func() {
		defer close(done)
		f(ctx)
	}()
	for {
		select {
		case <-done:
			d.Settle()
			return
		case post := <-d.posts:
			post()
		case <-d.recorder.ready:
		case <-ctx.Done():
			require.FailNow(t, "no answer")
		}
		d.Settle()
	}
}

func TestClockTrustByHand(t *testing.T) {
	o, c := inRoom(t)
	o.Past = noon.AddDate(1, 0, 0) // the clock says a time that is known to be past
	d := open(t, o)
	v := d.view()
	require.False(t, v.Trusted)
	require.Contains(t, d.notices()[0], "which is past")
	ask(t, d, func(ctx context.Context) {
		a, err := d.Order(ctx, zones.Order{Kind: zones.OrderClockTrust, Source: "socket"})
		if err != nil || !a.Accepted {
			t.Errorf("%v %+v", err, a)
		}
	})
	c.Set(time.Second)
	_, err := d.Advance()
	require.NoError(t, err)
	v = d.view()
	require.True(t, v.Trusted)
	require.NoError(t, d.Close(nil))
}

// Old lines come from the store, new ones from memory, in one order and without gaps.
func TestJournalReachesBackIntoTheStore(t *testing.T) {
	o, _ := inRoom(t)
	d := open(t, o)
	for range 3 * trailKept {
		d.entry(d.now.Wall, &zones.Entry{Kind: "test"})
	}
	require.NoError(t, d.Close(nil))
	d = open(t, o)
	d.entry(d.now.Wall, &zones.Entry{Kind: "now"})
	all, err := d.Recent(context.Background(), 1, 5*trailKept)
	require.NoError(t, err)
	require.Greater(t, len(all), 3*trailKept)
	for i := 1; i < len(all); i++ {
		require.Greater(t, all[i].Seq, all[i-1].Seq)
	}
	require.Equal(t, "now", all[len(all)-1].Kind)
	few, err := d.Recent(context.Background(), 0, 5)
	require.NoError(t, err)
	require.Equal(t, all[len(all)-5:], few)
	require.NoError(t, d.Close(nil))
}

func TestFollowerThatLagsIsDropped(t *testing.T) {
	tr := newTrail(0, nil)
	_, f := tr.follow(0, 10)
	for range followerLags + 1 {
		tr.add(noon, &zones.Entry{Kind: "test"})
	}
	n := 0
	for range f {
		n++
	}
	require.Equal(t, followerLags, n)
	tr.unfollow(f) // must not close twice
	require.Equal(t, uint64(followerLags+1), tr.recent(0, 1)[0].Seq)
}

func TestPagesAddressInUse(t *testing.T) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer ln.Close()
	o, _ := inRoom(t)
	o.NoPage, o.Page = false, ln.Addr().String()
	_, err = Open(o)
	require.ErrorContains(t, err, "address already in use")
	o.NoPage = true
	require.NoError(t, open(t, o).Close(nil), "everything was let go")
}

func TestFilesThatDifferAreNamed(t *testing.T) {
	o, _ := inRoom(t)
	loaded, _ := configs.Load(o.Config)
	require.Empty(t, differs(o.Config, loaded))
	require.NoError(t, os.WriteFile(filepath.Join(o.Config, configs.RoomFile), []byte("room:"), 0o600))
	require.Contains(t, differs(o.Config, loaded), "room.yaml; `rillgate apply`")
}

// sd_notify(3): one datagram a message; WATCHDOG_USEC asks for signs of life.
func TestNotify(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notify")
	ln, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	require.NoError(t, err)
	defer ln.Close()
	env := map[string]string{"NOTIFY_SOCKET": path, "WATCHDOG_USEC": "10000000"}
	n := newNotifier(func(k string) string { return env[k] })
	require.LessOrEqual(t, n.every, 5*time.Second)
	require.Positive(t, n.every)
	n.say("READY=1")
	buf := make([]byte, 100)
	require.NoError(t, ln.SetReadDeadline(time.Now().Add(5*time.Second)))
	size, err := ln.Read(buf)
	require.NoError(t, err)
	require.Equal(t, "READY=1", string(buf[:size]))

	env["WATCHDOG_PID"] = "1"
	require.Zero(t, newNotifier(func(k string) string { return env[k] }).every, "the signs are wanted of another process")
	notifier{}.say("nobody hears")
}

// The keeper gathers for minutes, and lets a line that matters go early only while
// there are early commits left.
func TestKeeperGathers(t *testing.T) {
	o, c := inRoom(t)
	d := open(t, o)
	before := d.files.store.Stats().Commits
	advance := func(to time.Duration) {
		c.Set(to)
		_, err := d.Advance()
		require.NoError(t, err)
		if d.keeper.busy { // let the commit end before time goes on
			r := <-d.keeper.results
			d.keeper.finish(d, r)
		}
	}
	for s := range 600 {
		if s%2 == 0 {
			d.entry(d.now.Wall, &zones.Entry{Kind: "order"})
		}
		advance(time.Duration(s) * time.Second)
	}
	made := d.files.store.Stats().Commits - before
	require.LessOrEqual(t, made, int64(earlyMost+2+3), "20 early ones, two refilled, and the regular ones")
	require.Positive(t, made)
	lines, err := d.files.store.JournalTail(10_000, nil)
	require.NoError(t, err)
	require.NotEmpty(t, lines)
	require.NoError(t, d.Close(nil))
}

// While the store cannot be written an alarm stands, and nothing is lost once it can.
func TestKeeperTriesAgain(t *testing.T) {
	o, c := inRoom(t)
	d := open(t, o)
	d.files.store.FailWrites(os.ErrPermission)
	d.entry(d.now.Wall, &zones.Entry{Kind: "order", Because: "kept"})
	turn := func(to time.Duration) {
		c.Set(to)
		_, err := d.Advance()
		require.NoError(t, err)
		if d.keeper.busy {
			d.keeper.finish(d, <-d.keeper.results)
		}
	}
	turn(time.Second)
	turn(commitEvery + time.Second)
	v := d.view()
	require.True(t, hasAlarm(&v, zones.AlarmStoreDamaged))
	d.files.store.FailWrites(nil)
	turn(2*commitEvery + 2*time.Second)
	v = d.view()
	require.False(t, hasAlarm(&v, zones.AlarmStoreDamaged))
	lines, err := d.files.store.JournalTail(100, func(e *store.JournalEntry) bool { return e.Because == "kept" })
	require.NoError(t, err)
	require.Len(t, lines, 1)
	require.NoError(t, d.Close(nil))
}

var _ operator.Room = (*Daemon)(nil)

// A clock is not believed that is behind the last time in the ledger.
func TestTheTimeIsNotBeforeTheLedgers(t *testing.T) {
	o, c := inRoom(t)
	d := open(t, o)
	c.Set(11 * time.Minute)
	_, err := d.Advance()
	require.NoError(t, err)
	last := d.now.Wall
	require.NoError(t, d.Close(nil))
	d = open(t, o)
	require.WithinDuration(t, last, d.trust.floor, time.Minute)
	require.NoError(t, d.Close(nil))
}
