package zones

import (
	"math"
	"testing"
	"time"
)

// stage is a room and the world around it, which obeys or does not, as a script says.
type stage struct {
	t      *testing.T
	dice   *chance
	plans  []*Plan
	plan   *Plan
	room   *Room
	now    Instant
	books  *books
	ctls   map[string]*fuzzController
	rec    uint64 // newest record
	told   uint64 // newest record that was answered
	deaf   bool   // commands move nothing
	mute   bool   // the ledger does not answer
	order  int
	inputs map[string]bool // contacts that are active
}

// fuzzController obeys commands at once, and closes an output when its grant runs out
// unless its timers stand.
type fuzzController struct {
	id         string
	boot       int
	up         time.Duration // uptime less Mono
	epoch, seq uint32
	until      map[int]int64 // ms of uptime: when each output closes; 0 = it is closed
	stuck      bool          // its timers stand
}

func newStage(t *testing.T, plans []*Plan, dice *chance) *stage {
	w := &stage{t: t, dice: dice, plans: plans, ctls: map[string]*fuzzController{}, inputs: map[string]bool{},
		now: Instant{Wall: time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC), Mono: 77 * time.Hour, Trusted: true}}
	for i, id := range []string{"north", "south"} {
		w.ctls[id] = &fuzzController{id: id, up: time.Duration(i-1) * time.Hour, until: map[int]int64{}}
	}
	flags := dice.roll(8)
	w.plan = w.plans[flags>>1%3]
	w.books = newBooks(t, w.plan)
	w.start(NewMemory())
	if flags&1 == 1 {
		w.step(&BrokerLink{Up: true})
		for range 5 {
			w.honest(11*time.Second, 45000)
		}
	}
	return w
}

// start begins a process over what is remembered.
func (w *stage) start(m *Memory) {
	w.books.begin(w.now, m)
	room, effects := NewRoom(w.plan, m, w.now)
	w.room, w.told = room, m.Seq
	w.rec = w.told
	w.took(nil, effects)
}

func (w *stage) step(ev Event) { w.took(ev, w.room.Step(w.now, ev)) }

// took books effects and does what ledger and controllers do about them. Effects are
// only good until the next step.
func (w *stage) took(ev Event, effects []Effect) {
	w.books.observe(w.room, w.now, ev, effects)
	answer := uint64(0)
	for _, e := range effects {
		switch e := e.(type) {
		case *Record:
			w.rec, answer = e.Seq, e.Seq
		case *Command:
			if c := w.ctls[e.Output.Controller]; c != nil && !w.deaf {
				c.epoch, c.seq, c.until[e.Output.Number] = e.Epoch, e.Seq, e.UntilMS
			}
		}
	}
	if answer > 0 && !w.mute {
		w.answer(answer)
	}
}

func (w *stage) answer(seq uint64) {
	w.told = max(w.told, seq)
	w.step(&Recorded{Seq: seq})
}

func (w *stage) pass(d time.Duration) {
	w.now.Mono += d
	w.now.Wall = w.now.Wall.Add(d)
}

// honest lets time pass in a room in which everything reports as it should.
func (w *stage) honest(d time.Duration, level Level) {
	w.pass(d)
	for _, id := range []string{"north", "south"} {
		w.step(w.report(id))
	}
	for _, in := range w.plan.Controllers[0].Inputs {
		w.step(&InputState{Controller: "north", ID: in.ID, Active: w.inputs[in.ID]})
	}
	for i := range w.plan.Probes {
		w.step(&Reading{Place: w.plan.Probes[i].Place, Moisture: level, HasMoisture: true, EC: math.NaN(), Temperature: math.NaN(), Permittivity: math.NaN()})
	}
	w.step(&Tick{})
}

func (w *stage) report(id string) *Report {
	c := w.ctls[id]
	r := &Report{Controller: id, Boot: "b" + itoa(c.boot), Uptime: w.now.Mono - 70*time.Hour + c.up, Epoch: c.epoch, Seq: c.seq}
	for n := range 10 {
		if w.room.outputBy[Output{id, n}] != nil {
			open := c.until[n] > 0 && (c.stuck || c.until[n] > r.Uptime.Milliseconds())
			r.Outputs = append(r.Outputs, OutputReport{Number: n, Open: open, FlowLPM: -1})
		}
	}
	return r
}

const kindsOfAct = 18

// act plays one act of the script.
func (w *stage) act() {
	switch w.dice.roll(kindsOfAct) {
	case 0:
		w.pass(w.dice.span())
		w.step(&Tick{})
	case 1, 2, 3:
		w.seconds()
	case 4, 5:
		w.anyReading()
	case 6, 7:
		w.anyReport()
	case 8:
		w.step(&Status{Controller: choose(w.dice, "north", "south", "west"), Online: w.dice.roll(2) == 0, Retained: w.dice.roll(2) == 0})
	case 9:
		w.anyInput()
	case 10:
		w.step(&BrokerLink{Up: w.dice.roll(3) > 0})
	case 11, 12:
		w.anyOrder()
	case 13:
		w.plan = choose(w.dice, w.plans...)
		w.books.newPlan(w.plan)
		w.step(&NewPlan{Plan: w.plan})
	case 14:
		w.ledger()
	case 15:
		w.clock()
	case 16:
		w.reboot()
	case 17:
		w.end()
	}
}

// seconds plays honest time at one moisture, up to five steps of 1 to 15 s.
func (w *stage) seconds() {
	n, level := w.dice.roll(48), choose(w.dice, Level(45000), 38000, 30000, 39900, 52000, 36000)
	for range n / 8 {
		w.honest(time.Duration(1+n%8*2)*time.Second, level)
	}
}

// clock steps or doubts the wall clock, or lets the boot clock go back, which the
// room must take as standing still.
func (w *stage) clock() {
	switch w.dice.roll(4) {
	case 0:
		w.now.Wall = w.now.Wall.Add(w.dice.span())
	case 1:
		w.now.Wall = w.now.Wall.Add(-w.dice.span())
	case 2:
		w.now.Trusted = !w.now.Trusted
	case 3:
		now := w.now
		w.now.Mono -= w.dice.span()
		w.step(&Tick{})
		w.now = now
	}
}

// ledger answers late, in any order, or not at all, or with an error.
func (w *stage) ledger() {
	switch w.dice.roll(4) {
	case 0:
		w.mute = !w.mute
	case 1, 2:
		if n := w.rec - w.told; n > 0 {
			w.answer(w.told + 1 + uint64(w.dice.roll(16))%n)
		}
	case 3:
		if w.dice.roll(4) == 0 { // what was not answered was not made durable
			w.step(&RecordFailed{Seq: w.told + 1, Err: choose(w.dice, "", "no space left on device")})
		}
	}
}

// reboot starts a controller anew: its outputs are closed, it remembers nothing.
func (w *stage) reboot() {
	c := w.ctls[choose(w.dice, "north", "south")]
	c.boot, c.up, c.epoch, c.seq = c.boot+1, 70*time.Hour-w.now.Mono, 0, 0
	clear(c.until)
	how := w.dice.roll(8)
	w.deaf, c.stuck = how == 6, how == 7
}

// end ends the process, by a stop or a crash, and begins the next one.
func (w *stage) end() {
	if w.dice.roll(2) == 0 {
		w.step(&Shutdown{})
		w.step(&Tick{})
	}
	w.now.Mono = max(w.now.Mono, w.room.now.Mono)
	w.start(remembered(w.t, w.room.Memory()))
	w.step(&BrokerLink{Up: true})
}
