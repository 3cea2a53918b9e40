package publish

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/publish/homiecheck"
	"rillgate/zones"
)

// check runs the convention's rules over everything that was published.
func (r *rig) check() {
	r.Helper()
	require.Empty(r, homiecheck.Check("homie", "bay-2", r.wire.log))
	var fresh []homiecheck.Message
	for topic, payload := range r.wire.standing {
		if topic == device+"$state" || topic == device+"$description" {
			continue
		}
		fresh = append(fresh, homiecheck.Message{Topic: topic, Payload: payload, Retained: true})
	}
	head := []homiecheck.Message{{Topic: device + "$description", Payload: r.standingAt("$description"), Retained: true}}
	fresh = append(head, append(fresh, homiecheck.Message{Topic: device + "$state", Payload: r.standingAt("$state"), Retained: true})...)
	require.Empty(r, homiecheck.Check("homie", "bay-2", fresh))
}

// The output that is held while all is well is told at once, with why it is not held.
func TestHealthyIsPublished(t *testing.T) {
	r := newRig(t)
	r.view.Healthy = &zones.HealthyView{State: zones.HealthyHeld, Held: true}
	r.update()
	require.Equal(t, []string{"held", "none"}, []string{r.standingAt("gateway/healthy"), r.standingAt("gateway/healthy-because")})
	r.view.Healthy = &zones.HealthyView{State: zones.HealthyDropped, Because: "leak of bay-2"}
	r.pass(time.Second)
	require.Equal(t, []string{"dropped", "leak of bay-2"}, []string{r.standingAt("gateway/healthy"), r.standingAt("gateway/healthy-because")})
	for _, s := range []zones.HealthyState{zones.HealthyHeld, zones.HealthyWaiting, zones.HealthyDropped, zones.HealthyMaybe, zones.HealthyStuck, zones.HealthyUnknown} {
		r.view.Healthy = &zones.HealthyView{State: s}
		r.pass(time.Second)
		require.Equal(t, string(s), r.standingAt("gateway/healthy"), "the enum has every state")
	}
}

func TestBirthComesInOrder(t *testing.T) {
	r := newRig(t)
	r.update()
	initAt, desc := r.wire.index(device+"$state", "init"), r.wire.index(device+"$description", r.standingAt("$description"))
	value, ready := r.wire.index(device+"zone-east/moisture", "46.2"), r.wire.index(device+"$state", "ready")
	require.True(t, 0 <= initAt && initAt < desc && desc < value && value < ready, "%d %d %d %d", initAt, desc, value, ready)
	require.Equal(t, ready, len(r.wire.log)-1)
	require.Contains(t, r.wire.subs, device+"+/+/set")
	r.check()
}

func TestTheFirstDescriptionWaitsForASubscription(t *testing.T) {
	r := newRig(t)
	look := func() []string {
		return r.told(func() { r.pub.Update(&Snapshot{View: r.view}) })
	}
	require.Equal(t, []string{"rillgate/bay-2/alarms=" + alarmList(r.view.Alarms).text, device + "$state=init"}, look())
	r.mono += hearWithin - time.Second
	require.Empty(t, look())
	r.mono += time.Second
	require.NotEmpty(t, look(), "a broker that never answers only delays it")
	require.Equal(t, "ready", r.standingAt("$state"))
}

