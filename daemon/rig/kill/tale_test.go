package kill

import (
	"fmt"
	"strings"

	"rillgate/zones"
)

// tale is the end of what the checker was fed, in words, for whoever looks at a breach.
type tale struct{ lines []string }

const taleLength = 150

func (t *tale) add(m *moment) {
	text := m.words()
	if text == "" {
		return
	}
	if len(t.lines) >= taleLength {
		t.lines = t.lines[1:]
	}
	t.lines = append(t.lines, m.at.UTC().Format("15:04:05.000000 ")+text)
}

func (t *tale) String() string { return strings.Join(t.lines, "\n") }

func (m *moment) words() string {
	switch {
	case m.begin:
		return "start"
	case m.contact != nil:
		return fmt.Sprintf("contact %s on %t", m.contact.Output, m.contact.Open)
	case m.alarms != "":
		return "alarms " + m.alarms
	}
	for _, e := range m.effects {
		switch e := e.(type) {
		case *zones.Command:
			return fmt.Sprintf("command %d/%d %s open %t run %s until %d", e.Epoch, e.Seq, e.Output, e.Open, e.Run, e.UntilMS)
		case *zones.Record:
			return recordWords(e)
		}
	}
	switch e := m.event.(type) {
	case *zones.Report:
		return fmt.Sprintf("report uptime %d, %d/%d %v", e.Uptime.Milliseconds(), e.Epoch, e.Seq, e.Outputs)
	case *zones.Order:
		return fmt.Sprintf("order %s %s", e.Kind, e.Subject)
	}
	return ""
}

func recordWords(r *zones.Record) string {
	if r.Run == nil {
		return fmt.Sprintf("record %d %s", r.Seq, r.Kind)
	}
	return fmt.Sprintf("record %d %s %s length %s amount %s", r.Seq, r.Kind, r.Run.ID, r.Run.Length, r.Run.Amount)
}
