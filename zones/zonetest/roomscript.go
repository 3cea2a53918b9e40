package zonetest

import (
	"fmt"
	"strings"
	"time"

	"rillgate/schedule"
	"rillgate/zones"
)

// roomScript is the room that a scenario describes. Its lines can be said again
// later, after `apply`, to change the room.
//
//	room       tz=UTC lease=30s lights=06:00-18:00
//	controller north volts=24 va=40
//	input      tank-low means=supply-low on=north
//	supply     feed max-open=1 flow=1200 (L/h) low=tank-low master=8 kind=valve lead=2s
//	healthy    north 9 (output) holding=0.1 inrush=0.2
//	zone       a supply=feed on=north outputs=1 probes=2 quorum=1 combine=median stale=3m
//	           plausible=2..95 max-run=6m min-rest=5m max-per-day=1h max-moisture=70
//	           plants=10 volume=4000 (mL) emitter=2 (L/h, two a plant) lost=60s/2h/6m
//	           soak=10m/1h/80 (max_run/max_per_day/max_moisture; none)
//	           dry=38/20m holding=0.25 inrush=0.4 (A), and those of a window named day, 00:00-24:00
//	window     a ramp-up on+1h-on+4h below=48 stop=55 dry-back=3 floor=40 shot=3% rest=15m
//	           max=8 days=mon,tue cron=30_12_*_*_MON for=30m without-probes=true
type roomScript struct {
	tz          string
	lease       time.Duration
	lights      string
	controllers []zones.Controller
	inputs      []zones.Input
	inputOn     []string
	supplies    []zones.Supply
	zones       []*zoneScript
	version     int
	healthy     *zones.Output
	part        zones.HealthyPart
}

// zoneScript is one zone of a script.
type zoneScript struct {
	zone     zones.Zone
	supply   string
	on       string
	outputs  []int
	probes   int
	terminal int
	windows  []schedule.Window
	holding  float64
	inrush   float64
}

func newRoomScript() roomScript {
	return roomScript{tz: "UTC", lease: 30 * time.Second, lights: "06:00-18:00"}
}

// take reads one line about the room; known is false when it is about no such thing.
func (r *roomScript) take(c Line) (known bool, err error) {
	switch c.Name {
	case "room":
		err = c.options(map[string]any{"tz": &r.tz, "lease": &r.lease, "lights": &r.lights})
	case "controller":
		ctl := zones.Controller{ID: c.arg(0)}
		err = c.options(map[string]any{"volts": &ctl.Volts, "va": &ctl.VA})
		r.controllers = append(r.controllers, ctl)
	case "input":
		err = r.input(c)
	case "supply":
		err = r.supply(c)
	case "zone":
		err = r.zone(c)
	case "window":
		err = r.window(c)
	case "healthy":
		r.healthy, r.part = &zones.Output{Controller: c.arg(0)}, zones.HealthyPart{}
		err = firstError(read(c.arg(1), &r.healthy.Number), c.options(map[string]any{"holding": &r.part.Holding, "inrush": &r.part.Inrush}))
	case "no-zone":
		err = r.drop(c)
	default:
		return false, nil
	}
	return true, err
}

func (r *roomScript) input(c Line) error {
	in, on := zones.Input{ID: c.arg(0)}, "north"
	means := ""
	err := c.options(map[string]any{"means": &means, "on": &on})
	in.Means = zones.Means(means)
	r.inputs, r.inputOn = append(r.inputs, in), append(r.inputOn, on)
	return err
}

func (r *roomScript) supply(c Line) error {
	s := zones.Supply{ID: c.arg(0), MaxOpen: 1}
	for i := range r.supplies {
		if r.supplies[i].ID == s.ID {
			s = r.supplies[i]
			r.supplies = append(r.supplies[:i], r.supplies[i+1:]...)
			break
		}
	}
	m := zones.Master{Output: zones.Output{Controller: "north"}, Kind: zones.MasterValve, Lead: 2 * time.Second}
	if s.Master != nil {
		m = *s.Master
	}
	kind := string(m.Kind)
	err := c.options(map[string]any{
		"max-open": &s.MaxOpen, "flow": &s.MaxFlowLPH, "low": &s.Low, "master": &m.Output.Number,
		"on": &m.Output.Controller, "kind": &kind, "lead": &m.Lead,
	})
	if m.Output.Number > 0 {
		m.Kind = zones.MasterKind(kind)
		s.Master = &m
	}
	r.supplies = append(r.supplies, s)
	return err
}

// find gives a zone of the script by id.
func (r *roomScript) find(id string) *zoneScript {
	for _, z := range r.zones {
		if z.zone.ID == id {
			return z
		}
	}
	return nil
}

