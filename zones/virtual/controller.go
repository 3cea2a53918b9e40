package virtual

import (
	"fmt"
	"slices"
	"time"

	"rillgate/zones"
)

// maxAhead is how far in the future a controller accepts a grant's end.
const maxAhead = 15 * time.Minute

// Controller is one room controller that keeps its side of the field topics: it
// acts only on a higher (epoch, seq) than its last, opens only on a grant for its
// own boot that ends ahead of its uptime and at most 15 min ahead, never reopens a
// run that was closed, and closes by itself when a grant runs out.
type Controller struct {
	ID      string
	Online  bool
	Deaf    bool // commands get lost on their way
	boot    string
	boots   int
	began   time.Duration // Mono at which this boot's uptime was 0
	epoch   uint32
	seq     uint32
	outputs []*output
}

// output is one output of a controller. told outputs report what a trace says,
// whatever their contact does.
type output struct {
	number int
	open   bool
	run    string
	done   bool // run was closed: it never opens again
	until  time.Duration
	told   bool
	shows  bool
	flow   float64
}

// newController is a controller that booted at mono with every output closed.
func newController(id string, numbers []int, mono time.Duration) *Controller {
	c := &Controller{ID: id, Online: true}
	for _, n := range numbers {
		c.outputs = append(c.outputs, &output{number: n, flow: -1})
	}
	c.sort()
	c.reboot(mono, "")
	return c
}

// reboot drops every output and begins a new boot; an empty name makes one up.
func (c *Controller) reboot(mono time.Duration, boot string) {
	c.boots++
	if boot == "" {
		boot = fmt.Sprintf("%s-b%d", c.ID, c.boots)
	}
	c.boot, c.began, c.epoch, c.seq = boot, mono, 0, 0
	for _, o := range c.outputs {
		*o = output{number: o.number, told: o.told, shows: o.shows, flow: o.flow}
	}
}

// extend adds outputs that the controller did not drive yet.
func (c *Controller) extend(numbers []int) {
	for _, n := range numbers {
		if c.output(n) == nil {
			c.outputs = append(c.outputs, &output{number: n, flow: -1})
		}
	}
	c.sort()
}

func (c *Controller) sort() {
	slices.SortFunc(c.outputs, func(a, b *output) int { return a.number - b.number })
}

// openOutputs lists the outputs whose contact is on.
func (c *Controller) openOutputs() []int {
	var open []int
	for _, o := range c.outputs {
		if o.open {
			open = append(open, o.number)
		}
	}
	return open
}

// output finds an output by number; nil when the plan gives it none.
func (c *Controller) output(number int) *output {
	for _, o := range c.outputs {
		if o.number == number {
			return o
		}
	}
	return nil
}

// uptime is the controller's own clock, in whole milliseconds.
func (c *Controller) uptime(mono time.Duration) time.Duration {
	return (mono - c.began).Truncate(time.Millisecond)
}

// act takes a command; it reports whether the command was acted on.
func (c *Controller) act(mono time.Duration, cmd *zones.Command) bool {
	o := c.output(cmd.Output.Number)
	newer := cmd.Epoch > c.epoch || cmd.Epoch == c.epoch && cmd.Seq > c.seq
	if o == nil || !newer || cmd.Open && !c.mayOpen(mono, o, cmd) {
		return false
	}
	c.epoch, c.seq = cmd.Epoch, cmd.Seq
	if cmd.Open {
		o.open, o.run, o.done = true, cmd.Run, false
		o.until = time.Duration(cmd.UntilMS) * time.Millisecond
		return true
	}
	o.close()
	if cmd.Run != "" && cmd.Run != o.run {
		o.run = cmd.Run
	}
	o.done = true
	return true
}

func (c *Controller) mayOpen(mono time.Duration, o *output, cmd *zones.Command) bool {
	ahead := time.Duration(cmd.UntilMS)*time.Millisecond - c.uptime(mono)
	return cmd.Boot == c.boot && ahead > 0 && ahead <= maxAhead && !(o.done && o.run == cmd.Run)
}

func (o *output) close() { o.open, o.done = false, true }

// ends is the Mono at which an open output's grant runs out.
func (c *Controller) ends(o *output) time.Duration { return c.began + o.until }

// expire closes what has outlived its grant and reports whether anything closed.
func (c *Controller) expire(mono time.Duration) bool {
	any := false
	for _, o := range c.outputs {
		if o.open && mono >= c.ends(o) {
			o.close()
			any = true
		}
	}
	return any
}

// report is the controller's word on its outputs at an instant.
func (c *Controller) report(mono time.Duration) *zones.Report {
	r := &zones.Report{
		Controller: c.ID, Boot: c.boot, Uptime: c.uptime(mono), Epoch: c.epoch, Seq: c.seq,
		Outputs: make([]zones.OutputReport, len(c.outputs)),
	}
	for i, o := range c.outputs {
		r.Outputs[i] = zones.OutputReport{Number: o.number, Open: o.open, FlowLPM: o.flow}
		if o.told {
			r.Outputs[i].Open = o.shows
		}
		if r.Outputs[i].Open {
			r.Outputs[i].Run = o.run
		}
	}
	return r
}
