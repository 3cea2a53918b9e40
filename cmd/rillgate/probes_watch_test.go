package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"rillgate/zones"
)

// seen is a look at one probe that was heard so many whole seconds before.
func seen(wall time.Time, age int, q zones.ProbeQuality) *zones.View {
	moisture := 46.2
	return &zones.View{Room: "bay-2", Wall: wall, Zones: []zones.ZoneView{{ID: "east"}}, Probes: []zones.ProbeView{
		{ID: "e1", Zone: "east", Place: zones.Place{Controller: "north", Terminal: 1, Address: "0"}, Quality: q, Moisture: &moisture, AgeSeconds: &age, Because: "counts"}}}
}

// The age is cut to whole seconds, and looks are not quite a second apart: no reading is
// told twice, and none that comes more than 2 s after another is missed.
func TestWatchTellsEachReadingOnce(t *testing.T) {
	t.Parallel()
	start := time.Date(2027, 3, 2, 20, 0, 0, 0, time.UTC)
	for _, every := range []time.Duration{2100 * time.Millisecond, 5 * time.Second, 10 * time.Second, 61 * time.Second} {
		w := newWatcher(&bytes.Buffer{}, &bytes.Buffer{}, "", false)
		told := 0
		wall := start
		for i := range 600 {
			wall = wall.Add(time.Duration(700+i*37%650) * time.Millisecond) // 0.7 to 1.35 s
			last := wall.Sub(start) / every * every                         // of the last reading
			age := int((wall.Sub(start) - last).Seconds())
			if w.note(&seen(wall, age, zones.ProbeGood).Probes[0], wall) {
				told++
			}
		}
		came := int(wall.Sub(start) / every)
		require.InDelta(t, came, told, 1, "%s", every)
	}
}

func TestWatchInAPipe(t *testing.T) {
	t.Parallel()
	var out, errs bytes.Buffer
	w := newWatcher(&out, &errs, "", false)
	at := time.Date(2027, 3, 2, 20, 0, 0, 0, time.UTC)
	looks := []*zones.View{
		seen(at, 3, zones.ProbeGood), seen(at.Add(time.Second), 4, zones.ProbeGood), nil, seen(at.Add(3*time.Second), 0, zones.ProbeGood),
		seen(at.Add(60*time.Second), 57, zones.ProbeStale),
	}
	ctx, cancel := context.WithCancel(t.Context())
	err := w.follow(ctx, func(context.Context) (*zones.View, error) {
		v := looks[0]
		if looks = looks[1:]; len(looks) == 0 {
			cancel()
		}
		if v == nil {
			return nil, errors.New("no rillgate answers")
		}
		return v, nil
	})
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	require.GreaterOrEqual(t, len(lines), 2)
	require.Regexp(t, `e1 +east +good +46\.2 % +3s +- +- +north/1/0 counts$`, lines[0])
	require.Regexp(t, `e1 +east +good +46\.2 % +0s `, lines[1], "the look between them brought nothing")
	require.Equal(t, "no answer, trying again: no rillgate answers\nthe daemon answers again\n", errs.String())
}

func TestWatchRefusesAnUnknownZone(t *testing.T) {
	t.Parallel()
	w := newWatcher(&bytes.Buffer{}, &bytes.Buffer{}, "attic", false)
	err := w.follow(t.Context(), func(context.Context) (*zones.View, error) { return seen(time.Now(), 1, zones.ProbeGood), nil })
	require.ErrorContains(t, err, "no zone is named attic")
}

func TestFramesFit(t *testing.T) {
	t.Parallel()
	w := newWatcher(&bytes.Buffer{}, &bytes.Buffer{}, "", false)
	v := seen(time.Now(), 1, zones.ProbeGood)
	for i := range 40 {
		p := v.Probes[0]
		p.ID, p.Place.Address, p.Quality = fmt.Sprintf("e%d", i+2), fmt.Sprint(i+1), zones.ProbeLost
		p.Because = "silent for 2 h\x1b[2J"
		v.Probes = append(v.Probes, p)
	}
	lines := w.frame(v, v.Probes, time.Now())
	require.Contains(t, lines[0], "probes: 41, 1 good, 40 lost")
	require.NotContains(t, strings.Join(lines, ""), "\x1b", "what comes from a wire drives no terminal")
	for _, size := range [][2]int{{80, 24}, {40, 10}, {200, 100}, {1, 1}, {20, 43}} {
		got := fitted(lines, size[0], size[1])
		require.LessOrEqual(t, len(got), size[1])
		for _, l := range got {
			require.LessOrEqual(t, utf8.RuneCountInString(l), size[0])
		}
	}
	require.Contains(t, fitted(lines, 80, 24)[23], "21 more", "2 lines over the table, its head, 20 probes of 41, and this one")
	require.Contains(t, fitted(lines, 45, 24)[headLines], "good", "what matters most stands left")
	worstFirst(v.Probes)
	require.Equal(t, []string{"e2", "e3", "e1"}, []string{v.Probes[0].ID, v.Probes[1].ID, v.Probes[40].ID}, "those that are not good first, else as they were")
}

