package netrig

import (
	"errors"
	"net"
	"os"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// inside runs f with sockets of the namespace: those it makes stay there.
func (s *space) inside(f func() error) {
	s.t.Helper()
	require.NoError(s.t, onThread(func() error {
		if err := unix.Setns(int(s.file.Fd()), unix.CLONE_NEWNET); err != nil {
			return err
		}
		return f()
	}))
}

// tcp makes a TCP socket by hand, so that it is made on the calling thread, and gives
// it to the net package.
func tcp(address string, listen bool) (net.Listener, net.Conn, error) {
	fd, err := unix.Socket(unix.AF_INET, unix.SOCK_STREAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return nil, nil, err
	}
	file := os.NewFile(uintptr(fd), address)
	defer file.Close()
	at := &unix.SockaddrInet4{Port: 1883, Addr: [4]byte(net.ParseIP(address).To4())}
	if !listen {
		if err := unix.Connect(fd, at); err != nil {
			return nil, nil, err
		}
		c, err := net.FileConn(file)
		return nil, c, err
	}
	if err := errors.Join(unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_REUSEADDR, 1), unix.Bind(fd, at), unix.Listen(fd, 8)); err != nil {
		return nil, nil, err
	}
	l, err := net.FileListener(file)
	return l, nil, err
}

// talk connects the gateway's place or the controller's with the broker's place.
func (b *bench) talk(from *space, address string) (broker, client net.Conn) {
	b.t.Helper()
	var ln net.Listener
	b.middle.inside(func() (err error) { ln, _, err = tcp(address, true); return err })
	defer ln.Close()
	from.inside(func() (err error) { _, client, err = tcp(address, false); return err })
	broker, err := ln.Accept()
	require.NoError(b.t, err)
	b.t.Cleanup(func() { _ = broker.Close(); _ = client.Close() })
	return broker, client
}

// arrives sends one byte and tells what became of it: "yes", "no" or "reset". What is
// wanted to come has all the time that a busy machine takes.
func arrives(t *testing.T, want string, from, to net.Conn) string {
	t.Helper()
	patience, forReset := 300*time.Millisecond, 50*time.Millisecond
	switch want {
	case "yes":
		patience = 10 * time.Second
	case "reset":
		forReset = 10 * time.Second
	}
	_, err := from.Write([]byte{1})
	require.NoError(t, err)
	require.NoError(t, to.SetReadDeadline(time.Now().Add(patience)))
	one := make([]byte, 1)
	_, err = to.Read(one)
	if err == nil {
		return "yes"
	}
	require.NoError(t, from.SetReadDeadline(time.Now().Add(forReset)))
	if _, err := from.Read(one); errors.Is(err, syscall.ECONNRESET) {
		return "reset"
	}
	return "no"
}

// TestCutsAreReal: each cut stops what it says and nothing else, and healing heals. A
// byte to the broker is one that the kernel at the other end did not get; with a way
// back only, it comes and is not acknowledged.
func TestCutsAreReal(t *testing.T) {
	if !needSpaces(t) {
		return
	}
	for _, c := range []struct {
		name           string
		begin          func(*bench) func()
		gwTo, gwFrom   string // of the gateway's link: to the broker, from the broker
		ctlTo, ctlFrom string
	}{
		{"none", func(*bench) func() { return func() {} }, "yes", "yes", "yes", "yes"},
		{"gateway both", rules("in iifname gw drop", "out oifname gw drop"), "no", "no", "yes", "yes"},
		{"gateway to", rules("in iifname gw drop"), "no", "yes", "yes", "yes"},
		{"gateway from", rules("out oifname gw drop"), "yes", "no", "yes", "yes"},
		{"gateway reset", reset("gw"), "reset", "reset", "yes", "yes"},
		{"controller both", rules("in iifname ctl drop", "out oifname ctl drop"), "yes", "yes", "no", "no"},
		{"controller to", rules("out oifname ctl drop"), "yes", "yes", "yes", "no"},
		{"controller from", rules("in iifname ctl drop"), "yes", "yes", "no", "yes"},
		{"all", rules("in iifname { gw, ctl } drop", "out oifname { gw, ctl } drop"), "no", "no", "no", "no"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			b := newLinks(t)
			gwBroker, gw := b.talk(b.gateway, brokerAtGateway)
			ctlBroker, ctl := b.talk(b.field, brokerAtController)
			heal := c.begin(b)
			require.Equal(t, c.gwTo, arrives(t, c.gwTo, gw, gwBroker), "from the gateway to the broker")
			if c.gwFrom != "reset" { // that connection is gone already
				require.Equal(t, c.gwFrom, arrives(t, c.gwFrom, gwBroker, gw), "from the broker to the gateway")
			}
			require.Equal(t, c.ctlTo, arrives(t, c.ctlTo, ctl, ctlBroker), "from the controller to the broker")
			require.Equal(t, c.ctlFrom, arrives(t, c.ctlFrom, ctlBroker, ctl), "from the broker to the controller")
			heal()
			for place, address := range map[*space]string{b.gateway: brokerAtGateway, b.field: brokerAtController} {
				broker, client := b.talk(place, address)
				require.Equal(t, "yes", arrives(t, "yes", client, broker), "healed")
				require.Equal(t, "yes", arrives(t, "yes", broker, client), "healed")
			}
		})
	}
}
