package configs

import (
	"flag"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v4"
)

var everyValue = flag.Bool("every-value", false, "try every odd value at every place, not a sample")

// oddValues are what people and programs put where something else is due.
var oddValues = []string{`""`, `~`, `[]`, `{}`, `-1`, `0`, `.nan`, `-.inf`, `1e309`, `999999999999 h`, `100 %`, `0.0004 %`, `1 s`, `24 h`,
	`"06:00"`, `none`, `true`, `east`, `[east, east]`, `{east: none}`, `{from: day 1}`, `lights_off - 24 h`, `"* * * * *"`, `day 1000`, `"2199-12-31"`, `1 day`}

// TestAnyValueAnywhere puts odd values at each place of good files: nothing falls
// over, every problem has its place and hint, and nothing over a ceiling comes through.
func TestAnyValueAnywhere(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, good := range []map[string][]byte{baseFiles(t), ExampleFiles(ExampleBay)} {
		for _, file := range fileNames {
			text := string(good[file])
			for _, at := range scalars(t, text) {
				for _, odd := range oddValues {
					if !*everyValue && rng.IntN(150) != 0 {
						continue
					}
					good[file] = []byte(text[:at.from] + odd + text[at.to:])
					tryFiles(t, good, file+" with "+odd)
				}
			}
			good[file] = []byte(text)
		}
	}
}

// TestAnyLineLeftOut leaves out each line of good files, and all after it.
func TestAnyLineLeftOut(t *testing.T) {
	good := baseFiles(t)
	for _, file := range fileNames {
		text := good[file]
		lines := strings.SplitAfter(string(text), "\n")
		for i := range lines {
			good[file] = []byte(strings.Join(lines[:i], "") + strings.Join(lines[i+1:], ""))
			if i%2 == 0 {
				good[file] = []byte(strings.Join(lines[:i], ""))
			}
			tryFiles(t, good, file+" without a line, or cut off there")
		}
		good[file] = text
	}
}

func tryFiles(t *testing.T, files map[string][]byte, what string) {
	t.Helper()
	l, ps := Parse(files)
	requireTold(t, ps)
	require.Equal(t, Failed(ps), l == nil, what)
	if l != nil {
		requireWithinCeilings(t, l)
	}
}

type extent struct{ from, to int }

// scalars finds where the plain and quoted values of a text stand.
func scalars(t *testing.T, text string) (out []extent) {
	t.Helper()
	var doc yaml.Node
	require.NoError(t, yaml.Unmarshal([]byte(text), &doc))
	starts := []int{0}
	for i, c := range text {
		if c == '\n' {
			starts = append(starts, i+1)
		}
	}
	var visit func(n *yaml.Node)
	visit = func(n *yaml.Node) {
		if n.Kind == yaml.ScalarNode {
			from := starts[n.Line-1] + n.Column - 1
			to := from + len(n.Value)
			if quoted(n) {
				to += 2
			}
			out = append(out, extent{from, to})
		}
		for _, c := range n.Content {
			visit(c)
		}
	}
	visit(&doc)
	return out
}