func TestEveryPropertyOfTheTreeIsThere(t *testing.T) {
	r := newRig(t)
	r.update()
	want := map[string]string{
		"zone-east/moisture": "46.2", "zone-east/temperature": "22.0", "zone-east/quality": "good", "zone-east/age": "12",
		"zone-east/probes": "2", "zone-east/state": "watching", "zone-east/reason": "none",
		"zone-east/because": "46.2 % is over the 45.0 % of ramp-up", "zone-east/window": "ramp-up",
		"zone-east/litres-total": "120.50", "zone-east/shots-total": "14", "zone-east/run-seconds-total": "1260.0",
		"zone-east/litres-24h": "12.30", "zone-east/litres-source": "reckoned", "zone-east/hold": "false",
		"zone-west/quality": "none", "zone-west/probes": "0", "zone-west/state": "held", "zone-west/reason": "held",
		"zone-west/because": "held until 13:00", "zone-west/window": "none", "zone-west/litres-total": "0.00",
		"zone-west/shots-total": "0", "zone-west/run-seconds-total": "0.0", "zone-west/litres-24h": "0.00",
		"zone-west/litres-source": "metered", "zone-west/hold": "true", "zone-west/hold-until": "2027-03-01T13:00:00Z",
		"valve-east/state": "closed", "valve-east/open": "false", "valve-east/open/$target": "false",
		"valve-west/state": "unknown", "valve-west/open/$target": "false",
		"valve-feed-master/state": "open", "valve-feed-master/open": "true", "valve-feed-master/open/$target": "true", "valve-feed-master/flow": "6.7",
		"probe-e1/moisture": "46.1", "probe-e1/ec": "1.85", "probe-e1/temperature": "22.0", "probe-e1/quality": "good", "probe-e1/zone": "east", "probe-e1/age": "12",
		"probe-e2/moisture": "46.1", "probe-e2/ec": "1.85", "probe-e2/temperature": "22.0", "probe-e2/quality": "good", "probe-e2/zone": "east", "probe-e2/age": "12",
		"probe-w1/quality": "lost", "probe-w1/zone": "west", "probe-w1/age": "12",
		"gateway/version": "0.1.0", "gateway/clock": "trusted", "gateway/stop": "false", "gateway/plan": "5f1c", "gateway/healthy": "none", "gateway/healthy-because": "none", "gateway/plan-error": "none",
		"$alert/probes-lost-west": "probes-lost: 0 of 1 probes count", "$state": "ready",
	}
	got := map[string]string{}
	for topic, payload := range r.wire.standing {
		if topic != device+"$description" && topic != AlarmsTopic("bay-2") {
			got[topic[len(device):]] = payload
		}
	}
	require.Equal(t, want, got)
}

func TestNumbersKeepTheirPace(t *testing.T) {
	r := newRig(t)
	r.update()
	east := &r.view.Zones[0]
	move := func(to float64, after time.Duration) []string {
		east.Moisture = ptr(to)
		return r.told(func() { r.pass(after) })
	}
	require.Empty(t, move(46.33, 11*time.Second), "0.09 is no change")
	require.Equal(t, []string{device + "zone-east/moisture=46.3"}, move(46.34, time.Second), "0.1 is one, and 10 s have passed")
	require.Empty(t, move(50, 9*time.Second), "at most every 10 s")
	require.Equal(t, []string{device + "zone-east/moisture=50.0"}, move(50, time.Second), "told when its time has come")
	r.check()
}

func TestStatesAreToldAtOnce(t *testing.T) {
	r := newRig(t)
	r.update()
	east := &r.view.Zones[0]
	east.State, east.Reason, east.Because = zones.Watering, zones.BelowThreshold, "44.9 % is under 45.0 %"
	r.view.Valves[0].Wanted = true
	require.Equal(t, []string{
		device + "zone-east/state=watering", device + "zone-east/reason=below-threshold",
		device + "zone-east/because=44.9 % is under 45.0 %", device + "valve-east/open/$target=true",
	}, r.told(func() { r.pass(time.Second) }))
	east.Because = "44.8 % is under 45.0 %"
	require.Empty(t, r.told(func() { r.pass(time.Second) }), "other numbers in the sentence wait")
	require.Equal(t, []string{device + "zone-east/because=44.8 % is under 45.0 %"}, r.told(func() { r.pass(9 * time.Second) }))
}

