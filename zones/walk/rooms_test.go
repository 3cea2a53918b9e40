package walk_test

import (
	"flag"
	"sort"
	"strings"
	"testing"
	"time"

	"rillgate/zones/simroom"
	"rillgate/zones/walk"

	"github.com/stretchr/testify/require"
)

var (
	rooms = flag.Int("walk.rooms", 40, "walk so many drawn rooms")
	first = flag.Uint64("walk.first", 1, "the first seed")
	tells = flag.Bool("walk.tell", false, "print each room that was not judged as it is")
)

// mistakes of wiring, emitters that give too little, and rooms that are right: four of ten.
var mistakes = []string{
	"right", "right", "right", "right", "right", "right", "right",
	string(simroom.HosesSwapped), string(simroom.OneOutput), string(simroom.CrossFlow), string(simroom.ProbesSwapped), string(simroom.ProbeMisplaced),
	string(simroom.ProbeLost), string(simroom.ProbeStuck), string(simroom.ValveStuckClosed), string(simroom.OutputDead), string(simroom.BedLeak),
	string(simroom.EmittersBlocked),
}

// count is what came of drawn rooms.
type count struct {
	right, good, valves, sure, wrong int
	said                             map[string]map[string]int // verdicts by mistake
}

// No valve or zone with a mistake is called as configured, whatever the noise, the lag
// and the emitters; and of the right rooms nine of ten are.
func TestDrawnRooms(t *testing.T) {
	c := count{said: map[string]map[string]int{}}
	for seed := *first; seed < *first+uint64(*rooms); seed++ {
		x := draw(seed, mistakes)
		r := newRoom(t, x.plan, x.options)
		r.begin(x.plan, walk.Ask{})
		res := r.run(24 * time.Hour)
		for _, z := range res.Zones {
			require.Equal(t, z.Good, r.walked(z.Zone), "the core knows of it")
		}
		before := c
		if wrong := c.judge(x, res); wrong != "" {
			t.Errorf("seed %d, %s of %v: %s is called as configured\n%s", seed, x.mistake, x.options.Faults, wrong, res.Text())
		} else if *tells && (x.mistake != "right" || c.good == before.good) {
			t.Logf("seed %d, %s of %v:\n%s", seed, x.mistake, x.options.Faults, res.Text())
		}
	}
	t.Logf("%d rooms: %d right ones, %d called so (%d of %d valves); %d wrongly called as configured", *rooms, c.right, c.good, c.sure, c.valves, c.wrong)
	for _, m := range sorted(c.said) {
		t.Logf("%-18s %v", m, c.said[m])
	}
	require.Zero(t, c.wrong)
	require.GreaterOrEqual(t, 10*c.good, 9*c.right, "a walk that never says that a room is right is of no use")
}

// judge counts a room; it gives what is wrongly called as configured.
func (c *count) judge(x *drawn, res *walk.Result) (wrong string) {
	good, verdicts := true, ""
	for _, z := range res.Zones {
		if good = good && z.Good; z.Good && x.zones[z.Zone] {
			wrong = "zone " + z.Zone
		}
	}
	sure := map[string]bool{} // zones none of whose valves is in doubt
	for _, row := range res.Valves {
		right := row.Verdict == walk.AsConfigured
		if _, met := sure[row.Zone]; !met {
			sure[row.Zone] = true
		}
		sure[row.Zone] = sure[row.Zone] && right
		switch {
		case x.mistake == "right":
			c.valves++
			if right {
				c.sure++
			}
		case right && x.valves[row.Valve]:
			wrong = "valve " + row.Valve
		case !right && x.zones[row.Zone] && !strings.Contains(verdicts, string(row.Verdict)):
			verdicts += " " + string(row.Verdict)
		}
	}
	for z := range x.zones {
		if sure[z] {
			wrong = "each valve of " + z
		}
	}
	if wrong != "" {
		c.wrong++
	}
	if x.mistake == "right" {
		c.right++
		if good {
			c.good++
		}
		return wrong
	}
	if c.said[x.mistake] == nil {
		c.said[x.mistake] = map[string]int{}
	}
	c.said[x.mistake][strings.TrimSpace(verdicts)]++
	return wrong
}

func sorted[V any](m map[string]V) (keys []string) {
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

func (x *room) walked(zone string) bool {
	for _, z := range x.core.View(x.now()).Zones {
		if z.ID == zone {
			return z.NotWalked == ""
		}
	}
	return false
}
