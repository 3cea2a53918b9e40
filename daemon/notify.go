package daemon

import (
	"net"
	"os"
	"strconv"
	"time"
)

// notifier speaks systemd's notification protocol (sd_notify(3)): one datagram a
// message. The zero value, without a service manager, says nothing.
type notifier struct {
	address string
	every   time.Duration // between signs of life; 0 = none are wanted
}

// newNotifier reads what the service manager left in the environment.
func newNotifier(env func(string) string) notifier {
	n := notifier{address: env("NOTIFY_SOCKET")}
	usec, err := strconv.ParseInt(env("WATCHDOG_USEC"), 10, 64)
	if pid := env("WATCHDOG_PID"); err == nil && usec > 0 && (pid == "" || pid == strconv.Itoa(os.Getpid())) {
		n.every = time.Duration(usec) * time.Microsecond / 3
	}
	return n
}

// say sends one message; a manager that does not hear it is no reason to stop.
func (n notifier) say(message string) {
	if n.address == "" {
		return
	}
	conn, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: n.address, Net: "unixgram"})
	if err != nil {
		return
	}
	defer conn.Close()
	_ = conn.SetWriteDeadline(time.Now().Add(100 * time.Millisecond))
	_, _ = conn.Write([]byte(message))
}
