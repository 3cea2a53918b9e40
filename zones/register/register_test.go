package register

import (
	"encoding/json"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// bench is a register with a clock, and the room as it knows it.
type bench struct {
	t    *testing.T
	r    *Register
	age  time.Duration
	room []zones.ProbeView
}

func place(address string) zones.Place {
	return zones.Place{Controller: "north", Terminal: 1, Address: address}
}

func newBench(t *testing.T) *bench {
	b := &bench{t: t, r: New(nil), room: []zones.ProbeView{
		{ID: "a1", Place: place("0"), Zone: "east", InFiles: true},
		{ID: "a2", Place: place("1"), Zone: "east", InFiles: true},
	}}
	b.fit("start")
	return b
}

func (b *bench) wall() time.Time { return time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC).Add(b.age) }

func (b *bench) fit(by string) { b.r.Fit(b.room, b.wall(), by) }

// say lets a place be heard a minute later.
func (b *bench) say(address, serial string, percent float64) {
	b.age += time.Minute
	b.r.Heard(&zones.Reading{Place: place(address), HasMoisture: true, Moisture: zones.Level(percent * 1000), Serial: serial,
		Permittivity: math.NaN(), EC: math.NaN(), Temperature: math.NaN()}, b.age, b.wall())
}

func (b *bench) found() (out []string) {
	for _, f := range b.r.Findings(b.age) {
		out = append(out, fmt.Sprintf("%s %s", f.Code, f.Probe))
	}
	return out
}

func (b *bench) life(id string) Life {
	all := b.r.Lives(id)
	require.NotEmpty(b.t, all, id)
	return all[0]
}

func sentences(l Life) (out []string) {
	for i := range l.Events {
		out = append(out, l.Events[i].Sentence())
	}
	return out
}

func TestFirstReadingAndSerial(t *testing.T) {
	b := newBench(t)
	b.say("0", "S1", 44)
	require.Empty(t, b.found())
	require.Equal(t, []string{"room.yaml: named at north/1/0, by start", "zone: none -> east, by start", "serial number S1", "first heard: north/1/0, 44.0 %, serial number S1"}, sentences(b.life("a1")))
	require.Equal(t, "a1", b.life("S1").ID)
	require.Empty(t, b.r.Lives("S2"))
	require.Empty(t, b.r.Lives(""))
}

// Another number at a known place is told after three readings, and no more when the
// first is back or a person says that it was exchanged.
func TestExchangeIsSeen(t *testing.T) {
	b := newBench(t)
	b.say("0", "S1", 44)
	b.say("0", "S2", 44)
	b.say("0", "S2", 44)
	require.Empty(t, b.found(), "two readings may be a stray")
	b.say("0", "S2", 44)
	require.Equal(t, []string{"probe-exchanged a1"}, b.found())
	require.Contains(t, b.r.Findings(b.age)[0].Because, "S2 answers at north/1/0, where a1 was S1: if it was exchanged, `rillgate exchange a1`")
	b.r.Exchanged("a1", place("0"), b.wall(), "ana", "broke")
	b.fit("ana")
	require.Empty(t, b.found())
	b.say("0", "S2", 30)
	l := b.life("a1")
	require.Equal(t, "S2", l.Serial)
	require.Contains(t, sentences(l), "exchanged: S2 at north/1/0 for S1 at north/1/0, by ana, broke")
	require.Equal(t, "first heard: north/1/0, 30.0 %, serial number S2", sentences(l)[len(l.Events)-1])
	require.Equal(t, "a1", b.life("S1 at north/1/0").ID)

	for range 3 {
		b.say("0", "S3", 30)
	}
	require.Equal(t, []string{"probe-exchanged a1"}, b.found())
	for range 3 {
		b.say("0", "S2", 30)
	}
	require.Empty(t, b.found(), "the first one is back")
}

