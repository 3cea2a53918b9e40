package configs

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// writeRoom puts the base files into a new directory.
func writeRoom(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range baseFiles(t) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), text, 0o644))
	}
	return dir
}

func TestLoadReadsTheDirectory(t *testing.T) {
	l, ps := Load(writeRoom(t))
	require.Empty(t, told(ps))
	again, _ := Parse(baseFiles(t))
	require.Equal(t, again, l, "Load and Parse agree")
}

func TestLoadFollowsLinks(t *testing.T) {
	dir := writeRoom(t)
	real := filepath.Join(dir, "elsewhere.yaml")
	require.NoError(t, os.Rename(filepath.Join(dir, RoomFile), real))
	require.NoError(t, os.Symlink(real, filepath.Join(dir, RoomFile)))
	l, ps := Load(dir)
	require.Empty(t, told(ps))
	require.NotNil(t, l)
}

func TestLoadRefusesWhatIsNoFile(t *testing.T) {
	for name, put := range map[string]func(path string) error{
		"directory": func(path string) error { return os.Mkdir(path, 0o755) },
		"pipe":      func(path string) error { return syscall.Mkfifo(path, 0o644) },
		"device":    func(path string) error { return os.Symlink("/dev/zero", path) },
	} {
		t.Run(name, func(t *testing.T) {
			dir := writeRoom(t)
			path := filepath.Join(dir, ScheduleFile)
			require.NoError(t, os.Remove(path))
			require.NoError(t, put(path))
			l, ps := Load(dir)
			require.Nil(t, l)
			require.Equal(t, "schedule.yaml:1:1: this is no regular file\nhint: put the text itself here, not a directory, a pipe or a device\n", told(ps))
		})
	}
}

func TestLoadMissesFiles(t *testing.T) {
	l, ps := Load(filepath.Join(t.TempDir(), "nowhere"))
	require.Nil(t, l)
	require.Len(t, ps, 3, "each of the three files is missed")
	for i, p := range ps {
		require.Equal(t, fileNames[i], p.File)
		require.Contains(t, p.Message, "missing")
	}
}

func TestLoadRefusesALargeFile(t *testing.T) {
	dir := writeRoom(t)
	require.NoError(t, os.WriteFile(filepath.Join(dir, RoomFile), make([]byte, MaxFileSize+1), 0o644))
	_, ps := Load(dir)
	require.Contains(t, told(ps), "room.yaml:1:1: the file is larger than 1 MiB")
}

// The hash changes with every byte, and with which file it is in.
func TestHash(t *testing.T) {
	files := baseFiles(t)
	a := hashOf(files)
	require.Equal(t, a, hashOf(baseFiles(t)))
	files[RoomFile] = append(files[RoomFile], '\n')
	require.NotEqual(t, a, hashOf(files))
	x := map[string][]byte{RoomFile: []byte("ab"), ScheduleFile: []byte("c")}
	y := map[string][]byte{RoomFile: []byte("a"), ScheduleFile: []byte("bc")}
	require.NotEqual(t, hashOf(x), hashOf(y))
}

// A list of problems stays readable, and errors are the last to be cut.
func TestManyProblems(t *testing.T) {
	files := baseFiles(t)
	files[GatewayFile] = []byte(strings.Repeat("- x: [\n", 1))
	files[ScheduleFile] = []byte("zones:\n" + strings.Repeat("  Not An Id: none\n", 1) + manyKeys(450))
	_, ps := Parse(files)
	require.Len(t, ps, maxProblems+1)
	require.Contains(t, told(ps), "more problems are not shown")
	require.True(t, Failed(ps))
}

func manyKeys(n int) string {
	var b strings.Builder
	for i := range n {
		b.WriteString("  unknown-" + itoa(i) + ": none\n")
	}
	return b.String()
}

func TestProblemsAsJSON(t *testing.T) {
	var b strings.Builder
	require.NoError(t, PrintJSON(&b, nil))
	require.Equal(t, "[]\n", b.String())
	b.Reset()
	files := baseFiles(t)
	files[GatewayFile] = []byte("mqtt: {broker: \"mqtt://127.0.0.1\"}\nlease: 9 s\n")
	_, ps := Parse(files)
	require.NoError(t, PrintJSON(&b, ps))
	require.JSONEq(t, `[{"file":"gateway.yaml","line":2,"column":8,"message":"`+"`9 s`"+` is too small: at least 10 s",
		"hint":"write for example `+"`30 s`"+`","excerpt":"    2 | lease: 9 s\n      |        ^","warning":false,"code":"range"}]`, b.String())
}

func TestParseChangesNothingItIsGiven(t *testing.T) {
	files := baseFiles(t)
	_, _ = Parse(files)
	require.Equal(t, baseFiles(t), files)
}