// On a terminal readings arrive in place, within the width that it has, and Ctrl-C gives it
// back; in a pipe they are plain lines.
func TestWatchingProbes(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.start()
	r.room()
	args := []string{"probes", "--watch", "--config", r.config, "--state", r.state}

	plain, said := exec.Command(program, args...), &syncBuffer{}
	plain.Stdout = said
	require.NoError(t, plain.Start())
	t.Cleanup(func() { _ = plain.Process.Kill() })

	master, slave := terminal(t)
	require.NoError(t, unix.IoctlSetWinsize(int(slave.Fd()), unix.TIOCSWINSZ, &unix.Winsize{Row: 12, Col: 60}))
	cmd, shown := exec.Command(program, args...), &syncBuffer{}
	cmd.Stdin, cmd.Stdout = slave, slave
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = cmd.Process.Kill() })
	go copyUntilClosed(shown, master)
	require.Eventually(t, func() bool { return strings.Contains(shown.String(), "*e1") }, 30*time.Second, 20*time.Millisecond, "no reading was marked as new: %q", shown)
	require.NoError(t, cmd.Process.Signal(syscall.SIGINT)) // what Ctrl-C is to a terminal
	require.NoError(t, cmd.Wait(), "it was asked to end: exit code 0")
	require.Eventually(t, func() bool { return strings.HasSuffix(shown.String(), leaveScreen) }, 5*time.Second, 10*time.Millisecond, "the terminal is given back")
	require.True(t, strings.HasPrefix(shown.String(), enterScreen))
	for _, frame := range strings.Split(shown.String(), toTop)[1:] {
		frame, _, _ = strings.Cut(frame, clearBelow)
		lines := strings.Split(strings.NewReplacer(clearLine, "", "\r", "").Replace(frame), "\n")
		require.LessOrEqual(t, len(lines), 12)
		for _, l := range lines {
			require.LessOrEqual(t, utf8.RuneCountInString(l), 60, "%q", l)
		}
	}

	require.Eventually(t, func() bool { return strings.Contains(said.String(), " good ") }, 30*time.Second, 20*time.Millisecond, "%s", said)
	require.NoError(t, plain.Process.Signal(syscall.SIGTERM))
	require.NoError(t, plain.Wait())
	require.NotContains(t, said.String(), "\x1b")
	require.Regexp(t, `e\d +east +good +\d+\.\d %`, said.String())

	r.historyOfARun(t)
}

func copyUntilClosed(to *syncBuffer, from *os.File) {
	b := make([]byte, 4096)
	for {
		n, err := from.Read(b)
		_, _ = to.Write(b[:n])
		if err != nil {
			return
		}
	}
}

// historyOfARun asks for the past while the daemon runs and when it does not.
func (r *rig) historyOfARun(t *testing.T) {
	code, live, errs := r.rillgate("history", "--csv")
	require.Zero(t, code, errs)
	require.True(t, strings.HasPrefix(live, "time,clock_UTC,record,zone,probe,moisture_percent,"), live)
	picture := r.config + "/e1.svg"
	code, out, errs := r.rillgate("history", "--probe", "e1", "--picture", picture)
	require.Zero(t, code, errs)
	require.Equal(t, "wrote "+picture+"\n", out)
	drawn, err := os.ReadFile(picture)
	require.NoError(t, err)
	require.Contains(t, string(drawn), "<svg")

	r.whyOfParts(t, true)

	var lines []json.RawMessage
	cmd := exec.Command(program, "probes", "--json", "--config", r.config, "--state", r.state)
	probes, err := cmd.Output()
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(probes, &lines), "--json without --watch is as it was")

	code, _ = r.stop(syscall.SIGTERM)
	require.Zero(t, code)
	code, kept, errs := r.rillgate("history", "--csv")
	require.Zero(t, code, errs)
	require.Contains(t, errs, "no daemon runs")
	r.whyOfParts(t, false)
	require.Equal(t, strings.SplitAfter(live, "\n")[0], strings.SplitAfter(kept, "\n")[0])
	code, _, errs = r.rillgate("history", "--zone", "attic", "--csv")
	require.Equal(t, exitFailed, code)
	require.Contains(t, errs, "no zone is named attic")
	for _, args := range [][]string{{"history"}, {"history", "--csv", "--zone", "a", "--probe", "b"}, {"history", "--picture", "x.png", "--probe", "e1"}, {"history", "--picture", "x.svg"}, {"probes", "e1", "--zone", "east"}} {
		code, _, _ = r.rillgate(args...)
		require.Equal(t, exitMisuse, code, args)
	}
	code, _, errs = r.rillgate("probes", "--watch")
	require.Equal(t, exitFailed, code)
	require.Contains(t, errs, "no rillgate answers")
}

// whyOfParts asks for the evidence of a probe and of a valve that has its zone's name.
func (r *rig) whyOfParts(t *testing.T, runs bool) {
	t.Helper()
	code, out, errs := r.rillgate("why", "e1")
	require.Zero(t, code, errs)
	require.Regexp(t, `(?m)^place: +north/1/0$`, out)
	require.Regexp(t, `(?m)^offset: +none$`, out)
	require.Regexp(t, `first heard: `, out)
	require.Equal(t, runs, strings.Contains(out, "readings in a row:"), out)

	code, out, errs = r.rillgate("why", "valve", "east")
	require.Zero(t, code, errs)
	require.Regexp(t, `(?m)^output: +north/1$`, out)
	require.Regexp(t, `(?m)^shots, 24 h: +\d+ of 3600 s used$`, out)
	require.Equal(t, runs, strings.Contains(out, "last report:"), out)
	require.Equal(t, runs, strings.Contains(out, "grant:"), out)

	code, out, _ = r.rillgate("why", "east")
	require.Zero(t, code)
	require.True(t, strings.HasPrefix(out, "zone east: "), "of two with one name the zone comes first")
}