// A known probe answers at another's place, or at one that nobody named.
func TestMoved(t *testing.T) {
	b := newBench(t)
	b.say("0", "S1", 44)
	b.say("1", "S2", 44)
	for range 3 {
		b.say("0", "S2", 44)
	}
	require.Equal(t, []string{"probe-moved a2"}, b.found())
	require.Contains(t, b.r.Findings(b.age)[0].Because, "the place of a1, and not at its own, north/1/1")

	b = newBench(t)
	b.say("1", "S2", 44)
	b.room = append(b.room, zones.ProbeView{ID: "north-1-7", Place: place("7")})
	b.fit("")
	for range 3 {
		b.say("7", "S2", 44)
	}
	require.Equal(t, []string{"probe-moved a2"}, b.found())
	require.Contains(t, b.r.Findings(b.age)[0].Because, "`rillgate exchange a2 north/1/7` lets it go on there")
	require.True(t, b.r.Weigh("a2", place("7"), false, b.age).Same)
	require.False(t, b.r.Weigh("a1", place("7"), false, b.age).Same)
	require.Equal(t, "S2, which answers at north/1/7, is a2 of north/1/1", b.r.Weigh("a1", place("7"), false, b.age).Against)

	b.r.Exchanged("a2", place("7"), b.wall(), "ana", "")
	b.room = []zones.ProbeView{b.room[0], {ID: "a2", Place: place("7"), Zone: "east", InFiles: true}}
	b.fit("ana")
	require.Empty(t, b.found())
	require.Equal(t, "S2", b.life("a2").Serial)
	require.True(t, b.life("north-1-7").Gone)
	require.Equal(t, "known no more by itself: it stands for a2, by ana", b.life("north-1-7").Newest(1)[0].Sentence())
	b.age += 2 * time.Hour
	require.Empty(t, b.found())
}

func TestTwoProbesWithOneAddress(t *testing.T) {
	b := newBench(t)
	for range 2 {
		b.say("0", "S1", 44)
		b.say("0", "S2", 40)
	}
	require.Equal(t, []string{"address-twice a1"}, b.found())
	require.Contains(t, b.r.Findings(b.age)[0].Because, "S1 and S2 answer by turns at north/1/0")
	b.age += 9 * time.Minute
	require.Len(t, b.found(), 1)
	b.age += 2 * time.Minute
	require.Empty(t, b.found(), "it is over")

	b = newBench(t)
	for range 2 {
		b.say("0", "S1", 44)
		b.say("0", "S2", 40)
	}
	b.say("0", "S1", 44)
	b.room = append(b.room, zones.ProbeView{ID: "north-1-5", Place: place("5")})
	b.fit("")
	for range 3 {
		require.Equal(t, []string{"address-twice a1"}, b.found())
		b.say("5", "S2", 40)
	}
	require.Empty(t, b.found(), "it has an address of its own now")
}

// Without serial numbers jumps tell. One pour, or one dip into a cup, does not.
func TestJumps(t *testing.T) {
	b := newBench(t)
	levels := func(percents ...float64) {
		for _, p := range percents {
			b.say("0", "", p)
		}
	}
	levels(44, 44, 58, 47, 46, 90, 90, 44, 43, 43)
	require.Empty(t, b.found(), "poured over, and put into a cup")
	b.age += time.Hour
	levels(44, 22, 44, 22, 44)
	require.Empty(t, b.found())
	levels(22)
	require.Equal(t, []string{"address-twice a1"}, b.found())
	require.Contains(t, b.r.Findings(b.age)[0].Because, "jumped up and down 3 times")
	b.age += time.Hour
	levels(90, 70, 50, 30, 10)
	require.Empty(t, b.found(), "it dries, however fast: nothing comes back")
}

func TestOneSerialAtTwoPlaces(t *testing.T) {
	b := newBench(t)
	for range 2 {
		b.say("0", "S1", 44)
		b.say("1", "S1", 44)
	}
	require.Equal(t, []string{"serial-twice a1"}, b.found())
	for range 8 {
		b.say("0", "S1", 44)
		b.say("1", "S1", 44)
	}
	require.Equal(t, []string{"serial-twice a1"}, b.found(), "and not as moved besides")
}

