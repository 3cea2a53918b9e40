package configs

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"
	"go.yaml.in/yaml/v4/plugin/loaderlimits"
)

// maxDepth bounds nesting; the deepest legal value is eight deep.
const maxDepth = 32

// maxNodes bounds the tree of one file.
const maxNodes = 200_000

// parseTree gives the mapping at the root of one file, or nil after noting why
// there is none.
func parseTree(s *source, text []byte) *yaml.Node {
	if !checkText(s, text) {
		return nil
	}
	root := loadDocuments(s, text)
	if root == nil {
		return nil
	}
	left, told := maxNodes, 0
	plainTree(s, root, &left, &told)
	if left <= 0 {
		place{s, 1, 1}.fail(CodeFile, "a room's file has some hundred lines", "the file holds more than %d values", maxNodes)
		return nil
	}
	return root
}

// checkText refuses what is no UTF-8 text, with the place.
func checkText(s *source, text []byte) bool {
	start := place{s, 1, 1}
	switch {
	case bytes.HasPrefix(text, []byte{0xff, 0xfe}), bytes.HasPrefix(text, []byte{0xfe, 0xff}):
		s.out.add(Problem{File: s.name, Line: 1, Column: 1, Code: CodeFile, Message: "the file is UTF-16", Hint: "save the file as UTF-8"})
		return false
	case len(bytes.TrimSpace(bytes.TrimPrefix(text, []byte("\ufeff")))) == 0:
		start.fail(CodeFile, "`rillgate schema` and the documentation show what belongs in it", "the file is empty")
		return false
	}
	for i, line := range s.lines {
		if col, what := badCharacter(line); what != "" {
			place{s, i + 1, col}.fail(CodeFile, "save the file as plain UTF-8 text", "%s", what)
			return false
		}
	}
	return true
}

// badCharacter finds bytes that are no text; the tab is left to the YAML reader.
func badCharacter(line string) (col int, what string) {
	col = 1
	for _, r := range line {
		switch {
		case r == utf8.RuneError && !utf8.ValidString(line):
			return col, "the line is not UTF-8 text"
		case r < ' ' && r != '\t', r >= 0x7f && r < 0xa0, r == 0xfeff:
			return col, "a control character stands in the text"
		}
		col++
	}
	return 0, ""
}

// loadDocuments reads exactly one document.
func loadDocuments(s *source, text []byte) *yaml.Node {
	l, err := yaml.NewLoader(bytes.NewReader(text), yaml.WithV4Defaults(), yaml.WithUniqueKeys(false),
		yaml.WithPlugin(loaderlimits.New(loaderlimits.DepthValue(maxDepth), loaderlimits.AliasNone())))
	if err != nil {
		place{s, 1, 1}.fail(CodeSyntax, "", "%v", err)
		return nil
	}
	var doc, next yaml.Node
	switch err := l.Load(&doc); {
	case errors.Is(err, io.EOF):
		place{s, 1, 1}.fail(CodeFile, "`rillgate schema` and the documentation show what belongs in it", "the file is empty but for comments")
		return nil
	case err != nil:
		syntaxProblem(s, err)
		return nil
	}
	switch err := l.Load(&next); {
	case err == nil:
		s.at(&next).fail(CodeStructure, "one file holds one document: remove what begins here", "a second document begins")
	case !errors.Is(err, io.EOF):
		syntaxProblem(s, err)
		return nil
	}
	return rootMapping(s, &doc)
}

func rootMapping(s *source, doc *yaml.Node) *yaml.Node {
	if len(doc.Content) != 1 {
		return nil
	}
	root := doc.Content[0]
	if root.Kind != yaml.MappingNode {
		s.at(root).fail(CodeKind, "begin with the first key, for example `"+firstKey(s.name)+":`", "%s stands where keys are due", kindOf(root))
		return nil
	}
	return root
}

func firstKey(file string) string {
	switch file {
	case RoomFile:
		return "room"
	case ScheduleFile:
		return "day"
	}
	return "mqtt"
}

// plainTree refuses anchors, aliases, merge keys and tags: each value stands where
// it is read. It visits at most *left nodes and tells of one in a line.
func plainTree(s *source, n *yaml.Node, left, told *int) {
	if *left--; *left <= 0 {
		return
	}
	if hint, what := foreign(n); what != "" && n.Line != *told {
		*told = n.Line
		s.at(n).fail(CodeStructure, hint, "%s stands here", what)
	}
	for _, c := range n.Content {
		plainTree(s, c, left, told)
	}
}

// foreign names what YAML has and these files do not.
func foreign(n *yaml.Node) (hint, what string) {
	hint = "write the value out where it is used; what zones share belongs in `defaults`"
	switch {
	case n.Kind == yaml.AliasNode:
		return aliasHint(n.Value, hint), "an alias (`*" + n.Value + "`)"
	case n.Anchor != "":
		return hint, "an anchor (`&" + n.Anchor + "`)"
	case n.Style&yaml.TaggedStyle != 0:
		return "leave the tag away", "a tag (`" + n.Tag + "`)"
	case n.Tag == "!!merge":
		return hint, "a merge key (`<<`)"
	}
	return "", ""
}

func aliasHint(name, otherwise string) string {
	if strings.Contains(name, "/") {
		return "put a cron expression in quotes: \"*" + name + " * * * *\""
	}
	return otherwise
}

// kindOf names a node's kind in a sentence.
func kindOf(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "a mapping (keys with values)"
	case yaml.SequenceNode:
		return "a list"
	case yaml.AliasNode:
		return "an alias"
	}
	return "`" + shorten(n.Value) + "`"
}

// shorten keeps a quoted value from filling the message.
func shorten(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "..."
	}
	return s
}
