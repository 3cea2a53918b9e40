package simroom

import "math"

// stream is a SplitMix64 generator (Steele, Lea and Flood, "Fast splittable
// pseudorandom number generators", OOPSLA 2014; constants from memory, checked
// against published outputs in the tests). Every probe and every controller has its
// own, so that taking one away does not shift the others.
type stream struct{ x uint64 }

// newStream gives the stream of a seed and a name.
func newStream(seed uint64, name string) stream {
	h := uint64(14695981039346656037) // FNV-1a, 64 bit
	for i := 0; i < len(name); i++ {
		h = (h ^ uint64(name[i])) * 1099511628211
	}
	s := stream{x: seed}
	return stream{x: s.next() ^ h}
}

func (s *stream) next() uint64 {
	s.x += 0x9e3779b97f4a7c15
	z := s.x
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// unit is uniform in [0, 1).
func (s *stream) unit() float64 { return float64(s.next()>>11) / (1 << 53) }

// normal has mean 0 and standard deviation 1 (Box and Muller 1958, one of the pair).
func (s *stream) normal() float64 {
	u := 1 - s.unit() // never 0
	return math.Sqrt(-2*math.Log(u)) * math.Cos(2*math.Pi*s.unit())
}
