package main

import (
	"fmt"
	"os"
	"strings"
	"text/tabwriter"
	"time"
	"unicode/utf8"

	"golang.org/x/sys/unix"

	"rillgate/zones"
)

// Control sequences of ECMA-48, and the private modes of xterm for another screen, the
// cursor and wrapping.
const (
	enterScreen = "\x1b[?1049h\x1b[?25l\x1b[?7l"
	leaveScreen = "\x1b[?7h\x1b[?25h\x1b[?1049l"
	toTop       = "\x1b[H"
	clearLine   = "\x1b[K"
	clearBelow  = "\x1b[J"
)

// headLines stand over the probes of a frame.
const headLines = 3

// screen draws frames in place on a terminal.
type screen struct {
	out     *os.File
	entered bool
}

// size gives the terminal's width and height; one that does not tell has 80 by 24.
func (s *screen) size() (width, height int) {
	ws, err := unix.IoctlGetWinsize(int(s.out.Fd()), unix.TIOCGWINSZ)
	if err != nil || ws.Col == 0 || ws.Row == 0 {
		return 80, 24
	}
	return int(ws.Col), int(ws.Row)
}

func (s *screen) draw(lines []string) error {
	width, height := s.size()
	var b strings.Builder
	if !s.entered {
		s.entered = true
		b.WriteString(enterScreen)
	}
	b.WriteString(toTop)
	for i, l := range fitted(lines, width, height) {
		if i > 0 {
			b.WriteString("\r\n")
		}
		b.WriteString(l + clearLine)
	}
	b.WriteString(clearBelow)
	_, err := s.out.WriteString(b.String())
	return err
}

func (s *screen) leave() {
	if s.entered {
		s.entered = false
		_, _ = s.out.WriteString(leaveScreen) // a terminal that is gone needs nothing back
	}
}

// fitted cuts lines to a width, and says how many there was no room for.
func fitted(lines []string, width, height int) []string {
	out := lines
	if len(lines) > height {
		out = append(append([]string{}, lines[:max(height-1, 0)]...), fmt.Sprintf("... and %d more: a taller window, or --zone ZONE", len(lines)-height+1))
	}
	cut := make([]string, 0, len(out))
	for _, l := range out {
		if utf8.RuneCountInString(l) > width {
			l = string([]rune(l)[:max(width-1, 0)]) + "…"
		}
		cut = append(cut, l)
	}
	return cut
}

// frame is what a terminal shows: what matters most stands left, where a narrow one
// keeps it. A * marks a reading that has just come.
func (w *watcher) frame(v *zones.View, list []zones.ProbeView, now time.Time) []string {
	head := fmt.Sprintf("%s  %s  probes: %d%s  (Ctrl-C ends)", v.Room, v.Wall.Local().Format(time.TimeOnly), len(list), qualities(list))
	if !w.silent.IsZero() {
		head = fmt.Sprintf("no daemon answers since %s, trying again; this is of %s", w.silent.Format(time.TimeOnly), v.Wall.Local().Format(time.TimeOnly))
	}
	var b strings.Builder
	t := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, " PROBE\tZONE\tQUALITY\tMOISTURE\tAGE\tEC\tTEMPERATURE\tPLACE\tBECAUSE")
	for i := range list {
		p := &list[i]
		mark := " "
		if w.heard[p.Place].fresh && w.silent.IsZero() {
			mark = "*"
		}
		fmt.Fprintf(t, "%s%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", mark, orDash(p.ID), orDash(p.Zone), p.Quality, number(p.Moisture, "%.1f %%"), age(p.AgeSeconds),
			number(p.EC, "%.2f mS/cm"), number(p.Temperature, "%.1f C"), p.Place, printable(orDash(p.Because)))
	}
	_ = t.Flush() // into memory
	return append([]string{head, ""}, strings.Split(strings.TrimRight(b.String(), "\n"), "\n")...)
}

// qualities counts those that are not good.
func qualities(list []zones.ProbeView) (words string) {
	count := map[zones.ProbeQuality]int{}
	for i := range list {
		count[list[i].Quality]++
	}
	for _, q := range []zones.ProbeQuality{zones.ProbeGood, zones.ProbeOutlier, zones.ProbeImplausible, zones.ProbeStale, zones.ProbeLost, zones.ProbeNew, zones.ProbeIgnored} {
		if count[q] > 0 {
			words += fmt.Sprintf(", %d %s", count[q], q)
		}
	}
	return words
}

// printable keeps what came from a wire from driving the terminal.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r >= 0x80 && r < 0xa0 {
			return '?'
		}
		return r
	}, s)
}
