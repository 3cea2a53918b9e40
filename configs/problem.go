package configs

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"rillgate/zones"
)

// Problem is one thing that is wrong, or doubtful, in one of the three files.
// Line and Column count from 1, in characters.
type Problem struct {
	File    string `json:"file"`
	Line    int    `json:"line"`
	Column  int    `json:"column"`
	Message string `json:"message"`
	Hint    string `json:"hint,omitempty"`
	Excerpt string `json:"excerpt,omitempty"` // the line, and a caret under the column
	Warning bool   `json:"warning"`
	Code    string `json:"code"`

	zones []string // those whose check met it, where the value is shared
}

// The codes of problems: stable, for programs that read `check --json`.
const (
	CodeFile      = "file"          // it cannot be read whole, as text
	CodeSyntax    = "syntax"        // it is no YAML
	CodeStructure = "structure"     // YAML that has no place here: anchors, tags, more documents
	CodeUnknown   = "unknown-key"   // a key that nobody reads
	CodeDuplicate = "duplicate"     // a key or id twice
	CodeNoValue   = "no-value"      // a key without a value
	CodeMissing   = "missing"       // a key that must be there
	CodeKind      = "wrong-kind"    // a list where a text is due, and the like
	CodeText      = "wrong-text"    // an id, time, date or word that is none
	CodeUnit      = "unit"          // no unit, an unknown one, or one of another dimension
	CodeRange     = "range"         // too small, too large, negative, not finite
	CodeReference = "reference"     // it names what does not exist
	CodeConflict  = "conflict"      // two values that cannot both hold
	CodeOverlap   = "overlap"       // two windows at one time
	CodeWiring    = "wiring"        // one output, place or valve used twice
	CodeCapacity  = "capacity"      // more than a supply or a transformer gives
	CodeNotBuilt  = "not-built"     // known, but this version does not do it
	CodeHouse     = "house-rule"    // the house's own rule
	CodeUnnamed   = "zone-unnamed"  // the schedule is silent about a zone
	CodeNoMaster  = "no-master"     // nothing shuts a supply when a valve sticks
	CodeUnused    = "unused"        // declared, but nothing comes of it
	CodeExposed   = "exposed"       // more people can reach it than need to
	CodeBudget    = "over-budget"   // the busiest 24 h do not fit max_per_day
	CodeQueue     = "queue"         // the zones of a supply do not fit their windows
	CodeMany      = "many-problems" // the list was cut
)

// maxProblems bounds a list: a wholly foreign file should not print for ever.
const maxProblems = 200

// String gives the problem as `check` prints it: place, message, excerpt, hint.
func (p Problem) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s:%d:%d: ", p.File, p.Line, p.Column)
	if p.Warning {
		b.WriteString("warning: ")
	}
	b.WriteString(p.Message + "\n")
	if p.Excerpt != "" {
		b.WriteString(p.Excerpt + "\n")
	}
	if p.Hint != "" {
		b.WriteString("hint: " + p.Hint + "\n")
	}
	return b.String()
}

// Print writes every problem, an empty line between two.
func Print(w io.Writer, ps []Problem) error {
	for i, p := range ps {
		text := p.String()
		if i > 0 {
			text = "\n" + text
		}
		if _, err := io.WriteString(w, text); err != nil {
			return fmt.Errorf("print problems: %w", err)
		}
	}
	return nil
}

// PrintJSON writes the problems as one JSON array.
func PrintJSON(w io.Writer, ps []Problem) error {
	if ps == nil {
		ps = []Problem{}
	}
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	if err := enc.Encode(ps); err != nil {
		return fmt.Errorf("print problems: %w", err)
	}
	return nil
}

// Failed reports whether one of the problems is an error, not a warning.
func Failed(ps []Problem) bool {
	return slices.ContainsFunc(ps, func(p Problem) bool { return !p.Warning })
}

// problems collects what the readers and checks find.
type problems struct {
	list []Problem
	seen map[string]int // place in the list
}

// add keeps a problem once: two checks may meet the same fault, and several zones
// one shared value.
func (l *problems) add(p Problem) {
	what := p.Message
	if len(p.zones) > 0 {
		what = ""
	}
	key := fmt.Sprintf("%s:%d:%d:%s:%s", p.File, p.Line, p.Column, p.Code, what)
	if i, met := l.seen[key]; met {
		l.list[i].meet(p.zones)
		return
	}
	if l.seen == nil {
		l.seen = map[string]int{}
	}
	l.seen[key] = len(l.list)
	l.list = append(l.list, p)
}

func (p *Problem) meet(zones []string) {
	for _, z := range zones {
		if !slices.Contains(p.zones, z) {
			p.zones = append(p.zones, z)
		}
	}
}

// told adds the other zones to the message.
func (p Problem) told() Problem {
	if len(p.zones) > 1 {
		p.Message += "; also in " + zones.Names(quoteAll(p.zones[1:]))
	}
	p.zones = nil
	return p
}

// sorted gives the problems by file (in reading order), line and column, and cuts
// a very long list, errors last to go.
func (l *problems) sorted() []Problem {
	out := make([]Problem, len(l.list))
	for i, p := range l.list {
		out[i] = p.told()
	}
	slices.SortStableFunc(out, compareProblems)
	if len(out) <= maxProblems {
		return out
	}
	slices.SortStableFunc(out, func(a, b Problem) int { return boolInt(a.Warning) - boolInt(b.Warning) })
	more, last := len(out)-maxProblems, out[maxProblems-1]
	out = out[:maxProblems]
	slices.SortStableFunc(out, compareProblems)
	return append(out, Problem{File: last.File, Line: last.Line, Column: last.Column, Code: CodeMany,
		Message: fmt.Sprintf("%d more problems are not shown", more), Hint: "mend these first and check again",
		Warning: last.Warning})
}

func compareProblems(a, b Problem) int {
	if d := slices.Index(fileNames[:], a.File) - slices.Index(fileNames[:], b.File); d != 0 {
		return d
	}
	if a.Line != b.Line {
		return a.Line - b.Line
	}
	if a.Column != b.Column {
		return a.Column - b.Column
	}
	return strings.Compare(a.Message, b.Message)
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}
