package configs

import (
	"fmt"
	"strconv"
	"strings"

	"rillgate/schedule"
	"rillgate/zones"
)

// A fact is one value of a plan in words; two plans differ where their facts do.
type fact struct {
	subject    string // "zone east", "valve west", "gateway"
	key, value string
}

// factsOf gives all facts, subject after subject.
func factsOf(l *Loaded) (out []fact) {
	p := l.Plan
	units := "metric"
	if p.US {
		units = "us"
	}
	if h := &p.HealthyPart; p.Healthy != nil {
		out = append(out, factList("room", "healthy", p.Healthy.String(), "healthy.drives", h.Drives, "healthy.holding", amps(h.Holding), "healthy.inrush", amps(h.Inrush))...)
	}
	out = append(out, factList("room", "id", p.Room, "name", p.Name, "time_zone", p.Calendar.Location.String(), "units", units)...)
	for i, x := range l.Contacts {
		out = append(out, fact{"room", "contact " + itoa(i+1), strings.TrimSuffix(x.Role+": "+x.Name+", "+x.Phone, ", ")})
	}
	for i, d := range p.Calendar.Days {
		key := "day"
		if i > 0 {
			key = "day from " + dateWords(d.From)
		}
		out = append(out, fact{"room", key, "lights " + clockWords(d.On) + " to " + clockWords(d.Off)})
	}
	for i := range p.Controllers {
		out = append(out, controllerFacts(&p.Controllers[i])...)
	}
	for i := range p.Supplies {
		out = append(out, supplyFacts(&p.Supplies[i])...)
	}
	for _, v := range p.Valves {
		out = append(out, factList("valve "+v.ID, "output", v.Output.String(), "supply", v.Supply, "holding", amps(v.Holding), "inrush", amps(v.Inrush))...)
	}
	for _, x := range p.Probes {
		out = append(out, factList("probe "+x.ID, "place", x.Place.String(), "zone", x.Zone, "label", x.Label)...)
	}
	for i := range p.Zones {
		out = append(out, zoneFacts(&p.Zones[i])...)
	}
	out = append(out, wiringFacts(&l.Wiring)...)
	return append(out, gatewayFacts(&l.Gateway)...)
}

// factList makes facts of one subject from keys and values; an empty value is none.
func factList(subject string, pairs ...string) (out []fact) {
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			out = append(out, fact{subject, pairs[i], pairs[i+1]})
		}
	}
	return out
}

func amps(a float64) string { return measure(a, "A") }

// measure gives a number with its unit; nothing where it is not known.
func measure(v float64, unit string) string {
	if v == 0 {
		return ""
	}
	return strconv.FormatFloat(v, 'g', 6, 64) + " " + unit
}

func controllerFacts(c *zones.Controller) []fact {
	subject := "controller " + c.ID
	out := factList(subject, "here", "yes", "voltage", measure(c.Volts, "V"), "rating", measure(c.VA, "VA"))
	for _, in := range c.Inputs {
		contact := "normally-closed"
		if in.NormallyOpen {
			contact = "normally-open"
		}
		out = append(out, fact{subject, "input " + in.ID, string(in.Means) + ", " + contact})
	}
	return out
}

func supplyFacts(s *zones.Supply) []fact {
	master := ""
	if m := s.Master; m != nil {
		master = fmt.Sprintf("%s on output %s, lead %s", m.Kind, m.Output, spanWords(m.Lead))
	}
	return factList("supply "+s.ID, "max_open", itoa(s.MaxOpen), "max_flow", measure(s.MaxFlowLPH/60, "L/min"), "low", s.Low, "master", master)
}

