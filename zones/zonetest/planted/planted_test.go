package planted

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"rillgate/zones/zonetest/overlay"

	"github.com/stretchr/testify/require"
)

var (
	all    = flag.Bool("planted.all", false, "plant every fault and ask which test notices")
	sample = flag.Int("planted.sample", 0, "plant so many faults, spread over the list")
	only   = flag.String("planted.only", "", "plant these faults, parted by commas")
	table  = flag.String("planted.table", "", "write the table of what was caught to this file")
)

const (
	faultDir = "../../../testdata/planted"
	limit    = 60 * time.Second // of tests for one fault, compiling apart
)

func load(t *testing.T) []*Fault {
	faults, err := Load(faultDir)
	require.NoError(t, err)
	return faults
}

func root(t *testing.T) string {
	path, err := filepath.Abs("../../..")
	require.NoError(t, err)
	return path
}

// TestFaultsFit holds the faults to the sources: a change cannot silently retire one.
func TestFaultsFit(t *testing.T) {
	faults := load(t)
	pairs := 0
	for _, f := range faults {
		_, err := f.Plant(root(t))
		require.NoError(t, err)
		if len(f.Edits) > 1 {
			pairs++
		}
	}
	require.GreaterOrEqual(t, len(faults)-pairs, 48, "single faults")
	require.GreaterOrEqual(t, pairs, 5, "pairs, where one guard masks another")
}

// TestEveryInterlockHasAFault: each code that docs/interlocks.md names is taken out by
// at least one fault, and no fault names a code that is not there.
func TestEveryInterlockHasAFault(t *testing.T) {
	doc, err := os.ReadFile("../../../docs/interlocks.md")
	require.NoError(t, err)
	codes := map[string]int{}
	for _, m := range regexp.MustCompile("(?m)^\\| `([a-z-]+)` \\|").FindAllStringSubmatch(string(doc), -1) {
		codes[m[1]] = 0
	}
	require.NotEmpty(t, codes)
	for _, f := range load(t) {
		for _, code := range f.Codes {
			require.Contains(t, codes, code, "the code of %s", f.Name)
			codes[code]++
		}
	}
	for code, n := range codes {
		require.NotZero(t, n, "no fault takes out %s", code)
	}
}

// TestSurvivorsAreKnown: SURVIVORS.md explains faults that are there.
func TestSurvivorsAreKnown(t *testing.T) {
	faults := load(t)
	for _, name := range survivors(t) {
		require.True(t, slices.ContainsFunc(faults, func(f *Fault) bool { return f.Name == name }), "SURVIVORS.md explains %s, which is no fault", name)
	}
}

// survivors gives the names that SURVIVORS.md has as headings.
func survivors(t *testing.T) (names []string) {
	text, err := os.ReadFile(filepath.Join(faultDir, "SURVIVORS.md"))
	require.NoError(t, err)
	for _, m := range regexp.MustCompile("(?m)^## ([a-z0-9-]+)$").FindAllStringSubmatch(string(text), -1) {
		names = append(names, m[1])
	}
	return names
}

// TestPlantedFaultsAreCaught plants faults and asks which test notices. At least 95 of
// 100 must be, and every survivor must be explained.
func TestPlantedFaultsAreCaught(t *testing.T) {
	faults := chosen(t)
	if len(faults) == 0 {
		t.Skip("set -planted.all, -planted.sample N or -planted.only NAME: it takes minutes")
	}
	h := newHunter(root(t), t.TempDir(), limit)
	var finds []*Find
	for _, f := range faults {
		found, err := h.hunt(t.Context(), f)
		if err != nil {
			t.Error(err)
			continue
		}
		finds = append(finds, found)
		t.Log(row(found))
	}
	judge(t, faults, finds)
}

// chosen gives the faults that the flags ask for.
func chosen(t *testing.T) []*Fault {
	faults := load(t)
	switch {
	case *only != "":
		names := strings.Split(*only, ",")
		return slices.DeleteFunc(faults, func(f *Fault) bool { return !slices.Contains(names, f.Name) })
	case *all:
		return faults
	case *sample > 0:
		var some []*Fault
		for i := range min(*sample, len(faults)) {
			some = append(some, faults[i*len(faults)/min(*sample, len(faults))])
		}
		return some
	}
	return nil
}

func judge(t *testing.T, faults []*Fault, finds []*Find) {
	caught, known := 0, survivors(t)
	var text bytes.Buffer
	text.WriteString("| fault | taken out | noticed by | seconds of tests | seconds of compiling |\n|---|---|---|---:|---:|\n")
	for _, f := range finds {
		text.WriteString(row(f) + "\n")
		if f.Caught() {
			caught++
			continue
		}
		if !slices.Contains(known, f.Fault.Name) {
			t.Errorf("%s survived, and SURVIVORS.md does not say why", f.Fault.Name)
		}
	}
	t.Logf("%d of %d faults caught\n%s", caught, len(faults), text.String())
	if *table != "" {
		require.NoError(t, os.WriteFile(*table, text.Bytes(), 0o644))
	}
	require.GreaterOrEqual(t, float64(caught), 0.95*float64(len(faults)))
}

func row(f *Find) string {
	by := "survived"
	if f.Caught() {
		by = fmt.Sprintf("%s: `%s`", f.Suite, f.Test)
	}
	return fmt.Sprintf("| %s | %s | %s | %.1f | %.1f |", f.Fault.Name, f.Fault.Guard, by, f.Ran.Seconds(), f.Built.Seconds())
}

func TestParseRefusesWhatIsNoFault(t *testing.T) {
	for text, want := range map[string]string{
		"guard: a\nharm: b\n":                       "in: must be there",
		"guard: a\nharm: b\nin: x.go\n x\n":         "changes nothing",
		"guard: a\n-x\n":                            "before any line with in:",
		"guard: a\nharm: b\nin: x.go\nx\n":          "begins with none",
		"guard: a\nin: x.go\n-x\n":                  "harm:",
		"guard: a\nharm: b\nin: x.go\n-same\n+same": "changes nothing",
	} {
		_, err := parse(text)
		require.ErrorContains(t, err, want, text)
	}
}

func TestPlantWantsItsLinesOnce(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "x.go"), []byte("one\ntwo\none\n"), 0o644))
	twice := &Fault{Name: "f", Edits: []Edit{{"x.go", "one\n", "1\n"}}}
	_, err := twice.Plant(dir)
	require.ErrorContains(t, err, "occur 2 times")
	pair := &Fault{Name: "f", Edits: []Edit{{"x.go", "one\ntwo\n", "1\ntwo\n"}, {"x.go", "two\none\n", "2\n"}}}
	s, err := pair.Plant(dir)
	require.NoError(t, err)
	require.Equal(t, overlay.Sources{"x.go": "1\n2\n"}, s)
}
