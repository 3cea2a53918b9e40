package zonetest

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"rillgate/zones"
)

// Script is a scenario: a room, then beats of commands, each with the effects that
// they lead to.
//
//	# Two dry zones share one supply: the second waits.
//	room lease=30s
//	zone a below=30 shot=90s rest=3m
//	zone b below=30 shot=90s rest=3m
//
//	feed a 28 ; feed b 27
//	start 06:00
//	run 10s
//	expect b watering
//	----
//	06:00:00 record intent r-1-1 b 1m30s below-threshold
//	...
//
// A comment starts with # and stays where it stands. The effects of a beat end at
// an empty line. `expect` lines are checked always, also when goldens are written.
type Script struct {
	Plan  *zones.Plan
	Beats []Beat
	room  roomScript
}

// Beat is some commands and what came of them.
type Beat struct {
	Source   []string // as they stand in the file, comments too
	Commands []Line
	Golden   []string
}

// Line is one command of a script.
type Line struct {
	Line int
	Name string
	Args []string          // in order, without those that have a name
	Opts map[string]string // key=value
}

// scriptError says where a script is wrong.
func scriptError(line int, format string, args ...any) error {
	return fmt.Errorf("read scenario: line %d: %s", line, fmt.Sprintf(format, args...))
}

// ParseScript reads a scenario.
func ParseScript(text string) (*Script, error) {
	s := &Script{room: newRoomScript()}
	var beat Beat
	golden, inRoom := false, true
	end := func() {
		if len(beat.Source) > 0 {
			s.Beats = append(s.Beats, beat)
		}
		beat, golden = Beat{}, false
	}
	for n, line := range strings.Split(strings.TrimRight(text, "\n"), "\n") {
		trimmed := strings.TrimSpace(line)
		switch {
		case golden && trimmed == "":
			end()
		case golden:
			beat.Golden = append(beat.Golden, line)
		case trimmed == "----":
			golden, inRoom = true, false
		default:
			beat.Source = append(beat.Source, line)
			if err := s.line(n+1, trimmed, &inRoom, &beat); err != nil {
				return nil, err
			}
		}
	}
	end()
	plan, err := s.room.plan()
	s.Plan = plan
	return s, err
}

// line reads one line of commands; the room comes first.
func (s *Script) line(n int, text string, inRoom *bool, beat *Beat) error {
	if text == "" || strings.HasPrefix(text, "#") {
		return nil
	}
	for _, part := range strings.Split(text, " ; ") {
		cmd := parseCommand(n, part)
		if *inRoom {
			known, err := s.room.take(cmd)
			if err != nil {
				return err
			}
			if known {
				continue
			}
			*inRoom = false
		}
		beat.Commands = append(beat.Commands, cmd)
	}
	return nil
}

func parseCommand(n int, text string) Line {
	words := strings.Fields(text)
	c := Line{Line: n, Opts: map[string]string{}}
	for i, w := range words {
		key, value, ok := strings.Cut(w, "=")
		switch {
		case i == 0:
			c.Name = w
		case ok:
			c.Opts[key] = value
		default:
			c.Args = append(c.Args, w)
		}
	}
	return c
}

func (c Line) fail(format string, args ...any) error { return scriptError(c.Line, format, args...) }

// arg gives the nth argument; "" when there is none.
func (c Line) arg(n int) string {
	if n < len(c.Args) {
		return c.Args[n]
	}
	return ""
}

// options reads named values into places, by what the places hold.
func (c Line) options(places map[string]any) error {
	for key, value := range c.Opts {
		place, ok := places[key]
		if !ok {
			return c.fail("%s has no option %q", c.Name, key)
		}
		if err := read(value, place); err != nil {
			return c.fail("%s=%s: %v", key, value, err)
		}
	}
	return nil
}

// read puts a text into a place: levels in percent, durations as Go writes them.
func read(text string, place any) error {
	var err error
	switch p := place.(type) {
	case *string:
		*p = text
	case *bool:
		*p, err = strconv.ParseBool(text)
	case *int:
		*p, err = strconv.Atoi(text)
	case *float64:
		*p, err = strconv.ParseFloat(text, 64)
	case *time.Duration:
		*p, err = time.ParseDuration(text)
	case *zones.Level:
		var v float64
		v, err = strconv.ParseFloat(text, 64)
		*p = percent(v)
	case func(string) error:
		err = p(text)
	default:
		err = fmt.Errorf("no way to read a %T", place)
	}
	return err
}

// percent turns percent into a level.
func percent(v float64) zones.Level {
	if v < 0 {
		return -percent(-v)
	}
	return zones.Level(v*1000 + 0.5)
}
