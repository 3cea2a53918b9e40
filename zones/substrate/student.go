package substrate

import "math"

// studentT gives the quantile p (above 0.5 to 0.9999) of Student's t with df degrees
// of freedom, one at least, by halving.
func studentT(p float64, df int) float64 {
	low, high := 0.0, 1.0
	for studentCDF(high, df) < p {
		low, high = high, 2*high
	}
	for range 100 {
		if mid := (low + high) / 2; studentCDF(mid, df) < p {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// studentCDF gives the share of Student's t under x >= 0, from the finite sums for
// whole degrees of freedom (Abramowitz & Stegun 1964, 26.7.3 and 26.7.4; the numbers
// of the equations from memory).
func studentCDF(x float64, df int) float64 {
	n := float64(df)
	angle := math.Atan(x / math.Sqrt(n))
	sin, cos := math.Sin(angle), math.Cos(angle)
	if df%2 == 0 {
		return 0.5 + sin*series(cos, 1, df-2)/2
	}
	a := angle
	if df > 1 {
		a += sin * cos * series(cos, 2, df-3)
	}
	return 0.5 + a/math.Pi
}

// series gives 1 + k/(k+1) cos^2 + k(k+2)/((k+1)(k+3)) cos^4 + ... up to cos^last.
func series(cos float64, k, last int) float64 {
	term, sum := 1.0, 1.0
	for power := 2; power <= last; power += 2 {
		term *= float64(k) / float64(k+1) * cos * cos
		sum += term
		k += 2
	}
	return sum
}
