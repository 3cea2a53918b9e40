package zones

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestInterlocksAreDocumented holds docs/interlocks.md to the list in permit.go: the
// same codes in the same order, and every test and scenario that it names exists.
func TestInterlocksAreDocumented(t *testing.T) {
	doc, err := os.ReadFile("../docs/interlocks.md")
	require.NoError(t, err)
	var codes []string
	for _, m := range regexp.MustCompile("(?m)^\\| `([a-z-]+)` \\|").FindAllStringSubmatch(string(doc), -1) {
		codes = append(codes, m[1])
	}
	var want []string
	for i := range interlocks {
		want = append(want, string(interlocks[i].code))
	}
	want = append(want, string(PlanChanged), string(WindowPassed))
	require.Equal(t, want, codes)

	src := ""
	files, err := os.ReadDir(".")
	require.NoError(t, err)
	for _, f := range files {
		if strings.HasSuffix(f.Name(), "_test.go") {
			b, err := os.ReadFile(f.Name())
			require.NoError(t, err)
			src += string(b)
		}
	}
	for _, row := range strings.Split(string(doc), "\n") {
		if !strings.HasPrefix(row, "| `") {
			continue
		}
		cells := strings.Split(strings.Trim(row, "|"), "|")
		for _, name := range strings.Split(cells[len(cells)-1], ",") {
			name = strings.Trim(name, " `")
			if strings.HasPrefix(name, "Test") {
				require.Contains(t, src, "func "+name+"(", "a test that docs/interlocks.md names")
				continue
			}
			_, err := os.Stat("../testdata/scenarios/" + name + ".txt")
			require.NoError(t, err, "a scenario that docs/interlocks.md names")
		}
	}
}
