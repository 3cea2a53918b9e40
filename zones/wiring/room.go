// Package wiring reckons what an installer builds: how each terminal's probes hang
// on it, how far each is along its real path, what that path does to its voltage,
// what the valves draw over their wires and what the transformer must give. It is
// pure: a Room in, a Sheet out. Nothing here decides whether a valve opens, and
// nothing here says that an installation complies with a code.
//
//	chain  controller --home run-- box 1 --lead-- box 2 --lead-- ...   tails at the boxes
//	star   controller --home run-- box 1, every lead and tail from it
//	valve  controller --two wires-- coil, one run a valve
//	healthy  controller --two wires-- coil of a relay; its contact lets a horn sound when it drops
//
// Lengths in m, currents in A, resistances in ohm; what nobody wrote is not known,
// and what follows from it is not known either: no figure is made up for it, save
// those that Sheet.Assumptions names.
package wiring

// NotGiven stands for a length that nobody wrote.
const NotGiven = -1.0

// Room is what the installer wrote of one room's wires.
type Room struct {
	ID, Name    string
	US          bool // lengths in ft and areas in sqft, else m and m2
	House       House
	Controllers []Controller
	Supplies    []Supply
	Zones       []Zone
}

// House holds the house's own rules: common practice, no source.
type House struct {
	ProbesPerTerminal int
	FarthestProbeM    float64
	CanopyPerProbeM2  float64
	ValveWire         Wire // the finest wire for a valve
}

// Common gives the rules of a house that wrote none: 10 probes a terminal, 175 ft
// to the farthest, a probe for 100 sqft of canopy, 18 AWG for valves.
func Common() House {
	return House{ProbesPerTerminal: 10, FarthestProbeM: 175 * metresPerFoot, CanopyPerProbeM2: 100 * squareMetresPerSqft, ValveWire: Gauge(18)}
}

// Controller is a room controller with what is wired to it.
type Controller struct {
	ID        string
	Volts     float64 // of the outputs; 0 = not given
	Kind      string  // "ac", "dc"; "" = not given
	VA        float64 // transformer rating; 0 = not given
	Terminals []Terminal
	Valves    []Valve // masters too
	Healthy   *Healthy
}

// Healthy is the output that is held while all is well, with the relay that it holds.
type Healthy struct {
	Output          int
	Drives          string  // what sounds when the relay drops; "" = not given
	LengthM         float64 // one way, to the relay
	Wire            Wire
	Holding, Inrush float64 // A; 0 = not given
}

// Terminal is one bus of probes.
type Terminal struct {
	Number   int
	Star     bool // every lead from one box; else box after box
	HomeRunM float64
	Cable    Wire
	Volts    float64 // feeding the probes; 0 = not given
	DrawA    float64 // of a probe that gives none; 0 = not given
	Probes   []Probe // in the order of the chain
}

// Probe is one probe with its own cable.
type Probe struct {
	ID, Address, Zone, Label string
	LeadM, TailM             float64
	DrawA                    float64 // 0 = the terminal's
}

// Valve is one solenoid, or the valve or contactor of a master.
type Valve struct {
	ID              string
	Output          int
	Supply, Zone    string // Zone "" = a master, or in no zone
	Master          bool
	LengthM         float64 // one way
	Wire            Wire
	Holding, Inrush float64 // A; 0 = not given
}

// Supply is water that valves share.
type Supply struct {
	ID      string
	MaxOpen int // valves open at once, the master not counted
}

// Zone is a bed with its probes.
type Zone struct {
	ID, Name string
	CanopyM2 float64 // 0 = not given
	Probes   int
}
