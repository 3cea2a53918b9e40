package wiring

import (
	"encoding/json"
	"math"
)

// Amount is a number that may be unknown. The zero Amount is unknown; in JSON it
// is null.
type Amount struct {
	value float64
	known bool
}

// Known makes an amount.
func Known(v float64) Amount { return Amount{v, true} }

// Value gives the number, and whether there is one.
func (a Amount) Value() (v float64, known bool) { return a.value, a.known }

// Over reports whether the amount is known to be more than a limit. Rounding in
// the last digits is not more.
func (a Amount) Over(limit float64) bool {
	return a.known && a.value > limit+1e-9*math.Abs(limit)
}

// Under reports whether the amount is known to be less than a limit.
func (a Amount) Under(limit float64) bool {
	return a.known && a.value < limit-1e-9*math.Abs(limit)
}

// MarshalJSON gives the number to a millionth, or null.
func (a Amount) MarshalJSON() ([]byte, error) {
	if !a.known {
		return []byte("null"), nil
	}
	return json.Marshal(math.Round(a.value*1e6) / 1e6)
}

// length makes an amount of a length as written.
func length(m float64) Amount {
	if m < 0 {
		return Amount{}
	}
	return Known(m)
}

// positive makes an amount of a number of which 0 means not given.
func positive(v float64) Amount {
	if v <= 0 {
		return Amount{}
	}
	return Known(v)
}

func (a Amount) plus(b Amount) Amount { return Amount{a.value + b.value, a.known && b.known} }

func (a Amount) minus(b Amount) Amount { return Amount{a.value - b.value, a.known && b.known} }

func (a Amount) times(b Amount) Amount { return Amount{a.value * b.value, a.known && b.known} }

func (a Amount) scaled(f float64) Amount { return Amount{a.value * f, a.known} }

// per divides; by nothing there is no amount.
func (a Amount) per(b Amount) Amount {
	if !a.known || !b.known || b.value == 0 {
		return Amount{}
	}
	return Known(a.value / b.value)
}
