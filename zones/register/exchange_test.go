package register

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// An exchange while the old probe answers yet, or nothing does, is spoken against; of
// probes that tell no serial number nothing can be known, and it is said.
func TestWeigh(t *testing.T) {
	for name, c := range map[string]struct {
		heard          []string // serial numbers at a1's place, in turn
		anew           bool     // the gateway was started anew after the first
		at             string   // address of the exchange
		silent         bool
		against, knows string
	}{
		"the old one still":            {[]string{"S1"}, false, "0", false, "S1 still answers at north/1/0, and that is a1 already", ""},
		"it is back":                   {[]string{"S1", "S2", "S1", "S1", "S1"}, false, "0", false, "S1 still answers", ""},
		"unplugged":                    {[]string{"S1"}, false, "0", true, "nothing answers at north/1/0", ""},
		"another":                      {[]string{"S1", "S2"}, false, "0", false, "", "it is S2, in the place of S1"},
		"by turns":                     {[]string{"S1", "S2", "S1", "S2"}, false, "0", false, "S1 and S2 answer by turns at north/1/0", ""},
		"by turns, and one taken off":  {[]string{"S1", "S2", "S1", "S2", "S2", "S2"}, false, "0", false, "", "it is S2, in the place of S1"},
		"no number since the start":    {[]string{"S1", ""}, true, "0", false, "a1 is S1, and what answers at north/1/0 has told no serial number since the gateway started", ""},
		"another since the start":      {[]string{"S1", "S2"}, true, "0", false, "", "it is S2, in the place of S1"},
		"no numbers at all":            {[]string{"", ""}, false, "0", false, "", "no serial number tells whether it is another probe: that is your word"},
		"no numbers, and unplugged":    {[]string{""}, false, "0", true, "nothing answers at north/1/0", ""},
		"the neighbour's":              {[]string{"S1", "N1"}, false, "0", false, "N1, which answers at north/1/0, is a2 of north/1/1", ""},
		"elsewhere, without a number":  {[]string{"S1"}, false, "7", false, "", "no serial number tells"},
		"elsewhere, and nothing there": {[]string{"S1"}, false, "7", true, "nothing answers at north/1/7", ""},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			b.say("1", "N1", 40)
			for i, s := range c.heard {
				if i == 1 && c.anew {
					b.r = New(b.r.all())
					b.fit("start")
				}
				b.say("0", s, 44)
			}
			w := b.r.Weigh("a1", place(c.at), c.silent, b.age)
			require.False(t, w.Same)
			if c.against == "" {
				require.Empty(t, w.Against)
			}
			require.Contains(t, w.Against, c.against)
			require.Contains(t, w.Knows, c.knows)
			require.Equal(t, w.Against == "", w.Do == "")
			require.Equal(t, w.Against == "", w.Knows != "")
		})
	}
	require.Zero(t, newBench(t).r.Weigh("nobody", place("0"), false, 0))
}

// A probe that takes its neighbour's for its own on a person's word leaves the neighbour
// without: no serial number stands for two.
func TestTheNeighboursNumberGoesOver(t *testing.T) {
	b := newBench(t)
	b.say("0", "S1", 44)
	b.say("1", "S2", 44)
	b.say("0", "S2", 44)
	b.r.Exchanged("a1", place("0"), b.wall(), "ana", "")
	b.fit("ana")
	require.Equal(t, "S2", b.life("a1").Serial)
	require.Empty(t, b.life("a2").Serial)
	require.Equal(t, "serial number unknown, by ana, S2 stands for a1", b.life("a2").Newest(1)[0].Sentence())
	require.Equal(t, "a1", b.life("S2").ID)
	b.say("1", "S1", 44)
	require.Equal(t, "S1", b.life("a2").Serial)
}

// A serial number that only exchanges name is found, too.
func TestFoundByTheNumberOfAnExchange(t *testing.T) {
	b := newBench(t)
	for _, s := range []string{"S1", "S2", "S3"} {
		b.say("0", s, 44)
		b.r.Exchanged("a1", place("0"), b.wall(), "ana", "")
	}
	require.Equal(t, "a1", b.life("S2").ID)
	require.Empty(t, b.r.Lives("S"))
}

// A line that is taken out of the files and put back is one life, whatever the place was
// called meanwhile, and over a restart.
func TestALineOutAndIn(t *testing.T) {
	b := newBench(t)
	b.say("0", "S1", 44)
	line := b.room[0]
	b.room = b.room[1:]
	b.fit("ana")
	require.True(t, b.life("a1").Gone)
	b.r = New(b.r.all())
	b.room = append(b.room, zones.ProbeView{ID: "north-1-0", Place: place("0")})
	b.fit("")
	b.say("0", "S1", 44)
	require.Equal(t, []string{"room.yaml: named at north/1/0, by start", "zone: none -> east, by start", "serial number S1", "first heard: north/1/0, 44.0 %, serial number S1",
		"known no more, by ana", "known again", "id: a1 -> north-1-0", "room.yaml: named no more", "zone: east -> none"}, sentences(b.life("north-1-0")))
	b.room[1] = line
	b.fit("ben")
	require.Len(t, b.r.Lives("a1"), 1)
	require.Equal(t, "S1", b.life("a1").Serial)
	require.Empty(t, b.found())
}

