package configs

import (
	"fmt"
	"strings"
	"time"

	"rillgate/zones"
)

// String gives the plan's words as text, for people.
func (w PlanWords) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "plan %s of room %s (%s)\n", w.Plan, w.Room, w.Name)
	fmt.Fprintf(&b, "clock: %s, now %s; %s\n", w.TimeZone, w.At.Format("2006-01-02 15:04"), w.Clock.words())
	fmt.Fprintf(&b, "broker %s, lease %s\n", w.Broker, spanWords(seconds(w.Lease)))
	if w.Healthy != "" {
		fmt.Fprintf(&b, "held while all is well, dropped by an urgent alarm or by whatever dies: %s\n", w.Healthy)
	}
	for _, z := range w.Zones {
		z.write(&b)
	}
	b.WriteString("\n")
	for _, q := range w.Queues {
		q.write(&b)
	}
	b.WriteString("\nthe next seven days\n")
	w.writeWeek(&b)
	return b.String()
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

func (c *ClockChange) words() string {
	if c == nil {
		return "it is never put forward or back"
	}
	s := fmt.Sprintf("next change %s: %s becomes %s", c.At.Format(time.DateOnly), c.Before, c.After)
	if c.By > 0 {
		return s + fmt.Sprintf("; a window that begins in between begins at %s and keeps its length", c.After)
	}
	return s + "; a window that begins in the hour shown twice begins the first time"
}

func (z ZoneWords) write(b *strings.Builder) {
	fmt.Fprintf(b, "\nzone %s (%s): %s\n", z.Zone, z.Name, z.Follows)
	l := z.Limits
	fmt.Fprintf(b, "  limits: %s a run, %s in any 24 h, %s of rest, nothing at %s %% or over\n",
		spanWords(seconds(l.MaxRun)), spanWords(seconds(l.MaxPerDay)), spanWords(seconds(l.MinRest)), number(l.MaxMoisture, 3))
	if s := l.Soak; s != nil {
		fmt.Fprintf(b, "  a soak by hand: %s a run, %s in any 24 h, up to %s %%\n", spanWords(seconds(s.MaxRun)), spanWords(seconds(s.MaxPerDay)), number(s.MaxMoisture, 3))
	}
	fmt.Fprintf(b, "  when its probes are lost: %s\n", z.Lost)
	if z.Walk {
		b.WriteString("  no window waters it before a walk has found it wired as here: `rillgate zones` says whether one has\n")
	}
	stage := ""
	for _, w := range z.Windows {
		if w.Stage != stage && w.FromDay > 0 {
			fmt.Fprintf(b, "  from day %d: %s\n", w.FromDay, w.Stage)
		}
		stage = w.Stage
		w.write(b)
	}
	if len(z.Windows) == 0 {
		return
	}
	fmt.Fprintf(b, "  busiest 24 h: %s at most, of %s%s\n", spanWords(seconds(z.Busiest.Seconds).Round(time.Second)), spanWords(seconds(l.MaxPerDay)), inStage(z.Busiest.Stage))
	fmt.Fprintf(b, "  no water in the next 24 h: %s\n", spansWords(z.Dry))
}

func inStage(stage string) string {
	if stage == "" {
		return ""
	}
	return " (" + stage + ")"
}

func (w WindowWords) write(b *strings.Builder) {
	when := w.When
	if len(w.Clock) > 0 && !strings.HasSuffix(when, w.Clock[0]) {
		when += " (" + strings.Join(w.Clock, "; ") + ")"
	}
	fmt.Fprintf(b, "  %s: %s\n", w.Window, when)
	fmt.Fprintf(b, "    %s\n", w.Asks)
	fmt.Fprintf(b, "    a shot of %s is %s\n", w.Shot.Written, w.Shot)
	fmt.Fprintf(b, "    %s of rest; at most %s\n", spanWords(seconds(w.Rest)), counted(w.Shots, "shot"))
}

func (q Queue) write(b *strings.Builder) {
	verdict := "the queue fits"
	if !q.Fits {
		verdict = "the queue does not fit"
	}
	fmt.Fprintf(b, "supply %s for %s: %s: %s\n", q.Supply, zones.Names(q.Zones), verdict, q.Because)
}

// spansWords lists times of a day.
func spansWords(spans []Span) string {
	if len(spans) == 0 {
		return "never: a window is open all day"
	}
	var out []string
	for _, s := range spans {
		if s.Until.Sub(s.From) >= wholeDay {
			return "all day: no window opens"
		}
		out = append(out, s.From.Format("15:04")+" to "+s.Until.Format("15:04"))
	}
	return strings.Join(out, ", ")
}

func (w PlanWords) writeWeek(b *strings.Builder) {
	if len(w.Week) == 0 {
		b.WriteString("  no window opens\n")
	}
	day := ""
	for _, o := range w.Week {
		if d := o.From.Format("Mon 2006-01-02"); d != day {
			day = d
			fmt.Fprintf(b, "  %s\n", d)
		}
		timed := ""
		if o.Timed {
			timed = " (timed)"
		}
		fmt.Fprintf(b, "    %s to %s  %s %s%s\n", o.From.Format("15:04"), o.Until.Format("15:04"), o.Zone, o.Window, timed)
	}
}
