package netrig

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

var (
	netAll    = flag.Bool("net.all", false, "cut and heal the network in every way, with the daemon at work (3 min)")
	netFlood  = flag.Duration("net.flood", 0, "flood the daemon with readings for so long (60s; 10s in short)")
	netRate   = flag.Int("net.rate", 100_000, "readings a second of that flood")
	netGiants = flag.Bool("net.payloads", false, "send hostile payloads, up to 100 MB (half a minute and more)")
	netOnly   = flag.String("net.payload", "", "of those payloads only the one of this name")
	planted   = flag.Bool("net.planted", false, "show that the rigs catch planted faults: a minute, mostly waiting")
)

// faultyVariable names the program that the tests run instead of the right one.
const faultyVariable = "RILLGATE_RIG_PROGRAM"

// asController names the variable that turns this test program into a controller: its
// value is the broker's address.
const asController = "RILLGATE_RIG_CONTROLLER"

func TestMain(m *testing.M) {
	if address := os.Getenv(asController); address != "" {
		controllerMain(address)
		return
	}
	flag.Parse()
	if err := flag.Set("test.parallel", "24"); err != nil { // they wait far more than they work
		panic(err)
	}
	code := m.Run()
	if built.dir != "" {
		_ = os.RemoveAll(built.dir) // it is in the system's temporary folder
	}
	os.Exit(code)
}

// built is the program under test, built once by the first test that needs it.
var built struct {
	once sync.Once
	dir  string
	err  error
}

// program gives the path of the built binary.
func program(t *testing.T) string {
	t.Helper()
	if faulty := os.Getenv(faultyVariable); faulty != "" {
		return faulty
	}
	built.once.Do(func() {
		built.dir, built.err = os.MkdirTemp("", "rillgate-rig-")
		if built.err != nil {
			return
		}
		out, err := exec.Command("go", "build", "-o", filepath.Join(built.dir, "rillgate"), "rillgate/cmd/rillgate").CombinedOutput()
		if err != nil {
			built.err = fmt.Errorf("build rillgate: %w: %s", err, out)
		}
	})
	require.NoError(t, built.err)
	return filepath.Join(built.dir, "rillgate")
}

// mono reads the clock that all processes of one machine share, so that what the
// controller saw can be held against when the network was cut.
func mono() time.Duration {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts); err != nil {
		panic(err) // the clock exists on every Linux
	}
	return time.Duration(ts.Nano())
}

// tool finds a program; without it the test is skipped, or fails when
// RILLGATE_REQUIRE_TOOLS=1.
func tool(t *testing.T, name string) string {
	t.Helper()
	for _, path := range []string{name, "/usr/sbin/" + name, "/sbin/" + name} {
		if found, err := exec.LookPath(path); err == nil {
			return found
		}
	}
	lacking(t, "install "+name, errors.New(name+" is missing"))
	return ""
}

// lacking skips a test for what the machine lacks, or fails it when nothing may lack.
func lacking(t *testing.T, advice string, err error) {
	t.Helper()
	if os.Getenv("RILLGATE_REQUIRE_TOOLS") == "1" {
		require.FailNow(t, advice, err.Error())
	}
	t.Skipf("%s: %v", advice, err)
}
