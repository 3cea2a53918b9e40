package kill

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"rillgate/store/ledger"
	"rillgate/zones"
	"rillgate/zones/zonetest"
)

// moment is one thing for the checker, from whatever source.
type moment struct {
	at      time.Time
	rank    int // among moments of one instant
	event   zones.Event
	effects []zones.Effect
	contact *line
	alarms  string
	begin   bool
}

// judge holds a lane's lives against the invariants: one checker over all of them, fed
// with what was seen outside the daemon and, after each death, with the ledger.
type judge struct {
	plan    *zones.Plan
	checker *zonetest.Checker
	base    time.Time
	seq     uint64 // of the newest record fed

	mu      sync.Mutex // the orders come from another goroutine
	pending []moment
	given   map[zones.Output]time.Duration // time the contact was on
	since   map[zones.Output]time.Time
	alarms  map[string]bool
	stops   [][2]time.Time
	allowed []zones.Reason // alarms that the case raises by itself
	spent   bool           // the budgets may count as spent
	tale    tale
}

func newJudge(p *zones.Plan) *judge {
	return &judge{plan: p, checker: zonetest.NewChecker(p), base: time.Now().Add(-time.Hour),
		given: map[zones.Output]time.Duration{}, since: map[zones.Output]time.Time{}, alarms: map[string]bool{}}
}

func (j *judge) add(m moment) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.pending = append(j.pending, m)
}

// began says that a new process was started.
func (j *judge) began(at time.Time) { j.add(moment{at: at, begin: true}) }

// wroteNothing says that a life has a ledger that cannot be written: what it takes for
// its epoch is never on disk, and closes may go out under it all the same.
func (j *judge) wroteNothing(at time.Time) {
	start := &zones.Record{Kind: zones.RecStart, Seq: j.seq + 1}
	j.add(moment{at: at, rank: 1, event: &zones.Tick{}, effects: []zones.Effect{start}})
}

func (j *judge) ordered(at time.Time, o *zones.Order) { j.add(moment{at: at, event: o}) }

func (j *judge) answered(at time.Time, o *zones.Order) {
	j.add(moment{at: at, event: &zones.Tick{}, effects: []zones.Effect{&zones.Answer{Order: o.ID, Kind: o.Kind, Accepted: true}}})
}

// stopped says when the process stood still: what was said to it meanwhile came to it
// afterwards.
func (j *judge) stopped(from, to time.Time) { j.stops = append(j.stops, [2]time.Time{from, to}) }

// came gives when what was said at a time came to the daemon.
func (j *judge) came(at time.Time) time.Time {
	for _, s := range j.stops {
		if at.After(s[0]) && at.Before(s[1]) {
			return s[1]
		}
	}
	return at
}

// died takes what a dead process left: the tape up to now and the ledger in state.
func (j *judge) died(lines []line, state string) error {
	recs, err := ledger.Records(state)
	if err != nil {
		return err
	}
	if len(recs) == 0 {
		return j.nothingBegan(lines)
	}
	for i := range lines {
		j.seen(&lines[i])
	}
	j.recorded(recs, lines)
	j.feed()
	j.stops = nil
	seen := time.Now()
	if len(lines) > 0 {
		seen = lines[len(lines)-1].At // what came later is not known yet
	}
	return errors.Join(j.checker.Err(), j.wrongAlarms(), j.remembered(state, seen))
}

// nothingBegan: the first life died before its start was on disk. The next one cannot
// know of it and is a first start again; so nothing may have been opened. Closes need no
// disk.
func (j *judge) nothingBegan(lines []line) error {
	j.mu.Lock()
	j.pending = nil
	j.mu.Unlock()
	for i := range lines {
		if opens(&lines[i]) || lines[i].Event == "contact" {
			return errors.New("a valve was opened before the start was on disk")
		}
	}
	return nil
}

// seen turns a line of the tape into a moment. At one instant a command comes before the
// contact that it moves, and that before the report that shows it.
func (j *judge) seen(l *line) {
	m := moment{at: l.At, rank: 4}
	switch {
	case l.Report != nil:
		m.at, m.event = j.came(l.At), l.Report
	case l.Reading != nil:
		m.at, m.event = j.came(l.At), l.Reading
	case l.Command != nil:
		m.rank, m.event, m.effects = 2, &zones.Tick{}, []zones.Effect{l.Command}
	case l.Event == "contact":
		m.rank, m.contact = 3, l
	case l.Event == "alarms":
		m.alarms = l.Alarms
	}
	j.add(m)
}