// A probe that somebody carries from plug to plug is moved, not doubled.
func TestCarriedAbout(t *testing.T) {
	b := newBench(t)
	for _, at := range []string{"0", "1", "0"} {
		for range 4 {
			b.say(at, "S1", 44)
		}
	}
	require.Empty(t, b.found())
}

// The files lead: places that they change take what answers there with them.
func TestFilesChange(t *testing.T) {
	b := newBench(t)
	for range 3 {
		b.say("0", "S1", 44)
		b.say("1", "S2", 44)
	}
	b.room[0].Place, b.room[1].Place = b.room[1].Place, b.room[0].Place
	b.fit("ana")
	require.Equal(t, "S2", b.life("a1").Serial)
	require.Equal(t, "S1", b.life("a2").Serial)
	require.Empty(t, b.found())

	b.room[0].ID, b.room[0].Label, b.room[0].Offset = "e1", "front", 1.5
	b.fit("ana")
	l := b.life("e1")
	require.Equal(t, []string{"id: a1 -> e1, by ana", "label: none -> front, by ana", "offset: 0.0 points -> 1.5 points, by ana"}, sentences(l)[len(l.Events)-3:])
	require.Equal(t, l, b.life("a1"), "found by its former id")

	gone := b.room[0]
	b.room = b.room[1:]
	b.fit("ana")
	require.True(t, b.life("e1").Gone)
	require.Empty(t, b.life("e1").Newest(0))
	b.room = append(b.room, gone)
	b.fit("ben")
	l = b.life("e1")
	require.False(t, l.Gone)
	require.Equal(t, "known again, by ben", l.Newest(1)[0].Sentence())
	b.room = append(b.room, zones.ProbeView{ID: "north-1-9", Place: place("9")})
	b.fit("")
	b.room = b.room[:2]
	b.fit("start")
	require.False(t, b.life("north-1-9").Gone, "it may only be silent")
	gone.InFiles, gone.Zone = false, ""
	b.room[1] = gone
	b.fit("ben")
	require.Equal(t, "zone: east -> none, by ben", b.life("e1").Newest(1)[0].Sentence())
}

// What was kept goes on; only what changed is to be kept.
func TestKept(t *testing.T) {
	b := newBench(t)
	b.say("0", "S1", 44)
	changed := b.r.Changed()
	require.Len(t, changed, 2)
	require.Empty(t, b.r.Changed())
	text, err := json.Marshal(changed)
	require.NoError(t, err)
	var kept []Life
	require.NoError(t, json.Unmarshal(text, &kept))
	n := New(append(kept, kept[0], Life{}))
	require.Equal(t, b.r.all(), n.all())
	n.Fit(b.room, b.wall(), "start")
	require.Empty(t, n.Changed(), "nothing is other than before")
	b.r = n
	for range 3 {
		b.say("0", "S2", 44)
	}
	require.Equal(t, []string{"probe-exchanged a1"}, b.found(), "over a restart")
}

func TestRegisterIsBounded(t *testing.T) {
	b := newBench(t)
	for i := range eventsMost + 20 {
		b.room[0].Label = fmt.Sprint(i)
		b.fit("")
	}
	require.Len(t, b.life("a1").Events, eventsMost)
	require.Equal(t, Listed, b.life("a1").Events[0].Kind)
	for i := range livesMost + 20 {
		b.room = append(b.room[:2], zones.ProbeView{ID: fmt.Sprint("p", i), Place: place(fmt.Sprint(i + 5)), Zone: "west"})
		b.fit("")
	}
	require.Len(t, b.r.lives, livesMost)
	for i := range serialsMost + 20 {
		b.say("0", fmt.Sprint("S", i), 44)
	}
	require.LessOrEqual(t, len(b.r.serials), serialsMost)
	b.r.Exchanged("nobody", place("0"), b.wall(), "", "")
	b.say("z", "S", 44)
}
