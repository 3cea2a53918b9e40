package publish

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

func TestSetBecomesAnOrder(t *testing.T) {
	for _, c := range []struct {
		property, payload string
		want              zones.Order
	}{
		{"zone-east/hold", "true", zones.Order{Kind: zones.OrderHold, Zone: "east"}},
		{"zone-west/hold", "false", zones.Order{Kind: zones.OrderRelease, Zone: "west"}},
		{"zone-east/shot", "PT1M30S", zones.Order{Kind: zones.OrderShot, Zone: "east", For: 90 * time.Second}},
		{"gateway/stop", "true", zones.Order{Kind: zones.OrderStop}},
	} {
		r := newRig(t)
		r.update()
		require.Empty(t, r.set(c.property, c.payload), "the core answers first")
		c.want.ID, c.want.Source, c.want.By = "mqtt-1", "mqtt", "mqtt"
		require.Equal(t, []zones.Order{c.want}, r.orders)
		told := r.told(func() {
			r.pub.Answer(&zones.Answer{Order: "mqtt-1", Accepted: true, Reason: zones.NoReason, Because: "as asked"})
		})
		require.Equal(t, fmt.Sprintf(`%sgateway/answer={"at":"2027-03-01T12:00:00.000Z","property":%q,"value":%q,"accepted":true,"reason":"none","because":"as asked"}`,
			device, c.property, c.payload), told[0])
		r.pass(time.Second)
		r.check()
	}
}

func TestSetRefusedHere(t *testing.T) {
	for _, c := range []struct{ property, payload, reason string }{
		{"gateway/stop", "false", reasonNotAllowed}, {"gateway/stop", "1", reasonBadValue}, {"gateway/stop", "", reasonBadValue},
		{"zone-east/hold", "TRUE", reasonBadValue}, {"zone-east/hold", "true\x00", reasonBadValue},
		{"zone-east/shot", "90", reasonBadValue}, {"zone-east/shot", "PT0S", reasonBadValue}, {"zone-east/shot", "\xff\xfe", reasonBadValue},
		{"zone-east/moisture", "50", reasonNotAllowed}, {"gateway/answer", "{}", reasonNotAllowed}, {"valve-east/open", "true", reasonNotAllowed},
		{"zone-south/hold", "true", reasonUnknown}, {"zone-east/colour", "true", reasonUnknown},
	} {
		r := newRig(t)
		r.update()
		told := r.set(c.property, c.payload)
		require.Len(t, told, 1, c.property)
		require.Contains(t, told[0], `"accepted":false,"reason":"`+c.reason+`","because":"`)
		require.Empty(t, r.orders, "%s %q", c.property, c.payload)
		require.Equal(t, 1, r.pub.Counts()["set-"+c.reason])
		r.pass(time.Second)
		r.check()
	}
}

func TestOrdersNotNamedAreRefused(t *testing.T) {
	r := newRig(t)
	c := r.config()
	c.Orders = []string{"stop", "hold"}
	r.pub = New(c, r.wire)
	r.update()
	require.Contains(t, r.set("zone-east/shot", "PT60S")[0], `"accepted":false,"reason":"not-allowed"`)
	require.Empty(t, r.orders)
	r.set("zone-east/hold", "true")
	require.Len(t, r.orders, 1)
}

func TestRetainedSetIsIgnored(t *testing.T) {
	r := newRig(t)
	r.update()
	require.Empty(t, r.told(func() {
		r.wire.subs[device+"+/+/set"](device+"gateway/stop/set", []byte("true"), true)
		r.wire.subs[device+"+/+/set"]("homie/5/other/gateway/stop/set", []byte("true"), false)
		r.wire.subs[device+"+/+/set"](device+"gateway/stop/x/set", []byte("true"), false)
	}))
	require.Empty(t, r.orders)
	require.Equal(t, map[string]int{"set-retained": 1, "set-topic": 2}, r.pub.Counts())
}

func TestTheSameValueActsOnce(t *testing.T) {
	r := newRig(t)
	r.update()
	r.set("zone-east/shot", "PT60S")
	r.set("zone-east/shot", "PT60S")
	require.Len(t, r.orders, 1)
	told := r.told(func() {
		r.pub.Answer(&zones.Answer{Order: "mqtt-1", Accepted: false, Reason: zones.DailyLimit, Because: "58 of 60 min are used"})
	})
	require.Len(t, told, 2, "each set is answered")
	require.Contains(t, told[1], `"reason":"daily-limit","because":"the same value came within 10 s and acts once: 58 of 60 min are used"`)
	r.pass(9 * time.Second)
	require.Contains(t, strings.Join(r.set("zone-east/shot", "PT60S"), " "), "acts once")
	require.Len(t, r.orders, 1)
	r.pass(time.Second)
	r.set("zone-east/shot", "PT60S")
	require.Len(t, r.orders, 2, "10 s later it is a new order")
}

