package zones

// What a zone's own past speaks against (package response). The daemon raises these
// as alarms; they close no valve and change no shot.
const (
	FindingEmittersBlocked Reason = "emitters-blocked"
	FindingProbeSlipped    Reason = "probe-slipped"
	FindingLeakSuspected   Reason = "leak-suspected"
	FindingSwapped         Reason = "swapped"
	FindingProbeDrifts     Reason = "probe-drifts"
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
	FindingProbeDrifts: {
		Title: "a probe drifts",
		Harm:  "the zone is watered by a number that is no longer its moisture",
		Rule:  "a probe goes away from its neighbours while nothing is watered",
		Do:    "check it against a weighed sample; correct its `offset`, or exchange it",
		Alarm: true,
	},
}
