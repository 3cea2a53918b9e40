package campaign

import (
	"math"
	"time"
)

// dice is a SplitMix64 generator (Steele, Lea and Flood, OOPSLA 2014).
type dice struct{ x uint64 }

func newDice(seed uint64, name string) *dice { return &dice{mix(seed, name)} }

// mix gives a number of a seed and a name (FNV-1a, then one step of SplitMix64).
func mix(seed uint64, names ...string) uint64 {
	h := uint64(14695981039346656037)
	for _, name := range names {
		for i := 0; i < len(name); i++ {
			h = (h ^ uint64(name[i])) * 1099511628211
		}
	}
	return scramble(seed*0x9e3779b97f4a7c15 ^ h)
}

func scramble(z uint64) uint64 {
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

func (d *dice) next() uint64 {
	d.x += 0x9e3779b97f4a7c15
	return scramble(d.x)
}

// unit is uniform in [0, 1).
func (d *dice) unit() float64 { return float64(d.next()>>11) / (1 << 53) }

func (d *dice) chance(p float64) bool { return d.unit() < p }

// n is uniform in 0 to n-1.
func (d *dice) n(n int) int { return int(d.next() % uint64(n)) }

// log is log-uniform between two numbers.
func (d *dice) log(from, to float64) float64 {
	return from * math.Exp(d.unit()*math.Log(to/from))
}

// span is log-uniform between two durations, in whole milliseconds.
func (d *dice) span(from, to time.Duration) time.Duration {
	return time.Duration(d.log(float64(from), float64(to))).Truncate(time.Millisecond)
}

func pick[T any](d *dice, from []T) T { return from[d.n(len(from))] }

// chanceAt is uniform in [0, 1), decided by what and when alone: leaving out a fault
// shifts no other draw.
func chanceAt(seed uint64, what string, at time.Duration, n int) float64 {
	return float64(scramble(mix(seed, what)^uint64(at)*0x9e3779b97f4a7c15+uint64(n)*0xd1342543de82ef95)>>11) / (1 << 53)
}
