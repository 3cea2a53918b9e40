package deploy_test

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker/realbroker"
	"rillgate/daemon/publish"
	"rillgate/zones"
)

// changed replaces what must stand exactly once.
func changed(t *testing.T, text, old, new string) string {
	t.Helper()
	require.Equal(t, 1, strings.Count(text, old), "%q in mosquitto.conf", old)
	return strings.Replace(text, old, new, 1)
}

func freePort(t *testing.T) int {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer ln.Close()
	return ln.Addr().(*net.TCPAddr).Port
}

// passwords makes the file as README.md says.
func passwords(t *testing.T, path string) {
	t.Helper()
	program := "mosquitto_passwd"
	if _, err := exec.LookPath(program); err != nil {
		require.NotEqual(t, "1", os.Getenv("RILLGATE_REQUIRE_TOOLS"), "mosquitto_passwd is missing")
		t.Skip("mosquitto_passwd is not installed")
	}
	require.NoError(t, os.WriteFile(path, nil, 0o600))
	for _, name := range names {
		out, err := exec.Command(program, "-b", path, name, name).CombinedOutput()
		require.NoError(t, err, string(out))
	}
}

// installed runs mosquitto as a distribution does: a main file that persists and takes
// in a folder, where mosquitto.conf of this folder lies. Only addresses, ports and paths
// are changed. It gives the loopback listener, that of the room's network, and the
// folder that a persistent broker would write to.
func installed(t *testing.T) (loopback, network, state string, b *realbroker.Broker) {
	t.Helper()
	dir, port := t.TempDir(), freePort(t)
	text, err := os.ReadFile("mosquitto.conf")
	require.NoError(t, err)
	conf := changed(t, string(text), "listener 1883 127.0.0.1\n", "") // the options of that listener fall to realbroker's
	conf = changed(t, conf, "#listener 1883 192.0.2.10\n#use_username_as_clientid true\n",
		fmt.Sprintf("listener %d 127.0.0.1\nuse_username_as_clientid true\n", port))
	conf = changed(t, conf, "/etc/mosquitto/rillgate.passwd", filepath.Join(dir, "passwd"))
	conf = changed(t, conf, "/etc/mosquitto/rillgate.acl", filepath.Join(dir, "acl"))
	passwords(t, filepath.Join(dir, "passwd"))
	rules, err := os.ReadFile("mosquitto.acl")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "acl"), append(rules, "\npattern readwrite marks/%u\n"...), 0o600))
	require.NoError(t, os.MkdirAll(filepath.Join(dir, "conf.d"), 0o700))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "conf.d", "rillgate.conf"), []byte(conf), 0o600))
	state = filepath.Join(dir, "state")
	require.NoError(t, os.MkdirAll(state, 0o700))
	b = realbroker.Start(t, realbroker.Options{Extra: fmt.Sprintf("persistence true\npersistence_location %s/\ninclude_dir %s", state, filepath.Join(dir, "conf.d"))})
	return b.URL(), fmt.Sprintf("mqtt://127.0.0.1:%d", port), state, b
}

func TestTheConfigurationHolds(t *testing.T) {
	t.Parallel()
	loopback, network, state, b := installed(t)
	for _, broker := range []string{loopback, network} {
		_, err := meet(t, options(broker, "", "nobody"))
		require.Error(t, err, "without a name")
		_, err = meet(t, options(broker, "gateway", "nobody").SetPassword("wrong"))
		require.Error(t, err, "with a wrong password")
	}

	// The gateway's two connections stand side by side on loopback. On the network
	// nobody takes a client id over: the name is the id.
	commands, readings := known(t, loopback, "gateway", "rillgate-commands"), known(t, loopback, "gateway", "rillgate-readings")
	operator := known(t, network, "operator", "rillgate-commands")
	operator.settled("operator")
	commands.settled("gateway")
	readings.settled("gateway")
	first := known(t, network, "north", "one-id")
	known(t, network, "north", "another-id")
	<-first.lost

	// 64 KiB arrive; what is over the bound cuts its sender off and arrives nowhere.
	south := known(t, network, "south", "south")
	readings.ask("rillgate/bay-2/field/+/readings")
	south.say("rillgate/bay-2/field/south/readings", false, strings.Repeat("x", 64<<10))
	got := readings.settled("gateway")
	require.Len(t, got, 1)
	require.Len(t, got[0].payload, 64<<10)
	south.client.Publish("rillgate/bay-2/field/south/readings", 0, false, strings.Repeat("x", 300<<10))
	select {
	case <-south.lost:
	case <-time.After(soon):
		require.Fail(t, "a packet of 300 KiB did not cut its sender off")
	}
	require.Empty(t, readings.settled("gateway"))

	// Nothing is kept over a restart, whatever the main file says.
	readings.say("rillgate/bay-2/alarms", true, "[]")
	b.Stop()
	files, err := os.ReadDir(state)
	require.NoError(t, err)
	require.Empty(t, files)
	b.Restart()
	reader := known(t, loopback, "reader", "reader")
	reader.ask("rillgate/bay-2/alarms")
	require.Empty(t, reader.settled("reader"))
}

// TestTheDescriptionFits: the largest thing that the gateway publishes, for a room at
// the edge of what one box serves, stays under the broker's bound.
func TestTheDescriptionFits(t *testing.T) {
	text, err := os.ReadFile("mosquitto.conf")
	require.NoError(t, err)
	bound := regexp.MustCompile(`(?m)^max_packet_size (\d+)$`).FindStringSubmatch(string(text))
	require.NotNil(t, bound)
	var most int
	_, err = fmt.Sscan(bound[1], &most)
	require.NoError(t, err)

	view := zones.View{Room: "bay-2", Name: "Bay 2"}
	for i := range 24 {
		view.Zones = append(view.Zones, zones.ZoneView{ID: fmt.Sprintf("zone-with-a-long-name-%02d", i), Name: strings.Repeat("n", 64)})
		view.Valves = append(view.Valves, zones.ValveView{ID: fmt.Sprintf("valve-with-a-long-name-%02d", i)})
	}
	const probes = 200
	for i := range probes {
		view.Probes = append(view.Probes, zones.ProbeView{ID: fmt.Sprintf("probe-with-a-long-name-%03d", i), Label: strings.Repeat("l", 64), InFiles: true})
	}
	wire := &sizes{}
	now := time.Duration(0)
	p := publish.New(publish.Config{Homie: true, Root: "homie", Room: "bay-2",
		Clock: func() (time.Time, time.Duration) { now += 5 * time.Second; return time.Unix(1830000000, 0), now }}, wire)
	for range 3 {
		p.Update(&publish.Snapshot{View: view})
	}
	require.NotZero(t, wire.description)
	require.Less(t, wire.description+1024, most, "%d probes", probes)
	t.Logf("%d bytes for %d probes and %d zones", wire.description, probes, len(view.Zones))
}

// sizes is a wire that takes everything and remembers how long the description was.
type sizes struct{ description int }

func (*sizes) Up() bool                                                     { return true }
func (*sizes) Subscribe(string, byte, func(topic string, _ []byte, _ bool)) {}
func (s *sizes) Publish(topic string, _ byte, _ bool, payload []byte) bool {
	if strings.HasSuffix(topic, "/$description") {
		s.description = len(payload)
	}
	return true
}
