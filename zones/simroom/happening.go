package simroom

import (
	"fmt"
	"strings"
	"time"
)

// Happening is a fault that began or ended.
type Happening struct {
	At    time.Duration
	Fault Fault
	Begun bool
}

// tellings are what is said of a fault when it begins and when it ends; % stands for
// its subject, & for the other one.
var tellings = map[FaultKind][2]string{
	ProbeLost:        {"probe % falls silent", "probe % is found again"},
	ProbeStuck:       {"probe % sticks at one level", "probe % measures again"},
	ProbeInAir:       {"probe % is pulled out into the air", "probe % is put back"},
	ProbeReplays:     {"probe % sends old readings again", "probe % sends new readings"},
	ProbeRestamps:    {"probe % sends old readings as new", "probe % sends new readings"},
	ProbesSwapped:    {"probes % and & are swapped", "probes % and & are put back"},
	ProbeMisplaced:   {"probe % is put beside &", "probe % is put back"},
	OneOutput:        {"valve % is wired to the output of &", "valve % is wired to its own output"},
	CrossFlow:        {"water of valve % goes to the bed of & too", "valve % waters its own bed alone"},
	ProbeDrifts:      {"probe % drifts", "probe % measures right again"},
	HosesSwapped:     {"the hoses of valves % and & are swapped", "the hoses of valves % and & are put back"},
	ValveStuckOpen:   {"valve % sticks open", "valve % comes free"},
	ValveStuckClosed: {"valve % sticks closed", "valve % comes free"},
	OutputWelded:     {"the output of valve % cannot switch off", "the output of valve % switches again"},
	OutputDead:       {"the output of valve % cannot switch on", "the output of valve % switches again"},
	EmittersBlocked:  {"emitters at % are blocked", "emitters at % are cleared"},
	BedLeak:          {"water leaks into %", "the leak into % is stopped"},
	SupplyDry:        {"supply % gives no water", "supply % gives water again"},
	TankLow:          {"the tank of supply % runs low", "the tank of supply % is filled"},
	InputActive:      {"input % becomes active", "input % becomes inactive"},
	InputSilent:      {"input % falls silent", "input % is heard again"},
	Reboot:           {"controller % starts anew", "controller % is up again"},
	Offline:          {"controller % loses the broker", "controller % has the broker again"},
	ReportsLost:      {"reports of controller % are lost", "reports of controller % come again"},
	ClockRunsOff:     {"the clock of controller % runs off", "the clock of controller % runs right"},
	CutOffMissing:    {"controller % no longer drops outputs by itself", "controller % drops outputs by itself again"},
}

// String gives a short sentence: "probe e1 falls silent".
func (h Happening) String() string {
	both, ok := tellings[h.Fault.Kind]
	if !ok {
		return fmt.Sprintf("%s %s", h.Fault.Kind, h.Fault.Subject)
	}
	text := both[1]
	if h.Begun {
		text = both[0]
	}
	return strings.NewReplacer("%", h.Fault.Subject, "&", h.Fault.Other).Replace(text)
}
