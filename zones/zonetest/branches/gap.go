package branches

import (
	"fmt"
	"os"
	"regexp"
	"strings"
)

// Gap is a way that no test went.
type Gap struct {
	Package, Function, Text string
	Never                   string // true, false or entered
}

// row gives the gap as docs/coverage.md lists it, but for the reason.
func (g Gap) row() string {
	return fmt.Sprintf("| %s | `%s` | `%s` | %s |", g.Package, g.Function, strings.ReplaceAll(g.Text, "|", `\|`), g.Never)
}

// gaps gives what was not seen, in the order of the points; ids count from 0.
func gaps(points []Point, seen map[string]bool) []Gap {
	var found []Gap
	miss := func(p *Point, id int, way, never string) {
		if !seen[fmt.Sprintf("%d %s", id, way)] {
			found = append(found, Gap{p.Package, p.Function, p.Text, never})
		}
	}
	for id := range points {
		p := &points[id]
		if p.Entered {
			miss(p, id, "true", "entered")
			continue
		}
		miss(p, id, "true", "true")
		miss(p, id, "false", "false")
	}
	return found
}

// seenIn reads what the marked packages wrote.
func seenIn(file string) (map[string]bool, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("read what was seen: %w", err)
	}
	seen := map[string]bool{}
	for _, line := range strings.Split(string(text), "\n") {
		seen[line] = true
	}
	return seen, nil
}

var gapRow = regexp.MustCompile("(?m)^\\| ([a-z/]+) \\| `(.+?)` \\| `(.+?)` \\| (true|false|entered) \\| (.+) \\|$")

// explained reads the gaps that docs/coverage.md explains.
func explained(text string) []Gap {
	var list []Gap
	for _, m := range gapRow.FindAllStringSubmatch(text, -1) {
		list = append(list, Gap{m[1], m[2], strings.ReplaceAll(m[3], `\|`, "|"), m[4]})
	}
	return list
}
