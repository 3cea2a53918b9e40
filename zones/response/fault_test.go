package response_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones/response"
	"rillgate/zones/simroom"
)

// planted is a fault, when it begins on the fourth day, and what must be found of it.
type planted struct {
	name    string
	at      time.Duration
	faults  []simroom.Fault
	code    response.Code
	subject string
	other   string
}

func cases() []planted {
	pairs := func() (all []simroom.Fault) {
		for k := 0; k < 4; k++ {
			all = append(all, simroom.Fault{Kind: simroom.ProbesSwapped, Subject: fmt.Sprintf("z1-%d", k), Other: fmt.Sprintf("z2-%d", k)})
		}
		return all
	}
	allStick := func() (all []simroom.Fault) {
		for k := 0; k < 4; k++ {
			all = append(all, simroom.Fault{Kind: simroom.ProbeStuck, Subject: fmt.Sprintf("z1-%d", k)})
		}
		return all
	}
	one := func(f simroom.Fault) []simroom.Fault { return []simroom.Fault{f} }
	const morning, noon, evening = 6*time.Hour + 30*time.Minute, 11 * time.Hour, 20 * time.Hour
	return []planted{
		{"all emitters pass a third", morning, one(simroom.Fault{Kind: simroom.EmittersBlocked, Subject: "z1", Value: 0.3}), response.EmittersBlocked, "z1", ""},
		{"a third, from noon", noon, one(simroom.Fault{Kind: simroom.EmittersBlocked, Subject: "z1", Value: 0.3}), response.EmittersBlocked, "z1", ""},
		{"the supply is dry", morning, one(simroom.Fault{Kind: simroom.SupplyDry, Subject: "feed"}), response.EmittersBlocked, "z1", ""},
		{"the valve sticks closed", noon, one(simroom.Fault{Kind: simroom.ValveStuckClosed, Subject: "z1"}), response.EmittersBlocked, "z1", ""},
		{"one plant's emitters pass a fifth", morning, one(simroom.Fault{Kind: simroom.EmittersBlocked, Subject: "z1-2", Value: 0.2}), response.EmittersBlocked, "z1-2", ""},
		{"a probe sticks", morning, one(simroom.Fault{Kind: simroom.ProbeStuck, Subject: "z1-1"}), response.EmittersBlocked, "z1-1", ""},
		{"all probes stick at noon, when the zone is wet", noon, allStick(), response.ProbesStill, "z1", ""},
		{"a probe in the air by day", noon, one(simroom.Fault{Kind: simroom.ProbeInAir, Subject: "z1-1"}), response.ProbeSlipped, "z1-1", ""},
		{"half out, by night", evening, one(simroom.Fault{Kind: simroom.ProbeInAir, Subject: "z1-1", Value: 30}), response.ProbeSlipped, "z1-1", ""},
		{"a leak of 0.2 L a plant and hour by day", noon, one(simroom.Fault{Kind: simroom.BedLeak, Subject: "z1", Value: 10}), response.LeakSuspected, "z1", ""},
		{"a leak of 0.05 L a plant and hour by night", evening, one(simroom.Fault{Kind: simroom.BedLeak, Subject: "z1", Value: 2.4}), response.LeakSuspected, "z1", ""},
		{"a valve that sticks open", noon, one(simroom.Fault{Kind: simroom.ValveStuckOpen, Subject: "z1"}), response.LeakSuspected, "z1", ""},
		{"hoses of two valves swapped", morning, one(simroom.Fault{Kind: simroom.HosesSwapped, Subject: "z1", Other: "z2"}), response.Swapped, "z1", "z2"},
		{"all probes of two zones swapped", morning, pairs(), response.Swapped, "z1", "z2"},
		{"two probes swapped", morning, one(simroom.Fault{Kind: simroom.ProbesSwapped, Subject: "z1-1", Other: "z2-1"}), response.Swapped, "z1-1", "z2"},
		{"a probe drifts up 1 point an hour", morning, one(simroom.Fault{Kind: simroom.ProbeDrifts, Subject: "z1-1", Value: 1}), response.ProbeDrifts, "z1-1", ""},
		{"a probe drifts down 1 point an hour by night", evening, one(simroom.Fault{Kind: simroom.ProbeDrifts, Subject: "z1-1", Value: -1}), response.ProbeDrifts, "z1-1", ""},
	}
}

// Each fault is found within four hours of its beginning or two shots of the zone.
func TestFaultsAreFound(t *testing.T) {
	for _, c := range cases() {
		for seed := 1; seed <= *seeds; seed++ {
			t.Run(fmt.Sprintf("%s/%d", c.name, seed), func(t *testing.T) { c.run(t, uint64(seed)) })
		}
	}
}

func (c *planted) run(t *testing.T, seed uint64) {
	other := plainHabit
	other.Low, other.Stop, other.From, other.Back = 51, 57, 7*time.Hour+50*time.Minute, 3.5
	r := newRig(t, rigPlan(2, 4), simroom.Options{Seed: seed}, plainHabit, other)
	begun := 3*day + c.at
	r.to(begun)
	require.Empty(t, r.told, "before the fault")
	for _, f := range c.faults {
		f.At = begun
		r.inject(f)
	}
	z := r.beds["z1"]
	found, after, shots := response.Finding{}, time.Duration(0), 0
	for found.Code == "" && r.now() < begun+20*time.Hour {
		r.to(r.now() + time.Minute)
		for _, f := range r.m.Findings() {
			if f.Code == c.code && f.Subject() == c.subject && f.Other == c.other {
				found, after = f, f.Found-begun
			}
		}
	}
	for _, f := range r.told {
		t.Logf("%s %s at +%s: %s", f.Code, f.Subject(), f.Found-begun, f.Because)
	}
	require.NotEmpty(t, found.Code, "not found in 20 h")
	for _, at := range z.opened {
		if at >= begun && at < found.Found {
			shots++
		}
	}
	t.Logf("found after %s and %d shots", after, shots)
	require.True(t, after <= 4*time.Hour || shots > 0 && shots <= 2, "found after %s and %d shots", after, shots)
	require.Contains(t, found.Because, "z1")
}
