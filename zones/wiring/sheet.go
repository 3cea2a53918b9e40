package wiring

// Sheet is the install sheet of a room.
type Sheet struct {
	Room        string            `json:"room"`
	Name        string            `json:"name,omitempty"`
	US          bool              `json:"us"`
	Controllers []ControllerSheet `json:"controllers"`
	Cuts        []Cut             `json:"cut_list"`
	Totals      []Total           `json:"cable"`
	Parts       []Part            `json:"parts"`
	Findings    []Finding         `json:"findings"`
	Assumptions []string          `json:"assumptions"`
}

// ControllerSheet is what one controller's page shows.
type ControllerSheet struct {
	ID          string          `json:"id"`
	Terminals   []TerminalSheet `json:"terminals"`
	Valves      []ValveRun      `json:"valves"`
	Healthy     *HealthyRun     `json:"healthy,omitempty"` // absent = it is on no output of this controller
	Transformer Transformer     `json:"transformer"`
	Pieces      []Piece         `json:"pieces"`
	Cuts        []Cut           `json:"cut_list"`
	Totals      []Total         `json:"cable"`
	Parts       []Part          `json:"parts"`
}

// TerminalSheet is one terminal as it will be built.
type TerminalSheet struct {
	Number   int         `json:"number"`
	Star     bool        `json:"star"`
	Cable    string      `json:"cable,omitempty"`
	HomeRun  Amount      `json:"home_run_m"`
	Bought   Amount      `json:"cable_m"`      // home run and leads
	Tails    Amount      `json:"own_cables_m"` // the probes' own
	Boxes    []Box       `json:"boxes"`
	Probes   []ProbeLine `json:"probes"`
	Pieces   []Piece     `json:"pieces"`
	Farthest string      `json:"farthest,omitempty"` // the probe at the end of the longest run
	LongestM Amount      `json:"farthest_m"`
	Lowest   string      `json:"lowest,omitempty"` // the probe with the least voltage
	Volts    float64     `json:"volts"`            // at the terminal
	DrawA    float64     `json:"draw_a"`           // of all probes
	Cool     BusLoss     `json:"at_20_c"`          // at the probe with the least voltage
	Hot      BusLoss     `json:"at_75_c"`
	inline   int         // joints at a lead's end
	assumes  assumptions // what the file did not say
}

// BusLoss is what reaches a probe when all of its terminal draw.
type BusLoss struct {
	ProbeVolts Amount `json:"probe_v"`
	GroundDrop Amount `json:"ground_drop_v"`
}

// ProbeLine is one probe at its place.
type ProbeLine struct {
	ID      string  `json:"id"`
	Address string  `json:"address"`
	Label   string  `json:"label,omitempty"`
	Zone    string  `json:"zone,omitempty"`
	Box     int     `json:"box"`
	Lead    Amount  `json:"lead_m"`
	Tail    Amount  `json:"tail_m"`
	Run     Amount  `json:"run_m"` // from the controller, its own cable too
	DrawA   float64 `json:"draw_a"`
	Cool    BusLoss `json:"at_20_c"`
	Hot     BusLoss `json:"at_75_c"`
	Apart   bool    `json:"joint_at_lead_end,omitempty"`
}

// Survey reckons the whole sheet. It takes any Room: what cannot be is for the
// configuration's checks.
func Survey(r Room) Sheet {
	out := Sheet{Room: r.ID, Name: r.Name, US: r.US, Controllers: []ControllerSheet{}}
	var pieces []Piece
	var parts counter
	for i := range r.Controllers {
		c := r.controller(&r.Controllers[i])
		pieces = append(pieces, c.Pieces...)
		for _, p := range c.Parts {
			parts.add(p.Count, "%s", p.Kind)
		}
		out.Controllers = append(out.Controllers, c)
	}
	out.Cuts, out.Totals, out.Parts = cuts(pieces), totals(pieces), sortParts(parts.parts)
	out.Findings = r.findings(out.Controllers)
	out.Assumptions = assumed(out.Controllers)
	return out
}

