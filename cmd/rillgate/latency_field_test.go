package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
	"github.com/stretchr/testify/require"
)

// bareBroker names the variable that turns this test program into the bare client.
const bareBroker = "RILLGATE_BARE_BROKER"

// The two sides have a root of topics each, so that neither hears the other's readings.
const (
	gatewayRoot = "rillgate/bay-2/field/north/"
	bareRoot    = "rillgate/bare/field/north/"
)

// bareMain is the other side: a plain client that decodes each reading and answers
// those beyond a level with a command, at once. It ends with its standard input.
func bareMain() {
	url := os.Getenv(bareBroker)
	if url == "" {
		return
	}
	seq := 0
	o := mqtt.NewClientOptions().AddBroker(url).SetClientID("bare").SetProtocolVersion(4).SetCleanSession(true)
	c := mqtt.NewClient(o)
	answer := func(c mqtt.Client, m mqtt.Message) {
		var pack []struct {
			BN string  `json:"bn"`
			V  float64 `json:"v"`
		}
		if json.Unmarshal(m.Payload(), &pack) != nil || len(pack) == 0 {
			return
		}
		v := pack[0].V
		if v >= benchBelow && v < benchWet {
			return
		}
		terminal, address, _ := strings.Cut(strings.TrimSuffix(pack[0].BN, ":"), ":")
		t, _ := strconv.Atoi(terminal)
		a, _ := strconv.Atoi(address)
		seq++
		text := fmt.Sprintf(`{"epoch":1,"seq":%d,"run":"r-1-%d","open":false}`, seq, seq)
		if v < benchBelow {
			text = fmt.Sprintf(`{"epoch":1,"seq":%d,"run":"r-1-%d","open":true,"boot":"9f31c2d4","until_ms":%d}`, seq, seq, 3_600_000+seq)
		}
		c.Publish(fmt.Sprintf("%svalve/%d/command", bareRoot, ((t-1)*10+a)/2+1), 1, false, text)
	}
	for _, begin := range []func() mqtt.Token{c.Connect, func() mqtt.Token { return c.Subscribe(bareRoot+"readings", 0, answer) }} {
		if t := begin(); !t.WaitTimeout(10*time.Second) || t.Error() != nil {
			fmt.Println("the bare client is not connected:", t.Error())
			os.Exit(1)
		}
	}
	fmt.Println("ready")
	_, _ = os.Stdin.Read(make([]byte, 1)) // to its end
	os.Exit(0)
}

// startBare runs the bare client in a process of its own until the test ends.
func startBare(t *testing.T, url string) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), bareBroker+"="+url)
	stdin, err := cmd.StdinPipe()
	require.NoError(t, err)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		require.NoError(t, stdin.Close())
		require.NoError(t, cmd.Wait())
	})
	var word string
	_, err = fmt.Fscan(out, &word)
	require.NoError(t, err)
	require.Equal(t, "ready", word)
}

// rawReadings publishes readings over a plain connection: no client library stands
// between the clock and the wire.
type rawReadings struct{ conn net.Conn }

func newRawReadings(t *testing.T, url, id string) *rawReadings {
	t.Helper()
	conn, err := net.Dial("tcp", strings.TrimPrefix(url, "tcp://"))
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	hello := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	hello.ProtocolName, hello.ProtocolVersion, hello.CleanSession, hello.ClientIdentifier = "MQTT", 4, true, id
	require.NoError(t, hello.Write(conn))
	answer, err := packets.ReadPacket(conn)
	require.NoError(t, err)
	require.Equal(t, byte(packets.Accepted), answer.(*packets.ConnackPacket).ReturnCode)
	return &rawReadings{conn: conn}
}

// readingPacket is one reading of a probe, three values as a controller sends them.
func readingPacket(t *testing.T, root string, probe int, moisture float64) []byte {
	t.Helper()
	m := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	m.TopicName = root + "readings"
	m.Payload = fmt.Appendf(nil, `[{"bn":"%d:%d:","n":"moisture","u":"/","v":%g},{"n":"ec","u":"S/m","v":0.18},{"n":"temperature","u":"Cel","v":22.1}]`,
		1+probe/10, probe%10, moisture)
	var b bytes.Buffer
	require.NoError(t, m.Write(&b))
	return b.Bytes()
}

// benchController obeys commands of one side, reports at once, and tells when each
// command was seen.
type benchController struct {
	client mqtt.Client
	root   string
	began  time.Time
	seen   func(output int, open bool, at time.Time)
	kick   chan struct{}

	mu         sync.Mutex
	epoch, seq uint32
	open       []bool
	runs       []string
}

const benchBoot = "9f31c2d4"

func newBenchController(t *testing.T, url, id, root string, outputs int, seen func(int, bool, time.Time)) *benchController {
	t.Helper()
	k := &benchController{root: root, began: time.Now().Add(-time.Hour), seen: seen, kick: make(chan struct{}, 1),
		open: make([]bool, outputs+1), runs: make([]string, outputs+1)}
	k.client = mqtt.NewClient(mqtt.NewClientOptions().AddBroker(url).SetClientID(id).SetProtocolVersion(4).SetCleanSession(true))
	for _, begin := range []func() mqtt.Token{k.client.Connect, func() mqtt.Token { return k.client.Subscribe(root+"valve/+/command", 1, k.obey) }} {
		token := begin()
		require.True(t, token.WaitTimeout(10*time.Second))
		require.NoError(t, token.Error())
	}
	k.client.Publish(root+"status", 1, true, "online")
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		k.report(t.Context().Done())
	}()
	t.Cleanup(func() {
		<-ended
		k.client.Disconnect(50)
	})
	return k
}

// obey acts on a higher (epoch, seq) than the last.
func (k *benchController) obey(_ mqtt.Client, m mqtt.Message) {
	at := time.Now()
	var c command
	output, err := strconv.Atoi(strings.TrimSuffix(strings.TrimPrefix(m.Topic(), k.root+"valve/"), "/command"))
	if err != nil || json.Unmarshal(m.Payload(), &c) != nil || output >= len(k.open) {
		return
	}
	k.mu.Lock()
	if c.Epoch > k.epoch || c.Epoch == k.epoch && c.Seq > k.seq {
		k.epoch, k.seq, k.open[output], k.runs[output] = c.Epoch, c.Seq, c.Open, c.Run
	}
	k.mu.Unlock()
	k.seen(output, c.Open, at)
	select {
	case k.kick <- struct{}{}:
	default:
	}
}

// report reports after commands, and every 2 s without.
func (k *benchController) report(end <-chan struct{}) {
	every := time.NewTicker(2 * time.Second)
	defer every.Stop()
	for {
		select {
		case <-end:
			return
		case <-k.kick:
		case <-every.C:
		}
		k.client.Publish(k.root+"report", 1, false, k.text())
	}
}

func (k *benchController) text() []byte {
	k.mu.Lock()
	defer k.mu.Unlock()
	b := fmt.Appendf(nil, `{"boot":"%s","uptime_ms":%d,"epoch":%d,"seq":%d,"outputs":{`, benchBoot, time.Since(k.began).Milliseconds(), k.epoch, k.seq)
	for i := 1; i < len(k.open); i++ {
		if i > 1 {
			b = append(b, ',')
		}
		b = fmt.Appendf(b, `"%d":{"open":%t`, i, k.open[i])
		if k.runs[i] != "" {
			b = fmt.Appendf(b, `,"run":%q`, k.runs[i])
		}
		b = append(b, '}')
	}
	return append(b, "}}"...)
}