func TestANumberNotKnownIsRemovedAtOnce(t *testing.T) {
	r := newRig(t)
	r.update()
	east := &r.view.Zones[0]
	r.pass(10 * time.Second)
	east.Moisture, east.AgeSeconds = nil, nil
	require.Equal(t, []string{device + "zone-east/moisture=", device + "zone-east/age="}, r.told(func() { r.pass(time.Second) }))
	require.NotContains(t, r.wire.standing, device+"zone-east/moisture")
	east.Moisture = ptr(math.NaN())
	require.Empty(t, r.told(func() { r.pass(time.Minute) }), "no number is no number")
	r.check()
}

func TestAHoldsEndDoesNotWaver(t *testing.T) {
	r := newRig(t)
	r.update()
	west, end := &r.view.Zones[1], *r.view.Zones[1].HoldUntil
	west.HoldUntil = ptr(end.Add(600 * time.Millisecond))
	require.Empty(t, r.told(func() { r.pass(time.Second) }), "the two clocks it is reckoned from differ by a little")
	west.HoldUntil = ptr(end.Add(time.Hour))
	require.Equal(t, []string{device + "zone-west/hold-until=2027-03-01T14:00:00Z"}, r.told(func() { r.pass(time.Second) }))
	west.HoldUntil = nil
	require.Equal(t, []string{device + "zone-west/hold=false", device + "zone-west/hold-until="}, r.told(func() { r.pass(time.Second) }))
}

// The convention: "an empty string value" is one byte 0x00, as a zero-length message
// would remove the topic.
func TestAnEmptySentenceIsNoRemoval(t *testing.T) {
	r := newRig(t)
	r.view.Zones[0].Because, r.view.Zones[1].Because = "", "\xff\x00"
	r.update()
	require.Equal(t, "\x00", r.standingAt("zone-east/because"))
	require.Equal(t, "\uFFFD", r.standingAt("zone-west/because"))
	r.check()
}

func TestTotalsNeverFall(t *testing.T) {
	r := newRig(t)
	r.update()
	east := &r.view.Zones[0]
	east.LitresTotal, east.ShotsTotal = 100, 2
	require.Empty(t, r.told(func() { r.pass(time.Minute) }))
	r.pub.Connected()
	r.pass(time.Minute)
	require.Equal(t, "120.50", r.standingAt("zone-east/litres-total"))
	require.Equal(t, "14", r.standingAt("zone-east/shots-total"))
	east.LitresTotal = 121
	r.pass(time.Minute)
	require.Equal(t, "121.00", r.standingAt("zone-east/litres-total"))
}

func TestReconnectTellsEverythingAgain(t *testing.T) {
	r := newRig(t)
	r.update()
	first := r.standingAt("$description")
	clear(r.wire.standing)
	r.wire.standing[device+"zone-west/moisture"] = "99.9" // left by an earlier process
	r.wire.up = false
	r.pass(time.Second)
	r.wire.up = true
	r.pub.Connected()
	n := len(r.wire.log)
	r.pass(time.Second)
	require.Equal(t, AlarmsTopic("bay-2"), r.wire.log[n].Topic)
	require.Equal(t, homiecheck.Message{Topic: device + "$state", Payload: "init", Retained: true}, r.wire.log[n+1])
	require.Equal(t, first, r.standingAt("$description"), "same nodes, same version")
	require.Equal(t, "46.2", r.standingAt("zone-east/moisture"))
	require.NotContains(t, r.wire.standing, device+"zone-west/moisture", "what is not known is removed at birth too")
	require.Equal(t, "ready", r.standingAt("$state"))
	r.check()
}

func TestABirthGoesOnWhereTheWireStopped(t *testing.T) {
	r := newRig(t)
	for range 30 {
		r.wire.room = 5
		r.pass(time.Second)
		if r.standingAt("$state") == "ready" {
			break
		}
	}
	require.Equal(t, "ready", r.standingAt("$state"))
	require.Equal(t, 1, r.wire.index(device+"$state", "init"))
	r.check()
}