func (r *Room) controller(c *Controller) ControllerSheet {
	out := ControllerSheet{ID: c.ID, Terminals: []TerminalSheet{}, Valves: []ValveRun{}, Pieces: []Piece{}, Transformer: r.transformer(c)}
	var parts counter
	for i := range c.Terminals {
		t := c.Terminals[i].sheet(c.ID)
		parts.addTerminal(&t)
		out.Pieces = append(out.Pieces, t.Pieces...)
		out.Terminals = append(out.Terminals, t)
	}
	for i := range c.Valves {
		v := &c.Valves[i]
		out.Valves = append(out.Valves, v.run(c.Volts))
		out.Pieces = append(out.Pieces, v.piece(c.ID))
	}
	parts.add(2*len(c.Valves), "watertight joint of 2 wires at a valve")
	if h := c.Healthy; h != nil {
		out.Healthy = h.run(c)
		out.Pieces = append(out.Pieces, h.piece(c.ID))
		parts.add(1, "relay, 1 change-over contact, coil %s", c.supply())
		parts.add(1, "horn, lamp or dialler on its own battery")
	}
	out.Cuts, out.Totals, out.Parts = cuts(out.Pieces), totals(out.Pieces), sortParts(parts.parts)
	return out
}

func (t *Terminal) sheet(controller string) TerminalSheet {
	b := t.plan(controller)
	out := TerminalSheet{Number: t.Number, Star: t.Star, HomeRun: length(t.HomeRunM), Bought: b.bought(false), Tails: b.bought(true),
		Boxes: b.boxList(t, controller), Pieces: b.pieces(t, controller), Probes: []ProbeLine{}, Volts: t.volts(), assumes: t.assumes()}
	if t.Cable.Given() {
		out.Cable = t.Cable.String()
	}
	for i := range t.Probes {
		p := t.line(b, i)
		out.DrawA += p.DrawA
		out.inline += boolInt(p.Apart)
		out.Probes = append(out.Probes, p)
	}
	out.farthest()
	return out
}

func (t *Terminal) line(b *build, i int) ProbeLine {
	p := &t.Probes[i]
	return ProbeLine{ID: p.ID, Address: p.Address, Label: p.Label, Zone: p.Zone, Box: b.boxOf[i], Lead: length(p.LeadM), Tail: length(p.TailM),
		Run: b.length(b.paths[i]), DrawA: t.draw(i), Cool: t.loss(b, i, coolCelsius), Hot: t.loss(b, i, hotCelsius), Apart: b.joints[i]}
}

// loss takes the fall in the supply's conductor and in the ground's, which are alike.
func (t *Terminal) loss(b *build, i int, celsius float64) BusLoss {
	drop := b.oneWire(b.paths[i], celsius)
	return BusLoss{Known(t.volts()).minus(drop.scaled(2)), drop}
}

// farthest names the probe with the longest run and the one with the least voltage.
// Both stay unknown as long as one of the probes' is.
func (t *TerminalSheet) farthest() {
	for i := range t.Probes {
		p := &t.Probes[i]
		if !p.Run.known {
			t.Farthest, t.LongestM = "", Amount{}
			break
		}
		if t.Farthest == "" || p.Run.Over(t.LongestM.value) {
			t.Farthest, t.LongestM = p.ID, p.Run
		}
	}
	for i := range t.Probes {
		p := &t.Probes[i]
		if !p.Hot.ProbeVolts.known {
			t.Lowest, t.Cool, t.Hot = "", BusLoss{}, BusLoss{}
			break
		}
		if t.Lowest == "" || p.Hot.ProbeVolts.Under(t.Hot.ProbeVolts.value) {
			t.Lowest, t.Cool, t.Hot = p.ID, p.Cool, p.Hot
		}
	}
}
