package field

import (
	"context"
	"net"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

func TestDialSetsTheUserTimeout(t *testing.T) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer ln.Close()
	cfg := Config{times: defaultTimings()}
	e, err := parseURL("mqtt://" + ln.Addr().String())
	require.NoError(t, err)
	w, err := cfg.dial(context.Background(), e)
	require.NoError(t, err)
	defer w.Close()
	raw, err := w.Conn.(*net.TCPConn).SyscallConn()
	require.NoError(t, err)
	var userTimeout, noDelay int
	require.NoError(t, raw.Control(func(fd uintptr) {
		userTimeout, _ = unix.GetsockoptInt(int(fd), unix.IPPROTO_TCP, unix.TCP_USER_TIMEOUT)
		noDelay, _ = unix.GetsockoptInt(int(fd), unix.IPPROTO_TCP, unix.TCP_NODELAY)
	}))
	require.Equal(t, int((20 * time.Second).Milliseconds()), userTimeout)
	require.Equal(t, 1, noDelay)
}
