package netrig

import (
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

const (
	fieldRoot = "rillgate/bay-2/field/north/"
	// farthest is how far ahead a grant may reach, by the rules for controllers.
	farthest = 15 * time.Minute
)

// controller obeys by the rules of docs/topics.md, written anew for these tests: no
// code of the daemon stands in it. What its outputs do goes to `moved`.
type controller struct {
	boot   string
	began  time.Duration // on the machine's clock; uptime 0
	client mqtt.Client
	moved  func(move)
	kick   chan struct{}

	mu         sync.Mutex
	epoch, seq uint32
	outputs    []output
	low        []bool // by zone
}

type output struct {
	open   bool
	run    string
	shut   string // the last run that was closed
	opened time.Duration
	until  time.Duration
	timer  *time.Timer
}

// move is one thing that happened at an output, by the controller's own clock, which
// is the machine's.
type move struct {
	At     time.Duration `json:"at"`
	Output int           `json:"output"`
	Kind   string        `json:"kind"` // open, renew, close, deadline, late
	Run    string        `json:"run"`
	Ahead  time.Duration `json:"ahead"` // of a grant: how far its end lies ahead
}

// grant is a command as it comes.
type grant struct {
	Epoch, Seq uint32
	Run        string
	Open       bool
	Boot       string
	UntilMS    int64 `json:"until_ms"`
}

// noStore keeps nothing, so that no report is sent again by a later connection.
type noStore struct{}

func (noStore) Open()                             {}
func (noStore) Put(string, packets.ControlPacket) {}
func (noStore) Get(string) packets.ControlPacket  { return nil }
func (noStore) All() []string                     { return nil }
func (noStore) Del(string)                        {}
func (noStore) Close()                            {}
func (noStore) Reset()                            {}

// newController makes a controller with outputs 1 to n and connects it for good.
func newController(address string, n int, moved func(move)) *controller {
	word := make([]byte, 4)
	_, _ = rand.Read(word) // never fails
	c := &controller{boot: hex.EncodeToString(word), began: mono(), moved: moved, kick: make(chan struct{}, 1), outputs: make([]output, n+1), low: make([]bool, n)}
	o := mqtt.NewClientOptions().AddBroker("tcp://"+address).SetClientID("north").SetProtocolVersion(4).
		SetCleanSession(true).SetStore(noStore{}).SetOrderMatters(true).
		SetKeepAlive(3*time.Second).SetPingTimeout(2*time.Second).SetWriteTimeout(2*time.Second).
		SetConnectTimeout(2*time.Second).SetConnectRetry(true).SetConnectRetryInterval(500*time.Millisecond).
		SetAutoReconnect(true).SetMaxReconnectInterval(time.Second).
		SetBinaryWill(fieldRoot+"status", []byte("offline"), 1, true).
		SetOnConnectHandler(func(cl mqtt.Client) {
			cl.Subscribe(fieldRoot+"valve/+/command", 1, c.hear)
			cl.Publish(fieldRoot+"status", 1, true, "online")
			c.sayInputs()
			c.tell()
		})
	c.client = mqtt.NewClient(o)
	c.client.Connect()
	return c
}

func (c *controller) uptime() time.Duration { return mono() - c.began }

// input says whether a zone's supply is low now.
func (c *controller) input(zone int, low bool) {
	c.mu.Lock()
	c.low[zone] = low
	c.mu.Unlock()
	c.sayInput(zone, low)
}

func (c *controller) sayInput(zone int, low bool) {
	c.client.Publish(fmt.Sprintf("%sinput/low-%d", fieldRoot, zone), 1, true, fmt.Sprintf(`{"active":%t}`, low))
}

// sayInputs says all contacts anew, as is due at connect and every minute.
func (c *controller) sayInputs() {
	c.mu.Lock()
	all := slices.Clone(c.low)
	c.mu.Unlock()
	for zone, low := range all {
		c.sayInput(zone, low)
	}
}

// tell asks for a report soon.
func (c *controller) tell() {
	select {
	case c.kick <- struct{}{}:
	default:
	}
}

func (c *controller) hear(_ mqtt.Client, m mqtt.Message) {
	var g grant
	n, err := strconv.Atoi(strings.TrimSuffix(strings.TrimPrefix(m.Topic(), fieldRoot+"valve/"), "/command"))
	if m.Retained() || err != nil || n < 1 || n >= len(c.outputs) || json.Unmarshal(m.Payload(), &g) != nil {
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if g.Epoch < c.epoch || g.Epoch == c.epoch && g.Seq <= c.seq {
		return
	}
	c.epoch, c.seq = g.Epoch, g.Seq
	if g.Open {
		c.grant(n, g)
	} else {
		c.close(n, "close")
	}
	c.tell()
}

// grant opens or renews, or refuses what comes too late.
func (c *controller) grant(n int, g grant) {
	o := &c.outputs[n]
	until := time.Duration(g.UntilMS) * time.Millisecond
	ahead := until - c.uptime()
	if g.Boot != c.boot || ahead <= 0 || ahead > farthest || g.Run == o.shut {
		c.note(n, "late", g.Run, ahead)
		return
	}
	kind := "renew"
	if !o.open || o.run != g.Run {
		kind, o.opened = "open", mono()
	}
	if o.timer != nil {
		o.timer.Stop()
	}
	o.open, o.run, o.until = true, g.Run, until
	o.timer = time.AfterFunc(ahead, func() { c.expire(n) })
	c.note(n, kind, g.Run, ahead)
}

// expire closes at the deadline: a timer that no network code can hold up.
func (c *controller) expire(n int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	o := &c.outputs[n]
	if !o.open {
		return
	}
	if left := o.until - c.uptime(); left > 0 { // renewed while the timer fired
		o.timer = time.AfterFunc(left, func() { c.expire(n) })
		return
	}
	c.close(n, "deadline")
	c.tell()
}

func (c *controller) close(n int, kind string) {
	o := &c.outputs[n]
	if !o.open {
		return
	}
	o.open, o.shut = false, o.run
	c.note(n, kind, o.run, 0)
}

func (c *controller) note(n int, kind, run string, ahead time.Duration) {
	c.moved(move{At: mono(), Output: n, Kind: kind, Run: run, Ahead: ahead})
}

// serve reports after each kick and every 2 s, until stop closes.
func (c *controller) serve(stop <-chan struct{}) {
	every, contacts := time.NewTicker(2*time.Second), time.NewTicker(time.Minute)
	defer every.Stop()
	defer contacts.Stop()
	for {
		select {
		case <-stop:
			c.client.Disconnect(50)
			return
		case <-c.kick:
		case <-every.C:
		case <-contacts.C:
			if c.client.IsConnectionOpen() {
				c.sayInputs()
			}
		}
		if c.client.IsConnectionOpen() {
			c.client.Publish(fieldRoot+"report", 1, false, c.report())
		}
	}
}

func (c *controller) report() []byte {
	c.mu.Lock()
	defer c.mu.Unlock()
	b := fmt.Appendf(nil, `{"boot":"%s","uptime_ms":%d,"epoch":%d,"seq":%d,"outputs":{`, c.boot, c.uptime().Milliseconds(), c.epoch, c.seq)
	for n := 1; n < len(c.outputs); n++ {
		if n > 1 {
			b = append(b, ',')
		}
		b = fmt.Appendf(b, `"%d":{"open":%t`, n, c.outputs[n].open)
		if c.outputs[n].open {
			b = fmt.Appendf(b, `,"run":%q`, c.outputs[n].run)
		}
		b = append(b, '}')
	}
	return append(b, "}}"...)
}

// packOf is what one probe of a zone says: terminal and address by its number.
func packOf(probe int, moisture float64) string {
	return fmt.Sprintf(`[{"bn":"%d:%d:","n":"moisture","u":"/","v":%g},{"n":"ec","u":"S/m","v":0.18},{"n":"temperature","u":"Cel","v":22.1}]`,
		1+probe/10, probe%10, moisture)
}

// controllerMain is the controller as a process: one output, two probes that stay
// dry, its moves as lines on standard output, until standard input ends.
func controllerMain(address string) {
	out := json.NewEncoder(os.Stdout)
	c := newController(address, 1, func(m move) { _ = out.Encode(m) }) // who reads no more has ended
	stop := make(chan struct{})
	go func() {
		every := time.NewTicker(time.Second)
		for {
			select {
			case <-stop:
				return
			case <-every.C:
			}
			for probe := range 2 {
				if c.client.IsConnectionOpen() {
					c.client.Publish(fieldRoot+"readings", 0, false, packOf(probe, 0.30))
				}
			}
		}
	}()
	go func() {
		_, _ = io.Copy(io.Discard, os.Stdin)
		close(stop)
	}()
	c.serve(stop)
}
