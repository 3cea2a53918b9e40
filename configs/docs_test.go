package configs

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v4"
)

// manual is docs/configuration.md, taken apart by its headings.
type manual struct {
	sections map[string]string // text under a heading, up to the next one of any rank
	headings []string
}

func readManual(t *testing.T) manual {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "docs", "configuration.md"))
	require.NoError(t, err)
	m := manual{sections: map[string]string{}}
	heading, fenced := "", false
	for _, line := range strings.Split(string(text), "\n") {
		if strings.HasPrefix(strings.TrimSpace(line), "```") {
			fenced = !fenced
		}
		if title := strings.TrimLeft(line, "#"); !fenced && title != line && strings.HasPrefix(title, " ") {
			heading = title[1:]
			require.NotContains(t, m.headings, heading, "a heading twice")
			m.headings = append(m.headings, heading)
			continue
		}
		m.sections[heading] += line + "\n"
	}
	require.False(t, fenced, "a fence is not closed")
	return m
}

var fences = regexp.MustCompile("(?ms)^ *```(\\w+)\n(.*?)^ *```$")

// blocks gives the fenced blocks of a kind in a section, without their indentation.
func (m manual) blocks(heading, kind string) (out []string) {
	for _, found := range fences.FindAllStringSubmatch(m.sections[heading], -1) {
		if found[1] == kind {
			indent := len(found[2]) - len(strings.TrimLeft(found[2], " "))
			out = append(out, regexp.MustCompile(`(?m)^ {0,`+strconv.Itoa(indent)+`}`).ReplaceAllString(found[2], ""))
		}
	}
	return out
}

// rows gives the rows of the tables in a section, without their head.
func (m manual) rows(heading string) (out [][]string) {
	for _, line := range strings.Split(m.sections[heading], "\n") {
		switch {
		case strings.HasPrefix(line, "|---"):
			out = out[:len(out)-1]
		case strings.HasPrefix(line, "|"):
			cells := strings.Split(strings.Trim(line, "|"), "|")
			for i := range cells {
				cells[i] = strings.TrimSpace(cells[i])
			}
			out = append(out, cells)
		}
	}
	return out
}

// withBlock puts a block into the example room: its first line names the file, its
// keys at the top take the place of the example's. Where it says what the zones
// follow, the example's routines and crops are gone too.
func withBlock(t *testing.T, block string) map[string][]byte {
	t.Helper()
	first, _, _ := strings.Cut(block, "\n")
	name := strings.TrimPrefix(first, "# ")
	require.Contains(t, fileNames, name, "the first line of a block names its file:\n%s", block)
	files := ExampleFiles(ExampleBay)
	var whole, part yaml.Node
	require.NoError(t, yaml.Unmarshal(files[name], &whole))
	require.NoError(t, yaml.Unmarshal([]byte(block), &part), block)
	pairs := part.Content[0].Content
	root := whole.Content[0]
	place := func(key string) int {
		return slices.IndexFunc(root.Content, func(n *yaml.Node) bool { return n.Value == key })
	}
	for i := 0; i+1 < len(pairs); i += 2 {
		if at := place(pairs[i].Value); at >= 0 {
			root.Content = slices.Delete(root.Content, at, at+2)
		}
		if name == ScheduleFile && pairs[i].Value == "zones" {
			for _, key := range []string{"routines", "crops"} {
				if at := place(key); at >= 0 {
					root.Content = slices.Delete(root.Content, at, at+2)
				}
			}
		}
	}
	root.Content = append(root.Content, pairs...)
	text, err := yaml.Marshal(&whole)
	require.NoError(t, err)
	files[name] = text
	return files
}

// TestDocumentedFilesAreValid reads every YAML block of the manual as the daemon would.
func TestDocumentedFilesAreValid(t *testing.T) {
	m, n := readManual(t), 0
	for _, heading := range m.headings {
		for _, block := range m.blocks(heading, "yaml") {
			n++
			l, ps := Parse(withBlock(t, block))
			require.Empty(t, told(ps), "%s:\n%s", heading, block)
			require.NotNil(t, l)
		}
	}
	require.GreaterOrEqual(t, n, 10)
}

