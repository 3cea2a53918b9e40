// Package realbroker runs mosquitto, in a process of its own, for the tests of
// other packages: on a free loopback port, with access rules and passwords, to be
// killed, frozen and started again.
package realbroker

import (
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// readyWithin bounds the wait for a started broker to accept connections.
const readyWithin = 10 * time.Second

// portTries is how often another free port is tried when one was taken meanwhile.
const portTries = 5

// Options are the rules of one broker. The zero value lets everybody do anything.
type Options struct {
	ACL   string            // text of an acl_file; "" = none
	Users map[string]string // name to password; when not empty, others are refused
	Extra string            // further lines of configuration, in the listener's scope
}

// Broker is one mosquitto, running or not.
type Broker struct {
	t      testing.TB
	binary string
	dir    string
	config string
	port   int
	cmd    *exec.Cmd
	exited chan struct{}
}

// Start runs a broker until the test ends. Without mosquitto the test is skipped,
// or fails when RILLGATE_REQUIRE_TOOLS=1.
func Start(t testing.TB, o Options) *Broker {
	t.Helper()
	b := &Broker{t: t, binary: find(t), dir: t.TempDir()}
	t.Cleanup(b.Kill)
	for range portTries {
		b.port = freePort(t)
		b.writeConfig(o)
		if b.launch() {
			return b
		}
	}
	require.FailNow(t, "start mosquitto", "no port was free in %d tries; configuration:\n%s", portTries, b.config)
	return nil
}

// URL gives the address for clients; it stays the same over Restart.
func (b *Broker) URL() string { return fmt.Sprintf("mqtt://127.0.0.1:%d", b.port) }

// Port gives the loopback port.
func (b *Broker) Port() int { return b.port }

// PID gives the process id of the running broker.
func (b *Broker) PID() int { return b.cmd.Process.Pid }

// Restart starts a stopped or killed broker again, on the same port.
func (b *Broker) Restart() {
	b.t.Helper()
	require.True(b.t, b.launch(), "start mosquitto again on port %d", b.port)
}

// Stop ends the broker with SIGTERM and waits for its end.
func (b *Broker) Stop() { b.end(syscall.SIGTERM) }

// Kill ends the broker with SIGKILL, frozen or not, and waits for its end.
func (b *Broker) Kill() { b.end(syscall.SIGKILL) }

// Freeze stops the process without closing its connections.
func (b *Broker) Freeze() { b.signal(syscall.SIGSTOP) }

// Thaw lets a frozen broker go on.
func (b *Broker) Thaw() { b.signal(syscall.SIGCONT) }

func (b *Broker) signal(s syscall.Signal) {
	b.t.Helper()
	require.NoError(b.t, b.cmd.Process.Signal(s), "signal mosquitto")
}

func (b *Broker) end(s syscall.Signal) {
	if b.cmd == nil {
		return
	}
	// The process may have ended by itself; then there is nothing to signal.
	_ = b.cmd.Process.Signal(s)
	<-b.exited
	b.cmd = nil
}

// launch reports false when the process ended before it accepted a connection.
func (b *Broker) launch() bool {
	b.t.Helper()
	log, err := os.OpenFile(filepath.Join(b.dir, "log"), os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o600)
	require.NoError(b.t, err, "open mosquitto's log")
	defer log.Close()
	cmd := exec.Command(b.binary, "-c", filepath.Join(b.dir, "conf"))
	cmd.Stdout, cmd.Stderr = log, log
	require.NoError(b.t, cmd.Start(), "start mosquitto")
	exited := make(chan struct{})
	go func() {
		_ = cmd.Wait() // how it ended is the test's business
		close(exited)
	}()
	b.cmd, b.exited = cmd, exited
	return b.ready()
}

func (b *Broker) ready() bool {
	deadline := time.NewTimer(readyWithin)
	defer deadline.Stop()
	again := time.NewTicker(5 * time.Millisecond)
	defer again.Stop()
	for {
		conn, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", b.port))
		if err == nil {
			return conn.Close() == nil
		}
		select {
		case <-b.exited:
			b.cmd = nil
			return false
		case <-deadline.C:
			return false
		case <-again.C:
		}
	}
}

func (b *Broker) writeConfig(o Options) {
	b.t.Helper()
	var c strings.Builder
	fmt.Fprintf(&c, "user root\npersistence false\nset_tcp_nodelay true\nper_listener_settings false\nlog_type error\nlog_type warning\n")
	fmt.Fprintf(&c, "listener %d 127.0.0.1\n", b.port)
	if len(o.Users) > 0 {
		fmt.Fprintf(&c, "allow_anonymous false\npassword_file %s\n", b.write("passwords", passwordFile(o.Users)))
	} else {
		fmt.Fprintf(&c, "allow_anonymous true\n")
	}
	if o.ACL != "" {
		fmt.Fprintf(&c, "acl_file %s\n", b.write("acl", o.ACL))
	}
	c.WriteString(o.Extra + "\n")
	b.config = c.String()
	b.write("conf", b.config)
}

func (b *Broker) write(name, text string) string {
	b.t.Helper()
	path := filepath.Join(b.dir, name)
	require.NoError(b.t, os.WriteFile(path, []byte(text), 0o600), "write mosquitto's %s", name)
	return path
}

func find(t testing.TB) string {
	t.Helper()
	for _, name := range []string{"mosquitto", "/usr/sbin/mosquitto"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv("RILLGATE_REQUIRE_TOOLS") == "1" {
		require.FailNow(t, "mosquitto is missing", "install it, or leave RILLGATE_REQUIRE_TOOLS unset to skip")
	}
	t.Skip("mosquitto is not installed")
	return ""
}

// freePort gives a port under the range from which Linux gives ports by itself
// (32768 to 60999 unless set): while a broker is dead nobody else gets its port, and
// who tries to connect to it cannot meet itself.
func freePort(t testing.TB) int {
	t.Helper()
	for range 100 {
		port := 12000 + rand.IntN(20000)
		ln, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", port))
		if err != nil {
			continue
		}
		require.NoError(t, ln.Close(), "find a free port")
		return port
	}
	require.FailNow(t, "find a free port", "none of 100 from 12000 to 31999")
	return 0
}
