package configs

import (
	"encoding/base64"
	"flag"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the wanted messages anew")

const faultDir = "../testdata/configs"

// faultFile is one file of testdata/configs, taken apart.
type faultFile struct {
	path, head, want string
	files            map[string][]byte
}

func baseFiles(t testing.TB) map[string][]byte {
	t.Helper()
	files := map[string][]byte{}
	for _, name := range fileNames {
		text, err := os.ReadFile(filepath.Join(faultDir, "base", name))
		require.NoError(t, err)
		files[name] = text
	}
	return files
}

func readFault(t *testing.T, path string) faultFile {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	f := faultFile{path: path, files: baseFiles(t)}
	before, want, found := strings.Cut(string(text), "-- want --\n")
	require.True(t, found, "%s has no want part", path)
	f.head, f.want = before, want
	parts := strings.Split("\n"+before, "\n-- ")
	require.Greater(t, len(parts), 1, "%s changes nothing", path)
	require.NotEmpty(t, strings.TrimSpace(parts[0]), "%s begins with a sentence", path)
	for _, part := range parts[1:] {
		title, body, _ := strings.Cut(part, " --\n")
		f.apply(t, title, body)
	}
	return f
}

func (f *faultFile) apply(t *testing.T, title, body string) {
	t.Helper()
	name, how, _ := strings.Cut(title, ": ")
	require.Contains(t, fileNames, name)
	how, arg, _ := strings.Cut(how, " ")
	switch how {
	case "":
		f.files[name] = []byte(body)
	case "missing":
		delete(f.files, name)
	case "change":
		f.files[name] = []byte(changed(t, string(f.files[name]), body))
	case "repeat":
		n, err := strconv.Atoi(arg)
		require.NoError(t, err)
		f.files[name] = []byte(strings.Repeat(body, n/len(body)+1)[:n])
	case "base64":
		raw, err := base64.StdEncoding.DecodeString(strings.TrimSpace(body))
		require.NoError(t, err)
		f.files[name] = raw
	default:
		require.Fail(t, "unknown way to change a file", how)
	}
}

// changed replaces runs of lines with - by the lines with + that follow.
func changed(t *testing.T, text, diff string) string {
	t.Helper()
	var old, new []string
	flush := func() {
		if len(old) == 0 {
			return
		}
		from := strings.Join(old, "\n") + "\n"
		require.Equal(t, 1, strings.Count("\n"+text, "\n"+from), "this stands once in the base: %s", from)
		to := ""
		if len(new) > 0 {
			to = strings.Join(new, "\n") + "\n"
		}
		text = strings.TrimPrefix(strings.Replace("\n"+text, "\n"+from, "\n"+to, 1), "\n")
		old, new = nil, nil
	}
	for _, line := range strings.Split(strings.TrimRight(diff, "\n"), "\n") {
		switch {
		case strings.HasPrefix(line, "-"):
			if len(new) > 0 {
				flush()
			}
			old = append(old, line[1:])
		case strings.HasPrefix(line, "+"):
			new = append(new, line[1:])
		default:
			require.Empty(t, line, "lines of a change begin with - or +")
		}
	}
	flush()
	return text
}

func faultPaths(t testing.TB) []string {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join(faultDir, "*.txt"))
	require.NoError(t, err)
	return paths
}

// TestFaults: each file of testdata/configs gives exactly the messages that stand in it.
func TestFaults(t *testing.T) {
	faults := 0
	for _, path := range faultPaths(t) {
		name := strings.TrimSuffix(filepath.Base(path), ".txt")
		good := strings.HasPrefix(name, "ok-")
		faults += boolInt(!good)
		t.Run(name, func(t *testing.T) {
			f := readFault(t, path)
			l, ps := Parse(f.files)
			got := told(ps)
			if *update {
				require.NoError(t, os.WriteFile(path, []byte(f.head+"-- want --\n"+got), 0o644))
				return
			}
			require.Equal(t, f.want, got)
			requireTold(t, ps)
			require.Equal(t, l == nil, Failed(ps), "a plan comes exactly when nothing is an error")
			require.Equal(t, !good && !strings.HasPrefix(name, "warn-"), l == nil)
		})
	}
	require.GreaterOrEqual(t, faults, 80, "the collection of faults")
}

// requireTold: every problem has a place, words, a code and a hint.
func requireTold(t testing.TB, ps []Problem) {
	t.Helper()
	for _, p := range ps {
		require.Positive(t, p.Line, p.Message)
		require.Positive(t, p.Column, p.Message)
		require.NotEmpty(t, p.Message)
		require.NotEmpty(t, p.Code, p.Message)
		require.NotEmpty(t, p.Hint, p.Message)
	}
}

func TestBaseHasNoProblem(t *testing.T) {
	l, ps := Parse(baseFiles(t))
	require.Empty(t, told(ps))
	require.NotNil(t, l)
}

// Problems of all three files are told in one go, in the order of the files.
func TestEveryProblemAtOnce(t *testing.T) {
	files := map[string][]byte{
		RoomFile:     []byte("room: {id: Bay One}\nzones: 3\n"),
		ScheduleFile: []byte("day: {lights_on: 6}\nzones: {east: sometimes}\n"),
		GatewayFile:  []byte("mqtt: {broker: here}\nlease: 5 min\n"),
	}
	_, ps := Parse(files)
	var places []string
	for _, p := range ps {
		places = append(places, p.File+":"+itoa(p.Line)+":"+itoa(p.Column))
	}
	require.Equal(t, []string{
		"room.yaml:1:1", "room.yaml:1:1", "room.yaml:1:1", "room.yaml:1:7", "room.yaml:1:12", "room.yaml:2:8",
		"schedule.yaml:1:6", "schedule.yaml:1:18", "schedule.yaml:2:15",
		"gateway.yaml:1:16", "gateway.yaml:2:8"}, places)
}
