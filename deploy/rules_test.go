package deploy_test

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker/realbroker"
)

// The names of a room. `north` and `south` are controllers, `guest` has a password
// and no rule of its own.
var names = []string{"gateway", "north", "south", "probe", "reader", "operator", "guest"}

// What each name may do on each topic: w to write (live, retained, and as a will),
// r to hear (live and retained). Written from the project's topics, not from the rules.
const matrix = `
topic                                       gateway north south probe reader operator guest
rillgate/bay-2/field/north/status           r       w     -     -     -      -        -
rillgate/bay-2/field/north/readings         r       w     -     -     -      -        -
rillgate/bay-2/field/north/report           r       w     -     -     -      -        -
rillgate/bay-2/field/north/input/tank-low   r       w     -     -     -      -        -
rillgate/bay-2/field/north/valve/1/command  rw      r     -     -     -      -        -
rillgate/bay-2/field/south/status           r       -     w     -     -      -        -
rillgate/bay-2/field/south/readings         r       -     w     -     -      -        -
rillgate/bay-2/field/south/report           r       -     w     -     -      -        -
rillgate/bay-2/field/south/input/leak       r       -     w     -     -      -        -
rillgate/bay-2/field/south/valve/8/command  rw      -     r     -     -      -        -
rillgate/bay-2/field/air/status             r       -     -     -     -      -        -
rillgate/bay-2/field/air/readings           r       -     -     w     -      -        -
rillgate/bay-2/field/air/report             r       -     -     -     -      -        -
rillgate/bay-2/field/air/input/door         r       -     -     -     -      -        -
rillgate/bay-2/field/air/valve/1/command    rw      -     -     -     -      -        -
rillgate/bay-2/field/guest/readings         r       -     -     -     -      -        w
rillgate/bay-2/field/guest/report           r       -     -     -     -      -        w
rillgate/bay-2/field/guest/valve/1/command  rw      -     -     -     -      -        r
rillgate/bay-2/field/north/valve/1          -       -     -     -     -      -        -
rillgate/bay-2/field/north/valve/1/command/x -      -     -     -     -      -        -
rillgate/bay-2/field/north/input            -       -     -     -     -      -        -
rillgate/bay-2/field/north/echo             -       -     -     -     -      -        -
rillgate/bay-2/field/north                  -       -     -     -     -      -        -
rillgate/bay-2/gateway/echo                 rw      -     -     -     -      -        -
rillgate/bay-2/gateway/mark                 -       -     -     -     -      -        -
rillgate/bay-2/alarms                       w       -     -     -     r      r        -
rillgate/bay-2/alarms/more                  -       -     -     -     -      -        -
rillgate/bay-2/journal                      w       -     -     -     r      r        -
rillgate/bay-2/walk                         w       -     -     -     r      r        -
homie/5/bay-2/$state                        rw      -     -     -     r      r        -
homie/5/bay-2/$description                  rw      -     -     -     r      r        -
homie/5/bay-2/$alert/dry-east               rw      -     -     -     r      r        -
homie/5/bay-2/gateway/stop                  w       -     -     -     r      r        -
homie/5/bay-2/gateway/answer                w       -     -     -     r      r        -
homie/5/bay-2/zone-east/moisture            w       -     -     -     r      r        -
homie/5/bay-2/zone-east/shot                w       -     -     -     r      r        -
homie/5/bay-2/valve-east/open               w       -     -     -     r      r        -
homie/5/bay-2/valve-east/open/$target       w       -     -     -     r      r        -
homie/5/bay-2/probe-e1/quality              w       -     -     -     r      r        -
homie/5/bay-2/gateway/stop/set              r       -     -     -     r      rw       -
homie/5/bay-2/zone-east/hold/set            r       -     -     -     r      rw       -
homie/5/bay-2/zone-east/shot/set            r       -     -     -     r      rw       -
homie/5/bay-2/set                           -       -     -     -     r      r        -
homie/5/bay-2/zone-east/hold/set/set        -       -     -     -     r      r        -
homie/5/bay-3/gateway/stop/set              -       -     -     -     -      -        -
homie/5/bay-3/$state                        -       -     -     -     -      -        -
rillgate/bay-3/field/north/readings         -       -     -     -     -      -        -
rillgate/bay-3/field/north/valve/1/command  -       -     -     -     -      -        -
rillgate/bay-3/alarms                       -       -     -     -     -      -        -
somewhere/else                              -       -     -     -     -      -        -
`

// table is the matrix, read.
type table struct {
	topics []string
	may    map[string]map[string]string // name -> topic -> letters
}

func readMatrix(t *testing.T) table {
	t.Helper()
	lines := strings.Split(strings.TrimSpace(matrix), "\n")
	require.Equal(t, append([]string{"topic"}, names...), strings.Fields(lines[0]))
	m := table{may: map[string]map[string]string{}}
	for _, name := range names {
		m.may[name] = map[string]string{}
	}
	for _, line := range lines[1:] {
		cells := strings.Fields(line)
		require.Len(t, cells, 1+len(names), line)
		m.topics = append(m.topics, cells[0])
		for i, name := range names {
			m.may[name][cells[0]] = cells[i+1]
		}
	}
	return m
}

// allowed gives the topics on which a name has the letter, sorted.
func (m table) allowed(name, letter string) []string {
	out := []string{}
	for _, topic := range m.topics {
		if strings.Contains(m.may[name][topic], letter) {
			out = append(out, topic)
		}
	}
	slices.Sort(out)
	return out
}

