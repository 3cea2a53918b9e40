package campaign

import (
	"strconv"
	"strings"
	"time"

	"rillgate/zones"
	"rillgate/zones/simroom"
)

// clock is the wall clock against true time.
type clock struct {
	off       time.Duration
	untrusted int
	trustAt   time.Duration
}

// trustLost is how long a step that was seen takes the trust away.
const trustLost = time.Minute

// people number their orders.
type people struct{ orders int }

// begin lets a fault come; what ends is told to end.
func (w *world) begin(f Fault) {
	calm := w.c.calm()
	if w.now >= calm {
		return
	}
	pinned := f
	pinned.At, pinned.OnOpen, pinned.Delay = w.now, false, 0
	w.result.Begun = append(w.result.Begun, pinned)
	if f.For > 0 {
		f.For = max(min(f.For, calm-w.now-1), 1)
	}
	w.result.Happened[f.Kind]++
	w.tale.fault(w.now, f)
	switch f.Kind {
	case NetLoss, NetRepeat, NetDelay, NetReorder:
		w.stand(&w.wire.faults, f)
		w.model.disturbed++ // what is late is still on its way when the fault is over
		w.queue.push(w.now+f.For+time.Minute+time.Duration(f.Value*float64(time.Second)), func(w *world) { w.model.disturbed-- })
	case DiskSlow:
		w.stand(&w.disk.slow, f)
	case RetainedReading, ReplayReadings, ReplayReports, RetainedReport, RetainedStatus, ReplayCommands:
		w.replay(f)
	case BrokerDown:
		w.brokerDown(f)
	case DiskFails:
		w.disk.fails++
		w.later(f, func(w *world) { w.disk.fails-- })
	case Crash:
		w.crash(f.For, f.Value)
	case CrashMidStep:
		w.cut, w.cutFor = int(f.Value), f.For
	case CleanRestart:
		w.restart(f.For)
	case Stall:
		w.stall(f)
	case WallStep, WallJump, Wall1970, Untrusted:
		w.turnClock(f)
	case Person:
		w.order(f)
	case PlanTurn:
		w.apply(w.set.plans[int(f.Value)%len(w.set.plans)])
	case Foreign:
		w.foreign(f)
	default:
		w.roomFault(f)
	}
}

func (w *world) later(f Fault, do func(*world)) { w.queue.push(w.now+f.For, do) }

// stand keeps a fault in a list for as long as it lasts.
func (w *world) stand(list *[]Fault, f Fault) {
	*list = append(*list, f)
	w.later(f, func(*world) {
		for i := range *list {
			if (*list)[i] == f {
				*list = append((*list)[:i:i], (*list)[i+1:]...)
				return
			}
		}
	})
}

// roomFault is one of the simulated room's own.
func (w *world) roomFault(f Fault) {
	w.fail(w.sim.Inject(simroom.Fault{Kind: simroom.FaultKind(f.Kind), At: w.now, For: f.For, Subject: f.Subject, Other: f.Other, Value: f.Value}))
	switch simroom.FaultKind(f.Kind) {
	case simroom.Reboot, simroom.Offline, simroom.ReportsLost, simroom.ClockRunsOff, simroom.OutputWelded, simroom.OutputDead:
		w.model.disturbed++
		w.later(f, func(w *world) { w.model.disturbed-- })
	}
}

// crash ends the process without a word; another begins some time later.
func (w *world) crash(down time.Duration, lost float64) {
	if !w.alive {
		return
	}
	w.alive = false
	w.lives++ // what is on its way from the ledger to the old process is nobody's
	w.disk.lose(lost)
	w.queue.push(w.now+down, func(w *world) { w.boot() })
}

// restart tells the process to end, and begins another.
func (w *world) restart(down time.Duration) {
	if !w.alive || w.stalled > w.now {
		return
	}
	w.step(&zones.Shutdown{})
	life := w.lives
	w.queue.push(w.now+5*time.Second, func(w *world) {
		if w.lives != life || !w.alive {
			return
		}
		w.crash(down, 0)
	})
}

