package netrig

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// shot is how long a run of the rigs' rooms lasts; rest is what follows it.
const (
	shot = 50 * time.Second
	rest = 10 * time.Second
)

// Moistures that probes say, as fractions. The zones water under 45 % and close over 49 %.
const (
	dry   = 0.43
	usual = 0.46
	wet   = 0.50
)

// writeRoom writes the files of a room of n zones, which waters at any time of day:
// each zone has a valve, two probes, and a supply with a contact that says it is low.
func writeRoom(t *testing.T, dir string, n int, broker string, lease time.Duration) {
	t.Helper()
	for name, text := range map[string]string{
		"room.yaml": wiring(n) + limits(n), "schedule.yaml": windows(n),
		"gateway.yaml": fmt.Sprintf("mqtt: {broker: \"%s\"}\nlease: %d s\n", broker, int(lease.Seconds())),
	} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o640))
	}
}

func wiring(n int) string {
	var b strings.Builder
	b.WriteString("room: {id: bay-2, name: Bay 2, time_zone: UTC, units: metric}\ncontrollers:\n  - id: north\n    inputs:\n")
	for i := range n {
		fmt.Fprintf(&b, "      - {id: low-%d, means: supply-low, contact: normally-open}\n", i)
	}
	b.WriteString("    terminals:\n")
	for i := range 2 * n {
		if i%10 == 0 {
			fmt.Fprintf(&b, "      - number: %d\n        layout: chain\n        home_run: 18 m\n        cable: 22 AWG\n        probes:\n", 1+i/10)
		}
		fmt.Fprintf(&b, "          - {id: p%d, address: \"%d\", zone: z%d, lead: 1 m, tail: 5 m}\n", i, i%10, i/2)
	}
	b.WriteString("supplies:\n")
	for i := range n {
		fmt.Fprintf(&b, "  - {id: s%d, low: low-%d}\n", i, i)
	}
	b.WriteString("valves:\n")
	for i := range n {
		fmt.Fprintf(&b, "  - {id: v%d, controller: north, output: %d, supply: s%d}\n", i, 1+i, i)
	}
	return b.String()
}

func limits(n int) string {
	var b strings.Builder
	fmt.Fprintf(&b, `defaults:
  substrate: {kind: coir, volume_per_plant: 6.5 L, height: 20 cm}
  emitters: {per_plant: 2, flow: 2 L/h}
  moisture: {combine: median, quorum: 1, stale_after: 10 min, plausible: 2 %% to 95 %%}
  limits: {max_run: 2 min, min_rest: %d s, max_per_day: 12 h, max_moisture: 49 %%}
zones:
`, int(rest.Seconds()))
	for i := range n {
		fmt.Fprintf(&b, "  - {id: z%d, name: Bench %d, plants: 48, valves: [v%d]}\n", i, i, i)
	}
	return b.String()
}

func windows(n int) string {
	var b strings.Builder
	fmt.Fprintf(&b, `day: {lights_on: "06:00", lights_off: "18:00"}
routines:
  all: [{window: first, from: "00:00", until: "12:00", below: 45 %%, shot: %[1]d s, rest: %[2]d s},
        {window: second, from: "12:00", until: "00:00", below: 45 %%, shot: %[1]d s, rest: %[2]d s}]
zones:
`, int(shot.Seconds()), int(rest.Seconds()))
	for i := range n {
		fmt.Fprintf(&b, "  z%d: {routine: all}\n", i)
	}
	return b.String()
}
