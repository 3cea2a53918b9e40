package report

import (
	"math"
	"time"

	"rillgate/zones/substrate"
)

// curveStep is the step of a day's curve.
const curveStep = 5 * time.Minute

// moisture fills in what history tells of the day.
func (b *bed) moisture(z *ZoneDay) {
	all := b.in.Moisture[b.zone.ID]
	day := between(all, b.day.From, b.day.To)
	step := stepOf(day).Minutes()
	z.Measured = float64(len(day)) * step
	z.Peak, z.Floor = extremes(day)
	if limit := b.zone.Limits.MaxMoisture.Float(); limit > 0 {
		z.MaxMoisture = ptr(limit)
		if len(day) > 0 {
			z.OverMax = ptr(step * float64(above(day, limit)))
		}
	}
	z.DryBack = b.dryBack(all)
	z.Curve = b.curve(day)
	if greatest, least := extremes(between(b.in.PoreEC[b.zone.ID], b.day.From, b.day.To)); least != nil {
		z.PoreEC = &Range{Least: least.Value, Greatest: greatest.Value}
	}
}

// stepOf tells what each sample stands for: a minute, or five where history was thinned.
func stepOf(s []Sample) time.Duration {
	least := time.Duration(math.MaxInt64)
	for i := 1; i < len(s); i++ {
		least = min(least, s[i].At.Sub(s[i-1].At))
	}
	if len(s) > 1 && least >= curveStep {
		return curveStep
	}
	return time.Minute
}

// extremes gives the greatest and the least, each where it was first; nil of none.
func extremes(s []Sample) (greatest, least *Extreme) {
	for _, x := range s {
		if greatest == nil || x.Value > greatest.Value {
			greatest = &Extreme{x.Value, x.At}
		}
		if least == nil || x.Value < least.Value {
			least = &Extreme{x.Value, x.At}
		}
	}
	return greatest, least
}

func above(s []Sample, limit float64) (n int) {
	for _, x := range s {
		if x.Value > limit {
			n++
		}
	}
	return n
}

// dryBack gives the largest fall between two shots of which the second opened on this
// day, so that a night belongs to the day that ends it, whatever the lights' hours are.
func (b *bed) dryBack(all []Sample) (most *DryBack) {
	var before *Run
	for i := range b.runs {
		r := &b.runs[i]
		if r.Closed == nil || r.Seconds == 0 {
			continue
		}
		if before != nil && b.day.holds(r.Opened) && r.Opened.Sub(*before.Closed) <= SamplesBefore {
			if d := fall(between(all, *before.Closed, r.Opened)); d != nil && (most == nil || d.Points > most.Points) {
				most = d
			}
		}
		before = r
	}
	return most
}

// fall gives the fall from the peak of some samples to the least that follows it.
func fall(s []Sample) *DryBack {
	peak, _ := extremes(s)
	if peak == nil {
		return nil
	}
	_, low := extremes(between(s, peak.At, s[len(s)-1].At.Add(1)))
	d, err := substrate.DryBackOf(peak.Value, low.Value)
	if err != nil {
		return nil // a level that no substrate has
	}
	return &DryBack{Peak: *peak, Low: *low, Points: d.Points, Relative: d.Relative}
}

// curve gives the mean of each step of the day.
func (b *bed) curve(day []Sample) Curve {
	c := Curve{StepMinutes: int(curveStep / time.Minute), Percent: []*float64{}}
	for at := b.day.From; at.Before(b.end()); at = at.Add(curveStep) {
		slot := between(day, at, at.Add(curveStep))
		sum := 0.0
		for _, s := range slot {
			sum += s.Value
		}
		if len(slot) == 0 {
			c.Percent = append(c.Percent, nil)
			continue
		}
		c.Percent = append(c.Percent, ptr(math.Round(100*sum/float64(len(slot)))/100))
	}
	return c
}
