package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/configs"
)

// writeRoom puts an example's files into a directory; change names texts of room.yaml
// and what stands in their place.
func writeRoom(t *testing.T, example string, change map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range configs.ExampleFiles(example) {
		for old, new := range change {
			if name == configs.RoomFile {
				require.Contains(t, string(text), old)
				text = []byte(strings.ReplaceAll(string(text), old, new))
			}
		}
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), text, 0o600))
	}
	return dir
}

// The sheet of both examples, as text, JSON, HTML and SVG.
func TestWiringOfTheExamples(t *testing.T) {
	t.Parallel()
	for example, want := range map[string][]string{
		configs.ExampleBay:  {"chain of 2 probes, 22 AWG", "home run 60 ft", "farthest probe: e2, 88.4 ft of cable", "377.3 ft", "72 ft of 22 AWG, 3 wires"},
		configs.ExampleDemo: {"chain of 4 probes, 0.5 mm2", "star of 4 probes, 0.5 mm2", "farthest probe: a4, 26 m of cable", "it gives 40 VA"},
	} {
		dir := writeRoom(t, example, nil)
		code, out, errs := runProgram(t, "wiring", "--config", dir)
		require.Equal(t, 0, code, errs)
		for _, line := range want {
			require.Contains(t, out, line)
		}
		code, out, errs = runProgram(t, "wiring", "--json", "--config", dir)
		require.Equal(t, 0, code, errs)
		var got struct {
			Controllers []struct {
				Terminals []struct{ Farthest string }
			}
			Findings []struct{ Code string }
		}
		require.NoError(t, json.Unmarshal([]byte(out), &got))
		require.NotEmpty(t, got.Controllers[0].Terminals[0].Farthest)
		require.Equal(t, "wet-contact", got.Findings[0].Code, "24 V in a wet room")
		for _, name := range []string{"sheet.html", "sheet.svg"} {
			file := filepath.Join(dir, name)
			code, out, errs = runProgram(t, "wiring", "--out", file, "--config", dir)
			require.Equal(t, 0, code, errs)
			require.Contains(t, out, "wrote "+file)
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			require.Contains(t, string(text), "north/1")
			require.Contains(t, string(text), "</"+map[string]string{"sheet.html": "html", "sheet.svg": "svg"}[name]+">")
		}
	}
}

func TestWiringRefuses(t *testing.T) {
	t.Parallel()
	dir := writeRoom(t, configs.ExampleBay, nil)
	broken := writeRoom(t, configs.ExampleBay, map[string]string{"home_run: 60 ft": "home_run: 60"})
	for line, want := range map[string]struct {
		code int
		says string
	}{
		"wiring --config " + dir + " --out sheet.pdf":        {2, "ends in .html or .svg"},
		"wiring --config " + dir + " --out a.svg --json":     {2, "exclude each other"},
		"wiring --config " + dir + " --out /nowhere/x.html":  {1, "hint: "},
		"wiring --config " + broken:                          {1, "room.yaml:9:"},
		"wiring --config " + broken + " --out " + dir + "/x": {1, "error: "},
		"wiring east --config " + dir:                        {2, ""},
	} {
		code, out, errs := runProgram(t, strings.Fields(line)...)
		require.Equal(t, want.code, code, "%q: %s%s", line, out, errs)
		require.Contains(t, errs, want.says, "%q", line)
	}
}

// check warns of what the house's rules say of wires, and wiring says the same.
func TestWiringAndCheckAgree(t *testing.T) {
	t.Parallel()
	dir := writeRoom(t, configs.ExampleBay, map[string]string{"home_run: 60 ft": "home_run: 160 ft", "wire: 18 AWG": "wire: 22 AWG", "canopy: 180 sqft": "canopy: 280 sqft"})
	code, checked, errs := runProgram(t, "check", "--config", dir)
	require.Equal(t, 0, code, errs)
	code, sheet, errs := runProgram(t, "wiring", "--config", dir)
	require.Equal(t, 0, code, errs)
	for _, rule := range []string{"175 ft", "18 AWG at least", "100 sqft"} {
		require.Contains(t, checked, "the house rule is "+rule)
		require.Contains(t, sheet, "the house rule is "+rule)
	}
}

var fencedText = regexp.MustCompile("(?ms)^```text\n(.*?)^```$")

// What docs/wiring.md shows is what the program says of the example room.
func TestWiringAsDocumented(t *testing.T) {
	t.Parallel()
	manual, err := os.ReadFile(filepath.Join("..", "..", "docs", "wiring.md"))
	require.NoError(t, err)
	blocks := fencedText.FindAllStringSubmatch(string(manual), -1)
	require.Len(t, blocks, 1)
	code, out, errs := runProgram(t, "wiring", "--config", writeRoom(t, configs.ExampleDemo, nil))
	require.Equal(t, 0, code, errs)
	for _, line := range strings.Split(strings.TrimRight(blocks[0][1], "\n"), "\n") {
		require.Contains(t, out, line+"\n")
	}
}
