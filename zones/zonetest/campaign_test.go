package zonetest_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"rillgate/zones"
	"rillgate/zones/zonetest/campaign"

	"github.com/stretchr/testify/require"
)

var (
	firstSeed = flag.Uint64("campaign.first", 1, "first seed of the campaign")
	seedCount = flag.Int("campaign.seeds", 24, "how many seeds")
	roomYears = flag.Float64("campaign.years", 0, "play seeds until they add up to so many room-years; counts before campaign.seeds")
	seedDays  = flag.Float64("campaign.days", 2, "days of each seed")
	workers   = flag.Int("campaign.workers", min(2, runtime.GOMAXPROCS(0)), "seeds at once")
	shrinkFor = flag.Int("campaign.shrink", 400, "runs that a failing seed may take to shrink")
	dense     = flag.Bool("campaign.dense", false, "controllers and probes talk as often as they do in a room, in every seed")
	keepGoing = flag.Bool("campaign.all", false, "go on after a failing seed; do not shrink")
)

// rare are seeds that show what few do, played beside those of the short form: 46 a
// window that passes while a zone waits for its supply, 54 a run cut short by a plan,
// 88 one by a shorter max_run.
var rare = []uint64{46, 54, 88}

// notHere are the reasons that the core never gives by itself, with why.
var notHere = map[zones.Reason]string{
	zones.AlarmPlanRejected: "raised by the daemon, which reads the files",
	zones.AlarmStoreDamaged: "raised by the daemon, which opens the register",

	zones.FindingEmittersBlocked: taughtIt, zones.FindingProbeSlipped: taughtIt, zones.FindingLeakSuspected: taughtIt,
	zones.FindingSwapped: taughtIt, zones.FindingProbesStill: taughtIt, zones.FindingProbeDrifts: taughtIt,

	zones.FindingProbeExchanged: registered, zones.FindingProbeMoved: registered, zones.FindingAddressTwice: registered, zones.FindingSerialTwice: registered,
}

const registered = "raised by the daemon, which keeps the register"

const taughtIt = "raised by the daemon, which keeps what zones have taught"

// TestCampaign runs the room of each seed through its faults. A failing seed is made
// small and told, ready for testdata/regress.
func TestCampaign(t *testing.T) {
	began := time.Now()
	count := *seedCount
	if *roomYears > 0 {
		count = int(math.Ceil(*roomYears * daysPerYear / *seedDays))
	}
	sum := run(t, *firstSeed, count, *seedDays)
	years, took := sum.Days/daysPerYear, time.Since(began)
	t.Logf("%d seeds, %.2f room-years in %.1f s (%.1f room-years a minute), %d steps, %d openings, %d processes",
		count, years, took.Seconds(), years/took.Minutes(), sum.Steps, sum.Openings, sum.Lives)
	t.Logf("%d steps that end all runs at once, %d openings after all faults had stopped", sum.AtOnce, sum.Calm)
	t.Logf("faults: %s", counts(sum.Happened))
	t.Logf("reasons: %s", counts(sum.Reasons))
	if t.Failed() || count < 24 {
		return
	}
	for _, r := range zones.Reasons() {
		if _, ok := notHere[r]; !ok {
			require.NotZero(t, sum.Reasons[r], "no seed showed the reason %s", r)
		}
	}
}

const (
	daysPerYear = 365.25
	tellEvery   = 25 // room-years
)

// run plays seeds, some at once, and sums up what came of them.
func run(t *testing.T, first uint64, count int, days float64) *campaign.Result {
	defer debug.SetGCPercent(debug.SetGCPercent(1600)) // little lives long here
	sum := &campaign.Result{Reasons: map[zones.Reason]int{}, Happened: map[string]int{}}
	var lock sync.Mutex
	var all sync.WaitGroup
	seeds := make(chan uint64)
	for n := 0; n < *workers; n++ {
		all.Go(func() {
			for seed := range seeds {
				c := campaign.Draw(seed, days)
				c.Sparse = c.Sparse && !*dense
				r := campaign.Run(c)
				lock.Lock()
				before := int(sum.Days / daysPerYear / tellEvery)
				if sum.Add(r); int(sum.Days/daysPerYear/tellEvery) > before {
					t.Logf("%.0f room-years, %d openings, up to seed %d", sum.Days/daysPerYear, sum.Openings, seed)
				}
				if r.Err != nil && (*keepGoing || !t.Failed()) {
					fail(t, c, r)
				}
				lock.Unlock()
			}
		})
	}
	for n := 0; n < count && (*keepGoing || !failed(t, &lock)); n++ {
		seeds <- first + uint64(n)
	}
	for _, seed := range rare {
		seeds <- seed
	}
	close(seeds)
	all.Wait()
	return sum
}

func failed(t *testing.T, lock *sync.Mutex) bool {
	lock.Lock()
	defer lock.Unlock()
	return t.Failed()
}

// fail tells of a failing seed, made small.
func fail(t *testing.T, c *campaign.Case, r *campaign.Result) {
	first, _, _ := strings.Cut(r.Err.Error(), "\n")
	if *keepGoing {
		t.Errorf("seed %d at %s: %s", c.Seed, r.At, first)
		return
	}
	c, r = campaign.Shrink(c, *shrinkFor)
	if r.Err == nil {
		t.Errorf("seed %d failed once (%s) and not again", c.Seed, first)
		return
	}
	var list strings.Builder
	for _, f := range c.Faults {
		fmt.Fprintf(&list, "  %s\n", f)
	}
	t.Errorf("seed %d: at %s: %v\nfaults:\n%s\ntestdata/regress:\n%s\nlast steps:\n%s",
		c.Seed, r.At, r.Err, list.String(), c, strings.Join(r.Tale, "\n"))
}

func counts[K ~string](m map[K]int) string {
	var list []string
	for k, n := range m {
		list = append(list, fmt.Sprintf("%s %d", k, n))
	}
	slices.Sort(list)
	return strings.Join(list, ", ")
}

// TestCampaignRegress plays the cases that once broke an invariant.
func TestCampaignRegress(t *testing.T) {
	files, err := filepath.Glob("../../testdata/regress/*.json")
	require.NoError(t, err)
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".json"), func(t *testing.T) {
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			var c campaign.Case
			require.NoError(t, json.Unmarshal(text, &c))
			r := campaign.Run(&c)
			require.NoError(t, r.Err, "at %s\n%s", r.At, strings.Join(r.Tale, "\n"))
		})
	}
}
