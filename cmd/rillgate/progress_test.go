package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// terminal gives a pseudo-terminal (pty(7)): what is written to the slave comes out of
// the master.
func terminal(t *testing.T) (master, slave *os.File) {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		t.Skip("no pseudo-terminals here:", err)
	}
	t.Cleanup(func() { master.Close() })
	require.NoError(t, unix.IoctlSetPointerInt(int(master.Fd()), unix.TIOCSPTLCK, 0))
	n, err := unix.IoctlGetInt(int(master.Fd()), unix.TIOCGPTN)
	require.NoError(t, err)
	slave, err = os.OpenFile("/dev/pts/"+strconv.Itoa(n), os.O_RDWR|unix.O_NOCTTY, 0)
	require.NoError(t, err)
	t.Cleanup(func() { slave.Close() })
	return master, slave
}

// A long replay says on a terminal how far it is, and takes the line away; in a pipe
// it says nothing.
func TestProgressIsForTerminalsOnly(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for name, text := range map[string]string{"room.yaml": testRoom, "schedule.yaml": testSchedule,
		"gateway.yaml": strings.ReplaceAll(testGateway, "BROKER", "mqtt://127.0.0.1:1883")} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600))
	}
	var lines bytes.Buffer
	for s := range 3000 {
		fmt.Fprintf(&lines, `{"at":"2027-03-01T06:%02d:%02dZ","reading":{"controller":"north","terminal":1,"address":"0","moisture":50}}`+"\n", s/60, s%60)
	}
	file := filepath.Join(dir, "long.jsonl")
	require.NoError(t, os.WriteFile(file, lines.Bytes(), 0o600))
	args := []string{"replay", "--config", dir, "--trace", file, "--out", filepath.Join(dir, "out.jsonl")}

	code, _, errs := runProgram(t, args...)
	require.Zero(t, code)
	require.Empty(t, errs)

	master, slave := terminal(t)
	cmd := exec.Command(program, args...)
	cmd.Stderr = slave
	require.NoError(t, cmd.Run())
	said := make([]byte, 4096)
	n, err := master.Read(said)
	require.NoError(t, err)
	require.Regexp(t, `replay: \d+ %`, string(said[:n]))
	require.True(t, strings.HasSuffix(string(said[:n]), "\r\x1b[K"), "%q", said[:n])
}

func TestProgressWords(t *testing.T) {
	t.Parallel()
	p := progress{what: "replay", total: 200}
	_, _ = p.Write(make([]byte, 50))
	require.Equal(t, "replay: 25 %", p.words())
	p = progress{what: "backup"}
	_, _ = p.Write(make([]byte, 1_500_000))
	require.Equal(t, "backup: 1.5 MB", p.words())
}
