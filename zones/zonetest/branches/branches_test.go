package branches

import (
	"flag"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"rillgate/zones/zonetest/overlay"

	"github.com/stretchr/testify/require"
)

var measure = flag.Bool("branches.all", false, "measure zones and schedule, and hold docs/coverage.md to what is found")

const doc = "../../../docs/coverage.md"

// suites are the tests that count for the coverage of zones and schedule.
var suites = []struct {
	pkg  string
	args []string
}{
	{"schedule", nil},
	{"zones", nil},
	{"zones/zonetest", []string{"-campaign.shrink", "0"}},
}

// TestBranchCoverage: every way through zones and schedule is gone by some test, or
// docs/coverage.md says why not; and it lists no way that is gone.
func TestBranchCoverage(t *testing.T) {
	if !*measure {
		t.Skip("set -branches.all: it takes a minute")
	}
	root, err := filepath.Abs("../../..")
	require.NoError(t, err)
	sources := overlay.Sources{}
	var points []Point
	for _, pkg := range []string{"schedule", "zones"} {
		s, p, err := Instrument(root, pkg, len(points))
		require.NoError(t, err)
		maps.Copy(sources, s)
		points = append(points, p...)
	}
	found := gaps(points, run(t, root, sources))
	ways := 0
	for _, p := range points {
		if ways++; !p.Entered {
			ways++
		}
	}
	t.Logf("%d ways, %d never gone: %.2f %% covered", ways, len(found), 100-100*float64(len(found))/float64(ways))
	compare(t, found)
}

func run(t *testing.T, root string, sources overlay.Sources) map[string]bool {
	b := &overlay.Builder{Root: root, Dir: t.TempDir()}
	file := filepath.Join(t.TempDir(), "seen")
	for _, s := range suites {
		binary, err := b.Build(t.Context(), s.pkg, sources)
		require.NoError(t, err)
		o, err := b.Run(t.Context(), binary, s.pkg, []string{fileVariable + "=" + file}, s.args...)
		require.NoError(t, err)
		require.True(t, o.Passed, "tests of %s:\n%s", s.pkg, o.Output)
		t.Logf("tests of %s: %.1f s", s.pkg, o.Took.Seconds())
	}
	seen, err := seenIn(file)
	require.NoError(t, err)
	return seen
}

func compare(t *testing.T, found []Gap) {
	text, err := os.ReadFile(doc)
	require.NoError(t, err)
	known := explained(string(text))
	for _, g := range found {
		if !slices.Contains(known, g) {
			t.Errorf("no test goes this way, and docs/coverage.md does not say why:\n%s", g.row())
		}
	}
	for _, g := range known {
		if !slices.Contains(found, g) {
			t.Errorf("docs/coverage.md explains a way that tests go, or that is gone: take it out\n%s", g.row())
		}
	}
}

const sample = `package sample

type thing int

func (t *thing) judge(a, b bool, n int) (odd bool) {
	if a && !(b || n > 3) {
		return true
	}
	switch n {
	case 1, 2:
		odd = n == 1 || b
	}
	for range n {
		odd = !odd
	}
	switch {
	case n == 9:
		return false
	}
	return odd
}
`

const sampleTest = `package sample

import "testing"

func TestJudge(t *testing.T) {
	new(thing).judge(true, false, 1)
	new(thing).judge(true, true, 2)
	new(thing).judge(false, false, 0)
}
`

// TestInstrument marks a small package, runs its test and gives the ways left out.
func TestInstrument(t *testing.T) {
	root := t.TempDir()
	for name, text := range map[string]string{"go.mod": "module m\n\ngo 1.26\n", "sample/s.go": sample, "sample/s_test.go": sampleTest} {
		require.NoError(t, os.MkdirAll(filepath.Dir(filepath.Join(root, name)), 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(root, name), []byte(text), 0o644))
	}
	sources, points, err := Instrument(root, "sample", 0)
	require.NoError(t, err)
	b := &overlay.Builder{Root: root, Dir: t.TempDir()}
	binary, err := b.Build(t.Context(), "sample", sources)
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "seen")
	o, err := b.Run(t.Context(), binary, "sample", []string{fileVariable + "=" + file})
	require.NoError(t, err)
	require.True(t, o.Passed, o.Output)
	seen, err := seenIn(file)
	require.NoError(t, err)
	require.Equal(t, []string{
		"| sample | `thing.judge` | `n > 3` | true |",
		"| sample | `thing.judge` | `n == 1` | true |",
		"| sample | `thing.judge` | `b (2)` | false |",
		"| sample | `thing.judge` | `n == 9` | true |",
	}, rows(gaps(points, seen)))
	all := rows(gaps(points, nil))
	require.Contains(t, all, "| sample | `thing.judge` | `of n the case 1, 2` | entered |")
	require.Contains(t, all, "| sample | `thing.judge` | `of n no case` | entered |")
	require.Contains(t, all, "| sample | `thing.judge` | `the body of range n` | entered |")
	require.Contains(t, all, "| sample | `thing.judge` | `the function` | entered |")
	require.Contains(t, all, "| sample | `thing.judge` | `b (2)` | false |")
}

func rows(gaps []Gap) (list []string) {
	for _, g := range gaps {
		list = append(list, g.row())
	}
	return list
}

// TestEveryGapHasAReason: the list in docs/coverage.md can be read, row by row.
func TestEveryGapHasAReason(t *testing.T) {
	text, err := os.ReadFile(doc)
	require.NoError(t, err)
	n := 0
	for _, line := range strings.Split(string(text), "\n") {
		if strings.HasPrefix(line, "| zones |") || strings.HasPrefix(line, "| schedule |") {
			n++
		}
	}
	require.Len(t, explained(string(text)), n, "a row that cannot be read, or that gives no reason")
}
