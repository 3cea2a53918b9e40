package sheet

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/zones/wiring"
)

const foot = 0.3048

// full is a room with controllers as full as the house's rules let them be: four
// terminals of ten probes, chains and stars, seven valves and a master.
func full(controllers int) wiring.Room {
	r := wiring.Room{ID: "bay-9", Name: "Bay 9", US: true, House: wiring.Common(), Supplies: []wiring.Supply{{ID: "feed", MaxOpen: 4}}}
	for n := range controllers {
		id := fmt.Sprintf("north-%d", n)
		c := wiring.Controller{ID: id, Volts: 24, Kind: "ac", VA: 40}
		for t := range 4 {
			c.Terminals = append(c.Terminals, fullTerminal(n, t))
		}
		for v := range 8 {
			c.Valves = append(c.Valves, wiring.Valve{ID: fmt.Sprintf("valve-%d-%d", n, v), Output: v + 1, Supply: "feed", Zone: "east", Master: v == 7,
				LengthM: float64(80+40*v) * foot, Wire: wiring.Gauge(18 + v/6*2), Holding: 0.25, Inrush: 0.4})
		}
		if n == 0 {
			c.Healthy = &wiring.Healthy{Output: 9, Drives: "horn over the door", LengthM: 25 * foot, Wire: wiring.Gauge(18), Holding: 0.05, Inrush: 0.1}
		}
		r.Controllers = append(r.Controllers, c)
	}
	r.Zones = []wiring.Zone{{ID: "east", Name: "East bench", CanopyM2: 900, Probes: 40}}
	return r
}

func fullTerminal(n, t int) wiring.Terminal {
	out := wiring.Terminal{Number: t + 1, Star: t%2 == 1, HomeRunM: float64(52+12*t) * foot, Cable: wiring.Gauge(22)}
	for k := range 10 {
		p := wiring.Probe{ID: fmt.Sprintf("p%d%d%d", n, t, k), Address: fmt.Sprint(k), Zone: "east", Label: fmt.Sprintf("East row %d post %d", t+1, k+1), LeadM: float64(8+k%3*2) * foot, TailM: 5}
		if k == 0 && !out.Star {
			p.LeadM = 0
		}
		out.Probes = append(out.Probes, p)
	}
	return out
}

// small is a room of which a day's work is made: two terminals, three valves.
func small() wiring.Room {
	r := full(1)
	r.US = false
	c := &r.Controllers[0]
	c.Terminals, c.Valves = c.Terminals[:2], append(c.Valves[:2:2], c.Valves[7])
	for i := range c.Terminals {
		c.Terminals[i].Probes = c.Terminals[i].Probes[:4]
	}
	return r
}

// hostile is a room whose names try to be markup, and as long as they may be.
func hostile() wiring.Room {
	r := small()
	r.Name = `<script>alert("1")</script> & "Bay" 'x'`
	for i := range r.Controllers[0].Terminals {
		for k := range r.Controllers[0].Terminals[i].Probes {
			p := &r.Controllers[0].Terminals[i].Probes[k]
			p.ID, p.Zone = strings.Repeat("w", 32), strings.Repeat("m", 32)
			p.Label = `</text><script>alert(1)</script>` + strings.Repeat("W", 32)
		}
	}
	r.Controllers[0].Healthy.Drives = `</text><script>alert(1)</script>` + strings.Repeat("W", 16)
	r.Controllers[0].Valves[0].ID, r.Controllers[0].Valves[0].Zone = strings.Repeat("w", 32), strings.Repeat("m", 32)
	return r
}

func html(t testing.TB, r wiring.Room) string {
	t.Helper()
	var b strings.Builder
	require.NoError(t, HTML(&b, wiring.Survey(r), Head{Plan: "0123456789ab", Date: "2027-03-01"}))
	return b.String()
}

func svg(t testing.TB, r wiring.Room) string {
	t.Helper()
	var b strings.Builder
	require.NoError(t, SVG(&b, wiring.Survey(r)))
	return b.String()
}
