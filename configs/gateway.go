package configs

import (
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v4"
)

// Gateway is what gateway.yaml says, with the defaults put in.
type Gateway struct {
	Broker       Broker
	Username     string
	PasswordFile string // absolute; "" = no password
	ClientID     string // what the client ids begin with; "" = chosen by the daemon
	TLS          TLS
	Lease        time.Duration
	Clock        ClockTrust
	Homie        Homie
	Page         Page
	History      History
}

// Broker is where the broker listens.
type Broker struct {
	URL  string // as written
	TLS  bool   // mqtts
	Host string
	Port int
}

// TLS names certificate files, absolute; "" = not given.
type TLS struct{ CA, Cert, Key string }

// ClockTrust says when windows may start by the wall clock.
type ClockTrust string

// The degrees of trust in the clock.
const (
	ClockPlausible    ClockTrust = "plausible"
	ClockSynchronised ClockTrust = "synchronised"
)

// Homie says what is published for other tools, and the orders taken from them.
type Homie struct {
	Enabled bool
	Root    string
	Orders  []string // of stop, hold, shot
}

// Page is the status page; Listen "" = none.
type Page struct{ Listen string }

// History says how long readings are kept.
type History struct{ Keep time.Duration }

// readGateway reads gateway.yaml and puts the defaults in.
func readGateway(s *source, root *yaml.Node) Gateway {
	t := s.readTable(root, gatewayShape)
	mqtt := t.table("mqtt")
	broker := read(mqtt, "broker", parseBroker)
	g := Gateway{Broker: broker.v, Username: mqtt.label("username").v, PasswordFile: read(mqtt, "password_file", parsePath).v,
		ClientID: read(mqtt, "client_id", parsePattern).v,
		Lease:    t.duration("lease").or(30 * time.Second),
		Clock:    ClockTrust(t.table("clock").word("trust").or(string(ClockPlausible))),
		Homie:    readHomie(t.table("publish").table("homie")),
		History:  History{t.table("history").duration("keep").or(90 * 24 * time.Hour)}}
	g.TLS = readTLS(mqtt.table("tls"), broker)
	listen := read(t.table("page"), "listen", parseListen)
	g.Page.Listen = listen.v
	warnExposed(listen)
	if mqtt.has("password_file") && !mqtt.has("username") {
		mqtt.keyAt["password_file"].fail(CodeConflict, "add `username: gateway`, or remove the password", "a password without a username")
	}
	return g
}

func readTLS(t *table, broker item[Broker]) TLS {
	out := TLS{read(t, "ca", parsePath).v, read(t, "cert", parsePath).v, read(t, "key", parsePath).v}
	switch {
	case t.given && broker.ok && !broker.v.TLS:
		t.at.fail(CodeConflict, "write mqtts:// in `broker`, or remove `tls`", "`tls` with a broker that is reached without it")
	case broker.ok && broker.v.TLS && !t.has("ca"):
		broker.at.fail(CodeMissing, "name who may sign the broker's certificate, such as tls: {ca: /etc/rillgate/ca.pem}", "mqtts:// without a `ca`: the system's own authorities are not asked")
	}
	if t.has("cert") != t.has("key") {
		t.at.fail(CodeConflict, "a certificate and its key go together", "`cert` and `key`: only one of the two is given")
	}
	return out
}

func readHomie(t *table) Homie {
	h := Homie{Enabled: t.boolean("enabled").or(true), Root: read(t, "root", parsePattern).or("homie"), Orders: []string{"stop", "hold"}}
	if !t.has("orders") {
		return h
	}
	h.Orders = []string{}
	elements, _ := t.list("orders")
	seen := map[string]bool{}
	for _, n := range elements {
		o := readNode(t.src, n, word{"stop", "hold", "shot"}, parseWord)
		if o.ok && seen[o.v] {
			o.at.fail(CodeDuplicate, "remove one of the two", "`%s` stands twice in `orders`", o.v)
		} else if o.ok {
			h.Orders = append(h.Orders, o.v)
		}
		seen[o.v] = true
	}
	return h
}

// brokerPorts are the ports that the schemes stand for.
var brokerPorts = map[string]int{"mqtt": 1883, "mqtts": 8883}

