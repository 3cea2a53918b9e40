package zonetest

import (
	"fmt"
	"time"

	"rillgate/zones"
)

// story turns effects into lines that read like what happened. What would drown
// the story is left out unless `show` asks for it: renewals of a grant, records of
// age and progress, the journal, and the sentences.
type story struct {
	loc   *time.Location
	shows map[string]bool
	lines []string
	day   string
	mute  bool
	first map[string]bool   // run and output whose opening was told
	shut  map[string]string // what a valve's last close said
}

func newStory(loc *time.Location) *story {
	return &story{loc: loc, shows: map[string]bool{}, first: map[string]bool{}, shut: map[string]string{}}
}

// tell adds the lines of a step.
func (s *story) tell(at time.Time, effects []zones.Effect) {
	for _, e := range effects {
		if line := s.line(e); line != "" && !s.mute {
			s.add(at, line)
		}
	}
}

func (s *story) add(at time.Time, line string) {
	at = at.In(s.loc)
	if d := at.Format("Mon 2006-01-02 MST"); d != s.day {
		s.day = d
		s.lines = append(s.lines, "-- "+d)
	}
	s.lines = append(s.lines, at.Format("15:04:05.999")+" "+line)
}

func (s *story) line(e zones.Effect) string {
	switch e := e.(type) {
	case *zones.Command:
		return s.command(e)
	case *zones.Record:
		return s.record(e)
	case *zones.State:
		return fmt.Sprintf("publish %s %s (%s)", e.Zone, e.State, e.Reason) + s.because(e.Because)
	case *zones.Alarm:
		if e.Active {
			return fmt.Sprintf("alarm %s %s", e.Code, e.Subject) + s.because(e.Because)
		}
		return fmt.Sprintf("alarm %s %s is over", e.Code, e.Subject)
	case *zones.Answer:
		verdict := "refused"
		if e.Accepted {
			verdict = "accepted"
		}
		return fmt.Sprintf("answer %s %s: %s (%s)", e.Kind, e.Subject, verdict, e.Reason) + s.because(e.Because)
	case *zones.Entry:
		return s.entry(e)
	case *zones.Breach:
		return fmt.Sprintf("breach %s: %s", e.Invariant, e.Detail)
	}
	return ""
}

func (s *story) because(text string) string {
	if !s.shows["because"] || text == "" {
		return ""
	}
	return ": " + text
}

// command tells an opening and a close once; renewals and repeated closes only when
// they are shown.
func (s *story) command(c *zones.Command) string {
	said := fmt.Sprint(c.Run, c.Reason, c.Epoch)
	repeat := !c.Open && s.shut[c.Valve] == said
	s.shut[c.Valve] = ""
	if !c.Open {
		s.shut[c.Valve] = said
		if repeat && !s.shows["renewals"] {
			return ""
		}
		return fmt.Sprintf("command close %s%s (%s)", c.Valve, space(c.Run), c.Reason)
	}
	key := c.Run + " " + c.Valve
	if !s.first[key] {
		s.first[key] = true
		return fmt.Sprintf("command open %s %s (%s)", c.Valve, c.Run, c.Reason)
	}
	if s.shows["renewals"] {
		return fmt.Sprintf("command renew %s %s until %s of %s", c.Valve, c.Run, time.Duration(c.UntilMS)*time.Millisecond, c.Boot)
	}
	return ""
}

func space(text string) string {
	if text == "" {
		return ""
	}
	return " " + text
}

func (s *story) record(r *zones.Record) string {
	switch r.Kind {
	case zones.RecIntent:
		return fmt.Sprintf("record intent %s %s %s (%s)", r.Run.ID, r.Run.Zone, r.Run.Length, r.Run.Reason)
	case zones.RecClose:
		return fmt.Sprintf("record close %s (%s)", r.Run.ID, r.Run.Reason)
	case zones.RecSettle:
		return fmt.Sprintf("record settle %s %s", r.Run.ID, r.Run.Amount)
	case zones.RecLatch:
		return fmt.Sprintf("record latch %s %s", r.Latch.Code, where(r.Latch.Outputs))
	case zones.RecReset:
		if r.Budget != nil {
			return fmt.Sprintf("record reset budget %s", where(r.Budget.Outputs))
		}
		return fmt.Sprintf("record reset %s %s", r.Latch.Code, where(r.Latch.Outputs))
	case zones.RecHold:
		if r.Hold.Until == 0 {
			return "record hold " + r.Hold.Zone + " ends"
		}
		return fmt.Sprintf("record hold %s for %s", r.Hold.Zone, r.Hold.Until-r.Age)
	case zones.RecStart, zones.RecStop, zones.RecEpoch:
		return fmt.Sprintf("record %s%s", r.Kind, space(epoch(r.Epoch)))
	case zones.RecWalked:
		if r.Walked.Against != "" {
			return "record not walked " + r.Walked.Zone + ": " + r.Walked.Against
		}
		return "record walked " + r.Walked.Zone
	case zones.RecProbe:
		return fmt.Sprintf("record probe %s excluded=%t", r.Probe.Place, r.Probe.Memory.Excluded)
	}
	if s.shows["records"] {
		return fmt.Sprintf("record %s", r.Kind)
	}
	return ""
}

func epoch(n uint32) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("epoch %d", n)
}

func where(outputs []zones.Output) string {
	if len(outputs) == 0 {
		return "room"
	}
	text := ""
	for _, o := range outputs {
		text += "," + o.String()
	}
	return text[1:]
}

func (s *story) entry(e *zones.Entry) string {
	if !s.shows["journal"] {
		return ""
	}
	text := "journal " + e.Kind + space(e.Zone) + space(e.Probe) + space(e.Run)
	if e.Reason != "" {
		text += fmt.Sprintf(" (%s)", e.Reason)
	}
	if e.Kind == "run-closed" {
		text += fmt.Sprintf(" %.1f s", e.Seconds)
	}
	return text + s.because(e.Because)
}

// percentText shows percent with a tenth.
func percentText(v float64) string { return fmt.Sprintf("%.1f", v) }
