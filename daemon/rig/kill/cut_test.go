package kill

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"
)

// way is how a life ends.
type way string

const (
	inStart   way = "at random in the boot hold"
	atOpening way = "within 30 ms of an opening"
	inRun     way = "at random in a run"
	atClose   way = "within 100 ms of a close"
	slowDisk  way = "at an opening, on a slow disk"
	bootCall  way = "at a system call of the start"
	shotCall  way = "at a system call of a shot"
)

// cut is one end of a life, and what else happens in it.
type cut struct {
	way    way
	after  time.Duration // from the moment that the way names
	call   call
	stop   time.Duration // stopped for so long, after an opening; 0 = not
	broker time.Duration // the broker is dead for so long, after an opening; 0 = not
	second bool          // another daemon is started on the same state
}

// call is a system call at which the process is killed before it is made: what follows
// it never happens, and what was before it has.
type call struct {
	name  string
	paths []string // in the state directory; none = any
	nth   int      // of one thread
}

var ledgerFiles = []string{"ledger-a", "ledger-b"}

// calls are the named points: ledger, store, and what goes to the broker. A kill before
// one call is a kill after the one before it. The files' creation and the marker are
// among the first starts' openat and rename.
var calls = []call{
	{name: "pwrite64", paths: ledgerFiles, nth: 2},
	{name: "fdatasync", paths: ledgerFiles, nth: 2},
	{name: "pwrite64", paths: ledgerFiles, nth: 4},
	{name: "fdatasync", paths: ledgerFiles, nth: 4},
	{name: "pwrite64", paths: []string{"store.db"}, nth: 4},
	{name: "fdatasync", paths: []string{"store.db"}, nth: 3},
	{name: "write", nth: 10},
	{name: "read", nth: 15},
	{name: "futex", nth: 20},
}

// startCalls are further points of a start.
var startCalls = []call{
	{name: "openat", nth: 60},
	{name: "fsync", nth: 3},
	{name: "flock", nth: 4},
	{name: "rename,renameat,renameat2", nth: 2},
	{name: "ftruncate,fallocate", nth: 3},
	{name: "bind,listen,unlinkat", nth: 4},
}

// draw gives the cut of a cycle: every tenth kills the broker, every seventh stops the
// daemon for seconds, every thirteenth starts a second one.
func draw(rng *rand.Rand, cycle int) cut {
	c := cut{second: cycle%13 == 0}
	switch n := rng.IntN(100); {
	case cycle%10 == 0:
		c.way, c.after = inRun, randomly(rng, 20*time.Second)
		c.broker = 200*time.Millisecond + randomly(rng, 6*time.Second)
	case cycle%7 == 0:
		c.way, c.after = inRun, randomly(rng, 5*time.Second)
		c.stop = time.Second + randomly(rng, 13*time.Second)
	case n < 14:
		c.way, c.after = inStart, randomly(rng, bootHold+time.Second)
	case n < 28:
		c.way, c.after = atOpening, randomly(rng, 30*time.Millisecond)
	case n < 42:
		c.way, c.after = inRun, randomly(rng, 16*time.Second)
	case n < 50:
		c.way, c.after = atClose, randomly(rng, 100*time.Millisecond)
	case n < 58:
		c.way = slowDisk
	case n < 72:
		c.way, c.call = bootCall, pick(rng, append(startCalls, calls...))
	default:
		c.way, c.call = shotCall, pick(rng, calls)
		c.after = randomly(rng, 600*time.Millisecond)
	}
	return c
}

func randomly(rng *rand.Rand, most time.Duration) time.Duration {
	return time.Duration(rng.Int64N(int64(most)))
}

func pick(rng *rand.Rand, from []call) call {
	c := from[rng.IntN(len(from))]
	c.nth = 1 + rng.IntN(c.nth)
	return c
}

// arguments are strace's for a call; state is the directory of its paths.
func (c call) arguments(state, out string) []string {
	args := []string{"-f", "-qq", "-y", "-s", "0", "-o", out, "-e", "trace=" + c.name,
		"-e", fmt.Sprintf("inject=%s:signal=SIGKILL:when=%d", c.name, c.nth)}
	return append(args, pathArguments(state, c.paths)...)
}

func pathArguments(state string, paths []string) (args []string) {
	for _, p := range paths {
		args = append(args, "-P", filepath.Join(state, p))
	}
	return args
}

// slowArguments make every write and sync of the ledger take long.
func slowArguments(state, out string) []string {
	args := []string{"-D", "-f", "-qq", "-s", "0", "-o", out, "-e", "trace=pwrite64,fdatasync",
		"-e", "inject=pwrite64,fdatasync:delay_enter=150000"}
	return append(args, pathArguments(state, ledgerFiles)...)
}

// lastCall is the call at which strace saw the process die: "fdatasync ledger". A line
// of strace is `123 fdatasync(7</path/ledger-a> = ?` or `... <unfinished ...>`.
var lastCall = regexp.MustCompile(`(?m)^\d+ +([a-z_0-9]+)\((?:[^<\n]*<([^>\n]*)>)?`)

// where tells the call at which a process died, "" when strace had no part in it.
func where(out string) string {
	text, err := os.ReadFile(out)
	if err != nil || !strings.Contains(string(text), "= ?") && !strings.Contains(string(text), "unfinished") {
		return ""
	}
	all := lastCall.FindAllStringSubmatch(string(text), -1)
	if len(all) == 0 {
		return ""
	}
	last := all[len(all)-1]
	return strings.TrimSpace(last[1] + " " + kindOf(last[2]))
}

// kindOf names what a descriptor is.
func kindOf(path string) string {
	base := filepath.Base(path)
	switch {
	case strings.HasPrefix(base, "ledger-"):
		return "ledger"
	case base == "store.db":
		return "store"
	case strings.HasPrefix(path, "socket:"), strings.HasPrefix(path, "TCP:"):
		return "socket"
	case strings.HasPrefix(path, "pipe:"), strings.HasPrefix(path, "anon_inode:"):
		return "within the process"
	case path == "":
		return ""
	}
	return "another file"
}
