package zones_test

import (
	"io/fs"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/zones/zonetest/purity"
)

// The core and what it reckons with are state machines and functions: the same
// events give the same effects, live, simulated and replayed. Only what serves
// tests alone (zonetest) may do more.
func TestPure(t *testing.T) {
	for _, dir := range packages(t) {
		t.Run(dir, func(t *testing.T) {
			found, err := purity.Check(dir, "rillgate/schedule", "rillgate/zones", "gonum.org/v1/gonum")
			require.NoError(t, err)
			require.Empty(t, found, "this package must be pure:\n%s", strings.Join(found, "\n"))
		})
	}
}

// packages gives the folders from here down that hold Go files, zonetest aside.
func packages(t *testing.T) (dirs []string) {
	require.NoError(t, filepath.WalkDir(".", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || !entry.IsDir() {
			return err
		}
		if name := entry.Name(); name == "zonetest" || name == "testdata" {
			return filepath.SkipDir
		}
		if sources, _ := filepath.Glob(filepath.Join(path, "*.go")); len(sources) > 0 {
			dirs = append(dirs, path)
		}
		return nil
	}))
	require.Contains(t, dirs, ".")
	return dirs
}