func TestNewNodesGoThroughInit(t *testing.T) {
	r := newRig(t)
	r.update()
	r.view.Zones = r.view.Zones[:1]
	r.view.Valves = r.view.Valves[:1]
	told := r.told(func() { r.pass(time.Second) })
	require.Equal(t, device+"$state=init", told[0])
	require.Equal(t, device+"$state=ready", told[len(told)-1])
	for topic := range r.wire.standing {
		require.NotContains(t, topic, "west/", "topics of a node that left are removed")
	}
	r.check()
	var d struct{ Version int64 }
	require.NoError(t, json.Unmarshal([]byte(r.standingAt("$description")), &d))
	require.Equal(t, int64(7<<20+2), d.Version)
}

func TestWhatAnEarlierProcessLeftIsRemoved(t *testing.T) {
	r := newRig(t)
	old := newRig(t)
	old.view.Zones = append(old.view.Zones, zones.ZoneView{ID: "south", Moisture: ptr(40.0)})
	old.view.Valves = append(old.view.Valves, zones.ValveView{ID: "south", State: zones.ValveOpen})
	old.view.Alarms[0].Subject = "south"
	old.update()
	r.wire.standing = old.wire.standing
	left := r.standingAt("$description")
	r.update()
	r.wire.subs[device+"$description"](device+"$description", []byte(left), true)
	r.wire.subs[device+"$alert/+"](device+"$alert/probes-lost-south", []byte("x"), true)
	r.wire.subs[device+"$alert/+"](device+"$alert/probes-lost-west", []byte("x"), true)
	r.pass(time.Second)
	for topic := range r.wire.standing {
		require.NotContains(t, topic, "south")
	}
	require.Contains(t, r.wire.standing, device+"$alert/probes-lost-west")
	r.check()
}

func TestAStrangersDescriptionHarmsNothing(t *testing.T) {
	r := newRig(t)
	r.update()
	h := r.wire.subs[device+"$description"]
	for _, payload := range []string{"", "{", "null", "[]", `{"nodes":{"../x":{"properties":{"a":{"retained":true}}},"zone-east":{"properties":{"moisture":{"retained":true},"#":{"retained":true}}}}}`} {
		h(device+"$description", []byte(payload), true)
	}
	require.Empty(t, r.told(func() { r.pass(time.Second) }))
}

func TestALateWillIsAnswered(t *testing.T) {
	r := newRig(t)
	r.update()
	h := r.wire.subs[device+"$state"]
	h(device+"$state", []byte("ready"), false)
	require.Empty(t, r.told(func() { r.pass(time.Second) }))
	h(device+"$state", []byte("lost"), false)
	require.Equal(t, []string{device + "$state=init", device + "$state=ready"}, r.told(func() { r.pass(time.Second) }))
	h(device+"$state", []byte("lost"), true)
	require.Greater(t, len(r.told(func() { r.pass(time.Second) })), 60, "a retained one comes with a new connection: everything is told")
	require.Equal(t, "ready", r.standingAt("$state"))
	r.check()
}

func TestTheVersionRisesAboveWhatStands(t *testing.T) {
	r := newRig(t)
	s := &Snapshot{View: r.view}
	r.pub.Update(s)
	r.wire.subs[device+"$description"](device+"$description", []byte(`{"version":7340999,"nodes":{}}`), true)
	r.wire.subs[device+"$description"](device+"$description", []byte(`{"version":9007199254740993,"nodes":{}}`), true)
	r.update()
	require.Contains(t, r.standingAt("$description"), `"version":7341000,`)
	own := r.standingAt("$description")
	r.wire.subs[device+"$description"](device+"$description", []byte(own), true)
	require.Empty(t, r.told(func() { r.pass(time.Second) }), "our own description raises nothing")
	r.wire.subs[device+"$description"](device+"$description", []byte(`{"version":7441000,"nodes":{"a":{"properties":{"b":{"retained":true}}}}}`), false)
	require.Empty(t, r.told(func() { r.pass(time.Second) }), "nor does one that comes live: two gateways must not outbid each other")
}

