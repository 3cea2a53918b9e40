// Package branches measures which ways the conditions of a package went while tests
// ran. Go's own tool counts statements; here each operand of && and ||, each condition
// of if, for and case must have been true and false, and each case, loop body and
// function must have been entered. The sources are marked by the go command's
// -overlay; nothing on disk changes. It serves tests alone.
package branches

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"rillgate/zones/zonetest/overlay"
)

// Point is one place that can go two ways, or that is entered or not.
type Point struct {
	Package  string // from the module's root
	Function string // Room.step, or a plain name
	Text     string // the condition as written, or what is entered
	Entered  bool   // it is only entered or not
}

// marker puts marks into the text of one file.
type marker struct {
	pkg, function string
	text          string
	at            func(token.Pos) int
	first         int // id of its first point
	points        []Point
	marks         []mark
	done          map[ast.Expr]bool
}

type mark struct {
	at    int
	text  string
	order int // of marks at one place: what ends comes before what begins
}

// Instrument marks every file of a package but its tests, and adds one that writes
// down what is seen for the first time: "package id true", or "false", a line.
func Instrument(root, pkg string, first int) (overlay.Sources, []Point, error) {
	files, err := filepath.Glob(filepath.Join(root, pkg, "*.go"))
	if err != nil {
		return nil, nil, fmt.Errorf("list sources of %s: %w", pkg, err)
	}
	s := overlay.Sources{}
	var points []Point
	name := ""
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		m, err := markFile(pkg, file, first+len(points))
		if err != nil {
			return nil, nil, err
		}
		points = append(points, m.points...)
		s[pkg+"/"+filepath.Base(file)] = m.marked()
		name = m.function
	}
	s[pkg+"/branches_seen.go"] = recorder(name, first, len(points))
	return s, points, nil
}

func markFile(pkg, file string, first int) (*marker, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("read source: %w", err)
	}
	set := token.NewFileSet()
	tree, err := parser.ParseFile(set, file, text, 0)
	if err != nil {
		return nil, fmt.Errorf("parse source: %w", err)
	}
	m := &marker{pkg: pkg, text: string(text), first: first, done: map[ast.Expr]bool{},
		at: func(p token.Pos) int { return set.Position(p).Offset }}
	for _, d := range tree.Decls {
		m.function = "(variables)"
		if f, ok := d.(*ast.FuncDecl); ok {
			m.function = functionName(f)
			if f.Body != nil && len(f.Body.List) > 0 { // an empty one only marks its type
				m.enter(f.Body.Lbrace, "the function")
			}
		}
		ast.Inspect(d, m.visit)
	}
	m.function = tree.Name.Name
	return m, nil
}

func functionName(f *ast.FuncDecl) string {
	if f.Recv == nil {
		return f.Name.Name
	}
	of := f.Recv.List[0].Type
	if star, ok := of.(*ast.StarExpr); ok {
		of = star.X
	}
	if generic, ok := of.(*ast.IndexExpr); ok {
		of = generic.X
	}
	return of.(*ast.Ident).Name + "." + f.Name.Name
}

func (m *marker) visit(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.IfStmt:
		m.condition(n.Cond)
	case *ast.ForStmt:
		m.condition(n.Cond)
	case *ast.RangeStmt:
		m.enter(n.Body.Lbrace, "the body of range "+m.source(n.X))
	case *ast.BinaryExpr:
		if n.Op == token.LAND || n.Op == token.LOR {
			m.condition(n)
		}
	case *ast.SwitchStmt:
		m.cases(n.Body, n.Tag == nil, m.optional(n.Tag))
	case *ast.TypeSwitchStmt:
		m.cases(n.Body, false, "type")
	}
	return true
}

func (m *marker) optional(e ast.Expr) string {
	if e == nil {
		return ""
	}
	return m.source(e)
}

