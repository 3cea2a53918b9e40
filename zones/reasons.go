package zones

import "sort"

// Explanation says in plain words what a reason's code stands for.
type Explanation struct {
	Title string // two to six words
	Harm  string // what it keeps from happening; "" where it guards nothing
	Rule  string // when it stands
	Do    string // what a person does about it; "" = nothing is due
	Latch bool   // it stands until a reset
	Alarm bool   // it is an alarm too
}

// Explain gives the words for a code; ok is false for a code that is none.
func (r Reason) Explain() (e Explanation, ok bool) {
	if e, ok = refusals[r]; ok {
		return e, true
	}
	if e, ok = findings[r]; ok {
		return e, true
	}
	e, ok = causes[r]
	return e, ok
}

// Reasons lists every code that Explain knows, sorted.
func Reasons() []Reason {
	all := make([]Reason, 0, len(refusals)+len(findings)+len(causes))
	for r := range refusals { // order: sorted below
		all = append(all, r)
	}
	for r := range findings { // order: sorted below
		all = append(all, r)
	}
	for r := range causes { // order: sorted below
		all = append(all, r)
	}
	sort.Slice(all, func(i, j int) bool { return all[i] < all[j] })
	return all
}

// refusals are the interlocks and the alarms.
var refusals = map[Reason]Explanation{
	Starting: {
		Title: "starting up",
		Harm:  "a valve left open by an earlier life of the gateway, or of a controller, runs beside a new one",
		Rule:  "after a start nothing opens for 5 s and one lease; then each controller must report its outputs closed under our epoch, twice",
		Do:    "wait; if it lasts longer than three minutes, look whether the controller reports",
	},
	SecondGateway: {
		Title: "a second gateway gives commands",
		Harm:  "two gateways open valves without knowing of each other",
		Rule:  "a controller reports a higher epoch than ours",
		Do:    "find and stop the other gateway of this room, then `rillgate reset room`",
		Latch: true, Alarm: true,
	},
	CrashLoop: {
		Title: "the gateway keeps crashing",
		Harm:  "each start gives a little water and remembers little of it",
		Rule:  "more than 5 starts after unclean ends within 10 minutes",
		Do:    "read the system's log for the cause, then `rillgate reset room`",
		Latch: true, Alarm: true,
	},
	StoppedByPerson: {
		Title: "stopped by a person",
		Harm:  "water comes while somebody works in the room",
		Rule:  "a stop by order or by the stop input stands until it is reset",
		Do:    "when the room is safe, `rillgate reset ZONE` or `rillgate reset room`",
		Latch: true, Alarm: true,
	},
	StoreFailed: {
		Title: "the ledger cannot be written",
		Harm:  "water that is not recorded is given again after a crash",
		Rule:  "the ledger's disk refuses, or the ledger is of a newer version; after a failed sync it stands until a restart",
		Do:    "free or replace the disk, then restart the daemon; of a newer version: install the program that wrote it",
		Alarm: true,
	},
	LeakFound: {
		Title: "water where none should be",
		Harm:  "a burst line or a valve stuck open floods the room",
		Rule:  "the leak input is active, or flow is metered with all valves closed for 10 s, or most probes of a zone rose 5 points in 10 minutes long after any run",
		Do:    "shut the water by hand, find the leak, then `rillgate reset`",
		Latch: true, Alarm: true,
	},
	ValveMismatch: {
		Title: "a valve does not obey",
		Harm:  "a valve stuck open floods the room",
		Rule:  "a valve is reported open or flowing for more than 3 s after its close, or 5 s past its last deadline",
		Do:    "shut the water by hand, look at the valve and its output, then `rillgate reset`",
		Latch: true, Alarm: true,
	},
	BrokerLost: {
		Title: "the broker is out of reach",
		Harm:  "a valve is opened that could not be closed early",
		Rule:  "the connection for commands to the MQTT broker is down",
		Do:    "look at the broker and the network; grants in force run out by themselves",
		Alarm: true,
	},
	ControllerOffline: {
		Title: "the controller is silent",
		Harm:  "a valve is opened by a controller whose state nobody knows",
		Rule:  "no report for 15 s, or it said `offline`, or its clock runs off ours",
		Do:    "look at the controller's power and network",
		Alarm: true,
	},
	SupplyIsLow: {
		Title: "the supply is low",
		Harm:  "a pump runs dry, and a shot is counted that never came",
		Rule:  "the supply's low input is active, or is not heard while its controller reports",
		Do:    "fill the tank, or look at the float switch and its wire",
		Alarm: true,
	},
	ClockUnsure: {
		Title: "the clock is not to be trusted",
		Harm:  "windows open at the wrong time of day",
		Rule:  "the clock is before a time that is known to be past, or it stepped more than 2 s within the last minute",
		Do:    "wait for the time server, or look at the clock and `rillgate clock trust`; hand shots work meanwhile",
		Alarm: true,
	},
	HeldByPerson: {
		Title: "held by a person",
		Rule:  "a hold keeps water from the zone until it ends or is released",
		Do:    "`rillgate release ZONE` to end it early",
	},
	NotWalked: {
		Title: "not walked as it is wired",
		Harm:  "a valve waters another bed than its probes stand in: one is flooded, the other dries",
		Rule:  "`require_walk` is set, and the zone's valves or probes are not wired as its last good walk found them, or a later walk of that wiring found a valve otherwise",
		Do:    "`rillgate walk ZONE`; where no probe can tell, look at it by hand shots and `rillgate walk --accept ZONE`",
		Alarm: true,
	},
	NoResponse: {
		Title: "shots are not felt",
		Harm:  "a dead probe or a blocked line asks for water again and again",
		Rule:  "two or more shots, together worth 2.5 points, raised the zone by less than a quarter of that",
		Do:    "look at emitters, valve and probes of the zone, then `rillgate reset ZONE`",
		Latch: true, Alarm: true,
	},
	OverWet: {
		Title: "as wet as allowed",
		Harm:  "roots drown",
		Rule:  "the zone's moisture, or the wetter of two probes that disagree, is at `max_moisture`",
		Do:    "none if it drains; else look at the valve and the probes",
		Alarm: true,
	},
	ProbesLost: {
		Title: "too few probes are heard",
		Harm:  "a zone is watered blind",
		Rule:  "fewer probes than the quorum are fresh",
		Do:    "look at the probes' cable and the controller; `rillgate probes` names them",
		Alarm: true,
	},
	ProbesImplausible: {
		Title: "too few probes are believed",
		Harm:  "a probe in air asks for water without end",
		Rule:  "fewer probes than the quorum count: others are out of range, fell suddenly, stand alone, are ignored or are new",
		Do:    "look at the probes; `rillgate acknowledge PROBE` takes one back once it is right",
		Alarm: true,
	},
	DailyLimit: {
		Title: "the day's budget is spent",
		Harm:  "some other fault gives water without end",
		Rule:  "this shot and those of the last 24 h exceed `max_per_day`; a charge leaves 24 h after its run's end",
		Do:    "wait, or find out why so much was asked for",
		Alarm: true,
	},
	MaxRunReached: {
		Title: "the longest run is reached",
		Harm:  "one run gives more than the bed can hold",
		Rule:  "a run, or a shot asked for, is longer than `max_run`",
	},
	RestingStill: {
		Title: "resting",
		Harm:  "the next shot comes before the last one is felt",
		Rule:  "between a close and the next opening lie `rest` and `min_rest`, the longer of both",
	},
	ShotsSpent: {
		Title: "the window's shots are given",
		Rule:  "`max_shots` shots were given in this opening of the window",
	},
	SupplyBusy: {
		Title: "the supply is in use",
		Harm:  "pressure or transformer give way, and every zone gets too little",
		Rule:  "`max_open`, `max_flow` or the transformer leave no room; the zone that waited longest goes next",
	},
	PlanChanged: {
		Title: "the plan changed",
		Rule:  "the run's zone or output left the plan",
	},
	WindowPassed: {
		Title: "the window passed",
		Rule:  "the zone was still in the queue when its window shut",
	},
	AlarmDry: {
		Title: "the zone is dry",
		Harm:  "plants wilt while all is quiet",
		Rule:  "under its dry level for its time, or refused for hours within its windows, or no estimate for 4 h",
		Do:    "`rillgate why ZONE` says what refuses the water",
		Alarm: true,
	},
	AlarmProbesDisagree: {
		Title: "probes disagree",
		Rule:  "a probe stands more than 10 points from the others; of two the wetter counts, of more it is left out",
		Do:    "look at the probe's place in the substrate",
		Alarm: true,
	},
	AlarmPoreEC: {
		Title: "salts are out of their band",
		Harm:  "roots burn in salt, or starve",
		Rule:  "the pore water's EC, the median of the probes that tell it, stood outside the band of `alarms` for its time",
		Do:    "measure the feed and a drain sample; `rillgate drain ZONE` keeps it",
		Alarm: true,
	},
	AlarmRootWarmth: {
		Title: "the substrate's temperature is out of its band",
		Harm:  "roots stand still in cold substrate and rot in warm",
		Rule:  "the substrate's temperature, the median of the probes that count, stood outside the band of `alarms` for its time",
		Do:    "look at the water's temperature and the room's",
		Alarm: true,
	},
	AlarmUnfinishedRun: {
		Title: "a run was cut by a crash",
		Rule:  "at the start the ledger held a run without an end; it is charged whole",
		Do:    "look at the zone once; `rillgate acknowledge` silences it",
		Alarm: true,
	},
	AlarmPlanRejected: {
		Title: "the files were rejected",
		Rule:  "the configuration on disk has errors; the last good plan stays in force, or the room stays closed",
		Do:    "`rillgate check` shows each error where it stands; then `rillgate apply`",
		Alarm: true,
	},
	AlarmStoreDamaged: {
		Title: "the store is out of use, or was damaged",
		Rule:  "the file of journal and history could not be read and is kept aside, or cannot be written now, or another process held it when the gateway began: the alarm says which; watering goes on from the files and the ledger",
		Do:    "look at the disk; where another process held it, end that and restart the gateway; `rillgate restore FILE` brings the history of a backup back",
		Alarm: true,
	},
}

// causes are the reasons why a run opened, and its plain end.
var causes = map[Reason]Explanation{
	BelowThreshold:  {Title: "below its level", Rule: "moisture was under `below`, or a series that it began goes on to `stop_at`; or it was under `floor`"},
	DriedBack:       {Title: "dried back", Rule: "moisture fell by `dry_back` from its highest since the last shot"},
	ToLevel:         {Title: "up to a level", Rule: "the window gives shots until `stop_at` is reached once"},
	TimedShot:       {Title: "by time", Rule: "the window asks for no moisture: a shot at its opening, then one rest after each close"},
	ByHand:          {Title: "by hand", Rule: "a person ordered a shot"},
	Walk:            {Title: "on a walk", Rule: "the walk opens one valve and watches which probes rise"},
	LostProbesTimed: {Title: "by time, probes lost", Rule: "the quorum is lost and `on_lost_probes` gives timed shots within the moisture windows"},
	Soak:            {Title: "soak", Rule: "a person ordered a volume for each plant, in runs with rests, under `limits.soak`; between them the zone's windows wait", Do: "`rillgate soak ZONE --end` ends it"},
	ShotDone:        {Title: "shot done", Rule: "the shot ran to its end"},
}