// A probe that left and answers unasked at another plug is the same one, by its number.
func TestOneThatLeftAnswersElsewhere(t *testing.T) {
	b := newBench(t)
	b.say("0", "S1", 44)
	b.room = b.room[1:]
	b.fit("ana")
	b.r.Changed()
	b.room = append(b.room, zones.ProbeView{ID: "north-1-7", Place: place("7")})
	b.fit("")
	b.say("7", "S1", 31)
	require.Len(t, b.r.Lives("a1"), 1)
	l := b.life("S1")
	require.Equal(t, "north-1-7", l.ID)
	require.Contains(t, sentences(l), "zone: none -> east, by start")
	require.Equal(t, "first heard: north/1/7, 31.0 %, serial number S1", l.Newest(1)[0].Sentence())

	kept := b.r.Changed()
	require.Len(t, kept, 2)
	require.Equal(t, l.Key, kept[1].Into, "the other paper says where it went")
	require.Len(t, New(kept).all(), 1)
	require.Len(t, b.r.lives, 2)
}

// Two lives that an earlier program made of one probe are joined when its line is back.
func TestLivesThatWereSplit(t *testing.T) {
	at := time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)
	r := New([]Life{
		{Key: "1", ID: "a1", Place: place("0"), Gone: true, Serial: "S1", Events: []Event{{At: at, Kind: Serial, To: "S1"}, {At: at.Add(time.Hour), Kind: Left}}},
		{Key: "2", ID: "north-1-0", Place: place("0"), Serial: "S1", Events: []Event{{At: at.Add(2 * time.Hour), Kind: Met, To: "north/1/0"}}},
	})
	r.Fit([]zones.ProbeView{{ID: "a1", Place: place("0"), InFiles: true}}, at.Add(3*time.Hour), "ana")
	require.Len(t, r.Lives("a1"), 1)
	require.Equal(t, []string{"serial number S1", "known no more", "first heard: north/1/0", "id: north-1-0 -> a1, by ana", "room.yaml: named at north/1/0, by ana"}, sentences(r.Lives("a1")[0]))
}

// On wiring day every probe comes with the same address and gets its own one by one: that
// is no exchange, and nothing has moved.
func TestAddressesAreGivenOneByOne(t *testing.T) {
	b := newBench(t)
	b.room = append(b.room, zones.ProbeView{ID: "north-1-9", Place: place("9")})
	b.fit("")
	for i, own := range []string{"0", "1", "7"} {
		if own == "7" {
			b.room = append(b.room, zones.ProbeView{ID: "north-1-7", Place: place("7")})
			b.fit("")
		}
		serial := []string{"S1", "S2", "S3"}[i]
		for range 4 {
			b.say("9", serial, 44)
		}
		require.Empty(t, b.found())
		require.Equal(t, "north-1-9", b.life(serial).ID)
		for range 4 {
			b.say(own, serial, 44)
		}
		require.Empty(t, b.found())
		require.Equal(t, []string{"a1", "a2", "north-1-7"}[i], b.life(serial).ID)
	}
	require.Contains(t, sentences(b.life("north-1-9")), "serial number unknown, S2 answers at north/1/1")

	for range 3 {
		b.say("9", "S1", 44)
	}
	require.Equal(t, []string{"probe-moved a1"}, b.found(), "a named one has a place of its own")
	b = newBench(t)
	b.say("0", "S0", 44)
	b.room = append(b.room, zones.ProbeView{ID: "north-1-9", Place: place("9")})
	b.fit("")
	b.say("9", "S1", 44)
	for range 3 {
		b.say("0", "S1", 44)
	}
	require.Equal(t, []string{"probe-exchanged a1"}, b.found(), "a spare that was heard before")
	require.Empty(t, b.r.Weigh("a1", place("0"), false, b.age).Against)
}

// Two that changed places are told as that.
func TestChangedPlaces(t *testing.T) {
	b := newBench(t)
	b.say("0", "S1", 44)
	b.say("1", "S2", 44)
	for range 3 {
		b.say("0", "S2", 44)
		b.say("1", "S1", 44)
	}
	require.Equal(t, []string{"probe-moved a1", "probe-moved a2"}, b.found())
	require.Equal(t, "a1 and a2 have changed places: a1 (S1) answers at north/1/1, and a2 (S2) at north/1/0. Change the two plugs back, or the places of both lines in room.yaml and `rillgate apply`",
		b.r.Findings(b.age)[0].Because)
}
