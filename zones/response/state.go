package response

import (
	"encoding/json"
	"fmt"
)

// stateVersion is that of the JSON a model is kept in.
const stateVersion = 1

type modelState struct {
	Version int        `json:"version"`
	Now     int64      `json:"now"`
	Lit     bool       `json:"lit"`
	Turn    int64      `json:"turn"`
	Told    bool       `json:"told"`
	Zones   []bedState `json:"zones"`
}

type bedState struct {
	Zone    Zone          `json:"zone"`
	OpenAt  *int64        `json:"open_at,omitempty"`
	Episode *episodeState `json:"episode,omitempty"`
	Last    int64         `json:"last"`
	Calm    int64         `json:"calm"`
	Since   int64         `json:"since"`
	Five    int64         `json:"five"`
	Shots   []shot        `json:"shots"`
	Day     []block       `json:"day"`
	Night   []block       `json:"night"`
	Found   []Finding     `json:"found"`
	Tracks  []trackState  `json:"tracks"`
}

type episodeState struct {
	Open    int64   `json:"open"`
	Closed  int64   `json:"closed"`
	Wait    int64   `json:"wait"`
	Lit     bool    `json:"lit"`
	Runs    int     `json:"runs"`
	Seconds float64 `json:"seconds"`
	Litres  float64 `json:"litres"`
}

// trackState has the dots as differences from the one before: age, level, age, ...
type trackState struct {
	Dots  []int64  `json:"dots"`
	Fives []int64  `json:"fives"`
	Low   [2]int64 `json:"low"`
	Slip  slip     `json:"slip"`
	Jump  int64    `json:"jump"`
}

// MarshalJSON gives the whole model, for the store: some 2 kB a probe.
func (m *Model) MarshalJSON() ([]byte, error) {
	s := modelState{Version: stateVersion, Now: m.now, Lit: m.lit, Turn: m.turn, Told: m.told}
	for _, b := range m.beds {
		s.Zones = append(s.Zones, b.state())
	}
	return json.Marshal(s)
}

// UnmarshalJSON restores a model as it was. It fails on a state of another version and
// on one that does not fit together; the model is then as before. Fit it to the plan
// afterwards.
func (m *Model) UnmarshalJSON(text []byte) error {
	var s modelState
	if err := json.Unmarshal(text, &s); err != nil {
		return fmt.Errorf("read what zones have taught: %w", err)
	}
	if s.Version != stateVersion {
		return fmt.Errorf("read what zones have taught: version %d, %d is due; begin anew", s.Version, stateVersion)
	}
	out := Model{now: s.Now, lit: s.Lit, turn: s.Turn, told: s.Told}
	for i := range s.Zones {
		b, err := s.Zones[i].bed()
		if err != nil {
			return err
		}
		out.beds = append(out.beds, b)
	}
	*m = out
	return nil
}

func (b *bed) state() bedState {
	s := bedState{
		Zone: b.zone, Last: b.last, Calm: b.calm, Since: b.since, Five: b.five,
		Shots: b.shots, Day: b.day, Night: b.night, Found: b.found,
	}
	if b.openAt != never {
		s.OpenAt = &b.openAt
	}
	if e := b.episode; e != nil {
		s.Episode = &episodeState{e.open, e.closed, e.wait, e.lit, e.runs, e.seconds, e.litres}
	}
	for _, t := range b.tracks {
		dots := t.dots
		if n := len(dots); n > 0 {
			dots = t.between(dots[n-1].at-trackSpan, dots[n-1].at+1)
		}
		s.Tracks = append(s.Tracks, trackState{
			Dots: packed(dots), Fives: packed(t.fives), Low: [2]int64{t.low.at, int64(t.low.level)}, Slip: t.slip, Jump: t.jump,
		})
	}
	return s
}

func (s *bedState) bed() (*bed, error) {
	b := newBed(s.Zone, s.Since)
	b.last, b.calm, b.five = s.Last, s.Calm, s.Five
	b.shots, b.day, b.night, b.found = s.Shots, s.Day, s.Night, s.Found
	if s.OpenAt != nil {
		b.openAt = *s.OpenAt
	}
	if e := s.Episode; e != nil {
		b.episode = &episode{e.Open, e.Closed, e.Wait, e.Lit, e.Runs, e.Seconds, e.Litres}
	}
	if err := s.check(); err != nil {
		return nil, err
	}
	for i, t := range b.tracks {
		from := &s.Tracks[i]
		t.dots = append(t.dots, unpacked(from.Dots)...)
		t.fives = unpacked(from.Fives)
		t.low = dot{from.Low[0], milli(from.Low[1])}
		t.slip, t.jump = from.Slip, from.Jump
	}
	return b, nil
}

// check sees to it that every list has one entry a probe.
func (s *bedState) check() error {
	n := len(s.Zone.Probes)
	bad := len(s.Tracks) != n || s.OpenAt != nil && s.Episode == nil
	for i := range s.Shots {
		x := &s.Shots[i]
		bad = bad || len(x.Before) != n || len(x.After) != n || len(x.Peak) != n ||
			len(x.Late) != 0 && len(x.Late) != n || len(x.Halfway) != 0 && len(x.Halfway) != n || len(x.Ratio) != 0 && len(x.Ratio) != n
	}
	for _, k := range s.Day {
		bad = bad || len(k.Falls) != n
	}
	for _, k := range s.Night {
		bad = bad || len(k.Falls) != n
	}
	if bad {
		return fmt.Errorf("read what zone %s has taught: its lists do not fit its %d probes; begin anew", s.Zone.ID, n)
	}
	return nil
}

func packed(dots []dot) []int64 {
	out := make([]int64, 0, 2*len(dots))
	last := dot{}
	for _, d := range dots {
		out = append(out, d.at-last.at, int64(d.level-last.level))
		last = d
	}
	return out
}

func unpacked(v []int64) []dot {
	out := make([]dot, 0, len(v)/2)
	last := dot{}
	for i := 0; i+1 < len(v); i += 2 {
		last = dot{last.at + v[i], last.level + milli(v[i+1])}
		out = append(out, last)
	}
	return out
}
