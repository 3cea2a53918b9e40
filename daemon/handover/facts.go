package handover

import (
	"fmt"
	"strings"
	"time"

	"rillgate/configs"
	"rillgate/daemon/report"
	"rillgate/zones"
)

// zoneSheet is one zone: what it is, its limits, its schedule in words.
type zoneSheet struct {
	Zone, Name, Follows string
	Facts               []fact
	Windows             []window
}

type fact struct{ Name, Value string }

type window struct{ Stage, Name, When, Asks, Shot, Rest string }

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

func (w writing) zone(p *zones.Plan, z *configs.ZoneWords) zoneSheet {
	out := zoneSheet{Zone: z.Zone, Name: z.Name, Follows: z.Follows}
	l := z.Limits
	out.Facts = []fact{{"Longest run", span(seconds(l.MaxRun))}, {"Most in any 24 h", span(seconds(l.MaxPerDay))}, {"Rest at least", span(seconds(l.MinRest))},
		{"No water from", fmt.Sprintf("%g %% moisture", l.MaxMoisture)}, {"Busiest 24 h", span(seconds(z.Busiest.Seconds).Round(time.Second)) + " at most"}, {"Probes lost", z.Lost}, {"Soak by hand", soakWords(l.Soak)}}
	for i := range p.Zones {
		if p.Zones[i].ID == z.Zone {
			out.Facts = append(out.Facts, w.bed(&p.Zones[i])...)
		}
	}
	stage := ""
	for i := range z.Windows {
		x := &z.Windows[i]
		v := window{Name: x.Window, When: x.When, Asks: x.Asks, Shot: x.Shot.String(), Rest: fmt.Sprintf("%s of rest; at most %s", span(seconds(x.Rest)), counted(x.Shots, "shot"))}
		if len(x.Clock) > 0 && !strings.HasSuffix(x.When, x.Clock[0]) {
			v.When += " (" + strings.Join(x.Clock, "; ") + ")"
		}
		if x.FromDay > 0 && x.Stage != stage {
			v.Stage = fmt.Sprintf("From day %d: %s", x.FromDay, x.Stage)
		}
		stage = x.Stage
		out.Windows = append(out.Windows, v)
	}
	return out
}

// soakWords says how a zone may be soaked.
func soakWords(s *configs.SoakWords) string {
	if s == nil {
		return "not allowed"
	}
	return fmt.Sprintf("%s a run, %s in any 24 h, ends at %g %%", span(seconds(s.MaxRun)), span(seconds(s.MaxPerDay)), s.MaxMoisture)
}

// bed says what a zone is made of.
func (w writing) bed(z *zones.Zone) (out []fact) {
	add := func(known bool, name, format string, values ...any) {
		if known {
			out = append(out, fact{name, fmt.Sprintf(format, values...)})
		}
	}
	add(z.Plants > 0, "Plants", "%d", z.Plants)
	add(z.Substrate != "", "Substrate", "%s", z.Substrate)
	add(z.VolumeML > 0, "Substrate a plant", "%g L", z.VolumeML/1000)
	add(z.EmittersEach > 0 && z.EmitterLPH > 0, "Emitters a plant", "%g of %g L/h", z.EmittersEach, z.EmitterLPH)
	add(z.FlowLPH() > 0, "Whole zone", "%s a minute", w.volume(z.FlowLPH()/60))
	m := &z.Moisture
	add(true, "Moisture", "%s of its probes, %d at least", m.Combine, m.Quorum)
	return out
}

// probeLine is one probe of the register.
type probeLine struct{ ID, Label, Place, Serial, Zone, Offset, Quality, Moisture, Note string }

// probes gives the register: what the files name, with what the room heard, then what
// answers and stands in no file.
func probes(in *Input) (out []probeLine) {
	p := in.Loaded.Plan
	heard := map[zones.Place]*zones.ProbeView{}
	if in.View != nil {
		for i := range in.View.Probes {
			heard[in.View.Probes[i].Place] = &in.View.Probes[i]
		}
	}
	for i := range p.Probes {
		x := &p.Probes[i]
		line := probeLine{ID: x.ID, Label: x.Label, Place: x.Place.String(), Zone: x.Zone}
		if x.Offset != 0 {
			line.Offset = fmt.Sprintf("%+g points", x.Offset.Float())
		}
		line.hear(heard[x.Place], in.Running)
		delete(heard, x.Place)
		out = append(out, line)
	}
	if in.View == nil {
		return out
	}
	for i := range in.View.Probes { // in the register's order
		v := &in.View.Probes[i]
		if heard[v.Place] == nil {
			continue
		}
		line := probeLine{ID: v.ID, Label: v.Label, Place: v.Place.String(), Zone: v.Zone, Note: "not in room.yaml"}
		line.hear(v, in.Running)
		out = append(out, line)
	}
	return out
}

// hear takes what the room knows of the probe; how good it is only a running one knows.
func (l *probeLine) hear(v *zones.ProbeView, running bool) {
	if v == nil {
		return
	}
	l.Serial = v.Serial
	if v.Moisture != nil {
		l.Moisture = fmt.Sprintf("%.1f %%", *v.Moisture)
	}
	if running {
		l.Quality = string(v.Quality)
		if v.Because != "" {
			l.Note = strings.TrimPrefix(l.Note+"; "+v.Because, "; ")
		}
	}
}

// calibration is how a zone's probes become moisture.
type calibration struct{ Zone, Curve, Standing, Doubt, Offsets string }

func calibrated(p *zones.Plan, z *zones.Zone) calibration {
	k := &z.Medium.Curve
	c := calibration{Zone: z.ID, Curve: k.Name + ": " + k.Source, Standing: string(k.Standing)}
	if k.Name == "" {
		c.Curve = "none: its probes send moisture, or nothing"
	}
	if k.Doubt > 0 {
		c.Doubt = fmt.Sprintf("%.1f points either way", 100*k.Doubt)
	}
	var offsets []string
	for i := range p.Probes {
		if x := &p.Probes[i]; x.Zone == z.ID && x.Offset != 0 {
			offsets = append(offsets, fmt.Sprintf("%s %+g", x.ID, x.Offset.Float()))
		}
	}
	c.Offsets = strings.Join(offsets, ", ")
	return c
}

// catches tells the kept catch tests; one that cannot be judged is said to be so.
func catches(papers []Paper, w writing) (out []string) {
	for i := range papers {
		p := &papers[i]
		text := fmt.Sprintf("%s, %s: ", p.Key, p.At.In(w.loc).Format(time.DateOnly))
		c, err := report.ReadCatch(p.Body, p.At)
		if err == nil {
			var s report.CatchSummary
			if s, err = c.Judge(); err == nil {
				out = append(out, text+s.Words())
				continue
			}
		}
		out = append(out, text+"cannot be read: "+err.Error())
	}
	return out
}
