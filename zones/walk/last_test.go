package walk_test

import (
	"encoding/json"
	"slices"
	"testing"
	"time"

	"rillgate/zones"
	"rillgate/zones/simroom"
	"rillgate/zones/walk"

	"github.com/stretchr/testify/require"
)

var day = time.Date(2027, 3, 1, 9, 0, 0, 0, time.UTC)

// found is a walk of valves east and west, each with a verdict, on a day of March.
func found(on int, by string, verdicts map[string]walk.Verdict) walk.Kept {
	at := day.AddDate(0, 0, on-1)
	r := &walk.Result{Room: "bay", Plan: "abc", Begun: at, Ended: at.Add(time.Hour), Probes: []walk.Probe{{ID: "e1", Zone: "east"}, {ID: "w1", Zone: "west"}}}
	for _, valve := range []string{"east", "west"} {
		v, asked := verdicts[valve]
		if !asked {
			continue
		}
		row := walk.Row{Valve: valve, Zone: valve, Verdict: v, Because: "as of " + at.Format(time.DateOnly)}
		if v != walk.NotWalked && v != walk.Refused {
			row.Watched = true
			row.Cells = []walk.Cell{{Probe: "e1", Seen: walk.Rose, Points: float64(on)}, {Probe: "w1", Seen: walk.Still}}
		}
		r.Valves = append(r.Valves, row)
		r.Zones = append(r.Zones, walk.ZoneResult{Zone: valve, Good: v == walk.AsConfigured})
	}
	return walk.Kept{By: by, Result: r}
}

func shows(walked ...string) *zones.View {
	v := &zones.View{Room: "bay", Valves: []zones.ValveView{{ID: "east", Zone: "east"}, {ID: "west", Zone: "west"}, {ID: "main", Master: true}}}
	for _, z := range []string{"east", "west"} {
		x := zones.ZoneView{ID: z, Wiring: "m-" + z, NotWalked: "never"}
		for _, w := range walked {
			if w == z {
				at := day.Add(30 * time.Minute)
				x.NotWalked, x.WalkedAt = "", &at
			}
		}
		v.Zones = append(v.Zones, x)
	}
	return v
}

// Each valve keeps the last row that says something, with its own date and walker: none is
// lost to a walk of another zone, nor to one that was refused, stopped or cut short.
func TestLastRowOfEachValve(t *testing.T) {
	both := func(v walk.Verdict) map[string]walk.Verdict { return map[string]walk.Verdict{"east": v, "west": v} }
	good := found(1, "ana", both(walk.AsConfigured))
	cut := found(5, "ben", both(walk.Unsure))
	for i := range cut.Result.Valves {
		cut.Result.Valves[i].CutShort = "leak: the switch is wet"
	}
	for name, c := range map[string]struct {
		later      walk.Kept
		east, west string // verdict and day of March
	}{
		"refused":           {found(5, "ben", both(walk.Refused)), "as-configured 1 ana", "as-configured 1 ana"},
		"not reached":       {found(5, "ben", map[string]walk.Verdict{"east": walk.Swapped, "west": walk.NotWalked}), "swapped 5 ben", "as-configured 1 ana"},
		"one zone":          {found(5, "ben", map[string]walk.Verdict{"west": walk.AsConfigured}), "as-configured 1 ana", "as-configured 5 ben"},
		"cut short":         {cut, "as-configured 1 ana", "as-configured 1 ana"},
		"not sure, watched": {found(5, "ben", both(walk.Unsure)), "unsure 5 ben", "unsure 5 ben"},
	} {
		t.Run(name, func(t *testing.T) {
			b := walk.NewBook()
			b.Add(good)
			b.Add(c.later)
			l := b.Last(shows("east", "west"), nil)
			tell := func(r walk.LastRow) string {
				return string(r.Verdict) + " " + r.Walked.Format("2") + " " + r.By
			}
			require.Equal(t, []string{c.east, c.west}, []string{tell(l.Valves[0]), tell(l.Valves[1])})
			require.Equal(t, 5, l.Walk.Begun.Day(), "the last walk itself is told of, whatever came of it")
		})
	}
}

