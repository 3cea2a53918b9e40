package campaign

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
	"time"

	"rillgate/zones"
)

// tale keeps the last steps that did something, to be told after a violation.
type tale struct {
	list []scene
	n    int
}

type scene struct {
	at      time.Duration
	text    string
	ev      zones.Event
	effects []zones.Effect
}

const scenes = 30

func (t *tale) add(s scene) {
	if len(t.list) < scenes {
		t.list = append(t.list, s)
	} else {
		s.effects = append(t.list[t.n%scenes].effects[:0], s.effects...)
		t.list[t.n%scenes] = s
		t.n++
		return
	}
	last := &t.list[len(t.list)-1]
	last.effects = append([]zones.Effect(nil), s.effects...)
	t.n++
}

func (t *tale) step(at time.Duration, ev zones.Event, effects []zones.Effect) {
	_, report := ev.(*zones.Report)
	if len(effects) > 0 || ev == nil || report && t.n > 0 && len(t.list[(t.n-1)%scenes].effects) > 0 {
		t.add(scene{at: at, ev: ev, effects: effects})
	}
}

func (t *tale) fault(at time.Duration, f Fault) { t.say(at, "FAULT "+f.String()) }

func (t *tale) say(at time.Duration, text string) { t.add(scene{at: at, text: text}) }

// lines tells it, oldest first.
func (t *tale) lines() []string {
	var lines []string
	for i := max(0, t.n-len(t.list)); i < t.n; i++ {
		s := &t.list[i%scenes]
		if s.text != "" {
			lines = append(lines, fmt.Sprintf("%s %s", s.at, s.text))
			continue
		}
		lines = append(lines, fmt.Sprintf("%s <- %s", s.at, words(s.ev)))
		for _, e := range s.effects {
			lines = append(lines, "      -> "+words(e))
		}
	}
	return lines
}

// words shows an event or an effect by its type and its JSON form.
func words(v any) string {
	if v == nil {
		return "a process begins"
	}
	name := strings.TrimPrefix(reflect.TypeOf(v).String(), "*zones.")
	if r, ok := v.(*zones.Reading); ok {
		return fmt.Sprintf("Reading %s %.1f retained=%t", r.Place, r.Moisture.Float(), r.Retained)
	}
	if p, ok := v.(*zones.NewPlan); ok {
		return "NewPlan " + p.Plan.Hash
	}
	b, err := json.Marshal(v)
	if err != nil {
		return name + " " + err.Error()
	}
	return name + " " + string(b)
}
