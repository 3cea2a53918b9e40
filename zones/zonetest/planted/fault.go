// Package planted takes guards out of the safety core, one at a time or in pairs, and
// asks which test notices. The faults are texts in testdata/planted, laid over the
// sources by the go command's -overlay: no binary that is shipped contains them.
// docs/planted-faults.md says how to add one.
package planted

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"rillgate/zones/zonetest/overlay"
)

// Fault is one guard taken out, or several where one masks another.
type Fault struct {
	Name  string // of its file, without .txt
	Guard string // what should hold
	Harm  string // what happens when it does not
	Codes []string
	Edits []Edit
}

// Edit replaces whole lines, which must occur exactly once, in one file.
type Edit struct {
	File     string // from the module's root
	Old, New string // lines, each with its newline
}

// Load reads every fault of a folder, in order of name.
func Load(dir string) ([]*Fault, error) {
	files, err := filepath.Glob(filepath.Join(dir, "*.txt"))
	if err != nil {
		return nil, fmt.Errorf("list planted faults: %w", err)
	}
	var faults []*Fault
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			return nil, fmt.Errorf("read planted fault: %w", err)
		}
		f, err := parse(string(text))
		if err != nil {
			return nil, fmt.Errorf("read planted fault %s: %w", file, err)
		}
		f.Name = strings.TrimSuffix(filepath.Base(file), ".txt")
		faults = append(faults, f)
	}
	return faults, nil
}

// parse reads a fault: lines "guard:", "harm:" and "code:", then for each edit a line
// "in:" and the lines of a unified diff without its head.
func parse(text string) (*Fault, error) {
	f := &Fault{}
	for i, line := range strings.Split(text, "\n") {
		if err := f.line(line); err != nil {
			return nil, fmt.Errorf("line %d: %w", i+1, err)
		}
	}
	if f.Guard == "" || f.Harm == "" || len(f.Edits) == 0 {
		return nil, fmt.Errorf("guard:, harm: and in: must be there")
	}
	for _, e := range f.Edits {
		if e.Old == "" || e.Old == e.New {
			return nil, fmt.Errorf("the edit of %s changes nothing", e.File)
		}
	}
	return f, nil
}

func (f *Fault) line(line string) error {
	for _, word := range []string{"guard", "harm", "code", "in"} {
		if value, ok := strings.CutPrefix(line, word+": "); ok {
			f.set(word, strings.TrimSpace(value))
			return nil
		}
	}
	if line == "" {
		return nil // a line of the source that is empty has its sign before it
	}
	if len(f.Edits) == 0 {
		return fmt.Errorf("%q comes before any line with in:, which names the file", line)
	}
	return f.Edits[len(f.Edits)-1].line(line)
}

func (f *Fault) set(word, value string) {
	switch word {
	case "guard":
		f.Guard = value
	case "harm":
		f.Harm = value
	case "code":
		f.Codes = strings.Fields(value)
	case "in":
		f.Edits = append(f.Edits, Edit{File: value})
	}
}

func (e *Edit) line(line string) error {
	text := line[1:] + "\n"
	switch line[0] {
	case '-':
		e.Old += text
	case '+':
		e.New += text
	case ' ':
		e.Old += text
		e.New += text
	default:
		return fmt.Errorf("%q begins with none of '-', '+' and a space", line)
	}
	return nil
}

// Plant gives the sources with the fault in them. The error says which old text is
// not there exactly once: the source moved on, and the fault must follow.
func (f *Fault) Plant(root string) (overlay.Sources, error) {
	s := overlay.Sources{}
	for _, e := range f.Edits {
		text, ok := s[e.File]
		if !ok {
			b, err := os.ReadFile(filepath.Join(root, e.File))
			if err != nil {
				return nil, fmt.Errorf("plant %s: %w", f.Name, err)
			}
			text = string(b)
		}
		padded := "\n" + text
		if n := strings.Count(padded, "\n"+e.Old); n != 1 {
			return nil, fmt.Errorf("plant %s: its lines occur %d times in %s, not once: put them right in testdata/planted/%s.txt\n%s", f.Name, n, e.File, f.Name, e.Old)
		}
		s[e.File] = strings.Replace(padded, "\n"+e.Old, "\n"+e.New, 1)[1:]
	}
	return s, nil
}

// packages gives the folders that the fault touches, in order.
func (f *Fault) packages() []string {
	var dirs []string
	for _, e := range f.Edits {
		dirs = append(dirs, filepath.Dir(e.File))
	}
	slices.Sort(dirs)
	return slices.Compact(dirs)
}