// What says nothing stands where there is nothing else, the newest of it.
func TestLastOfARoomThatWasNeverWalked(t *testing.T) {
	b := walk.NewBook()
	require.True(t, b.Empty())
	require.Equal(t, walk.NotWalked, b.Last(shows(), nil).Valves[0].Verdict)
	b.Add(found(1, "ana", map[string]walk.Verdict{"east": walk.Refused}))
	b.Add(found(2, "ana", map[string]walk.Verdict{"east": walk.NotWalked}))
	l := b.Last(shows(), nil)
	require.Equal(t, 2, l.Valves[0].Walked.Day())
	require.Contains(t, l.Text(time.UTC), "no walk of it is kept")
	require.False(t, l.Good())
	require.False(t, b.Empty())
}

// Rows of a zone alone; and what each zone is called is the core's word, not the rows'.
func TestLastOfAZone(t *testing.T) {
	b := walk.NewBook()
	b.Add(found(1, "ana", map[string]walk.Verdict{"east": walk.AsConfigured, "west": walk.AsConfigured}))
	l := b.Last(shows("east"), []string{"east"})
	require.Len(t, l.Valves, 1)
	require.True(t, l.Good())
	require.NotContains(t, l.Text(time.UTC), "west:")
	l = b.Last(shows("east"), nil)
	require.False(t, l.Good())
	text := l.Text(time.FixedZone("here", 2*3600))
	require.Contains(t, text, "zone west: not walked: never")
	require.Contains(t, text, "zone east: walked, as configured, 2027-03-01 11:30")
	require.Contains(t, text, "2027-03-01 11:00")
	require.Contains(t, text, "The last walk: 2027-03-01 11:00 by ana: 2 of 2 valves as configured.")
}

// A person's word is told as such, until a walk has found the zone right; a doubt of a later
// walk stands beside it.
func TestLastByAWord(t *testing.T) {
	b := walk.NewBook()
	b.Accept(walk.Accepted{Zone: "west", Wiring: "m-west", At: day.AddDate(0, 0, 2), By: "ana", Note: "saw the bed wet"})
	b.Accept(walk.Accepted{Zone: "east", Wiring: "another", At: day.AddDate(0, 0, 2), By: "ana", Note: "saw it"})
	b.Add(found(5, "ben", map[string]walk.Verdict{"west": walk.Unsure}))
	l := b.Last(shows("east", "west"), nil)
	require.Nil(t, l.Zones[0].Accepted, "it was of another wiring")
	text := l.Text(time.UTC)
	require.Contains(t, text, "zone west: counts as walked by the word of ana, 2027-03-03 09:00: saw the bed wet; the last walk of it was not sure (valve west: unsure: as of 2027-03-05)")
	b.Add(found(6, "ben", map[string]walk.Verdict{"west": walk.AsConfigured}))
	require.Contains(t, b.Last(shows("west"), []string{"west"}).Text(time.UTC), "zone west: walked, as configured")
}

// Rows of walks with other probes share their columns; an empty one is no probe of then.
func TestLastOverOtherProbes(t *testing.T) {
	b := walk.NewBook()
	b.Add(found(1, "ana", map[string]walk.Verdict{"east": walk.AsConfigured, "west": walk.AsConfigured}))
	second := found(2, "ana", map[string]walk.Verdict{"west": walk.AsConfigured})
	second.Result.Probes[0] = walk.Probe{ID: "e9", Zone: "east"}
	second.Result.Valves[0].Cells[0].Probe = "e9"
	b.Add(second)
	l := b.Last(shows("east", "west"), nil)
	require.Len(t, l.Probes, 3)
	for _, row := range l.Valves {
		require.Len(t, row.Cells, 3)
	}
	require.Equal(t, []walk.Seen{walk.Rose, walk.Still, ""}, []walk.Seen{l.Valves[0].Cells[0].Seen, l.Valves[0].Cells[1].Seen, l.Valves[0].Cells[2].Seen})
	require.True(t, l.Valves[0].Own("e1"))
	require.False(t, l.Valves[0].Own("w1"))
	require.Contains(t, l.Text(time.UTC), "[1.0]")
}

