package schedule

import (
	"math"
	"slices"
	"time"
)

// A routine is what is in force from one lights-on to the next: its windows carry
// the numbers of that day, eased and scaled.
type routine struct {
	name    string
	cropDay int
	windows []Window
}

// InForce gives what the zone has in force from lights-on of a date to the next: the
// routine's name, the day of the crop (0 without one, or before its first), and the
// windows with the numbers of that day, eased and scaled; none when fallow. The
// windows are for reading only: they may be the zone's own.
func (z *Zone) InForce(d Date) (name string, cropDay int, windows []Window) {
	r := z.routine(d.number())
	return r.name, r.cropDay, r.windows
}

// routine gives what is in force from lights-on of the date.
func (z *Zone) routine(d day) routine {
	switch {
	case !z.Named:
		return routine{}
	case z.Crop == nil:
		return routine{name: z.Routine, windows: z.Scale.apply(z.Windows)}
	}
	r := z.Crop.routine(int(d-z.Crop.Day1.number()) + 1)
	r.windows = z.Scale.apply(r.windows)
	return r
}

// routine gives what the crop has in force on its nth day; before day 1 and after
// the last one there is none.
func (c *Crop) routine(n int) routine {
	if n < 1 {
		return routine{}
	}
	i := c.stage(n)
	if i < 0 || c.Ends > 0 && n > c.Ends {
		return routine{cropDay: n}
	}
	return routine{name: c.Stages[i].Routine, cropDay: n, windows: c.eased(i, n)}
}

// stage gives the place of the last stage that has begun by day n, or -1.
func (c *Crop) stage(n int) int {
	for i := len(c.Stages) - 1; i >= 0; i-- {
		if c.Stages[i].FromDay <= n {
			return i
		}
	}
	return -1
}

// eased gives the windows of stage i on day n of the crop. What they move away
// from is what was in force on the last day of the stage before, so that a stage
// cut short in its own easing does not jump.
func (c *Crop) eased(i, n int) []Window {
	s := &c.Stages[i]
	k := n - s.FromDay + 1
	if i == 0 || k >= s.EaseFor {
		return s.Windows
	}
	before := c.eased(i-1, s.FromDay-1)
	windows := slices.Clone(s.Windows)
	for j := range windows {
		w := &windows[j]
		if old := named(before, w.Name); old != nil {
			w.ease(old, portion{k, s.EaseFor})
		}
	}
	return windows
}

func named(windows []Window, name string) *Window {
	for i := range windows {
		if windows[i].Name == name {
			return &windows[i]
		}
	}
	return nil
}

// ease moves the window's numbers back towards those of old. A number that one of
// the two does not set, times, and a shot in another unit stay as they are.
func (w *Window) ease(old *Window, p portion) {
	w.Below = p.level(old.Below, w.Below)
	w.StopAt = p.level(old.StopAt, w.StopAt)
	w.DryBack = p.level(old.DryBack, w.DryBack)
	w.Floor = p.level(old.Floor, w.Floor)
	if old.Shot.Kind == w.Shot.Kind {
		w.Shot.Value = p.between(old.Shot.Value, w.Shot.Value)
	}
	w.Rest = seconds(p.between(old.Rest.Seconds(), w.Rest.Seconds()))
	w.MaxShots = int(math.Round(p.between(float64(old.MaxShots), float64(w.MaxShots))))
}

// A portion is day k of n.
type portion struct{ k, n int }

// between gives from + (to-from) * k/n; where either is 0, not set, it gives to.
// The conversion keeps the compiler from fusing the two steps, which would differ
// from one processor to another.
func (p portion) between(from, to float64) float64 {
	if from == 0 || to == 0 {
		return to
	}
	return from + float64((to-from)*float64(p.k)/float64(p.n))
}

func (p portion) level(from, to Level) Level {
	return Level(math.Round(p.between(float64(from), float64(to))))
}

// seconds gives a duration in whole seconds.
func seconds(s float64) time.Duration {
	return time.Duration(math.Round(s)) * time.Second
}

// apply gives the windows with their numbers multiplied; windows itself stays as it is.
func (s Scale) apply(windows []Window) []Window {
	if s == (Scale{}) {
		return windows
	}
	scaled := slices.Clone(windows)
	for i := range scaled {
		s.window(&scaled[i])
	}
	return scaled
}

// window multiplies the numbers of one window. What is set stays set: were a level
// to round to 0, the window would water by time; were max_shots, without limit.
func (s Scale) window(w *Window) {
	w.Below = scaleLevel(w.Below, s.Below)
	w.StopAt = scaleLevel(w.StopAt, s.StopAt)
	w.DryBack = scaleLevel(w.DryBack, s.DryBack)
	w.Floor = scaleLevel(w.Floor, s.Floor)
	w.Shot.Value *= factor(s.Shot)
	if s.Rest != 0 {
		w.Rest = seconds(w.Rest.Seconds() * s.Rest)
	}
	if w.MaxShots > 0 {
		w.MaxShots = int(atLeastOne(float64(w.MaxShots), s.MaxShots, math.MaxInt32))
	}
}

func scaleLevel(l Level, by float64) Level {
	if l <= 0 {
		return l
	}
	return Level(atLeastOne(float64(l), by, math.MaxInt32))
}

func factor(by float64) float64 {
	if by == 0 {
		return 1
	}
	return by
}

// atLeastOne gives the rounded product within [1, most].
func atLeastOne(v, by, most float64) float64 {
	return max(1, min(math.Round(v*factor(by)), most))
}

// lowestBelow gives the lowest below or floor of the windows; 0 = none has one.
func lowestBelow(windows []Window) (lowest Level) {
	for i := range windows {
		for _, l := range [...]Level{windows[i].Below, windows[i].Floor} {
			if l > 0 && (lowest == 0 || l < lowest) {
				lowest = l
			}
		}
	}
	return lowest
}
