package netrig

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// space is a network namespace of the test's own. It ends with the test.
type space struct {
	t    *testing.T
	file *os.File
}

// ownNet opens the network namespace of the calling thread.
func ownNet() (*os.File, error) { return os.Open("/proc/thread-self/ns/net") }

// onThread runs f on a thread whose namespace f may change: it is put back afterwards.
func onThread(f func() error) error {
	done := make(chan error, 1)
	go func() {
		runtime.LockOSThread() // a thread that cannot go back ends with this goroutine
		before, err := ownNet()
		if err != nil {
			done <- err
			return
		}
		defer before.Close()
		result := f()
		if err := unix.Setns(int(before.Fd()), unix.CLONE_NEWNET); err != nil {
			done <- err
			return
		}
		runtime.UnlockOSThread()
		done <- result
	}()
	return <-done
}

func newSpace(t *testing.T) *space {
	t.Helper()
	s := &space{t: t}
	err := onThread(func() (err error) {
		if err = unix.Unshare(unix.CLONE_NEWNET); err == nil {
			s.file, err = ownNet()
		}
		return err
	})
	require.NoError(t, err, "make a network namespace")
	t.Cleanup(func() { require.NoError(t, s.file.Close()) })
	s.run("ip", "link", "set", "lo", "up")
	return s
}

// start starts a process in the namespace; it is killed when this program dies.
func (s *space) start(cmd *exec.Cmd) error {
	if cmd.SysProcAttr == nil {
		cmd.SysProcAttr = &syscall.SysProcAttr{}
	}
	cmd.SysProcAttr.Pdeathsig = syscall.SIGKILL
	return onThread(func() error {
		if err := unix.Setns(int(s.file.Fd()), unix.CLONE_NEWNET); err != nil {
			return err
		}
		return cmd.Start()
	})
}

// run runs a tool in the namespace to its end.
func (s *space) run(name string, args ...string) {
	s.t.Helper()
	s.feed("", name, args...)
}

func (s *space) feed(input, name string, args ...string) {
	s.t.Helper()
	var out bytes.Buffer
	cmd := exec.Command(tool(s.t, name), args...)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = strings.NewReader(input), &out, &out
	require.NoError(s.t, s.start(cmd), "start %s", name)
	require.NoError(s.t, cmd.Wait(), "%s %s %s: %s", name, strings.Join(args, " "), input, &out)
}

// path names the namespace for ip(8).
func (s *space) path() string { return fmt.Sprintf("/proc/%d/fd/%d", os.Getpid(), s.file.Fd()) }

// join lays a link from s to other: `name` at s, `uplink` at the other's end.
func (s *space) join(other *space, name, address, otherAddress string) {
	s.t.Helper()
	s.run("ip", "link", "add", name, "type", "veth", "peer", "name", "uplink", "netns", other.path())
	s.run("ip", "address", "add", address+"/30", "dev", name)
	s.run("ip", "link", "set", name, "up")
	other.run("ip", "address", "add", otherAddress+"/30", "dev", "uplink")
	other.run("ip", "link", "set", "uplink", "up")
}

// insideUser names the variable of the test program's second self.
const insideUser = "RILLGATE_RIG_INSIDE"

// needSpaces makes sure that namespaces can be made. Root can; others run the test
// again as root of a user namespace, and false tells that this was done.
func needSpaces(t *testing.T) (here bool) {
	t.Helper()
	tool(t, "ip")
	tool(t, "nft")
	tool(t, "tc")
	if os.Geteuid() == 0 {
		if err := onThread(func() error { return unix.Unshare(unix.CLONE_NEWNET) }); err != nil {
			lacking(t, "allow network namespaces", err)
		}
		return true
	}
	require.Empty(t, os.Getenv(insideUser), "not root inside")
	probe := exec.Command("/bin/true")
	probe.SysProcAttr = rootInside()
	if err := probe.Run(); err != nil {
		lacking(t, "run as root, or allow user namespaces", err)
	}
	args := []string{"-test.run", "^" + t.Name() + "$", "-test.v"}
	for _, a := range os.Args[1:] {
		if strings.HasPrefix(a, "-net.") {
			args = append(args, a)
		}
	}
	again := exec.Command(os.Args[0], args...)
	again.Env = append(os.Environ(), insideUser+"=1", "PATH="+os.Getenv("PATH")+":"+filepath.Dir(tool(t, "nft")))
	again.SysProcAttr = rootInside()
	out, err := again.CombinedOutput()
	t.Logf("as root of a user namespace:\n%s", out)
	require.NoError(t, err)
	return false
}

func rootInside() *syscall.SysProcAttr {
	return &syscall.SysProcAttr{
		Cloneflags:  syscall.CLONE_NEWUSER | syscall.CLONE_NEWNET,
		UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
		GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
	}
}
