package field

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// letter is an MQTT message.
type letter struct {
	topic    string
	payload  []byte
	retained bool
}

func (m *letter) Duplicate() bool   { return false }
func (m *letter) Qos() byte         { return 1 }
func (m *letter) Retained() bool    { return m.retained }
func (m *letter) Topic() string     { return m.topic }
func (m *letter) MessageID() uint16 { return 1 }
func (m *letter) Payload() []byte   { return m.payload }
func (m *letter) Ack()              {}

// FuzzSignal brings any payload on any topic to where reports, statuses and inputs
// come in: what the room gets is about the topic's own controller, retained when the
// broker says so, in the bounds that its reckoning relies on; all else is counted as
// refused, in bounded room.
func FuzzSignal(f *testing.F) {
	root := "rillgate/bay-2/field/"
	for _, m := range []letter{
		{root + "north/report", []byte(`{"boot":"1","uptime_ms":3153600000000,"epoch":2147483647,"seq":1,"outputs":{"255":{"open":true,"flow_lpm":1e308}}}`), true},
		{root + "north/report", []byte(`{"boot":"1","uptime_ms":-0,"epoch":1e0,"seq":0.0,"outputs":{}}`), false},
		{root + "north/status", []byte("online"), true}, {root + "north/status", []byte("offline"), false}, {root + "north/status", []byte("off"), false},
		{root + "north/input/tank-low", []byte(`{"active":true}`), false}, {root + "north/input/tank-low", []byte(`{"active":1}`), false},
		{root + "north/valve/1/command", []byte(`{"open":true}`), false}, {"rillgate/other/field/north/status", []byte("online"), false},
		{EchoTopic("bay-2"), []byte("1"), true},
	} {
		f.Add(m.topic, m.payload, m.retained)
	}
	box := newInbox(func() time.Duration { return time.Hour })
	f.Fuzz(func(t *testing.T, topic string, payload []byte, retained bool) {
		l := &Link{cfg: Config{Room: "bay-2"}, inbox: box}
		m := &letter{topic, payload, retained}
		for range 2 * maxWaitingPerKey {
			l.onSignal(m)
		}
		got := l.Drain(nil)
		require.LessOrEqual(t, len(got), maxWaitingPerKey)
		if len(got) == 0 {
			require.LessOrEqual(t, len(l.Refusals()), 1)
			return
		}
		require.Empty(t, l.Refusals())
		requireSignal(t, m, got[len(got)-1].Event)
	})
}

func requireSignal(t *testing.T, m *letter, ev zones.Event) {
	at := ParseTopic("bay-2", m.topic)
	switch ev := ev.(type) {
	case *zones.Report:
		require.Equal(t, ReportTopic, at.Kind)
		require.Equal(t, at.Controller, ev.Controller)
		require.Equal(t, m.retained, ev.Retained)
		require.True(t, json.Valid(m.payload))
		require.True(t, ev.Uptime >= 0 && ev.Uptime+zones.LeaseMax > 0 && ev.Uptime%time.Millisecond == 0)
		require.True(t, ev.Epoch < 1<<31 && ev.Seq < 1<<31)
		require.LessOrEqual(t, len(ev.Outputs), maxOutputs)
	case *zones.Status:
		require.Equal(t, StatusTopic, at.Kind)
		require.Equal(t, at.Controller, ev.Controller)
		require.Equal(t, m.retained, ev.Retained)
		require.Equal(t, map[bool]string{true: "online", false: "offline"}[ev.Online], string(m.payload))
	case *zones.InputState:
		require.Equal(t, InputTopic, at.Kind)
		require.Equal(t, [2]string{at.Controller, at.Input}, [2]string{ev.Controller, ev.ID})
		require.Equal(t, m.retained, ev.Retained)
		in := map[string]any{}
		require.NoError(t, json.Unmarshal(m.payload, &in))
		require.Equal(t, in["active"], ev.Active)
	default:
		require.Fail(t, "no signal", "%T", ev)
	}
}
