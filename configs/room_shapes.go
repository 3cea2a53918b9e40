package configs

// The shapes of room.yaml: what the installer may write.
var (
	idShape = field{"id", ident{}, true, "what other parts of the files name it by"}

	roomShape = &shape{"What is wired in the room, and its limits.", []field{
		{"room", roomHeadShape, true, "the room's id and time zone"},
		{"controllers", listOf{controllerShape, 1}, true, "the room controllers, with their terminals and inputs"},
		{"supplies", listOf{supplyShape, 1}, false, "water that zones share; absent: one supply, max_open 1"},
		{"valves", listOf{valveShape, 1}, true, "the solenoid valves and their outputs"},
		{"healthy", healthyShape, false, "an output that is held while all is well"},
		{"defaults", defaultsShape, false, "what a zone has where it does not say otherwise"},
		{"house_rules", houseShape, false, "the house's own rules of wiring"},
		{"zones", listOf{zoneShape, 1}, true, "the beds, with their valves"},
	}, ""}

	roomHeadShape = &shape{"The room itself.", []field{
		{"id", ident{}, true, "the room's id, part of every topic"},
		{"name", label{64}, false, "the room's name for people"},
		{"time_zone", zoneText, true, "the time zone of the room's clock"},
		{"units", word{"us", "metric"}, false, "units shown"},
		{"contacts", listOf{contactShape, 0}, false, "whom to ask"},
	}, "room: {id: bay-2, name: Bay 2, time_zone: America/Chicago, units: us}"}

	contactShape = &shape{"Somebody to ask about the room.", []field{
		{"name", label{64}, true, "who"},
		{"role", label{64}, true, "for what"},
		{"phone", label{32}, false, "how to reach them"},
	}, `{name: Night desk, role: "water, day and night", phone: "ext. 12"}`}

	controllerShape = &shape{"A room controller.", []field{
		idShape,
		{"power", powerShape, false, "what feeds its outputs"},
		{"terminals", listOf{terminalShape, 0}, false, "the terminals that probes are wired to"},
		{"inputs", listOf{inputShape, 0}, false, "its contacts"},
	}, "{id: north, power: {voltage: 24 V, kind: ac, rating: 40 VA}}"}

	powerShape = &shape{"The transformer or supply behind the outputs.", []field{
		{"voltage", amount(voltage, "5 V", "60 V", "24 V"), true, "the voltage of the outputs"},
		{"kind", word{"ac", "dc"}, false, "ac or dc"},
		{"rating", amount(apparent, "1 VA", "2000 VA", "40 VA"), false, "what the transformer gives"},
	}, "power: {voltage: 24 V, kind: ac, rating: 40 VA}"}

	terminalShape = &shape{"A terminal, with its probes.", []field{
		{"number", integer{1, 64}, true, "the terminal's number on the controller"},
		{"layout", word{"chain", "star"}, false, "chain: box after box; star: all from one box"},
		{"home_run", amount(length, "0 m", "1000 m", "60 ft"), false, "cable from the controller to the first box"},
		{"cable", quantity{[]limit{{gauge, "8 AWG", "30 AWG"}, {crossSection, "0.05 mm2", "10 mm2"}}, "22 AWG"}, false, "the cable's wires"},
		{"voltage", amount(voltage, "3 V", "30 V", "12 V"), false, "the voltage that feeds its probes"},
		{"draw", amount(current, "0.1 mA", "500 mA", "25 mA"), false, "what each probe draws while it measures"},
		{"probes", listOf{probeShape, 0}, false, "the probes, in the order of the chain"},
	}, "{number: 1, layout: chain, home_run: 60 ft, probes: [...]}"}

	probeShape = &shape{"A probe.", []field{
		idShape,
		{"address", addressText, true, "its address on the terminal"},
		{"zone", ident{}, false, "the zone whose substrate it is in"},
		{"lead", amount(length, "0 m", "1000 m", "12 ft"), false, "cable from the box before (chain), or from the star's box"},
		{"tail", amount(length, "0 m", "200 m", "5 m"), false, "the probe's own cable"},
		{"offset", amount(points, "-15 points", "15 points", "-1.5 points"), false, "added to each of its moistures"},
		{"draw", amount(current, "0.1 mA", "500 mA", "25 mA"), false, "what it draws while it measures, where the terminal's does not hold"},
		{"label", label{64}, false, "its name for people"},
		{"place", notBuilt{"probes of foreign controllers"}, false, "the place of a foreign probe"},
	}, `{id: e1, address: "0", zone: east, lead: 0 ft, tail: 5 m}`}

	inputShape = &shape{"A contact on a controller.", []field{
		idShape,
		{"means", word{"supply-low", "leak", "stop", "lights"}, true, "what it stands for"},
		{"contact", word{"normally-closed", "normally-open"}, false, "normally-closed: a cut wire counts as active"},
	}, "{id: tank-low, means: supply-low, contact: normally-closed}"}

	supplyShape = &shape{"Water that zones share.", []field{
		idShape,
		{"max_open", integer{1, 64}, false, "valves open at once, the master not counted"},
		{"max_flow", amount(flow, "0.1 L/h", "100000 L/h", "20 L/min"), false, "the most that may be drawn at once"},
		{"low", ident{}, false, "the input that says the supply is low"},
		{"master", masterShape, false, "the valve or pump that the whole supply hangs on"},
	}, "{id: feed, max_open: 1, max_flow: 20 L/min, low: tank-low}"}

	masterShape = &shape{"The valve or pump that a supply hangs on.", []field{
		{"controller", ident{}, true, "the controller that switches it"},
		{"output", integer{1, 64}, true, "the output that switches it"},
		{"kind", word{"valve", "pump"}, false, "valve: opens before the zone valves; pump: after"},
		{"lead", amount(timeSpan, "0 s", "60 s", "2 s"), false, "the time between master and zone valve"},
		{"length", amount(length, "0 m", "1000 m", "80 ft"), false, "wire from the controller to it"},
		{"wire", quantity{[]limit{{gauge, "8 AWG", "30 AWG"}, {crossSection, "0.05 mm2", "10 mm2"}}, "18 AWG"}, false, "the wire's size"},
		{"holding", amount(current, "1 mA", "20 A", "0.25 A"), false, "current while open"},
		{"inrush", amount(current, "1 mA", "50 A", "0.4 A"), false, "current while opening"},
	}, "master: {controller: north, output: 8, kind: valve, lead: 2 s}"}

	valveShape = &shape{"A solenoid valve.", []field{
		idShape,
		{"controller", ident{}, true, "the controller that switches it"},
		{"output", integer{1, 64}, true, "the output that switches it"},
		{"supply", ident{}, false, "the supply that it draws from; needed when there are several"},
		{"length", amount(length, "0 m", "1000 m", "80 ft"), false, "wire from the controller to the valve"},
		{"wire", quantity{[]limit{{gauge, "8 AWG", "30 AWG"}, {crossSection, "0.05 mm2", "10 mm2"}}, "18 AWG"}, false, "the wire's size"},
		{"holding", amount(current, "1 mA", "20 A", "0.25 A"), false, "current while open"},
		{"inrush", amount(current, "1 mA", "50 A", "0.4 A"), false, "current while opening"},
	}, "{id: east, controller: north, output: 1, supply: feed}"}

	healthyShape = &shape{"An output that is held while all is well, and dropped by an urgent alarm or by whatever dies.", []field{
		{"controller", ident{}, true, "the controller that switches it"},
		{"output", integer{1, 64}, true, "the output that switches it"},
		{"drives", label{48}, false, "what hangs on it, for people"},
		{"length", amount(length, "0 m", "1000 m", "80 ft"), false, "wire from the controller to its relay"},
		{"wire", quantity{[]limit{{gauge, "8 AWG", "30 AWG"}, {crossSection, "0.05 mm2", "10 mm2"}}, "18 AWG"}, false, "the wire's size"},
		{"holding", amount(current, "1 mA", "20 A", "0.25 A"), false, "current while held"},
		{"inrush", amount(current, "1 mA", "50 A", "0.4 A"), false, "current while it pulls in"},
	}, "healthy: {controller: north, output: 9}"}

	houseShape = &shape{"The house's own rules of wiring.", []field{
		{"probes_per_terminal", integer{1, 62}, false, "more are an error"},
		{"farthest_probe", amount(length, "1 m", "2000 m", "175 ft"), false, "a longer cable run is a warning"},
		{"canopy_per_probe", amount(area, "0.1 m2", "10000 m2", "100 sqft"), false, "more canopy on a probe is a warning"},
		{"valve_wire", quantity{[]limit{{gauge, "8 AWG", "30 AWG"}, {crossSection, "0.05 mm2", "10 mm2"}}, "18 AWG"}, false, "a finer wire to a valve is a warning"},
	}, "house_rules: {probes_per_terminal: 10, farthest_probe: 175 ft, canopy_per_probe: 100 sqft}"}
)

