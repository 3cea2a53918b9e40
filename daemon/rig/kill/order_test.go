package kill

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestSyncedBeforeSent watches the system calls of the real binary: before the first
// bytes of an opening go to the broker, the record of its run was written to the ledger
// and a sync of that file, begun after the write, has given 0. SIGKILL cannot show a
// sync that is missing, since what was written stays in the kernel.
func TestSyncedBeforeSent(t *testing.T) {
	t.Parallel()
	needStrace(t)
	l := newLane(t, 300, program, newCounts())
	trace := filepath.Join(l.dir, "strace")
	v := l.start(nil)
	l.judge.began(v.began)
	v.pause(bootHold - time.Second)
	tracer := exec.Command("strace", "-f", "-qq", "-y", "-s", "1200", "-o", trace, "-e", "trace=pwrite64,fdatasync,write",
		"-p", itoa(v.cmd.Process.Pid))
	require.NoError(t, tracer.Start())
	first, _, err := v.opening()
	require.NoError(t, err)
	require.NotNil(t, first)
	v.pause(300 * time.Millisecond)
	v.kill()
	_ = tracer.Wait() // it ends with the process
	text, err := os.ReadFile(trace)
	require.NoError(t, err)
	require.Empty(t, sentEarly(string(text), first.Command.Run), string(text))
}

// TestTheOrderCanBeWrong feeds the judge of the order what must not be.
func TestTheOrderCanBeWrong(t *testing.T) {
	t.Parallel()
	const (
		write = `7 pwrite64(5</s/ledger-a>, "\"kind\":\"intent\",\"run\":{\"id\":\"r-1-1\"", 500, 64) = 500` + "\n"
		sync  = `7 fdatasync(5</s/ledger-a>) = 0` + "\n"
		begin = `7 fdatasync(5</s/ledger-a> <unfinished ...>` + "\n"
		end   = `7 <... fdatasync resumed>) = 0` + "\n"
		bad   = `7 fdatasync(5</s/ledger-a>) = -1 EIO (Input/output error)` + "\n"
		other = `7 fdatasync(5</s/store.db>) = 0` + "\n"
		send  = `8 write(9<socket:[1]>, "\"run\":\"r-1-1\",\"open\":true", 90) = 90` + "\n"
	)
	for text, ok := range map[string]bool{
		write + sync + send: true, write + begin + end + send: true, begin + write + end + sync + send: true,
		write + send: false, sync + write + send: false, write + begin + send + end: false, write + bad + send: false,
		write + other + send: false, begin + write + end + send: false, sync + send: false, write + sync: false,
	} {
		require.Equal(t, ok, sentEarly(text, "r-1-1") == "", text)
	}
}

var (
	callLine    = regexp.MustCompile(`^(\d+) +(\w+)\(\d+<([^>]*)>(.*)$`)
	resumedLine = regexp.MustCompile(`^(\d+) +<\.\.\. (\w+) resumed>(.*)$`)
)

// sentEarly reads strace's lines in their order and says what is wrong with the first
// opening of a run; "" = nothing.
func sentEarly(text, run string) string {
	o := order{run: `\"` + run + `\"`, syncing: map[string]bool{}}
	for _, s := range strings.Split(text, "\n") {
		if m := resumedLine.FindStringSubmatch(s); m != nil {
			if m[2] == "fdatasync" && o.syncing[m[1]] && strings.HasSuffix(m[3], "= 0") {
				o.synced = true
			}
			delete(o.syncing, m[1])
			continue
		}
		if m := callLine.FindStringSubmatch(s); m != nil && o.call(m[1], m[2], m[3], m[4]) {
			return o.verdict()
		}
	}
	return "the opening was not seen"
}

// order is what was seen before an opening.
type order struct {
	run             string
	written, synced bool
	syncing         map[string]bool // by thread: a sync that began after the write
}

// call takes one call; it reports whether it was the opening.
func (o *order) call(thread, name, path, rest string) bool {
	ledger := strings.Contains(path, "/ledger-")
	switch {
	case name == "pwrite64" && ledger && strings.Contains(rest, o.run) && strings.Contains(rest, "intent"):
		o.written = true
	case name == "fdatasync" && ledger && o.written:
		o.syncing[thread] = strings.Contains(rest, "unfinished")
		o.synced = o.synced || strings.HasSuffix(rest, "= 0")
	case name == "write" && strings.Contains(rest, o.run) && strings.Contains(rest, `\"open\":true`):
		return true
	}
	return false
}

func (o *order) verdict() string {
	switch {
	case !o.written:
		return "sent before it was written"
	case !o.synced:
		return "sent before it was synced"
	}
	return ""
}