// cases marks the conditions of a switch without a tag; of one with a tag, each case
// and, where none stands there, the way past them all.
func (m *marker) cases(body *ast.BlockStmt, plain bool, tag string) {
	way := false
	for _, s := range body.List {
		c := s.(*ast.CaseClause)
		way = way || c.List == nil
		if plain {
			for _, e := range c.List {
				m.condition(e)
			}
			continue
		}
		var of []string
		for _, e := range c.List {
			of = append(of, m.source(e))
		}
		m.enter(c.Colon, strings.TrimSpace("of "+tag+" the case "+strings.Join(of, ", ")))
	}
	if !plain && !way {
		m.add(Point{Text: "of " + tag + " no case", Entered: true})
		m.put(m.at(body.Rbrace), fmt.Sprintf("default: branchSeen(%d, true); ", m.last()), 1)
	}
}

// condition marks the operands of which a condition is made.
func (m *marker) condition(e ast.Expr) {
	if e == nil || m.done[e] {
		return
	}
	m.done[e] = true
	switch x := e.(type) {
	case *ast.ParenExpr:
		m.condition(x.X)
		return
	case *ast.UnaryExpr:
		if x.Op == token.NOT {
			m.condition(x.X)
			return
		}
	case *ast.BinaryExpr:
		if x.Op == token.LAND || x.Op == token.LOR {
			m.condition(x.X)
			m.condition(x.Y)
			return
		}
	}
	m.add(Point{Text: m.source(e)})
	m.put(m.at(e.Pos()), fmt.Sprintf("branchSeen(%d, ", m.last()), 1)
	m.put(m.at(e.End()), ")", 0)
}

// enter marks what begins after a brace or a colon.
func (m *marker) enter(after token.Pos, text string) {
	m.add(Point{Text: text, Entered: true})
	m.put(m.at(after)+1, fmt.Sprintf(" branchSeen(%d, true); ", m.last()), 1)
}

func (m *marker) add(p Point) {
	p.Package, p.Function = m.pkg, m.function
	text := p.Text
	for n := 2; slices.Contains(m.points, p); n++ {
		p.Text = text + " (" + strconv.Itoa(n) + ")"
	}
	m.points = append(m.points, p)
}

func (m *marker) last() int { return m.first + len(m.points) - 1 }

func (m *marker) put(at int, text string, order int) {
	m.marks = append(m.marks, mark{at, text, order})
}

func (m *marker) source(e ast.Expr) string {
	return strings.Join(strings.Fields(m.text[m.at(e.Pos()):m.at(e.End())]), " ")
}

// marked gives the text with its marks.
func (m *marker) marked() string {
	slices.SortStableFunc(m.marks, func(a, b mark) int {
		if a.at != b.at {
			return a.at - b.at
		}
		return a.order - b.order
	})
	var b strings.Builder
	from := 0
	for _, k := range m.marks {
		b.WriteString(m.text[from:k.at])
		b.WriteString(k.text)
		from = k.at
	}
	b.WriteString(m.text[from:])
	return b.String()
}

// recorder gives the file that writes down what is seen.
func recorder(pkg string, first, n int) string {
	return fmt.Sprintf(`package %s

import (
	"fmt"
	"os"
	"sync"
	"sync/atomic"
)

var branches struct {
	seen [%d][2]atomic.Bool
	lock sync.Mutex
	file *os.File
}

func branchSeen[B ~bool](id int, v B) B {
	way := 0
	if v {
		way = 1
	}
	if s := &branches.seen[id-%d][way]; !s.Load() && !s.Swap(true) {
		branchTell(id, bool(v))
	}
	return v
}

func branchTell(id int, v bool) {
	branches.lock.Lock()
	defer branches.lock.Unlock()
	if branches.file == nil {
		f, err := os.OpenFile(os.Getenv(%q), os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
		if err != nil {
			panic(err)
		}
		branches.file = f
	}
	fmt.Fprintf(branches.file, "%%d %%t\n", id, v)
}
`, pkg, n, first, fileVariable)
}

// fileVariable names the environment variable with the file that is written to.
const fileVariable = "RILLGATE_BRANCHES"
