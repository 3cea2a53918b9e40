package kill

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

var (
	cycles  = flag.Int("kill.cycles", 0, "lives to end by SIGKILL, over all lanes; 0 = the short form")
	lanes   = flag.Int("kill.lanes", 24, "rooms at once")
	seed    = flag.Uint64("kill.seed", 1, "seed of the first lane")
	disk    = flag.Bool("kill.disk", false, "fail every call of the disk over a shot, and fill the disks")
	damages = flag.Int("kill.damages", 6, "states to damage")
	planted = flag.Bool("kill.planted", false, "show that the rig catches planted faults")
)

// program is the built binary, one for all tests.
var program string

func TestMain(m *testing.M) {
	fieldMain()
	stageMain()
	os.Exit(buildAndRun(m))
}

func buildAndRun(m *testing.M) int {
	dir, err := os.MkdirTemp("", "rillgate-kill-")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(dir)
	program = filepath.Join(dir, "rillgate")
	if out, err := build(program); err != nil {
		panic(fmt.Sprintf("build rillgate: %v\n%s", err, out))
	}
	flag.Parse()
	if err := flag.Set("test.parallel", "256"); err != nil { // they wait far more than they work
		panic(err)
	}
	return m.Run()
}

// build builds the daemon with more arguments for the compiler.
func build(to string) ([]byte, error) {
	return exec.Command("go", "build", "-o", to, "rillgate/cmd/rillgate").CombinedOutput()
}