// shapesOf gives the heading under which each mapping of the files is described.
func shapesOf() map[*shape]string {
	return map[*shape]string{
		roomShape: "`room.yaml`", roomHeadShape: "`room`", contactShape: "`room.contacts[]`", controllerShape: "`controllers[]`", powerShape: "`controllers[].power`",
		terminalShape: "`controllers[].terminals[]`", probeShape: "`controllers[].terminals[].probes[]`", inputShape: "`controllers[].inputs[]`",
		supplyShape: "`supplies[]`", masterShape: "`supplies[].master`", valveShape: "`valves[]`", houseShape: "`house_rules`", healthyShape: "`healthy`",
		defaultsShape: "`defaults`", zoneShape: "`zones[]`", substrateShape: "`zones[].substrate`", emittersShape: "`zones[].emitters`", sampleShape: "`zones[].substrate.samples[]`",
		moistureShape: "`zones[].moisture`", limitsShape: "`zones[].limits`", soakShape: "`zones[].limits.soak`", lostShape: "`zones[].on_lost_probes`", timedShape: "`zones[].on_lost_probes.timed`",
		scheduleShape: "`schedule.yaml`", dayShape: "`day`", datedDayShape: "`day[]`", windowShape: "`routines.NAME[]`", cropShape: "`crops.NAME`",
		stageShape: "`crops.NAME.stages[]`", zonePlanShape: "`zones.NAME`", scaleShape: "`zones.NAME.scale`", alarmsShape: "`alarms.NAME`", dryShape: "`alarms.NAME.dry`",
		poreShape: "`alarms.NAME.pore_ec`", warmShape: "`alarms.NAME.root_temperature`",
		gatewayShape: "`gateway.yaml`", mqttShape: "`mqtt`", tlsShape: "`mqtt.tls`", clockShape: "`clock`", publishShape: "`publish`",
		homieShape: "`publish.homie`", pageShape: "`page`", historyShape: "`history`",
	}
}

// eachShape visits every mapping that the reader's tables know, once.
func eachShape(k kind, seen map[*shape]bool, visit func(*shape)) {
	switch k := k.(type) {
	case *shape:
		if !seen[k] {
			seen[k] = true
			visit(k)
			for _, f := range k.fields {
				eachShape(f.kind, seen, visit)
			}
		}
	case listOf:
		eachShape(k.of, seen, visit)
	case mapOf:
		eachShape(k.of, seen, visit)
	case oneOf:
		for _, one := range k {
			eachShape(one, seen, visit)
		}
	}
}

// TestEveryKeyIsDocumented: each key of each mapping has its row, with its unit and
// range, its words, and whether it must be there; and no row names what is no key.
func TestEveryKeyIsDocumented(t *testing.T) {
	m, seen := readManual(t), map[*shape]bool{}
	for _, root := range []*shape{roomShape, scheduleShape, gatewayShape} {
		eachShape(root, seen, func(s *shape) {
			heading := shapesOf()[s]
			require.NotEmpty(t, heading, "no section describes the mapping with %v", s.keys())
			rows := map[string][]string{}
			for _, row := range m.rows(heading) {
				require.Len(t, row, 4, "%s: %v", heading, row)
				rows[strings.Trim(row[0], "`")] = row
			}
			for _, f := range s.fields {
				row := rows[f.key]
				require.NotNil(t, row, "%s says nothing of `%s`", heading, f.key)
				delete(rows, f.key)
				requireRow(t, heading+" "+f.key, f, row)
			}
			require.Empty(t, rows, "%s names what is no key", heading)
		})
	}
	require.Len(t, seen, len(shapesOf()), "a section describes a mapping that nobody reads")
}

func requireRow(t *testing.T, at string, f field, row []string) {
	t.Helper()
	value, silent := row[2], row[3]
	switch k := f.kind.(type) {
	case notBuilt:
		require.Equal(t, "not built yet", silent, at)
		return
	case refused:
		require.Equal(t, "refused", silent, at)
		return
	case quantity:
		for _, l := range k.limits {
			require.Contains(t, value, l.min+" to "+l.max, at)
		}
	case integer:
		require.Contains(t, value, strconv.Itoa(k.min)+" to "+strconv.Itoa(k.max), at)
	case decimal:
		require.Contains(t, value, k.min+" to "+k.max, at)
	case label:
		require.Contains(t, value, "up to "+strconv.Itoa(k.max)+" characters", at)
	case word:
		for _, w := range k {
			require.Contains(t, value, "`"+w+"`", at)
		}
	}
	if f.need {
		require.Equal(t, "required", silent, at)
	} else {
		require.NotEqual(t, "required", silent, at)
		require.NotEmpty(t, silent, at)
	}
}

// TestBuiltInsAreDocumented compares what holds in a zone of which the files say as
// little as they can with the last column of the tables.
func TestBuiltInsAreDocumented(t *testing.T) {
	m := readManual(t)
	files := withBlock(t, "# room.yaml\ndefaults: {limits: {max_run: 6 min, max_per_day: 60 min, max_moisture: 70 %}, substrate: {volume_per_plant: 6.5 L}, emitters: {per_plant: 2, flow: 2 L/h}}\n")
	l, ps := Parse(files)
	require.NotNil(t, l, told(ps))
	n := 0
	for _, o := range l.Origins["east"] {
		if o.From != "built in" {
			continue
		}
		group, key, _ := strings.Cut(o.Key, ".")
		heading := "`zones[]." + group + "`"
		if key == "" {
			heading, key = "`defaults`", group
		}
		for _, row := range m.rows(heading) {
			if row[0] == "`"+key+"`" {
				n++
				require.Contains(t, row[3], o.Value, o.Key)
			}
		}
	}
	require.Equal(t, 10, n, "curve, pore_offset, combine, quorum, stale_after, plausible, ec, min_rest, on_lost_probes, require_walk")
}