// A walk of one zone says nothing of the others, but for one that rises with nothing open.
func TestWalkOfOneZone(t *testing.T) {
	p := roomPlan(3, 1, 2)
	x := newRoom(t, p, simroom.Options{Seed: 2, Faults: []simroom.Fault{{Kind: simroom.BedLeak, Subject: "z3", Value: 20}}})
	x.begin(p, walk.Ask{Zones: []string{"z1"}})
	r := x.run(6 * time.Hour)
	require.Len(t, r.Valves, 1)
	require.Len(t, r.Zones, 2, r.Text())
	require.NotContains(t, r.Text(), "zone z2")
	require.Contains(t, r.Text(), "zone z3: not walked this time: z3 rises by")
}

// A later walk that surely finds a valve otherwise takes the zone's good walk back, and the
// core says so; one that is not sure, or was refused, takes nothing.
func TestAWalkTakesBackWhatOneFound(t *testing.T) {
	p := roomPlan(2, 1, 2)
	x := newRoom(t, p, simroom.Options{Seed: 2, Faults: []simroom.Fault{
		{Kind: simroom.ProbeLost, Subject: "z1-p0", At: 3 * time.Hour, For: 2 * time.Hour},
		{Kind: simroom.HosesSwapped, Subject: "z1-v0", Other: "z2-v0", At: 8 * time.Hour}}})
	walks := func(at time.Duration) *walk.Result {
		x.until(at)
		x.begin(p, walk.Ask{})
		return x.run(2 * time.Hour)
	}
	require.True(t, walks(5*time.Minute).Good())
	r := walks(3*time.Hour + 10*time.Minute)
	require.Equal(t, walk.Unsure, r.Valves[0].Verdict, r.Text())
	require.Contains(t, r.Text(), "zone z1: not sure: ")
	require.True(t, x.walked("z1"), "what is not sure takes nothing back")
	x.until(8 * time.Hour)
	x.step(&zones.Order{ID: "h", Kind: zones.OrderHold, Zone: "z2", For: 4 * time.Hour})
	v := x.core.View(x.now())
	w, err := walk.New(p, &v, walk.Ask{})
	require.NoError(t, err)
	said := w.News()
	require.Len(t, said, 1)
	require.Contains(t, said[0], "z2 is held now: its valves do not open while that stands", "said before the rest, not after it")
	r = walks(8*time.Hour + 5*time.Minute)
	require.Equal(t, walk.Refused, r.Valves[1].Verdict)
	require.Contains(t, r.Text(), "zone z1: not as configured: ")
	require.Contains(t, r.Text(), "zone z2: not walked this time: ")
	require.False(t, x.walked("z1"))
	require.True(t, x.walked("z2"), "it was refused: nothing was found of it")
	for _, z := range x.core.View(x.now()).Zones {
		if z.ID == "z1" {
			require.Contains(t, z.NotWalked, "found z1 otherwise than the files say (valve z1-v0: answers-another)")
		}
	}
}

// Brief is Last without its matrix, and takes none of it away from the book.
func TestBriefHasNoMatrix(t *testing.T) {
	b := walk.NewBook()
	b.Add(found(1, "ana", map[string]walk.Verdict{"east": walk.AsConfigured, "west": walk.Swapped}))
	v := shows("east")
	whole := b.Last(v, nil)
	require.NotEmpty(t, whole.Probes)
	require.NotEmpty(t, whole.Valves[0].Cells)
	want := *whole
	want.Probes, want.Valves = nil, slices.Clone(whole.Valves)
	for i := range want.Valves {
		want.Valves[i].Cells = nil
	}
	is, err := json.Marshal(b.Brief(v))
	require.NoError(t, err)
	should, err := json.Marshal(&want)
	require.NoError(t, err)
	require.JSONEq(t, string(should), string(is))
	require.Equal(t, whole, b.Last(v, nil))
}
