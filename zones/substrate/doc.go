// Package substrate reckons with what a probe measures and with what a container
// holds. It is pure: numbers in, numbers or an error out. Nothing here decides
// whether a valve opens.
//
//	permittivity -- Curve ------> Moisture, flagged where it is only a bound
//	bulk EC ------- PoreEC -----> EC at the roots, refused in a dry substrate
//	drain sample -- Drain ------> drain share, salt balance
//	height -------- Retention --> container capacity, air space, available water
//	shot ---------- Drip -------> mL, time and points, and back
//	spread -------- Judge ------> outliers, half-width, probes needed
//	air ----------- ETo, VPD ---> demand for water
//
// Water content is a fraction by volume (m3/m3, 0 to 1) unless a name says points,
// which are percent by volume. Formulas carry their source; Standing says how sure
// we are of it.
package substrate

// Standing says how sure a formula or number is.
type Standing string

// The standings, the surest first.
const (
	Published   Standing = "published"            // seen in the source's own words
	Transcribed Standing = "transcribed"          // seen in another's transcription that names the source
	Derived     Standing = "derived"              // follows from a balance; needs no source
	Reported    Standing = "reported by others"   // a claim about a paper, seen in other people's notes
	Recalled    Standing = "from memory"          // the source was not seen
	Practice    Standing = "common practice"      // no source
	Ours        Standing = "chosen here"          // no published fit; illustrative
	Doubtful    Standing = "doubtful"             // the transcription contradicts itself
	Measured    Standing = "your own measurement" // a calibration
)

// Figure is one number with its standing. The zero Figure is an unknown number.
type Figure struct {
	Value    float64
	Standing Standing
	Source   string // who says so; "" where the standing says it all
}

// Known reports whether there is a number.
func (f Figure) Known() bool { return f.Standing != "" }
