package page

import (
	"cmp"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
	"rillgate/zones"
)

// fakeSource is a room in which something of everything stands.
type fakeSource struct {
	view    zones.View
	plan    *zones.Plan
	points  map[string][]Point
	shots   map[string][]Shot
	notices []string
}

func (s *fakeSource) View() zones.View  { return s.view }
func (s *fakeSource) Plan() *zones.Plan { return s.plan }
func (s *fakeSource) Notices() []string { return s.notices }
func (s *fakeSource) History(of Series, from, to time.Time) []Point {
	return s.points[cmp.Or(of.Zone, of.Probe+" "+string(of.Of))]
}
func (s *fakeSource) Shots(zone string, from, to time.Time) []Shot { return s.shots[zone] }

func ptr[T any](x T) *T { return &x }

// roomNow is 14:20 in the room: a zone six hours behind UTC.
var roomNow = time.Date(2027, 3, 2, 20, 20, 5, 0, time.UTC)

func newFake(t testing.TB) *fakeSource {
	loc, err := time.LoadLocation("America/Chicago")
	require.NoError(t, err)
	s := &fakeSource{plan: fakePlan(loc), points: map[string][]Point{}, shots: map[string][]Shot{}}
	s.view = zones.View{
		Wall: roomNow, Room: "bay-2", Name: "Bay 2", Trusted: true, Plan: "5f1c09ab77d2e6", BrokerUp: true,
		Zones: []zones.ZoneView{eastView(), westView(), southView()},
		Valves: []zones.ValveView{
			{ID: "feed-master", Output: zones.Output{Controller: "north", Number: 8}, Master: true, State: zones.ValveOpen, Wanted: true, FlowLPM: ptr(6.7)},
			{ID: "east", Output: zones.Output{Controller: "north", Number: 1}, Zone: "east", State: zones.ValveOpen, Wanted: true},
			{ID: "west", Output: zones.Output{Controller: "north", Number: 2}, Zone: "west", State: zones.ValveClosed},
			{ID: "south", Output: zones.Output{Controller: "annex", Number: 1}, Zone: "south", State: zones.ValveMaybeOpen},
		},
		Healthy: &zones.HealthyView{Output: zones.Output{Controller: "north", Number: 9}, Drives: "horn over the door", State: zones.HealthyDropped,
			Since: roomNow.Add(-26 * time.Minute), Because: "probes-lost of west: 1 of 3 probes counts", Alarms: []string{"probes-lost-west"}},
		Controllers: []zones.ControllerView{
			{ID: "north", Online: true, Ready: true, Boot: "9f31c2", Because: "reports, all its outputs were closed first"},
			{ID: "annex", Because: "no report for 41 s"},
		},
		Inputs: []zones.InputView{{Controller: "north", ID: "tank-low", Means: zones.SupplyLow, Known: true}, {Controller: "annex", ID: "floor-leak", Means: zones.Leak}},
		Alarms: []zones.AlarmView{
			{Code: zones.ProbesLost, Subject: "west", Since: roomNow.Add(-26 * time.Minute), Because: "1 of 3 probes counts, 2 must: w2 silent for 27 min, w3 silent for 26 min"},
			{Code: zones.ControllerOffline, Subject: "annex", Since: roomNow.Add(-31 * time.Hour), Because: "no report for 15 s", Acknowledged: true},
		},
	}
	s.addProbes()
	s.addDay("east", 47, 1, 11)
	s.addDay("west", 52, 2, 6)
	s.notices = []string{"files on disk differ: run `rillgate apply`"}
	return s
}

func fakePlan(loc *time.Location) *zones.Plan {
	return &zones.Plan{
		Room: "bay-2", Name: "Bay 2", Calendar: schedule.Calendar{Location: loc},
		Zones: []zones.Zone{
			{ID: "east", Plants: 48, EmittersEach: 2, EmitterLPH: 2, Moisture: zones.Moisture{Combine: zones.Median, Quorum: 2}},
			{ID: "west", Moisture: zones.Moisture{Combine: zones.Driest, Quorum: 2}},
		},
	}
}

func eastView() zones.ZoneView {
	return zones.ZoneView{
		ID: "east", Name: "East bench", State: zones.Watering, Reason: zones.BelowThreshold,
		Because: "ramp-up: 46.2 % is under 48.0 %", Next: "closes at 14:22",
		Moisture: ptr(46.24), HalfWidth: ptr(1.31), Temperature: ptr(22.4), Quality: zones.QualityGood, Counting: 4, Assigned: 4, AgeSeconds: ptr(12),
		Window: "ramp-up", WindowEnds: ptr(roomNow.Add(100 * time.Minute)), Stage: "fruiting", CropDay: 29, Shots: 3, OpenUntil: ptr(roomNow.Add(90 * time.Second)),
		UsedSeconds: 755, LimitSeconds: 3600, Litres24: 40.3, LitresTotal: 1204.8, ShotsTotal: 311, RunSeconds: 22590,
		Below: ptr(48.0), StopAt: ptr(55.0), MaxMoisture: ptr(70.0), Refusals: map[zones.Reason]int{zones.RestingStill: 812, zones.SupplyBusy: 4},
	}
}