func (r *roomScript) drop(c Line) error {
	for i, z := range r.zones {
		if z.zone.ID == c.arg(0) {
			r.zones = append(r.zones[:i:i], r.zones[i+1:]...)
			return nil
		}
	}
	return c.fail("no zone %q", c.arg(0))
}

// newZone is a zone as scenarios have it by default: 1 % is 36 s of water.
func (r *roomScript) newZone(id string) *zoneScript {
	n := len(r.zones) + 1
	return &zoneScript{
		supply: "feed", on: "north", outputs: []int{n}, probes: 2, terminal: n,
		zone: zones.Zone{
			ID: id, Name: "Zone " + id, Plants: 10, VolumeML: 4000, EmittersEach: 2, EmitterLPH: 2,
			Moisture: zones.Moisture{Combine: zones.Median, Quorum: 1, StaleAfter: 3 * time.Minute, PlausibleLo: percent(2), PlausibleHi: percent(95)},
			Limits:   zones.Limits{MaxRun: 6 * time.Minute, MinRest: 5 * time.Minute, MaxPerDay: time.Hour, MaxMoisture: percent(70)},
		},
	}
}

func (r *roomScript) zone(c Line) error {
	z := r.find(c.arg(0))
	if z == nil {
		z = r.newZone(c.arg(0))
		r.zones = append(r.zones, z)
	}
	w := schedule.Window{Name: "day", Until: schedule.Edge{Offset: 24 * time.Hour}}
	if len(z.windows) > 0 && z.windows[0].Name == "day" {
		w = z.windows[0]
	}
	before := w
	places := windowPlaces(&w)
	for key, place := range zonePlaces(z) {
		places[key] = place
	}
	if err := c.options(places); err != nil {
		return err
	}
	if w != before {
		z.windows = append([]schedule.Window{w}, dropDay(z.windows)...)
	}
	return nil
}

func dropDay(list []schedule.Window) []schedule.Window {
	if len(list) > 0 && list[0].Name == "day" {
		return list[1:]
	}
	return list
}

func zonePlaces(z *zoneScript) map[string]any {
	p := &z.zone
	return map[string]any{
		"supply": &z.supply, "on": &z.on, "probes": &z.probes, "plants": &p.Plants,
		"quorum": &p.Moisture.Quorum, "stale": &p.Moisture.StaleAfter,
		"max-run": &p.Limits.MaxRun, "min-rest": &p.Limits.MinRest, "max-per-day": &p.Limits.MaxPerDay,
		"max-moisture": &p.Limits.MaxMoisture, "volume": &p.VolumeML, "emitter": &p.EmitterLPH,
		"holding": &z.holding, "inrush": &z.inrush,
		"combine": func(s string) error { p.Moisture.Combine = zones.Combine(s); return nil },
		"outputs": func(s string) error { return readOutputs(s, &z.outputs) },
		"plausible": func(s string) error {
			return readPair(s, "..", &p.Moisture.PlausibleLo, &p.Moisture.PlausibleHi)
		},
		"require-walk": func(s string) error { p.RequireWalk = s == "yes"; return nil },
		"lost": func(s string) error {
			f := &zones.Fallback{}
			p.Lost = f
			parts := strings.Split(s, "/")
			if len(parts) != 3 {
				return fmt.Errorf("want shot/every/max-per-day")
			}
			return firstError(readShot(parts[0], &f.Shot), read(parts[1], &f.Every), read(parts[2], &f.MaxPerDay))
		},
		"soak": func(s string) error {
			l := &zones.SoakLimits{}
			p.Limits.Soak = l
			parts := strings.Split(s, "/")
			if len(parts) != 3 {
				p.Limits.Soak = nil
				return nil
			}
			return firstError(read(parts[0], &l.MaxRun), read(parts[1], &l.MaxPerDay), read(parts[2], &l.MaxMoisture))
		},
		"dry": func(s string) error {
			p.Dry = &zones.DryRule{}
			return readPair(s, "/", &p.Dry.Below, &p.Dry.For)
		},
	}
}

func (r *roomScript) window(c Line) error {
	z := r.find(c.arg(0))
	if z == nil {
		return c.fail("no zone %q", c.arg(0))
	}
	w := schedule.Window{Name: c.arg(1)}
	if span := c.arg(2); span != "" {
		if err := readSpan(span, &w); err != nil {
			return c.fail("%v", err)
		}
	}
	if err := c.options(windowPlaces(&w)); err != nil {
		return err
	}
	for i := range z.windows {
		if z.windows[i].Name == w.Name {
			z.windows[i] = w
			return nil
		}
	}
	z.windows = append(z.windows, w)
	return nil
}