// zoneFields are the keys that a zone shares with `defaults`.
var zoneFields = []field{
	{"substrate", substrateShape, false, "what the roots stand in"},
	{"emitters", emittersShape, false, "what gives the water"},
	{"moisture", moistureShape, false, "how the probes become one number"},
	{"limits", limitsShape, false, "what binds every shot"},
	{"on_lost_probes", oneOf{word{"close"}, lostShape}, false, "what happens when too few probes count"},
	{"require_walk", boolean{}, false, "whether windows wait until a walk has found its wiring right"},
}

// The shapes that zones and defaults share.
var (
	defaultsShape = &shape{"What a zone has where it does not say otherwise; its keys replace these one by one.", zoneFields, ""}

	zoneShape = &shape{"A bed of substrate with its own valves and probes.", append([]field{
		idShape,
		{"name", label{64}, false, "its name for people"},
		{"canopy", amount(area, "0.01 m2", "10000 m2", "180 sqft"), false, "the area of its plants"},
		{"plants", integer{1, 100000}, false, "how many plants it waters"},
		{"valves", listOf{ident{}, 1}, true, "its valves, which open together"},
	}, zoneFields...), "{id: east, name: East bench, canopy: 180 sqft, plants: 48, valves: [east]}"}

	substrateShape = &shape{"What the roots stand in.", []field{
		{"kind", label{32}, false, "what it is made of"},
		{"volume_per_plant", amount(volume, "10 mL", "1000 L", "6.5 L"), false, "its volume for one plant"},
		{"height", amount(length, "1 cm", "3 m", "20 cm"), false, "its height"},
		{"curve", curveNames, false, "how a permittivity becomes moisture"},
		{"porosity", amount(percentage, "30 %", "99 %", "88 %"), false, "its pore space"},
		{"density", amount(density, "0.02 g/cm3", "2 g/cm3", "0.15 g/cm3"), false, "its dry bulk density"},
		{"samples", listOf{sampleShape, 2}, false, "samples of your own that make its curve"},
		{"pore_offset", decimal{"0", "10"}, false, "its offset in the formula for pore EC"},
	}, "substrate: {kind: coir, volume_per_plant: 6.5 L, height: 20 cm}"}

	emittersShape = &shape{"What gives the water.", []field{
		{"per_plant", decimal{"0.01", "100"}, false, "emitters for one plant"},
		{"flow", amount(flow, "0.01 L/h", "200 L/h", "2 L/h"), false, "what one emitter gives"},
	}, "emitters: {per_plant: 2, flow: 2 L/h}"}

	moistureShape = &shape{"How the probes become one number.", []field{
		{"combine", word{"median", "mean", "trimmed", "driest", "wettest"}, false, "how they are combined"},
		{"quorum", integer{1, 1000}, false, "how many must count"},
		{"stale_after", amount(timeSpan, "10 s", "1 h", "3 min"), false, "the age at which a reading no longer counts"},
		{"plausible", spanText, false, "readings outside are not believed"},
		{"ec", word{"as-measured", "at-25"}, false, "whether the probes bring the EC to 25 °C themselves"},
	}, "moisture: {combine: median, quorum: 2, stale_after: 3 min, plausible: 2 % to 95 %}"}

	limitsShape = &shape{"What binds every shot of a zone.", []field{
		{"max_run", amount(timeSpan, "1 s", "1 h", "6 min"), false, "the longest single run"},
		{"min_rest", amount(timeSpan, "10 s", "24 h", "5 min"), false, "the shortest rest between two runs"},
		{"max_per_day", amount(timeSpan, "1 s", "12 h", "60 min"), false, "the most valve time in any 24 h"},
		{"max_moisture", amount(percentage, "1 %", "100 %", "70 %"), false, "at this moisture nothing opens"},
		{"soak", soakShape, false, "the limits of a soak; absent: it may not be soaked"},
	}, "limits: {max_run: 6 min, min_rest: 5 min, max_per_day: 60 min, max_moisture: 70 %}"}

	soakShape = &shape{"What binds a soak, beside the rest between two runs.", []field{
		{"max_run", amount(timeSpan, "10 s", "1 h", "10 min"), false, "its longest single run"},
		{"max_per_day", amount(timeSpan, "10 s", "12 h", "3 h"), false, "the most valve time of soaks in any 24 h"},
		{"max_moisture", amount(percentage, "1 %", "100 %", "80 %"), false, "at this moisture it ends"},
	}, "soak: {max_run: 10 min, max_per_day: 3 h, max_moisture: 80 %}"}

	lostShape = &shape{"Water by time when the probes are lost.", []field{
		{"timed", timedShape, true, "shots by time"},
	}, "{timed: {shot: 60 s, every: 2 h, max_per_day: 6 min}}"}

	timedShape = &shape{"Shots by time when the probes are lost.", []field{
		{"shot", shotKind, true, "one shot"},
		{"every", amount(timeSpan, "10 min", "24 h", "2 h"), true, "the time from one to the next"},
		{"max_per_day", amount(timeSpan, "1 s", "12 h", "6 min"), true, "the most of it in any 24 h"},
	}, "timed: {shot: 60 s, every: 2 h, max_per_day: 6 min}"}

	// shotKind is a shot: valve time, water for each plant, or % of volume_per_plant.
	shotKind = quantity{[]limit{{timeSpan, "1 s", "1 h"}, {volume, "1 mL", "100 L"}, {percentage, "0.1 %", "100 %"}}, "45 s"}
)
