package zonetest

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// seeds is how many random rooms are played; many more by hand:
//
//	go test ./zones/zonetest -run RandomScripts -rillgate.seeds 500
var seeds = flag.Uint64("rillgate.seeds", 12, "random rooms to play")

// TestRandomScripts plays random rooms with random faults and orders under the checker.
// Nothing is expected of them but the invariants; a failure prints its script.
func TestRandomScripts(t *testing.T) {
	for seed := range *seeds {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			text := randomScript(rand.New(rand.NewPCG(seed, 99)))
			s, err := ParseScript(text)
			require.NoError(t, err, text)
			_, err = RunScript(s)
			require.NoError(t, err, text)
		})
	}
}

// randomScript writes three hours of a room in which a lot goes wrong.
func randomScript(rng *rand.Rand) string {
	b := &strings.Builder{}
	pick := func(list ...string) string { return list[rng.IntN(len(list))] }
	names := []string{"a", "b", "c"}[:1+rng.IntN(3)]
	fmt.Fprintf(b, "room lease=%ds\ncontroller north\ncontroller south\ninput floor means=leak\ninput tank means=supply-low\n", 10+rng.IntN(50))
	fmt.Fprintf(b, "supply feed max-open=%d low=tank%s\n", 1+rng.IntN(2), pick("", " master=8 kind=valve lead=2s", " master=8 kind=pump lead=3s", " master=8 on=south kind=valve lead=2s"))
	for _, z := range names {
		fmt.Fprintf(b, "zone %s on=%s below=30%s shot=%ds rest=%ds min-rest=5m max-run=%ds max-per-day=%ds probes=%d quorum=%d%s\n", z, pick("north", "south"), pick("", " stop=36"),
			10+rng.IntN(100), rng.IntN(900), 60+rng.IntN(120), 200+rng.IntN(600), 1+rng.IntN(3), 1, pick("", " lost=20s/10m/2m"))
	}
	b.WriteString("\n")
	for _, z := range names {
		fmt.Fprintf(b, "feed %s %.1f drift=%.3f rise=%.1f every=%ds\n", z, 29+3*rng.Float64(), -0.1*rng.Float64(), 4*rng.Float64(), 15+rng.IntN(60))
	}
	b.WriteString("start 06:00\n")
	for range 60 {
		z := pick(names...)
		ctl := pick("north", "south")
		switch rng.IntN(16) {
		case 0:
			fmt.Fprintf(b, "controller %s %s\nrun %ds\ncontroller %s online\n", ctl, pick("offline", "silent"), rng.IntN(200), ctl)
		case 1:
			fmt.Fprintf(b, "controller %s reboots\n", ctl)
		case 2:
			fmt.Fprintf(b, "controller %s deaf\nrun %ds\ncontroller %s hears\n", ctl, rng.IntN(60), ctl)
		case 3:
			fmt.Fprintf(b, "broker down\nrun %ds\nbroker up\n", rng.IntN(120))
		case 4:
			fmt.Fprintf(b, "restart %s\n", pick("", "retained-first"))
		case 5:
			fmt.Fprintf(b, "ledger %s\nrun %ds\n%sledger works\n", pick("holds", "fails", "holds"), rng.IntN(40), pick("", "restart\n"))
		case 6:
			fmt.Fprintf(b, "clock %s step=%dm\n", pick("trusted", "unsure", "trusted"), rng.IntN(300)-150)
		case 7:
			fmt.Fprintf(b, "order shot %s for=%ds\n", z, 5+rng.IntN(200))
		case 8:
			fmt.Fprintf(b, "order hold %s for=%ds\n", z, rng.IntN(600))
		case 9:
			fmt.Fprintf(b, "order %s\n", pick("stop", "stop "+z, "reset room", "reset "+z, "reset feed", "release "+z))
			b.WriteString("order reset room\norder reset feed\n")
		case 10:
			fmt.Fprintf(b, "input %s %s\nrun %ds\ninput %s off\n", pick("floor", "tank"), pick("on", "silent"), rng.IntN(240), pick("floor", "tank"))
		case 11:
			fmt.Fprintf(b, "feed %s off\nrun %ds\nfeed %s %.1f\n", z, rng.IntN(400), z, 26+6*rng.Float64())
		case 12:
			fmt.Fprintf(b, "zone %s shot=%ds max-run=%ds\nin-force\n", z, 10+rng.IntN(50), 60+rng.IntN(60))
		case 13:
			fmt.Fprintf(b, "reading %s %.1f retained=true\nreading %s1 %.1f\n", z, 40*rng.Float64(), z, 20+20*rng.Float64())
		case 14:
			fmt.Fprintf(b, "report %s %s\nrun %ds\nreport %s obeys\n", z, pick("open", "closed"), rng.IntN(20), z)
			fmt.Fprintf(b, "run 3s\norder reset %s\norder reset feed\n", z)
		default:
			fmt.Fprintf(b, "feed %s %.1f\n", z, 27+4*rng.Float64())
		}
		fmt.Fprintf(b, "run %ds\n", 1+rng.IntN(240))
	}
	return b.String()
}