func TestAStateSetBackAndForthActsEachTime(t *testing.T) {
	r := newRig(t)
	r.update()
	for _, v := range []string{"true", "false", "true", "true"} {
		r.set("zone-east/hold", v)
	}
	require.Len(t, r.orders, 3)
	r.set("zone-east/shot", "PT60S")
	r.set("zone-east/shot", "PT30S")
	r.set("zone-east/shot", "PT60S")
	require.Len(t, r.orders, 5, "water is stricter: a value that came within 10 s never acts again")
}

func TestAcceptedSetIsEchoed(t *testing.T) {
	r := newRig(t)
	r.update()
	r.set("zone-west/hold", "true") // it is held already
	r.pub.Answer(&zones.Answer{Order: "mqtt-1", Accepted: true})
	require.Equal(t, []string{device + "zone-west/hold=true"}, r.told(func() { r.pass(time.Second) }), "told again though unchanged")
	r.set("zone-east/shot", "PT60S")
	told := r.told(func() { r.pub.Answer(&zones.Answer{Order: "mqtt-2", Accepted: true}) })
	require.Equal(t, device+"zone-east/shot=PT60S", told[1])
	require.False(t, r.wire.log[len(r.wire.log)-1].Retained)
	r.set("gateway/stop", "false")
	require.Equal(t, []string{device + "gateway/stop=false"}, r.told(func() { r.pass(time.Second) }), "whoever set it sees what holds")
	r.check()
}

func TestABusyCoreIsAnswered(t *testing.T) {
	r := newRig(t)
	r.update()
	r.full = true
	require.Contains(t, r.set("zone-east/hold", "true")[0], `"accepted":false,"reason":"busy"`)
	r.full = false
	r.set("zone-east/hold", "true")
	require.Len(t, r.orders, 1, "what was not taken may come again at once")
	for i := range asksMax + 3 {
		r.set("zone-east/shot", fmt.Sprintf("PT%dS", i+1))
	}
	require.Len(t, r.orders, asksMax, "what waits is bounded")
}

func TestLongPayloadsAreCutInAnswers(t *testing.T) {
	r := newRig(t)
	r.update()
	told := r.set("zone-east/shot", strings.Repeat("x", 60000))
	require.Less(t, len(told[0]), 400)
}

func TestParseDuration(t *testing.T) {
	// ISO 8601 durations as the convention narrows them: PTxHxMxS.
	for s, want := range map[string]time.Duration{
		"PT60S": time.Minute, "PT1M30S": 90 * time.Second, "PT1H": time.Hour, "PT1H1S": time.Hour + time.Second,
		"PT0H2M0S": 2 * time.Minute, "PT24H": 24 * time.Hour, "PT007S": 7 * time.Second,
	} {
		got, err := parseDuration(s)
		require.NoError(t, err, s)
		require.Equal(t, want, got, s)
	}
	for _, s := range []string{"", "P", "PT", "PT0S", "60", "60s", "PT60", "PT-1S", "PT+1S", "PT1.5S", "PT1S1M", "P1D", "P1DT1S", "PT24H1S", "pt1s", "PT1S ", " PT1S", "PT1_0S", "PT99999999999999999999S", "PT1SS", "PT1H1H"} {
		_, err := parseDuration(s)
		require.Error(t, err, s)
	}
}

func FuzzSet(f *testing.F) {
	f.Add("zone-east/hold", "true")
	f.Add("zone-east/shot", "PT60S")
	f.Add("gateway/stop", "\xff")
	f.Add("a/b/c", "")
	f.Fuzz(func(t *testing.T, property, payload string) {
		r := newRig(t)
		r.update()
		r.set(property, payload)
		for _, o := range r.orders {
			known := o.Kind == zones.OrderHold || o.Kind == zones.OrderRelease || o.Kind == zones.OrderStop || o.Kind == zones.OrderShot && o.For > 0 && o.For <= 24*time.Hour
			require.True(t, known, "%+v", o)
		}
		r.pass(time.Second)
		r.check()
	})
}
