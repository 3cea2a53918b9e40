package deploy_test

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// documented gives patterns of all topics that docs/topics.md names for a room bay-2,
// with those that take orders.
func documented(t *testing.T) (topics []string) {
	t.Helper()
	text, err := os.ReadFile("../docs/topics.md")
	require.NoError(t, err)
	whole := regexp.MustCompile("^\\| `((?:rillgate|homie)/[^`]*)`")
	node := regexp.MustCompile("^### Node `([^`]*)`")
	property := regexp.MustCompile("^\\| `([a-z0-9-]+)` \\| ([^|]*) \\|")
	attribute := regexp.MustCompile("^\\| `(\\$[a-z]+[^`]*)`")
	section := ""
	for line := range strings.Lines(string(text)) {
		switch {
		case whole.MatchString(line):
			topics = append(topics, whole.FindStringSubmatch(line)[1])
		case node.MatchString(line):
			section = node.FindStringSubmatch(line)[1]
		case strings.HasPrefix(line, "## "):
			section = ""
		case attribute.MatchString(line):
			topics = append(topics, "homie/5/<room>/"+attribute.FindStringSubmatch(line)[1])
		case section != "" && property.MatchString(line):
			p := property.FindStringSubmatch(line)
			if strings.Contains(p[2], "settable") {
				topics = append(topics, "homie/5/<room>/"+section+"/"+p[1]+"/set")
			}
		}
	}
	return topics
}

// TestTheMatrixIsComplete: each documented topic stands in the matrix, those of
// controllers for each kind of controller.
func TestTheMatrixIsComplete(t *testing.T) {
	m, all := readMatrix(t), documented(t)
	require.Contains(t, all, "homie/5/<room>/zone-<id>/shot/set", "the documentation is read")
	require.Contains(t, all, "rillgate/<room>/field/<controller>/valve/<output>/command")
	require.Contains(t, all, "homie/5/<room>/$alert/<code>-<subject>")
	for _, topic := range all {
		controllers := []string{"<controller>"}
		if strings.Contains(topic, "<controller>") {
			controllers = []string{"north", "south", "air"}
		}
		for _, controller := range controllers {
			pattern := strings.NewReplacer("<room>", "bay-2", "<controller>", controller).Replace(topic)
			pattern = regexp.MustCompile(`<[a-z]+>`).ReplaceAllString(regexp.QuoteMeta(pattern), `[^/]+`)
			pattern = strings.ReplaceAll(pattern, "#", ".+")
			require.True(t, slices.ContainsFunc(m.topics, regexp.MustCompile("^"+pattern+"$").MatchString), "no row for %s", pattern)
		}
	}
}

// rule is one line of mosquitto.acl.
type rule struct{ line, user, access, filter string }

func readRules(t *testing.T) (all []rule) {
	t.Helper()
	text, err := os.ReadFile("mosquitto.acl")
	require.NoError(t, err)
	user := ""
	for line := range strings.Lines(string(text)) {
		f := strings.Fields(line)
		switch {
		case len(f) == 0 || strings.HasPrefix(f[0], "#"):
		case f[0] == "user":
			user = f[1]
		case f[0] == "pattern":
			all = append(all, rule{strings.TrimSpace(line), "", f[1], f[2]})
		default:
			all = append(all, rule{strings.TrimSpace(line), user, f[1], f[2]})
		}
	}
	return all
}

// grants reports whether the rule gives a name a letter on a topic (mosquitto.conf(5),
// acl_file: `topic` for its user, `pattern` for all, with %u for the name).
func (r rule) grants(name, topic, letter string) bool {
	access := map[string]string{"read": "r", "write": "w", "readwrite": "rw"}[r.access]
	if r.user != "" && r.user != name || !strings.Contains(access, letter) {
		return false
	}
	filter, levels := strings.Split(strings.ReplaceAll(r.filter, "%u", name), "/"), strings.Split(topic, "/")
	for i, f := range filter {
		if f == "#" {
			return true
		}
		if i >= len(levels) || f != "+" && f != levels[i] {
			return false
		}
	}
	return len(filter) == len(levels)
}

// TestEveryRuleShows: each line of the rules, and each letter of it, is what alone allows
// something in the matrix: without it a test against mosquitto fails.
func TestEveryRuleShows(t *testing.T) {
	m, rules := readMatrix(t), readRules(t)
	require.Greater(t, len(rules), 20)
	for i, r := range rules {
		for _, letter := range strings.Split(map[string]string{"read": "r", "write": "w", "readwrite": "r w"}[r.access], " ") {
			require.True(t, slices.ContainsFunc(names, func(name string) bool {
				return slices.ContainsFunc(m.allowed(name, letter), func(topic string) bool {
					others := slices.Delete(slices.Clone(rules), i, i+1)
					return r.grants(name, topic, letter) && !slices.ContainsFunc(others, func(o rule) bool { return o.grants(name, topic, letter) })
				})
			}), "nothing in the matrix shows %q, %s", r.line, letter)
		}
	}
}