// parseBroker reads mqtt://host:port or mqtts://host:port.
func parseBroker(n *yaml.Node, _ kind) (Broker, *fault) {
	v := n.Value
	bad := func(hint, format string, args ...any) (Broker, *fault) {
		return Broker{}, &fault{CodeText, fmt.Sprintf(format, args...), hint}
	}
	u, err := url.Parse(v)
	if err != nil || u.Host == "" && u.Scheme == "" || u.Opaque != "" {
		return bad(`write mqtt://HOST:PORT: "mqtt://127.0.0.1:1883"`, "`%s` is no broker's URL", shorten(withoutSecret(v)))
	}
	port, known := brokerPorts[u.Scheme]
	switch {
	case !known:
		return bad("write mqtt:// or, with TLS, mqtts://", "`%s://` is no way to reach a broker", shorten(u.Scheme))
	case u.User != nil:
		return bad("write `username` and `password_file` beside it: a password is never written here", "the broker's URL has a name or password in it")
	case u.Path != "" && u.Path != "/" || u.RawQuery != "" || u.Fragment != "":
		return bad(`write mqtt://HOST:PORT: "mqtt://127.0.0.1:1883"`, "the broker's URL goes on after its port")
	case u.Hostname() == "":
		return bad(`write mqtt://HOST:PORT: "mqtt://127.0.0.1:1883"`, "the broker's URL names no host")
	}
	if u.Port() != "" {
		p, err := strconv.Atoi(u.Port())
		if err != nil || p < 1 || p > 65535 {
			return bad("ports run from 1 to 65535; MQTT's own is 1883, with TLS 8883", "`%s` is no port", shorten(u.Port()))
		}
		port = p
	}
	return Broker{URL: v, TLS: u.Scheme == "mqtts", Host: u.Hostname(), Port: port}, nil
}

// withoutSecret keeps what may be a password out of messages.
func withoutSecret(v string) string {
	if i := strings.LastIndex(v, "@"); i >= 0 {
		return "..." + v[i:]
	}
	return v
}

func parsePath(n *yaml.Node, k kind) (string, *fault) {
	if !strings.HasPrefix(n.Value, "/") || clean(n.Value) != n.Value {
		return "", &fault{CodeText, fmt.Sprintf("`%s` is no absolute path", shorten(n.Value)), "write the whole path, for example /etc/rillgate/mqtt.password"}
	}
	return n.Value, nil
}

// parsePattern reads a text whose form is all that matters.
func parsePattern(n *yaml.Node, k kind) (string, *fault) {
	p, _ := k.(pattern)
	if !regexp.MustCompile(p.regexp).MatchString(n.Value) {
		return "", &fault{CodeText, fmt.Sprintf("`%s` is not %s", shorten(n.Value), p.name), p.hint()}
	}
	return n.Value, nil
}

// parseListen reads HOST:PORT.
func parseListen(n *yaml.Node, _ kind) (string, *fault) {
	host, port, err := net.SplitHostPort(n.Value)
	if err != nil || host == "" {
		return "", &fault{CodeText, fmt.Sprintf("`%s` is no address with a port", shorten(n.Value)), "write both: 127.0.0.1:8480"}
	}
	if p, err := strconv.Atoi(port); err != nil || p < 0 || p > 65535 {
		return "", &fault{CodeRange, fmt.Sprintf("`%s` is no port", shorten(port)), "write both: 127.0.0.1:8480"}
	}
	if _, err := netip.ParseAddr(host); err != nil && host != "localhost" {
		return "", &fault{CodeText, fmt.Sprintf("`%s` is no address", shorten(host)), "write an address of this machine: 127.0.0.1:8480"}
	}
	return n.Value, nil
}

// warnExposed: the page asks nobody for a password.
func warnExposed(listen item[string]) {
	if !listen.ok {
		return
	}
	host, _, _ := net.SplitHostPort(listen.v)
	if a, err := netip.ParseAddr(host); err == nil && !a.IsLoopback() {
		listen.at.warn(CodeExposed, "listen on 127.0.0.1 and put something that asks for a password before it", "everyone who reaches `%s` can read the page", listen.v)
	}
}
