package daemon

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime/debug"
	"time"

	"golang.org/x/sys/unix"

	"rillgate/configs"
	"rillgate/daemon/field"
	"rillgate/daemon/operator"
	"rillgate/daemon/publish"
	"rillgate/zones"
)

// lockName is held, exclusively, by the one process that runs the room.
const lockName = "lock"

// postsWaiting bounds what people and tools may ask at once.
const postsWaiting = 64

// Open takes the room's state directory, recovers what is remembered, decides which
// plan is in force, and begins: the room is closed and its boot hold runs. With a
// usable plan or without one it serves page and socket, so that somebody can see
// why. ErrOtherRuns means that nothing was touched or published.
func Open(o Options) (*Daemon, error) {
	o = o.filled()
	if o.Past.IsZero() {
		o.Past = buildTime()
	}
	d := &Daemon{o: o, notify: newNotifier(os.Getenv), recent: newRecent(), posts: make(chan func(), postsWaiting),
		ended: make(chan struct{}), asked: map[string]chan zones.Answer{}, publishEvery: publishEvery, gatherFor: gatherFor, dial: field.Dial}
	d.clock = o.Clock
	if err := d.takeLock(); err != nil {
		return nil, err
	}
	if err := d.begin(); err != nil {
		return nil, errors.Join(err, d.letGo())
	}
	return d, nil
}

// begin is Open with the lock held.
func (d *Daemon) begin() error {
	memory, err := d.openStores()
	if err != nil {
		return err
	}
	d.trust = &trust{floor: laterOf(d.o.Past, memory.Wall), synced: d.clock.Synchronised}
	d.out = outlets{entry: d.entry, answer: d.answered, seen: d.seen,
		alarm: d.alarm, state: func(*zones.State) {}} // the view shows both
	d.recorder = newRecorder(d.files.ledger)
	d.look()
	d.remember()
	d.keeper = newKeeper(d.shelf(), d.now.Mono)
	d.minute, d.card = d.now.Mono, newHandCard(d.now.Mono)
	d.files.tell(d)
	d.choosePlan()
	d.epoch, d.unclean = memory.Epoch+1, !memory.Clean
	d.mustConnect()
	room, effects := zones.NewRoom(d.choice.plan, memory, d.now)
	d.room = room
	if d.tracer, err = d.newTracer(); err != nil {
		d.o.Log.Warn("keep a trace", "error", err)
	}
	d.redraw(d.choice.plan)
	d.carry(effects)
	d.goToSchool()
	d.fitRegister("start")
	d.rememberWalk()
	d.show()
	return d.serve()
}

// serve opens page and socket. A page that cannot be opened is told and does not
// stop the room; without its socket nobody could give orders, so that does.
func (d *Daemon) serve() error {
	if err := d.servePage(); err != nil {
		return err
	}
	var err error
	d.socket, err = operator.Listen(filepath.Join(d.o.State, operator.SocketName), &operator.Desk{Room: d, Book: d, Files: d, Walks: d})
	if errors.Is(err, unix.EROFS) {
		d.o.Log.Error("no orders can be given: the state directory is read-only", "error", err)
		return nil
	}
	return err
}

func (d *Daemon) servePage() (err error) {
	address := d.o.Page
	if address == "" && d.choice.loaded != nil {
		address = d.choice.loaded.Gateway.Page.Listen
	}
	if address == "" || d.o.NoPage {
		return nil
	}
	d.page, err = d.openPage(address)
	if err != nil && d.o.Page == "" {
		d.o.Log.Error("the page is not served", "error", err)
		return nil
	}
	return err
}

func (d *Daemon) takeLock() error {
	if err := os.MkdirAll(d.o.State, 0o750); err != nil {
		return fmt.Errorf("create the state directory: %w", err)
	}
	path := filepath.Join(d.o.State, lockName)
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o640)
	if errors.Is(err, unix.EROFS) {
		// Nothing can be written down, so nothing will open; the room runs on to say so.
		if f, err = os.Open(path); errors.Is(err, os.ErrNotExist) {
			d.o.Log.Error("the state directory is read-only", "path", d.o.State)
			return nil
		}
	}
	if err != nil {
		return fmt.Errorf("open the state directory's lock: %w", err)
	}
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		f.Close()
		if errors.Is(err, unix.EWOULDBLOCK) {
			return fmt.Errorf("use %s: %w", d.o.State, ErrOtherRuns)
		}
		return fmt.Errorf("lock %s: %w", d.o.State, err)
	}
	d.lock = f
	return nil
}

