package zonetest

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"rillgate/schedule"
	"rillgate/zones"
)

func windowPlaces(w *schedule.Window) map[string]any {
	return map[string]any{
		"below": &w.Below, "stop": &w.StopAt, "dry-back": &w.DryBack, "floor": &w.Floor,
		"rest": &w.Rest, "max": &w.MaxShots, "for": &w.For, "without-probes": &w.WithoutProbes,
		"shot": func(s string) error { return readShot(s, &w.Shot) },
		"cron": func(s string) error { w.Cron = strings.ReplaceAll(s, "_", " "); return nil },
		"days": func(s string) error { return readDays(s, &w.On) },
	}
}

func readShot(text string, s *schedule.Shot) error {
	var err error
	number, kind := text, schedule.BySeconds
	switch {
	case strings.HasSuffix(text, "%"):
		number, kind = strings.TrimSuffix(text, "%"), schedule.ByPercent
	case strings.HasSuffix(text, "mL"):
		number, kind = strings.TrimSuffix(text, "mL"), schedule.ByMillilitres
	default:
		d, err := time.ParseDuration(text)
		*s = schedule.Shot{Value: d.Seconds()}
		return err
	}
	s.Kind = kind
	s.Value, err = strconv.ParseFloat(number, 64)
	return err
}

func readDays(text string, days *schedule.Weekdays) error {
	names := []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}
	for _, d := range strings.Split(text, ",") {
		found := false
		for n, name := range names {
			if d == name {
				*days |= 1 << n
				found = true
			}
		}
		if !found {
			return fmt.Errorf("no weekday %q", d)
		}
	}
	return nil
}

func readOutputs(text string, to *[]int) error {
	*to = nil
	for _, t := range strings.Split(text, ",") {
		n, err := strconv.Atoi(t)
		if err != nil {
			return err
		}
		*to = append(*to, n)
	}
	return nil
}

func readPair(text, sep string, a, b any) error {
	x, y, ok := strings.Cut(text, sep)
	if !ok {
		return fmt.Errorf("want two values with %q between", sep)
	}
	return firstError(read(x, a), read(y, b))
}

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// readSpan reads "07:00-10:00", "on+1h-on+4h", "off-on".
func readSpan(text string, w *schedule.Window) error {
	for cut := 1; cut < len(text); cut++ {
		if text[cut] != '-' {
			continue
		}
		from, err1 := readEdge(text[:cut])
		until, err2 := readEdge(text[cut+1:])
		if err1 == nil && err2 == nil {
			w.From, w.Until = from, until
			return nil
		}
	}
	return fmt.Errorf("%q is no span: write 07:00-10:00 or on+1h-off-2h", text)
}

func readEdge(text string) (schedule.Edge, error) {
	for name, anchor := range map[string]schedule.Anchor{"on": schedule.LightsOn, "off": schedule.LightsOff} {
		if offset, ok := strings.CutPrefix(text, name); ok {
			if offset == "" {
				return schedule.Edge{Anchor: anchor}, nil
			}
			d, err := time.ParseDuration(offset)
			if offset[0] != '+' && offset[0] != '-' {
				err = fmt.Errorf("want a sign")
			}
			return schedule.Edge{Anchor: anchor, Offset: d}, err
		}
	}
	d, err := clock(text)
	return schedule.Edge{Offset: d}, err
}

// clock reads a time of day, "06:00" or "06:00:30", up to "24:00".
func clock(text string) (time.Duration, error) {
	var h, m, s int
	n, err := fmt.Sscanf(text+":0", "%d:%d:%d", &h, &m, &s)
	if err != nil || n < 3 || h > 24 || m > 59 || s > 59 || len(text) != 5 && len(text) != 8 {
		return 0, fmt.Errorf("%q is no time of day", text)
	}
	return time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(s)*time.Second, nil
}

// plan makes the plan of the room as it stands in the script now.
func (r *roomScript) plan() (*zones.Plan, error) {
	loc, err := time.LoadLocation(r.tz)
	if err != nil {
		return nil, fmt.Errorf("read scenario: %w", err)
	}
	r.version++
	p := &zones.Plan{Hash: "plan-" + itoa(r.version), Room: "bay", Name: "Bay", Lease: r.lease, Calendar: schedule.Calendar{Location: loc}}
	on, off, _ := strings.Cut(r.lights, "-")
	var lights schedule.Day
	onAt, err1 := clock(on)
	offAt, err2 := clock(off)
	lights.On, lights.Off = onAt, offAt
	p.Calendar.Days = []schedule.Day{lights}
	r.equip(p)
	p.Healthy, p.HealthyPart = r.healthy, r.part
	for _, z := range r.zones {
		z.into(p)
	}
	return p, firstError(err1, err2)
}

// equip adds controllers with their inputs, and supplies; what nobody named is there
// by default.
func (r *roomScript) equip(p *zones.Plan) {
	list := r.controllers
	if len(list) == 0 {
		list = []zones.Controller{{ID: "north"}}
	}
	for _, c := range list {
		for i, in := range r.inputs {
			if r.inputOn[i] == c.ID {
				c.Inputs = append(c.Inputs, in)
			}
		}
		p.Controllers = append(p.Controllers, c)
	}
	p.Supplies = append(p.Supplies, r.supplies...)
	if len(p.Supplies) == 0 {
		p.Supplies = []zones.Supply{{ID: "feed", MaxOpen: 1}}
	}
}

// into adds a zone, its valves and its probes to a plan. One valve bears the zone's
// id, several are numbered.
func (z *zoneScript) into(p *zones.Plan) {
	zone := z.zone
	zone.Schedule = schedule.Zone{Named: true, Windows: append([]schedule.Window(nil), z.windows...)}
	zone.Valves = nil
	for i, n := range z.outputs {
		id := zone.ID
		if len(z.outputs) > 1 {
			id += "-" + itoa(i+1)
		}
		zone.Valves = append(zone.Valves, id)
		p.Valves = append(p.Valves, zones.Valve{ID: id, Output: zones.Output{Controller: z.on, Number: n}, Supply: z.supply, Holding: z.holding, Inrush: z.inrush})
	}
	for i := range z.probes {
		p.Probes = append(p.Probes, zones.Probe{
			ID: zone.ID + itoa(i+1), Zone: zone.ID,
			Place: zones.Place{Controller: z.on, Terminal: z.terminal, Address: itoa(i)},
		})
	}
	p.Zones = append(p.Zones, zone)
}