func zoneFacts(z *zones.Zone) []fact {
	subject := "zone " + z.ID
	plants := ""
	if z.Plants > 0 {
		plants = itoa(z.Plants)
	}
	dry := ""
	if z.Dry != nil {
		dry = "below " + levelWords(z.Dry.Below) + " for " + spanWords(z.Dry.For)
	}
	lost := "close"
	if l := z.Lost; l != nil {
		lost = fmt.Sprintf("%s every %s, at most %s a day", shotText(l.Shot), spanWords(l.Every), spanWords(l.MaxPerDay))
	}
	soak := ""
	if l := z.Limits.Soak; l != nil {
		soak = fmt.Sprintf("%s a run, %s in any 24 h, up to %s", spanWords(l.MaxRun), spanWords(l.MaxPerDay), levelWords(l.MaxMoisture))
	}
	m := z.Moisture
	out := factList(subject, "name", z.Name, "valves", strings.Join(z.Valves, ", "), "plants", plants, "canopy", measure(z.CanopyM2, "m2"),
		"substrate", z.Substrate, "volume_per_plant", measure(z.VolumeML/1000, "L"), "height", measure(z.HeightM, "m"),
		"emitters.per_plant", measure(z.EmittersEach, "a plant"), "emitters.flow", measure(z.EmitterLPH, "L/h"),
		"moisture.combine", string(m.Combine), "moisture.quorum", itoa(m.Quorum), "moisture.stale_after", spanWords(m.StaleAfter),
		"moisture.plausible", levelWords(m.PlausibleLo)+" to "+levelWords(m.PlausibleHi),
		"limits.max_run", spanWords(z.Limits.MaxRun), "limits.min_rest", spanWords(z.Limits.MinRest),
		"limits.max_per_day", spanWords(z.Limits.MaxPerDay), "limits.max_moisture", levelWords(z.Limits.MaxMoisture),
		"limits.soak", soak,
		"on_lost_probes", lost, "require_walk", strconv.FormatBool(z.RequireWalk), "dry alarm", dry)
	return append(out, followFacts(subject, &z.Schedule)...)
}

func followFacts(subject string, s *schedule.Zone) (out []fact) {
	scale := scaleWords(&rawZonePlan{scale: s.Scale})
	switch {
	case !s.Named:
		out = factList(subject, "follows", "nothing: not named")
	case s.Crop != nil:
		out = factList(subject, "follows", "crop "+s.Crop.Name, "day_1", dateWords(s.Crop.Day1))
		if s.Crop.Ends > 0 {
			out = append(out, fact{subject, "ends", "day " + itoa(s.Crop.Ends)})
		}
		for _, st := range s.Crop.Stages {
			out = append(out, stageFacts(subject, &st)...)
		}
	case s.Routine != "":
		out = factList(subject, "follows", "routine "+s.Routine)
	case len(s.Windows) > 0:
		out = factList(subject, "follows", "windows of its own")
	default:
		out = factList(subject, "follows", "none")
	}
	for i := range s.Windows {
		out = append(out, fact{subject, "window " + s.Windows[i].Name, windowLine(&s.Windows[i])})
	}
	if scale != "-" {
		out = append(out, fact{subject, "scale", scale})
	}
	return out
}

func stageFacts(subject string, st *schedule.Stage) []fact {
	ease := ""
	if st.EaseFor > 0 {
		ease = ", ease " + itoa(st.EaseFor) + " days"
	}
	name := "stage " + st.Routine
	out := []fact{{subject, name, "from day " + itoa(st.FromDay) + ease}}
	for i := range st.Windows {
		out = append(out, fact{subject, name + ", window " + st.Windows[i].Name, windowLine(&st.Windows[i])})
	}
	return out
}

func gatewayFacts(g *Gateway) []fact {
	homie := "not published"
	if g.Homie.Enabled {
		homie = "published under " + g.Homie.Root
	}
	page := g.Page.Listen
	return factList("gateway", "broker", g.Broker.URL, "username", g.Username, "password_file", g.PasswordFile, "client_id", g.ClientID,
		"tls.ca", g.TLS.CA, "tls.cert", g.TLS.Cert, "tls.key", g.TLS.Key, "lease", spanWords(g.Lease), "clock.trust", string(g.Clock),
		"homie", homie, "homie.orders", strings.Join(g.Homie.Orders, ", "), "page", page, "history.keep", spanWords(g.History.Keep))
}
