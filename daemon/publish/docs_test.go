package publish

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// section cuts a node's table out of the document.
func section(t *testing.T, doc, heading string) string {
	_, rest, ok := strings.Cut(doc, heading)
	require.True(t, ok, "no section %q", heading)
	table, _, _ := strings.Cut(rest, "\n#")
	return table
}

func TestTheDocumentNamesEveryProperty(t *testing.T) {
	b, err := os.ReadFile("../../docs/topics.md")
	require.NoError(t, err)
	doc := string(b)
	for heading, traits := range map[string][]trait{
		"### Node `gateway`":    traitsOf(gatewayProperties()),
		"### Node `zone-<id>`":  traitsOf(zoneProperties()),
		"### Node `valve-<id>`": traitsOf(valveProperties()),
		"### Node `probe-<id>`": traitsOf(probeProperties()),
	} {
		table := section(t, doc, heading)
		for _, p := range traits {
			row := "| `" + p.id + "` | " + p.datatype
			require.Contains(t, table, row, heading)
			_, line, _ := strings.Cut(table, row)
			line, _, _ = strings.Cut(line, "\n")
			require.Equal(t, p.settable, strings.Contains(line, ", settable"), "%s %s", heading, p.id)
			require.Equal(t, p.momentary, strings.Contains(line, "not retained"), "%s %s", heading, p.id)
			if p.datatype == "enum" {
				require.Contains(t, line, "`"+p.format+"`")
			}
		}
		require.Equal(t, len(traits), strings.Count(table, "\n| `"), "%s names something that is not there", heading)
	}
	for _, reason := range []string{reasonNotAllowed, reasonBadValue, reasonUnknown, reasonBusy} {
		require.Contains(t, doc, "`"+reason+"`")
	}
}

func traitsOf[T any](ps []property[T]) (out []trait) {
	for _, p := range ps {
		out = append(out, p.trait)
	}
	return out
}
