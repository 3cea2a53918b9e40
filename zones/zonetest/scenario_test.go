package zonetest

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	_ "time/tzdata" // scenarios on machines without a zone database

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write what scenarios lead to into their files")

const scenarioDir = "../../testdata/scenarios"

// TestScenarios plays every scenario: its expectations hold, the checker finds no
// breach, and its effects are those in the file.
func TestScenarios(t *testing.T) {
	files := scenarioFiles(t)
	require.GreaterOrEqual(t, len(files), 30, "scenarios are missing")
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			s := parseFile(t, file)
			beats, err := RunScript(s)
			if *update && len(beats) == len(s.Beats) {
				require.NoError(t, os.WriteFile(file, []byte(withGoldens(s, beats)), 0o644))
			}
			require.NoError(t, err)
			if !*update {
				sameStory(t, s, beats)
			}
		})
	}
}

// TestScenariosTickedEachSecond: the room says truly when a tick has nothing to do.
// Ticking each second all the same changes no story.
func TestScenariosTickedEachSecond(t *testing.T) {
	for _, file := range scenarioFiles(t) {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			s := parseFile(t, file)
			beats, err := runScript(s, true)
			require.NoError(t, err)
			sameStory(t, s, beats)
		})
	}
}

func scenarioFiles(t *testing.T) []string {
	files, err := filepath.Glob(filepath.Join(scenarioDir, "*.txt"))
	require.NoError(t, err)
	return files
}

func parseFile(t *testing.T, file string) *Script {
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	s, err := ParseScript(string(text))
	require.NoError(t, err)
	return s
}

func sameStory(t *testing.T, s *Script, beats [][]string) {
	t.Helper()
	for i, b := range s.Beats {
		require.Equal(t, strings.Join(b.Golden, "\n"), strings.Join(beats[i], "\n"), "beat %d; run with -update when the change is meant", i+1)
	}
}

// withGoldens is the file with the effects as they are now.
func withGoldens(s *Script, beats [][]string) string {
	var b strings.Builder
	for i, beat := range s.Beats {
		if i > 0 {
			b.WriteString("\n")
		}
		source := beat.Source
		for len(source) > 0 && strings.TrimSpace(source[len(source)-1]) == "" {
			source = source[:len(source)-1]
		}
		b.WriteString(strings.Join(source, "\n") + "\n----\n")
		b.WriteString(strings.Join(beats[i], "\n"))
		if len(beats[i]) > 0 {
			b.WriteString("\n")
		}
	}
	return b.String()
}