// choosePlan reads the files on disk and decides what is in force.
func (d *Daemon) choosePlan() {
	loaded, problems := configs.Load(d.o.Config)
	text, _ := os.ReadFile(filepath.Join(d.o.Config, configs.RoomFile))
	d.choice = choose(d.o.Room, loaded, problems, text, d.lastGood())
	d.o.Room = d.choice.plan.Room // files that cannot be read say no name, the last good ones do
	d.told(d.choice.rejected)
	if d.choice.loaded != nil {
		d.trust.needSynced = d.choice.loaded.Gateway.Clock == configs.ClockSynchronised
	}
	if loaded == nil {
		return
	}
	if err := d.savePlan(loaded, "start", ""); err != nil {
		d.o.Log.Error("keep the plan", "error", err)
	}
}

// told raises or ends the alarm about files that were rejected.
func (d *Daemon) told(rejected string) {
	if rejected == "" {
		d.over(zones.AlarmPlanRejected, d.o.Room)
		return
	}
	d.trouble(zones.AlarmPlanRejected, d.o.Room, rejected)
}

// connect builds the link and the publisher that gateway.yaml asks for.
func (d *Daemon) connect() error {
	d.field, d.link, d.publisher = noField{}, nil, nil
	if d.choice.loaded == nil {
		return nil
	}
	g := &d.choice.loaded.Gateway
	cfg := field.Config{URL: g.Broker.URL, Username: g.Username, PasswordFile: g.PasswordFile,
		TLS: field.TLSFiles{CA: g.TLS.CA, Cert: g.TLS.Cert, Key: g.TLS.Key}, Room: d.o.Room, ClientID: g.ClientID, Machine: machineID(),
		Logger: d.o.Log, Mono: func() time.Duration { _, m := d.clock.Now(); return m }}
	if g.Homie.Enabled {
		topic, payload := publish.Will(g.Homie.Root, d.o.Room)
		cfg.Will = &field.Will{Topic: topic, Payload: payload, QoS: 1, Retained: true}
	}
	link, err := d.dial(cfg)
	if err != nil {
		return err
	}
	d.link, d.field = link, link
	d.publisher = publish.New(publish.Config{Homie: g.Homie.Enabled, Root: g.Homie.Root, Room: d.o.Room, Version: d.o.Version,
		Base: d.epoch, Orders: g.Homie.Orders, Clock: d.clock.Now, Submit: d.submit}, newWireOf(link))
	return nil
}

// alarm forgets who acknowledged an alarm that is over: the next one rings.
func (d *Daemon) alarm(a *zones.Alarm) {
	if !a.Active {
		d.silenced.over(a.Code, a.Subject)
	}
}

// seen passes every step on to those who only watch.
func (d *Daemon) seen(now zones.Instant, ev zones.Event, effects []zones.Effect) {
	d.tracer.observe(now, ev, effects)
	if rd, ok := ev.(*zones.Reading); ok {
		d.hear(rd, effects)
	}
	if d.walking != nil {
		d.walking.walk.Saw(ev, effects)
	}
	d.o.Watch(now, ev, effects)
}

func (d *Daemon) newTracer() (*tracer, error) {
	if d.o.NoTrace {
		return nil, nil
	}
	return newTracer(d.o.State, d.choice.plan, d.now)
}

// machineID tells this machine from others (machine-id(5)); "" when it has none.
func machineID() string {
	id, err := os.ReadFile("/etc/machine-id")
	if err != nil {
		return ""
	}
	return string(id)
}

// builtAfter is when this source was written: no clock is right that says less.
var builtAfter = time.Date(2026, time.November, 1, 0, 0, 0, 0, time.UTC)

// buildTime gives the time of the commit that was built, as far as it is known.
func buildTime() time.Time {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return builtAfter
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.time" {
			if t, err := time.Parse(time.RFC3339, s.Value); err == nil {
				return laterOf(t, builtAfter)
			}
		}
	}
	return builtAfter
}

func laterOf(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
