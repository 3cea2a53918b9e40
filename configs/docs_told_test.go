package configs

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestMistakesSayWhatIsTold: each message of the manual is one that a configuration
// with that fault gets.
func TestMistakesSayWhatIsTold(t *testing.T) {
	faults, err := filepath.Glob(filepath.Join("..", "testdata", "configs", "*.txt"))
	require.NoError(t, err)
	var wanted []string
	for _, name := range faults {
		text, err := os.ReadFile(name)
		require.NoError(t, err)
		_, want, _ := strings.Cut(string(text), "-- want --\n")
		wanted = append(wanted, want)
	}
	blocks := readManual(t).blocks("Twenty first mistakes", "text")
	require.Len(t, blocks, 20)
	for _, block := range blocks {
		lines := strings.Split(strings.TrimSpace(block), "\n")
		require.True(t, slices.ContainsFunc(wanted, func(want string) bool {
			return !slices.ContainsFunc(lines, func(line string) bool { return !strings.Contains("\n"+want, "\n"+line+"\n") })
		}), "no file in testdata/configs gets\n%s", block)
	}
}

// TestShownOutputIsReal: the lines of check, --explain and apply that the manual shows.
func TestShownOutputIsReal(t *testing.T) {
	blocks := readManual(t).blocks("Check, apply, go back", "text")
	require.Len(t, blocks, 3)
	l := loadExample(t, ExampleBay)
	explained, err := Explain(l, "east")
	require.NoError(t, err)
	files := ExampleFiles(ExampleBay)
	for old, new := range map[string]string{"max_run: 6 min": "max_run: 8 min", "plants: 48": "plants: 50"} {
		files[RoomFile] = []byte(strings.Replace(string(files[RoomFile]), old, new, 1))
	}
	other, ps := Parse(files)
	require.NotNil(t, other, told(ps))
	for i, real := range []string{Words(l, noon(t, "2027-02-12T03:00:00Z")).String(), explained, strings.Join(Changes(l, other), "\n") + "\n"} {
		for _, line := range strings.Split(strings.TrimSpace(blocks[i]), "\n") {
			require.Contains(t, "\n"+real, "\n"+line+"\n")
		}
	}
	require.ElementsMatch(t, Changes(l, other), strings.Split(strings.TrimSpace(blocks[2]), "\n"))
}

// TestDocumentedLinksLead: each link within the manual goes to one of its headings, each
// other to a file.
func TestDocumentedLinksLead(t *testing.T) {
	m := readManual(t)
	var anchors []string
	for _, h := range m.headings {
		slug := regexp.MustCompile("[^a-z0-9_ -]").ReplaceAllString(strings.ToLower(h), "")
		anchors = append(anchors, "#"+strings.ReplaceAll(slug, " ", "-"))
	}
	n := 0
	for heading, text := range m.sections {
		for _, link := range regexp.MustCompile(`\]\(([^)]+)\)`).FindAllStringSubmatch(text, -1) {
			n++
			if strings.HasPrefix(link[1], "#") {
				require.Contains(t, anchors, link[1], "in %q", heading)
				continue
			}
			require.FileExists(t, filepath.Join("..", "docs", link[1]))
		}
	}
	require.NotZero(t, n)
}