func westView() zones.ZoneView {
	return zones.ZoneView{
		ID: "west", Name: "West bench", State: zones.Waiting, Reason: zones.ProbesLost,
		Because: "1 of 3 probes counts, 2 must", Next: "daytime is open until 16:00", Quality: zones.QualityNone, Counting: 1, Assigned: 3,
		Window: "daytime", WindowEnds: ptr(roomNow.Add(100 * time.Minute)), UsedSeconds: 3402, LimitSeconds: 3600, Litres24: 92.1, LitresTotal: 2210, ShotsTotal: 402,
		HoldUntil: ptr(roomNow.Add(40 * time.Minute)), HoldSource: "socket", RestUntil: ptr(roomNow.Add(4 * time.Minute)), MaxMoisture: ptr(70.0), Metered: true,
		Latches: []zones.LatchView{{Code: zones.NoResponse, Since: roomNow.Add(-3 * time.Hour), Because: "2 shots worth 3.1 points raised the moisture by 0.2"}},
	}
}

func southView() zones.ZoneView {
	return zones.ZoneView{ID: "south", State: zones.Fallow, Reason: zones.NoReason, Because: "the schedule gives it no water", Next: "no window comes", Window: "none", LimitSeconds: 3600, MaxMoisture: ptr(70.0)}
}

func (s *fakeSource) addProbes() {
	add := func(zone string, n int, q zones.ProbeQuality, because string, m *float64) {
		age := ptr(12 + n)
		if m == nil {
			age = ptr(27 * 60)
		}
		s.view.Probes = append(s.view.Probes, zones.ProbeView{
			ID: fmt.Sprintf("%c%d", zone[0], n), Place: zones.Place{Controller: "north", Terminal: 1, Address: fmt.Sprint(len(s.view.Probes))}, Zone: zone,
			Quality: q, Because: because, Moisture: m, EC: ptr(1.85), Temperature: ptr(22.1), AgeSeconds: age, InFiles: true, Label: fmt.Sprintf("row %d", n),
		})
	}
	for i := range 4 {
		add("east", i+1, zones.ProbeGood, "counts", ptr(45.5+float64(i)/2))
	}
	add("west", 1, zones.ProbeGood, "counts", ptr(49.9))
	add("west", 2, zones.ProbeLost, "silent for 27 min", nil)
	add("west", 3, zones.ProbeImplausible, "fell from 51.2 %: it counts again within 5 points of that, or after `rillgate acknowledge w3`", ptr(7.1))
	s.view.Probes = append(s.view.Probes, zones.ProbeView{Place: zones.Place{Controller: "north", Terminal: 2, Address: "A"}, Quality: zones.ProbeNew, Because: "given to no zone", Moisture: ptr(40.0), AgeSeconds: ptr(3)})
}

// addDay makes a plausible line: drying, with a rise after each shot, and a gap.
func (s *fakeSource) addDay(zone string, start float64, seed, shots int) {
	from := roomNow.Add(-24 * time.Hour)
	m := start
	for i := range 24 * 60 {
		at := from.Add(time.Duration(i) * time.Minute)
		m -= 0.004 + 0.012*math.Max(0, math.Sin(float64(i-200)/1440*2*math.Pi))
		if i%(1440/shots) == 90*seed {
			s.shots[zone] = append(s.shots[zone], Shot{Start: at, End: at.Add(2 * time.Minute), Opened: zones.BelowThreshold, Closed: zones.ShotDone, Litres: 6.4})
		}
		if n := len(s.shots[zone]); n > 0 && at.Sub(s.shots[zone][n-1].Start) < 12*time.Minute {
			m += 0.13
		}
		gap := i > 600*seed && i < 600*seed+70
		s.points[zone] = append(s.points[zone], Point{At: at, Value: m + 0.1*math.Sin(float64(i)), Known: !gap})
	}
	s.shots["east"] = append(s.shots["east"], Shot{Start: roomNow.Add(-20 * time.Second), Opened: zones.BelowThreshold})
	if zone != "east" {
		s.shots["east"] = s.shots["east"][:len(s.shots["east"])-1]
	}
}