// ruledBroker runs mosquitto with the rules as they stand in this folder. Beside them
// stand an observer who may do everything, and a mark for each name.
func ruledBroker(t *testing.T) string {
	t.Helper()
	rules, err := os.ReadFile("mosquitto.acl")
	require.NoError(t, err)
	users := map[string]string{"observer": "observer"}
	for _, name := range names {
		users[name] = name
	}
	return realbroker.Start(t, realbroker.Options{Users: users,
		ACL: string(rules) + "\nuser observer\ntopic readwrite #\npattern readwrite marks/%u\n"}).URL()
}

// topicsOf gives the topics of words, each once, sorted.
func topicsOf(words []word) []string {
	out := []string{}
	for _, w := range words {
		out = append(out, w.topic)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// TestWhoMaySay: what arrives at others of all that a name publishes, and what of it
// the broker retains.
func TestWhoMaySay(t *testing.T) {
	t.Parallel()
	broker, m := ruledBroker(t), readMatrix(t)
	observer := known(t, broker, "observer", "observer")
	observer.ask("#")
	for _, name := range names {
		speaker := known(t, broker, name, "speaker-"+name)
		for _, retained := range []bool{false, true} {
			for _, topic := range m.topics {
				speaker.say(topic, retained, name)
			}
			require.Equal(t, m.allowed(name, "w"), topicsOf(observer.settled("observer")), "%s, retained %t", name, retained)
		}
		late := known(t, broker, "observer", "late")
		late.ask("#")
		require.Equal(t, m.allowed(name, "w"), topicsOf(late.settled("observer")), "%s: what is retained", name)
		late.client.Disconnect(0)
		for _, topic := range m.topics {
			observer.say(topic, true, "")
		}
		observer.settled("observer")
	}
}

// TestWhoMayHear: what a name hears of all that is said, by wildcards, by each topic
// alone and through a shared subscription (which some brokers give nothing retained),
// retained and live.
func TestWhoMayHear(t *testing.T) {
	t.Parallel()
	broker, m := ruledBroker(t), readMatrix(t)
	observer := known(t, broker, "observer", "observer")
	for _, topic := range m.topics {
		observer.say(topic, true, "retained")
	}
	for _, name := range names {
		for i, filters := range [][]string{{"#"}, m.topics, {"+/+/#"}, {"$share/all/#"}} {
			listener := known(t, broker, name, fmt.Sprintf("listener-%s-%d", name, i))
			listener.ask(filters...)
			before := topicsOf(listener.settled(name))
			if strings.HasPrefix(filters[0], "$share/") {
				require.Subset(t, m.allowed(name, "r"), before, "%s hears of what is retained, filters %v", name, filters)
			} else {
				require.Equal(t, m.allowed(name, "r"), before, "%s hears of what is retained, filters %v", name, filters)
			}
			for _, topic := range m.topics {
				observer.say(topic, false, "live")
			}
			require.Equal(t, m.allowed(name, "r"), topicsOf(listener.settled(name)), "%s hears live, filters %v", name, filters)
			listener.client.Disconnect(0)
		}
	}
}

// TestNobodyHearsTheBroker: what a broker tells of itself, such as who connects, is for
// no role.
func TestNobodyHearsTheBroker(t *testing.T) {
	t.Parallel()
	broker := ruledBroker(t)
	for _, name := range names {
		listener := known(t, broker, name, "listener-"+name)
		listener.ask("$SYS/#")
		require.Empty(t, listener.settled(name), name)
		listener.client.Disconnect(0)
	}
	// It would be there to be heard: rules alone withhold it.
	open := realbroker.Start(t, realbroker.Options{}).URL()
	stranger := known(t, open, "stranger", "stranger")
	stranger.ask("$SYS/#")
	require.NotEmpty(t, stranger.settled("stranger"))
}

// TestWhoMayLeaveAWill: a broker that publishes a will may refuse the connection for
// one that is forbidden; either way it must not arrive, nor be retained.
func TestWhoMayLeaveAWill(t *testing.T) {
	t.Parallel()
	for _, retained := range []bool{false, true} {
		t.Run(fmt.Sprintf("retained %t", retained), func(t *testing.T) {
			t.Parallel()
			broker, m := ruledBroker(t), readMatrix(t)
			observer := known(t, broker, "observer", "observer")
			observer.ask("#")
			for _, name := range names {
				for _, topic := range m.topics {
					dies(t, broker, name, topic, retained, m)
				}
				require.Equal(t, m.allowed(name, "w"), topicsOf(observer.settled("observer")), "wills of %s", name)
				late, kept := known(t, broker, "observer", "late"), []string{}
				late.ask("#")
				if retained {
					kept = m.allowed(name, "w")
				}
				require.Equal(t, kept, topicsOf(late.settled("observer")), "wills of %s that are retained", name)
				late.client.Disconnect(0)
				for _, topic := range kept {
					observer.say(topic, true, "")
				}
				observer.settled("observer")
			}
		})
	}
}

// dies connects a name with a will and breaks the connection.
func dies(t *testing.T, broker, name, topic string, retained bool, m table) {
	t.Helper()
	testament := options(broker, name, "testator")
	testament.SetWill(topic, "gone", 1, retained)
	testator, err := meet(t, testament)
	if err != nil {
		require.NotContains(t, m.may[name][topic], "w", "%s was refused with a will on %s", name, topic)
		return
	}
	// A second client of one id ends the first within its own CONNECT.
	heir := known(t, broker, name, "testator")
	<-testator.lost
	heir.client.Disconnect(0)
}

// TestStrangersStayOutside: no name, an unknown one, a wrong password.
func TestStrangersStayOutside(t *testing.T) {
	t.Parallel()
	broker := ruledBroker(t)
	for name, password := range map[string]string{"": "", "stranger": "stranger", "gateway": "guess", "operator": ""} {
		o := options(broker, name, "stranger").SetPassword(password)
		_, err := meet(t, o)
		require.Error(t, err, "name %q, password %q", name, password)
	}
	known(t, broker, "gateway", "gateway")
}
