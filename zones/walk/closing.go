package walk

import (
	"fmt"
	"time"
)

// closedInTime is how late an output may close that keeps its grant, by the rule for
// controllers: 0.2 s.
const closedInTime = 200 * time.Millisecond

// judgeClosing notes how the outputs of the grant closed.
func (w *Walk) judgeClosing() {
	row := &w.res.Valves[w.row]
	row.Verdict = Unsure
	if len(w.cut) == 0 {
		row.Because = "nothing opened: " + row.CutShort
		return
	}
	for i := range w.cut {
		c := w.closingOf(&w.cut[i], row.CutShort)
		w.res.Closings = append(w.res.Closings, c)
		w.say("%s: %s", c.Valve, c.Because)
		if c.Valve == row.Valve {
			row.Because = c.Because
			if c.Late != nil && *c.Late <= closedInTime.Seconds() {
				row.Verdict = AsConfigured
			}
		}
	}
	w.cut = nil
}

func (w *Walk) closingOf(o *cutOutput, cutShort string) Closing {
	c := Closing{Valve: o.valve, Output: o.at, At: w.wall}
	if !o.measured {
		c.Because = "it did not close by itself within 3 s of the end of its grant: this controller does not keep grants, and a cut link leaves water running"
		if cutShort != "" {
			c.Because = "not measured: the opening was cut short (" + cutShort + ")"
		}
		return c
	}
	late := o.late.Seconds()
	c.Late = &late
	switch {
	case o.late < -closedInTime:
		c.Because = fmt.Sprintf("closed %.2f s before its grant ran out: something else closed it", -late)
	case o.late <= closedInTime:
		c.Because = fmt.Sprintf("closed by itself %.2f s after its grant ran out", max(late, 0))
	default:
		c.Because = fmt.Sprintf("closed by itself %.2f s after its grant ran out: more than %.1f s is too late", late, closedInTime.Seconds())
	}
	return c
}
