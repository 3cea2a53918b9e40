package zones

// What a zone's own past speaks against (package response). The daemon raises these
// as alarms; they close no valve and change no shot.
const (
	FindingEmittersBlocked Reason = "emitters-blocked"
	FindingProbeSlipped    Reason = "probe-slipped"
	FindingLeakSuspected   Reason = "leak-suspected"
	FindingSwapped         Reason = "swapped"
	FindingProbesStill     Reason = "probes-still"
	FindingProbeDrifts     Reason = "probe-drifts"
)

// What does not fit in the register of probes (package register); alarms of the daemon
// likewise. They change nothing of what counts.
const (
	FindingProbeExchanged Reason = "probe-exchanged"
	FindingProbeMoved     Reason = "probe-moved"
	FindingAddressTwice   Reason = "address-twice"
	FindingSerialTwice    Reason = "serial-twice"
)

var findings = map[Reason]Explanation{
	FindingEmittersBlocked: {
		Title: "emitters may be blocked",
		Harm:  "plants at the blocked emitters dry while the zone counts as watered",
		Rule:  "shots raise the zone, or one probe, far less than they did",
		Do:    "look at the emitters and the filter; measure some with a cup",
		Alarm: true,
	},
	FindingProbeSlipped: {
		Title: "a probe may have slipped out",
		Harm:  "a probe in the air calls for water that nobody needs",
		Rule:  "a probe fell at once, and its neighbours did not",
		Do:    "push it back in; `rillgate acknowledge PROBE`",
		Alarm: true,
	},
	FindingLeakSuspected: {
		Title: "water comes without a command",
		Harm:  "a valve that does not close whole, or a leak, drowns the zone slowly",
		Rule:  "the zone rose while nothing of it was open",
		Do:    "look at the zone's valve and lines; shut the supply by hand if they run",
		Alarm: true,
	},
	FindingSwapped: {
		Title: "zones may be swapped",
		Harm:  "one zone drowns on the other's thirst",
		Rule:  "moisture follows the shots of another zone, and not its own",
		Do:    "compare the wiring of valves and probes with `room.yaml`; `rillgate stop` keeps all closed meanwhile",
		Alarm: true,
	},
	FindingProbesStill: {
		Title: "a zone stands still",
		Harm:  "plants dry under probes that go on to claim water",
		Rule:  "by day, with nothing watered, the zone no longer falls as it used to",
		Do:    "feel the substrate; weigh a sample; where it is drier than told, exchange the probes and water by hand meanwhile",
		Alarm: true,
	},
	FindingProbeDrifts: {
		Title: "a probe drifts",
		Harm:  "the zone is watered by a number that is no longer its moisture",
		Rule:  "a probe goes away from its neighbours while nothing is watered",
		Do:    "check it against a weighed sample; correct its `offset`, or exchange it",
		Alarm: true,
	},
	FindingProbeExchanged: {
		Title: "another probe answers here",
		Harm:  "a probe is judged by what another one read, and with its offset",
		Rule:  "another serial number answered three times in a row at the place of a known probe",
		Do:    "if it was exchanged, `rillgate exchange PROBE`; else find what is wired to the wrong place",
		Alarm: true,
	},
	FindingProbeMoved: {
		Title: "a known probe is at another place",
		Harm:  "a zone is watered by the moisture of another bed",
		Rule:  "a known serial number answers at another place, and no more at its own",
		Do:    "put it back; or where it is to stay, change `room.yaml`, or `rillgate exchange PROBE PLACE`",
		Alarm: true,
	},
	FindingAddressTwice: {
		Title: "two probes have one address",
		Harm:  "one number is now of one bed, now of another",
		Rule:  "serial numbers come back to a place after others, twice in half an hour, or its moisture jumps down three times as no substrate can",
		Do:    "take one off the line; give each its own address, alone on the line",
		Alarm: true,
	},
	FindingSerialTwice: {
		Title: "one serial number at two places",
		Harm:  "one bed counts as two",
		Rule:  "a serial number comes back to a place from another, twice in half an hour",
		Do:    "look for a cable on two terminals, or a controller that reports a line twice",
		Alarm: true,
	},
}
