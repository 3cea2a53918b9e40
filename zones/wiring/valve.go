package wiring

// AllowedDrop is the share of the voltage that may be lost on the way to a valve
// at its inrush: common practice, no source.
const AllowedDrop = 0.10

// ValveRun is the wire of one valve, reckoned there and back. Ohms add like those
// of direct current; a coil on alternating current loses less, so this is the worst.
type ValveRun struct {
	ID     string `json:"id"`
	Output int    `json:"output"`
	Supply string `json:"supply"`
	Zone   string `json:"zone,omitempty"`
	Master bool   `json:"master,omitempty"`
	CoilRun
}

// CoilRun is the way to a coil and back: its wire, its currents, and what they lose.
type CoilRun struct {
	LengthM Amount  `json:"length_m"`
	Wire    string  `json:"wire,omitempty"`
	Holding Amount  `json:"holding_a"`
	Inrush  Amount  `json:"inrush_a"`
	Cool    RunLoss `json:"at_20_c"`
	Hot     RunLoss `json:"at_75_c"`
	Longest Amount  `json:"longest_m"` // at this wire, inrush and 75 °C within AllowedDrop
}

// RunLoss is what a run costs at one temperature of the copper.
type RunLoss struct {
	LoopOhms    Amount `json:"loop_ohms"`
	HoldingDrop Amount `json:"holding_drop_v"`
	InrushDrop  Amount `json:"inrush_drop_v"`
}

// LoopOhms gives the resistance of two conductors of a length at a temperature, °C.
func LoopOhms(w Wire, m, celsius float64) Amount {
	return w.OhmsPerMetre(celsius).times(length(m)).scaled(2)
}

// Longest gives the longest run, m one way, at which a current loses no more than
// a voltage at a temperature, °C.
func Longest(w Wire, amps, drop, celsius float64) Amount {
	return positive(drop).per(w.OhmsPerMetre(celsius).times(positive(amps)).scaled(2))
}

func (v *Valve) run(volts float64) ValveRun {
	out := ValveRun{ID: v.ID, Output: v.Output, Supply: v.Supply, Zone: v.Zone, Master: v.Master,
		CoilRun: CoilRun{LengthM: length(v.LengthM), Holding: positive(v.Holding), Inrush: positive(v.inrush())}}
	if v.Wire.Given() {
		out.Wire = v.Wire.String()
	}
	out.Cool, out.Hot = v.loss(coolCelsius), v.loss(hotCelsius)
	if volts > 0 {
		out.Longest = Longest(v.Wire, v.inrush(), AllowedDrop*volts, hotCelsius)
	}
	return out
}

func (v *Valve) loss(celsius float64) RunLoss {
	loop := LoopOhms(v.Wire, v.LengthM, celsius)
	return RunLoss{loop, loop.times(positive(v.Holding)), loop.times(positive(v.inrush()))}
}

// inrush is never under holding: a file that gives only holding means both.
func (v *Valve) inrush() float64 { return max(v.Inrush, v.Holding) }

// enough gives the thinnest common wire with which the run keeps within the
// allowed drop; ok is false when none does.
func (v *Valve) enough(volts float64) (w Wire, ok bool) {
	for _, w := range v.Wire.thicker() {
		if far := Longest(w, v.inrush(), AllowedDrop*volts, hotCelsius); far.known && far.value >= v.LengthM {
			return w, true
		}
	}
	return Wire{}, false
}
