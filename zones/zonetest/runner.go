package zonetest

import (
	"errors"
	"fmt"
	"time"

	"rillgate/zones"
	"rillgate/zones/virtual"
)

// quietStart is how long before the time of `start` the room comes up: the boot
// hold is over by then.
const quietStart = 2 * time.Minute

// lookPeriod is how often, in seconds, the checker sees the view of a room in which
// every valve is closed; while one is open it sees each second's.
const lookPeriod = 10

// firstDay is the day of a script that names none: a Monday.
const firstDay = "2027-03-01"

// Runner plays a script: commands come to a virtual world, a checker watches every
// step, and a story is told.
type Runner struct {
	plan    *zones.Plan
	room    *roomScript
	world   *virtual.World
	checker *Checker
	story   *story
	feeds   map[string]*feeder
	fed     []*feeder
	valves  map[string]*seen
	begun   map[string]int // runs begun by zone
	answer  *zones.Answer
	orders  int
	misses  []error

	everySecond bool
}

// seen is what the commands to one valve were.
type seen struct {
	opened, closed time.Time
	reason         zones.Reason
	run            string
	onSince        time.Time
	lastRun        time.Duration
}

// RunScript plays a script. It gives the effects of each beat as lines, and what
// was not as the script expects or as the invariants demand.
func RunScript(s *Script) (beats [][]string, err error) { return runScript(s, false) }

// runScript can be told to tick each second, also when the room has nothing to do.
func runScript(s *Script, everySecond bool) (beats [][]string, err error) {
	r := &Runner{
		everySecond: everySecond,
		plan:        s.Plan, room: &s.room, checker: NewChecker(s.Plan), story: newStory(s.Plan.Calendar.Location),
		feeds: map[string]*feeder{}, valves: map[string]*seen{}, begun: map[string]int{},
	}
	for _, b := range s.Beats {
		for _, c := range b.Commands {
			if err := r.command(c); err != nil {
				return beats, err
			}
		}
		beats = append(beats, r.story.lines)
		r.story.lines = nil
	}
	r.checker.End()
	return beats, errors.Join(append(r.misses, r.checker.Err())...)
}

// Stepped and Physical make the runner the world's observer.
func (r *Runner) Stepped(at time.Time, now zones.Instant, ev zones.Event, effects []zones.Effect) {
	r.checker.Observe(now, ev, effects)
	r.story.tell(at, effects)
	for _, e := range effects {
		switch e := e.(type) {
		case *zones.Command:
			r.commanded(at, e)
		case *zones.Answer:
			a := *e
			r.answer = &a
		}
	}
}

// Physical books how long a valve let water through.
func (r *Runner) Physical(now zones.Instant, o zones.Output, open bool) {
	r.checker.Physical(now, o, open)
	v := r.valve(r.valveOn(o))
	if at := now.Wall; open {
		v.onSince = at
	} else {
		v.lastRun = at.Sub(v.onSince)
	}
}

func (r *Runner) commanded(at time.Time, c *zones.Command) {
	v := r.valve(c.Valve)
	switch {
	case !c.Open:
		v.closed, v.reason = at, c.Reason
	case v.run != c.Run:
		if v.run, v.opened = c.Run, at; c.Zone != "" && r.firstValve(c) {
			r.begun[c.Zone]++
		}
	}
}

// firstValve reports whether the command goes to the first valve of its zone, so
// that a run of several valves counts once.
func (r *Runner) firstValve(c *zones.Command) bool {
	for i := range r.plan.Zones {
		if z := &r.plan.Zones[i]; z.ID == c.Zone && len(z.Valves) > 0 {
			return z.Valves[0] == c.Valve
		}
	}
	return false
}

func (r *Runner) valve(id string) *seen {
	if r.valves[id] == nil {
		r.valves[id] = &seen{}
	}
	return r.valves[id]
}

func (r *Runner) valveOn(o zones.Output) string {
	for i := range r.plan.Valves {
		if r.plan.Valves[i].Output == o {
			return r.plan.Valves[i].ID
		}
	}
	return o.String()
}

// command plays one command. Before the room is up only feed, show and start can
// stand.
func (r *Runner) command(c Line) error {
	switch c.Name {
	case "feed":
		return r.feed(c)
	case "show":
		for _, what := range c.Args {
			r.story.shows[what] = true
		}
		return nil
	case "start":
		return r.start(c, true)
	case "boot":
		return r.start(c, false)
	}
	if r.world == nil {
		return c.fail("the room is not up: say start TIME or boot TIME first")
	}
	if c.Name == "expect" {
		r.expect(c)
		return nil
	}
	err := r.act(c)
	if err == nil {
		r.look()
	}
	return err
}

// start brings the room up: well before the time and without a word (start), or at
// the time with all it says (boot).
func (r *Runner) start(c Line, quiet bool) error {
	at, err := r.when(c, firstDay)
	if err != nil {
		return err
	}
	from := at
	if quiet {
		from = at.Add(-quietStart)
	}
	r.story.mute = quiet
	for _, f := range r.fed {
		f.next = from
	}
	r.world = virtual.New(r.plan, from, r)
	r.world.EverySecond = r.everySecond
	r.feedNow(0)
	r.advance(at)
	r.world.Finish()
	r.story.mute = false
	return nil
}

// when reads the time of a command: a time of day, or a day and a time of day, on
// the room's clock face; at with a default day.
func (r *Runner) when(c Line, day string) (time.Time, error) {
	text := c.arg(0)
	if len(c.Args) > 1 {
		day, text = c.arg(0), c.arg(1)
	}
	if len(text) == 5 {
		text += ":00"
	}
	at, err := time.ParseInLocation("2006-01-02 15:04:05", day+" "+text, r.plan.Calendar.Location)
	if err != nil {
		return at, c.fail("%v", err)
	}
	return at, nil
}

// advance lets time pass second by second, feeds the probes and looks at the room.
func (r *Runner) advance(to time.Time) {
	for now := r.world.At(); now.Before(to); now = r.world.At() {
		next := now.Add(time.Second)
		if next.After(to) {
			next = to
		}
		r.world.Advance(next)
		r.feedNow(next.Sub(now))
		if next.Unix()%lookPeriod == 0 || r.anyOpen() {
			r.look()
		}
	}
}

func (r *Runner) anyOpen() bool {
	for i := range r.plan.Valves {
		if r.world.Open(r.plan.Valves[i].ID) {
			return true
		}
	}
	return false
}

func (r *Runner) feedNow(passed time.Duration) {
	for _, f := range r.fed {
		if reading := f.step(r.world.At(), passed, r.watered(&f.probe)); reading != nil {
			r.world.Send(reading)
		}
	}
}

// look shows the checker what the room says of itself.
func (r *Runner) look() { r.checker.View(r.world.Now(), r.world.View()) }

// miss keeps an expectation that did not hold.
func (r *Runner) miss(c Line, format string, args ...any) {
	at := r.world.At().In(r.plan.Calendar.Location).Format("15:04:05")
	r.misses = append(r.misses, fmt.Errorf("line %d, at %s: %s", c.Line, at, fmt.Sprintf(format, args...)))
}
