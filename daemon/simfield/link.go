package simfield

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	"rillgate/zones"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// link is the connection of one controller.
type link struct {
	field *Field
	id    string
	root  string // rillgate/<room>/field/<controller>/

	mu     sync.Mutex
	client mqtt.Client
	conn   net.Conn
	wanted bool          // on the air
	turn   int           // counts the times it came on the air
	up     chan struct{} // closed when it is subscribed, of this turn
	ups    int           // connections that were subscribed
	known  int           // of those, how many the room knows of
	marks  map[string]chan struct{}
	next   int
}

func newLink(f *Field, id string) *link {
	return &link{field: f, id: id, root: "rillgate/" + f.room + "/field/" + id + "/", marks: map[string]chan struct{}{}}
}

var errOffAir = errors.New("the controller is off the air")

// connect puts the controller on the broker, if it is not, and waits until it is
// subscribed.
func (l *link) connect(ctx context.Context) error {
	l.mu.Lock()
	if !l.wanted {
		l.wanted = true
		l.turn++
		l.up = make(chan struct{})
		l.client = mqtt.NewClient(l.clientOptions(l.turn, l.up))
		l.client.Connect()
	}
	up := l.up
	l.mu.Unlock()
	ctx, cancel := context.WithTimeout(ctx, l.field.options.Patience)
	defer cancel()
	select {
	case <-up:
	case <-ctx.Done():
		return fmt.Errorf("connect controller %s to the broker at %s: %w", l.id, l.field.address, ctx.Err())
	}
	l.mu.Lock()
	l.known = l.ups // what it says on the air is said by the room itself
	l.mu.Unlock()
	return nil
}

func (l *link) clientOptions(turn int, up chan struct{}) *mqtt.ClientOptions {
	o := l.field.options
	var once sync.Once
	return mqtt.NewClientOptions().AddBroker("tcp://"+l.field.address).
		SetClientID(o.ClientID+"-"+l.id).SetUsername(o.Username).SetPassword(o.Password).
		SetProtocolVersion(4).SetCleanSession(true).SetStore(noStore{}).SetOrderMatters(true).
		SetAutoReconnect(true).SetMaxReconnectInterval(2*time.Second).
		SetConnectRetry(true).SetConnectRetryInterval(500*time.Millisecond).
		SetConnectTimeout(5*time.Second).SetWriteTimeout(5*time.Second).
		SetKeepAlive(10*time.Second).SetPingTimeout(5*time.Second).
		SetBinaryWill(l.root+"status", encodeStatus(false), 1, true).
		SetDefaultPublishHandler(l.receive).
		SetCustomOpenConnectionFn(func(_ *url.URL, o mqtt.ClientOptions) (net.Conn, error) { return l.open(turn, o.ConnectTimeout) }).
		SetOnConnectHandler(func(c mqtt.Client) {
			if l.subscribe(c, turn) {
				once.Do(func() { close(up) })
				l.field.nudge()
			}
		})
}

// open dials the broker, in this turn on the air only: a client of an earlier one that
// still tries must not take the connection of its successor.
func (l *link) open(turn int, within time.Duration) (net.Conn, error) {
	conn, err := net.DialTimeout("tcp", l.field.address, within)
	if err != nil {
		return nil, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.wanted || l.turn != turn {
		return nil, errors.Join(errOffAir, conn.Close())
	}
	l.conn = conn
	return conn, nil
}

// subscribe asks for the controller's commands and its mark. A connection that cannot
// have them is dropped, to be tried anew.
func (l *link) subscribe(c mqtt.Client, turn int) bool {
	token := c.SubscribeMultiple(map[string]byte{l.root + "valve/+/command": 1, l.root + "echo": 1}, nil)
	done := token.WaitTimeout(l.field.options.Patience) && token.Error() == nil
	if done {
		for _, granted := range token.(*mqtt.SubscribeToken).Result() {
			done = done && granted <= 2
		}
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.turn != turn {
		return false
	}
	if !done {
		if l.conn != nil {
			_ = l.conn.Close() // paho finds it lost and tries anew
		}
		return false
	}
	l.ups++
	return true
}

// returned reports, once, that a lost connection came back.
func (l *link) returned() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	back := l.wanted && l.known > 0 && l.ups > l.known
	if back {
		l.known = l.ups
	}
	return back
}

// receive is called for every message, in order. It never blocks.
func (l *link) receive(_ mqtt.Client, m mqtt.Message) {
	rest, ok := strings.CutPrefix(m.Topic(), l.root)
	if !ok {
		return
	}
	if rest == "echo" {
		l.marked(string(m.Payload()))
		return
	}
	number, isCommand := strings.CutSuffix(strings.TrimPrefix(rest, "valve/"), "/command")
	n, err := strconv.Atoi(number)
	switch {
	case !isCommand || err != nil:
		l.field.take(arrived{err: fmt.Errorf("%w: topic %s", errCommand, m.Topic())})
	case m.Retained():
		l.field.take(arrived{err: errRetained})
	default:
		cmd, err := decodeCommand(zones.Output{Controller: l.id, Number: n}, m.Payload())
		l.field.take(arrived{cmd, err})
	}
}

// publish hands a message to the connection, if there is one.
func (l *link) publish(m message) bool {
	l.mu.Lock()
	c := l.client
	ready := l.wanted && c != nil && c.IsConnectionOpen()
	l.mu.Unlock()
	if !ready {
		return false
	}
	token := c.Publish(m.topic, m.qos, m.retained, m.payload)
	select {
	case <-token.Done():
		return token.Error() == nil
	default:
		return true // under way
	}
}

// drop ends the connection without a word. With await it returns once the broker has
// published the will.
func (l *link) drop(ctx context.Context, await bool) error {
	var will <-chan struct{}
	if await {
		w, err := l.watch(ctx)
		if err != nil {
			return err
		}
		defer w.client.Disconnect(100)
		will = w.seen
	}
	l.mu.Lock()
	c := l.client
	l.wanted = false
	if l.conn != nil {
		_ = l.conn.Close() // it is meant to be broken
	}
	l.mu.Unlock()
	if c != nil {
		c.Disconnect(0)
	}
	if !await || c == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, l.field.options.Patience)
	defer cancel()
	select {
	case <-will:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("await the will of controller %s: %w", l.id, ctx.Err())
	}
}

// leave says `offline` and disconnects as it should be.
func (l *link) leave() {
	l.mu.Lock()
	c, was := l.client, l.wanted
	l.wanted = false
	l.mu.Unlock()
	if c == nil {
		return
	}
	if was && c.IsConnectionOpen() {
		_ = finish(context.Background(), c.Publish(l.root+"status", 1, true, encodeStatus(false)), time.Second) // its last word; who is gone cannot mend it
	}
	c.Disconnect(100)
}
