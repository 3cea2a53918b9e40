package simroom

import (
	"time"

	"rillgate/zones"
)

// Verdict is what a controller made of a command.
type Verdict string

// The verdicts. All but Acted leave every output as it was.
const (
	Acted       Verdict = "acted"
	NotReached  Verdict = "not-reached"  // no such controller, or off the air
	NoOutput    Verdict = "no-output"    // the controller has no such output
	NotNewer    Verdict = "not-newer"    // (epoch, seq) is not above the last
	WrongBoot   Verdict = "wrong-boot"   // opens on another boot than its own
	Expired     Verdict = "expired"      // the deadline is not ahead of the uptime
	TooFarAhead Verdict = "too-far"      // the deadline is more than 15 min ahead
	RunClosed   Verdict = "run-closed"   // that run has been closed on this output
	OutOfRange  Verdict = "out-of-range" // epoch or seq at 2^31 or above, or no run to open
)

// Command hands a command to its controller now. What it answers comes with the next
// Advance. Only what is on the wire is read: output, epoch, seq, run, open, boot and
// deadline. A retained command must not be handed over.
func (r *Room) Command(cmd *zones.Command) Verdict {
	c := r.controller(cmd.Output.Controller)
	if c == nil || !c.onAir() {
		return NotReached
	}
	o := c.output(cmd.Output.Number)
	if o == nil {
		return NoOutput
	}
	v := r.judge(c, o, cmd)
	refused := v == WrongBoot || v == Expired || v == TooFarAhead || v == RunClosed
	if v != Acted && !(refused && r.o.RefusedAdvances) {
		return v
	}
	c.epoch, c.seq = cmd.Epoch, cmd.Seq
	if v == Acted {
		r.obey(c, o, cmd)
	}
	r.report(c)
	return v
}

// judge says whether a command may be acted on.
func (r *Room) judge(c *controller, o *output, cmd *zones.Command) Verdict {
	if cmd.Epoch >= 1<<31 || cmd.Seq >= 1<<31 || cmd.Open && cmd.Run == "" {
		return OutOfRange
	}
	if cmd.Epoch < c.epoch || cmd.Epoch == c.epoch && cmd.Seq <= c.seq {
		return NotNewer
	}
	if !cmd.Open {
		return Acted
	}
	up := c.uptime(r.now)
	switch {
	case cmd.Boot != c.boot:
		return WrongBoot
	case cmd.UntilMS <= up:
		return Expired
	case cmd.UntilMS > up+longestGrant.Milliseconds():
		return TooFarAhead
	case o.closed && o.run == cmd.Run:
		return RunClosed
	}
	return Acted
}

func (r *Room) obey(c *controller, o *output, cmd *zones.Command) {
	r.drive(o, func() {
		if !cmd.Open {
			if !o.on && cmd.Run != "" {
				o.run = cmd.Run // a run closed before it came
			}
			o.close()
			return
		}
		o.on, o.closed, o.run, o.until = true, false, cmd.Run, cmd.UntilMS
		o.drop = r.dropAt(c, o)
	})
}

// dropAt gives when an open output drops by itself.
func (r *Room) dropAt(c *controller, o *output) time.Duration {
	if c.noCutOff > 0 {
		return Never
	}
	return c.instant(o.until) + r.o.CutOffLag
}