// recorded puts the new records where they belong: at the time they carry, and a close
// not before its command was seen, since that one left first. What is on disk after
// SIGKILL had been handed to the kernel; that it was synced before the command left is
// another test's matter.
func (j *judge) recorded(recs []*zones.Record, lines []line) {
	var last time.Time
	for _, rec := range recs {
		if rec.Seq <= j.seq {
			continue
		}
		j.seq = rec.Seq
		at := rec.Wall
		if rec.Kind == zones.RecClose {
			at = closeSeen(rec, lines)
		}
		if at.Before(last) {
			at = last
		}
		last = at
		j.add(moment{at: at, rank: 1, event: &zones.Tick{}, effects: []zones.Effect{rec}})
		j.add(moment{at: at, rank: 1, event: &zones.Recorded{Seq: rec.Seq}})
	}
}

// closeSeen gives when the close of a record's run was seen, else the record's own time.
func closeSeen(rec *zones.Record, lines []line) time.Time {
	for i := range lines {
		if l := &lines[i]; closes(l) && l.Command.Run == rec.Run.ID && !l.At.Before(rec.Wall.Add(-time.Second)) {
			return later(l.At, rec.Wall)
		}
	}
	return rec.Wall
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// feed hands all moments to the checker, in order of time.
func (j *judge) feed() {
	j.mu.Lock()
	all := j.pending
	j.pending = nil
	j.mu.Unlock()
	slices.SortStableFunc(all, func(a, b moment) int {
		return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.rank, b.rank))
	})
	for i := range all {
		j.tale.add(&all[i])
		j.one(&all[i])
	}
}

func (j *judge) one(m *moment) {
	now := zones.Instant{Wall: m.at, Mono: m.at.Sub(j.base), Trusted: true}
	switch {
	case m.begin:
		j.checker.Observe(now, nil, nil)
	case m.contact != nil:
		j.checker.Physical(now, m.contact.Output, m.contact.Open)
		j.moved(m.contact)
	case m.alarms != "":
		j.alarmed(now, m.alarms)
	default:
		j.checker.Observe(now, m.event, m.effects)
	}
}

// moved sums up how long each contact was on.
func (j *judge) moved(l *line) {
	if l.Open {
		j.since[l.Output] = l.At
		return
	}
	j.given[l.Output] += l.At.Sub(j.since[l.Output])
	delete(j.since, l.Output)
}

// expected are the alarms that dying as often as this may raise. Any other is a fault.
var expected = []zones.Reason{zones.CrashLoop, zones.AlarmUnfinishedRun, zones.ProbesLost, zones.ControllerOffline,
	zones.BrokerLost, zones.AlarmDry, zones.DailyLimit}

// alarmed takes a list of alarms as published.
func (j *judge) alarmed(now zones.Instant, text string) {
	for _, a := range alarmsIn(text) {
		if !slices.Contains(expected, a.Code) && !slices.Contains(j.allowed, a.Code) {
			j.alarms[fmt.Sprintf("alarm %s of %s: %s", a.Code, a.Subject, a.Because)] = true
		}
		if a.Code == zones.AlarmUnfinishedRun {
			j.checker.Observe(now, &zones.Tick{}, []zones.Effect{&zones.Alarm{Code: a.Code, Subject: a.Subject, Active: true}})
		}
	}
}

func (j *judge) wrongAlarms() error {
	var errs []string
	for text := range j.alarms { // order: any
		errs = append(errs, text)
	}
	if len(errs) == 0 {
		return nil
	}
	return errors.New(strings.Join(errs, "; "))
}

// remembered holds the memory on disk against the contacts: SIGKILL loses nothing, and
// what is charged to an output is no less than what it gave.
func (j *judge) remembered(state string, seen time.Time) error {
	found, err := ledger.Inspect(state)
	if err != nil {
		return err
	}
	m := found.Memory
	if found.Memory == nil || found.Fresh && j.seq == 0 {
		return nil
	}
	if found.Lost || found.Damaged || m.Spent && !j.spent || m.Seq < j.seq {
		return fmt.Errorf("the ledger holds record %d of %d after SIGKILL: %s", m.Seq, j.seq, found.Detail)
	}
	for at, given := range j.given { // order: the first to fail is enough
		var charged time.Duration
		if out := m.Outputs[at.String()]; out != nil {
			for _, c := range out.Charges {
				charged += c.Amount
			}
		}
		if since, on := j.since[at]; on {
			given += max(0, seen.Sub(since))
		}
		if charged+200*time.Millisecond < given {
			return fmt.Errorf("%s was on for %s, the ledger charges %s", at, given, charged)
		}
	}
	return nil
}

// alarmsIn reads a list of alarms as published.
func alarmsIn(text string) (list []zones.Alarm) {
	if err := json.Unmarshal([]byte(text), &list); err != nil {
		return []zones.Alarm{{Code: "unreadable", Because: err.Error()}}
	}
	return list
}
