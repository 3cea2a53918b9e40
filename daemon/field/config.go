package field

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"os"
	"strings"
	"time"
)

// Config says how to reach the broker and whose field topics to serve.
type Config struct {
	URL          string // mqtt://host[:1883] or mqtts://host[:8883]
	Username     string // "" = anonymous
	PasswordFile string // read at every connect, its last line break left out; "" = none
	TLS          TLSFiles
	Room         string // id of the room
	ClientID     string // what the client ids begin with; "" = "rillgate-<room>"
	Machine      string // what tells this machine from others, such as its machine id
	Will         *Will  // of the connection that carries state; nil = none

	// Mono gives the time stamped on arrivals; it must be safe for many goroutines.
	Mono func() time.Duration
	// Logger hears of connections that come and go; nil = nobody.
	Logger *slog.Logger

	times timings // zero = the defaults; tests shorten them
}

// TLSFiles are PEM files, read at every connect. CA is needed with mqtts://, for
// the system's own roots are not asked; Cert and Key come together or not at all.
type TLSFiles struct{ CA, Cert, Key string }

// Will is what the broker publishes when the connection breaks.
type Will struct {
	Topic    string
	Payload  []byte
	QoS      byte
	Retained bool
}

// timings are the waits of a connection.
type timings struct {
	connect     time.Duration // to dial, shake hands and be accepted
	answer      time.Duration // a subscription's, and the echo's way round
	write       time.Duration
	keepAlive   time.Duration // whole seconds
	ping        time.Duration
	retryFirst  time.Duration // between two attempts; doubles up to retryMost
	retryMost   time.Duration
	shortLived  time.Duration // a connection lost sooner may have been taken over
	commandLife time.Duration // an opening that waited longer to be sent is dropped
}

func defaultTimings() timings {
	return timings{
		connect: 10 * time.Second, answer: 5 * time.Second, write: 5 * time.Second,
		keepAlive: 15 * time.Second, ping: 5 * time.Second,
		retryFirst: 500 * time.Millisecond, retryMost: 5 * time.Second, // water is back within 15 s of a broker's return
		shortLived: 2 * time.Second, commandLife: time.Second,
	}
}

// endpoint is a checked URL.
type endpoint struct {
	host, port string
	tls        bool
}

func (e endpoint) address() string { return net.JoinHostPort(e.host, e.port) }

func parseURL(raw string) (endpoint, error) {
	u, err := url.Parse(raw)
	if err != nil {
		return endpoint{}, fmt.Errorf("read the broker's URL: %w", err)
	}
	e := endpoint{host: u.Hostname(), port: u.Port()}
	switch u.Scheme {
	case "mqtt":
		e.port = orElse(e.port, "1883")
	case "mqtts":
		e.port, e.tls = orElse(e.port, "8883"), true
	default:
		return endpoint{}, fmt.Errorf("read the broker's URL %q: mqtt:// or mqtts:// is due", raw)
	}
	switch {
	case u.User != nil:
		return endpoint{}, errors.New("read the broker's URL: user and password do not belong there; use username and password_file")
	case e.host == "":
		return endpoint{}, fmt.Errorf("read the broker's URL %q: it names no host", raw)
	case strings.Trim(u.Path, "/") != "" || u.RawQuery != "" || u.Fragment != "":
		return endpoint{}, fmt.Errorf("read the broker's URL %q: nothing may follow host and port", raw)
	}
	return e, nil
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// check finds what would fail for ever, so that it is told at once.
func (c *Config) check() (endpoint, error) {
	e, err := parseURL(c.URL)
	if err != nil {
		return e, err
	}
	if !ValidID(c.Room) {
		return e, fmt.Errorf("use room id %q in topics: 1 to 32 of a-z, 0-9 and - are due", c.Room)
	}
	if c.Mono == nil {
		return e, errors.New("dial the broker: a clock for arrivals is missing")
	}
	if !e.tls && c.TLS != (TLSFiles{}) {
		return e, fmt.Errorf("dial the broker: tls files are given, but %q is not encrypted; use mqtts://", c.URL)
	}
	if e.tls {
		if _, err := c.TLS.load(e.host); err != nil {
			return e, err
		}
	}
	_, err = c.password()
	return e, err
}

func (c *Config) password() (string, error) {
	if c.PasswordFile == "" {
		return "", nil
	}
	text, err := os.ReadFile(c.PasswordFile)
	if err != nil {
		return "", fmt.Errorf("read the broker's password: %w", err)
	}
	s, _ := strings.CutSuffix(string(text), "\n")
	s, _ = strings.CutSuffix(s, "\r")
	return s, nil
}

// clientID names one connection of one room on one machine, so that neither a
// second room nor the other connection takes it over.
func (c *Config) clientID(role string) string {
	sum := sha256.Sum256([]byte(c.Machine + "\x00" + c.Room))
	first := c.ClientID
	if first == "" {
		first = "rillgate-" + c.Room
	}
	return first + "-" + role + "-" + hex.EncodeToString(sum[:4])
}