// stall lets the process stand still; what came meanwhile comes all at once.
func (w *world) stall(f Fault) {
	w.stalled = max(w.stalled, w.now+f.For)
	w.queue.push(w.stalled, func(w *world) {
		if w.stalled > w.now {
			return
		}
		list := w.inbox
		w.inbox = nil
		for _, ev := range list {
			w.give(ev)
		}
	})
}

func (w *world) turnClock(f Fault) {
	by := time.Duration(f.Value * float64(time.Second))
	switch f.Kind {
	case WallJump:
		w.clock.off += by
	case WallStep:
		w.clock.off += by
		w.clock.trustAt = w.now + trustLost
		w.queue.push(w.clock.trustAt, func(w *world) { w.give(&zones.Tick{}) })
	case Wall1970:
		by = -w.instant().Wall.Sub(time.Unix(0, 0))
		w.clock.off += by
		w.clock.untrusted++
		w.later(f, func(w *world) { w.clock.off -= by; w.clock.untrusted--; w.give(&zones.Tick{}) })
	case Untrusted:
		w.clock.untrusted++
		w.later(f, func(w *world) { w.clock.untrusted--; w.give(&zones.Tick{}) })
	}
	w.give(&zones.Tick{})
}

// order asks what a person would.
func (w *world) order(f Fault) {
	w.people.orders++
	o := &zones.Order{ID: "o-" + strconv.Itoa(w.people.orders), Kind: zones.OrderKind(f.Other), Source: "socket", Zone: f.Subject}
	o.For = time.Duration(f.Value * float64(time.Second))
	switch o.Kind {
	case zones.OrderReset, zones.OrderAcknowledge, zones.OrderIgnore:
		o.Subject, o.Zone = f.Subject, ""
	case zones.OrderSoak:
		o.VolumeML, o.For = f.Value, f.For
		if f.Value == 0 {
			o.Subject = zones.SoakEnd
		}
	case zones.OrderAssign:
		o.Subject, o.Zone, _ = strings.Cut(f.Subject, " ")
	}
	w.give(o)
}

// apply puts a plan in force: its files too, so that a new process begins with it.
func (w *world) apply(p *zones.Plan) {
	if !w.alive || w.stalled > w.now || p == w.plan {
		return
	}
	w.plan = p
	w.calm.newPlan(p)
	w.give(&zones.NewPlan{Plan: p})
}

// foreign is another gateway that commands the same controllers every few seconds,
// under an epoch of its own.
func (w *world) foreign(f Fault) {
	epoch := uint32(max(1, float64(w.model.epoch)+f.Value))
	seq := uint32(0)
	if f.Value == 0 {
		seq = 1 << 20
	}
	w.model.disturbed++
	w.model.foreign = max(w.model.foreign, epoch)
	end := w.now + f.For
	var act func(w *world)
	act = func(w *world) {
		if w.now >= end {
			w.model.disturbed--
			return
		}
		for i := range w.set.plans[0].Valves {
			seq++
			w.down(w.foreignCommand(&w.set.plans[0].Valves[i], epoch, seq), true)
		}
		w.queue.push(min(end, w.now+7*time.Second), act)
	}
	act(w)
}

// foreignCommand opens on every third command, and closes else.
func (w *world) foreignCommand(v *zones.Valve, epoch, seq uint32) *zones.Command {
	cmd := &zones.Command{Output: v.Output, Valve: v.ID, Epoch: epoch, Seq: seq, Run: "x-" + strconv.Itoa(int(seq/9))}
	if boot, up, ok := w.sim.Boot(v.Output.Controller); ok && seq%3 == 0 {
		cmd.Open, cmd.Boot, cmd.UntilMS = true, boot, up+20000
	}
	return cmd
}