func TestCleanStop(t *testing.T) {
	r := newRig(t)
	r.update()
	require.Equal(t, []string{device + "$state=disconnected"}, r.told(r.pub.Stop))
	require.Empty(t, r.told(func() { r.pub.Stop(); r.pub.Connected(); r.pass(time.Minute) }), "nothing is told afterwards")
	topic, payload := Will("homie", "bay-2")
	require.Equal(t, device+"$state=lost", topic+"="+string(payload))
	r.check()
}

func TestAlarmListAndAlerts(t *testing.T) {
	r := newRig(t)
	r.update()
	require.JSONEq(t, `[{"code":"probes-lost","subject":"west","since":"2027-03-01T11:00:00.000Z","because":"0 of 1 probes count","acknowledged":false}]`,
		r.wire.standing[AlarmsTopic("bay-2")])
	r.view.Alarms = nil
	require.Equal(t, []string{"rillgate/bay-2/alarms=[]", device + "$alert/probes-lost-west="}, r.told(func() { r.pass(time.Second) }))
	r.view.Alarms = []zones.AlarmView{{Code: zones.ControllerOffline, Subject: "north", Because: "silent for 15 s"}}
	require.Len(t, r.told(func() { r.pass(time.Second) }), 2, "an alarm is told at once")
	r.view.Alarms[0].Subject = "south"
	require.Contains(t, r.told(func() { r.pass(time.Second) }), device+"$alert/controller-offline-north=", "one for another")
	r.view.Alarms[0].Because = "silent for 16 s"
	require.Empty(t, r.told(func() { r.pass(time.Second) }))
	r.view.Alarms[0].Acknowledged = true
	require.Len(t, r.told(func() { r.pass(time.Second) }), 1, "so is its acknowledgement")
}

func TestWithoutHomieAlarmsAndJournalStay(t *testing.T) {
	r := newRig(t)
	c := r.config()
	c.Homie = false
	r.pub = New(c, r.wire)
	r.update()
	r.pub.Journal(1, r.wall, &zones.Entry{Kind: "note"})
	r.pub.Answer(&zones.Answer{Order: "mqtt-1"})
	r.pub.Stop()
	require.Len(t, r.wire.log, 2)
	require.Empty(t, r.wire.subs)
}

func TestJournal(t *testing.T) {
	r := newRig(t)
	at := time.Date(2027, 3, 1, 12, 0, 1, 500e6, time.UTC)
	entry := &zones.Entry{Kind: "run-opened", Zone: "east", Valve: "east", Run: "r-51", Reason: zones.BelowThreshold, Because: "44.9 % is under 45.0 %"}
	r.pub.Journal(17, at, entry)
	require.Empty(t, r.wire.log, "before the birth it waits")
	r.update()
	last := r.wire.log[len(r.wire.log)-1]
	require.Equal(t, "rillgate/bay-2/journal", last.Topic)
	require.False(t, last.Retained)
	require.Equal(t, `{"seq":17,"at":"2027-03-01T12:00:01.500Z","kind":"run-opened","zone":"east","valve":"east","run":"r-51","reason":"below-threshold","because":"44.9 % is under 45.0 %"}`, last.Payload)
	require.Len(t, r.told(func() { r.pub.Journal(18, at, entry) }), 1, "afterwards it leaves at once")
	r.wire.up = false
	for i := range backlogMax + 5 {
		r.pub.Journal(uint64(19+i), at, &zones.Entry{Kind: "note", Seconds: math.NaN()})
	}
	r.wire.up = true
	r.pub.Connected()
	r.pass(time.Second)
	require.Equal(t, 5, r.pub.Counts()["journal-dropped"], "the line is bounded")
	require.Contains(t, r.wire.log[len(r.wire.log)-1].Payload, `"seq":1023`)
}
