package daemon

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestHazardsHaveTheirProof holds docs/hazards.md to the repository: each hazard has one
// row, in order, and each test, scenario and fault that it names exists.
func TestHazardsHaveTheirProof(t *testing.T) {
	text, err := os.ReadFile("../docs/hazards.md")
	require.NoError(t, err)
	tests := testNames(t, "..")
	next := 1
	for _, line := range strings.Split(string(text), "\n") {
		if !strings.HasPrefix(line, "| H") {
			continue
		}
		cells := strings.Split(line, " | ")
		require.Len(t, cells, 6, line)
		require.Equal(t, fmt.Sprintf("| H%d", next), cells[0])
		next++
		names := regexp.MustCompile("`([^`]+)`").FindAllStringSubmatch(cells[4], -1)
		require.NotEmpty(t, names, "%s has no proof", cells[0])
		for _, n := range names {
			requireNamed(t, tests, n[1])
		}
	}
	require.Equal(t, 56, next, "H1 to H55")
}

func requireNamed(t *testing.T, tests map[string]bool, name string) {
	t.Helper()
	kind, of, named := strings.Cut(name, " ")
	folders := map[string]string{"scenario": "scenarios/%s.txt", "regress": "regress/%s.json", "planted": "planted/%s.txt"}
	switch {
	case !named:
		require.True(t, tests[name], "there is no %s", name)
	case kind == "campaign":
		known := ""
		for _, file := range []string{"../zones/zonetest/campaign/fault.go", "../zones/simroom/fault.go"} {
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			known += string(text)
		}
		require.True(t, strings.Contains(known, `"`+of+`"`), "the campaign has no class %s", of)
	default:
		require.Contains(t, folders, kind, name)
		require.FileExists(t, filepath.Join("../testdata", fmt.Sprintf(folders[kind], of)))
	}
}

// testNames lists the tests and fuzz targets of the repository.
func testNames(t *testing.T, root string) map[string]bool {
	t.Helper()
	names := map[string]bool{}
	form := regexp.MustCompile(`(?m)^func ((?:Test|Fuzz)\w+)\(`)
	require.NoError(t, filepath.WalkDir(root, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		for _, m := range form.FindAllSubmatch(text, -1) {
			names[string(m[1])] = true
		}
		return err
	}))
	return names
}
