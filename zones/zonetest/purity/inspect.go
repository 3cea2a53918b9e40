package purity

import (
	"fmt"
	"go/ast"
	"go/token"
	"go/types"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// An inspection collects what one package must not have.
type inspection struct {
	*loader
	*source
	orders map[int]bool // lines of the file that carry an order comment
	found  []string
}

func (in *inspection) report(at token.Pos, format string, args ...any) {
	p := in.fset.Position(at)
	in.found = append(in.found, fmt.Sprintf("%s:%d: %s", filepath.Base(p.Filename), p.Line, fmt.Sprintf(format, args...)))
}

func (in *inspection) imports(file *ast.File, allowed []string) {
	for _, spec := range file.Imports {
		importPath, err := strconv.Unquote(spec.Path.Value)
		if err != nil || !permitted(importPath, allowed) {
			in.report(spec.Pos(), "imports %s: not among what this package may use; keep clocks, I/O and shared state in the shell", spec.Path.Value)
		}
		if spec.Name != nil && spec.Name.Name == "." {
			in.report(spec.Pos(), "imports %s into its own names: what it uses of it cannot be seen", spec.Path.Value)
		}
	}
}

// testsOnly is where what serves tests lives; it may do what pure packages must not.
const testsOnly = module + "/zones/zonetest"

func permitted(importPath string, allowed []string) bool {
	if importPath == testsOnly || strings.HasPrefix(importPath, testsOnly+"/") {
		return false
	}
	return slices.Contains(standard(), importPath) || slices.ContainsFunc(allowed, func(a string) bool {
		return importPath == a || strings.HasPrefix(importPath, a+"/")
	})
}

// visit looks at one node; stack holds those around it, outermost first.
func (in *inspection) visit(n ast.Node, stack []ast.Node) bool {
	switch n := n.(type) {
	case *ast.GoStmt:
		in.report(n.Pos(), "starts a goroutine: the order of events must be data")
	case *ast.ChanType:
		in.report(n.Pos(), "has a channel: the order of events must be data")
	case *ast.SelectStmt:
		in.report(n.Pos(), "selects: which case is taken is left to chance")
	case *ast.FuncDecl:
		if n.Recv == nil && n.Name.Name == "init" {
			in.report(n.Pos(), "has init: a package holds no state")
		}
	case *ast.RangeStmt:
		in.ranges(n)
	case *ast.SelectorExpr:
		in.selector(n, stack)
	case *ast.CallExpr:
		in.prints(n)
	}
	return true
}

// ranges: the order in which a map is visited differs from run to run.
func (in *inspection) ranges(n *ast.RangeStmt) {
	t := in.info.TypeOf(n.X)
	if t == nil {
		return
	}
	if _, ok := t.Underlying().(*types.Map); ok && !in.ordered(n.Pos()) {
		in.report(n.Pos(), "visits a map in no fixed order: sort its keys, or say why it does not matter in a comment \"// order: ...\" on this line or the one above")
	}
}

// selector judges pkg.Name.
func (in *inspection) selector(n *ast.SelectorExpr, stack []ast.Node) {
	id, ok := n.X.(*ast.Ident)
	if !ok {
		return
	}
	name, ok := in.info.Uses[id].(*types.PkgName)
	if !ok {
		return
	}
	importPath := name.Imported().Path()
	if why := forbidden(importPath, n.Sel.Name); why != "" {
		in.report(n.Pos(), "uses %s.%s: %s", importPath, n.Sel.Name, why)
	}
	unordered := importPath == "maps" && slices.Contains([]string{"All", "Keys", "Values"}, n.Sel.Name)
	if unordered && !in.sorted(stack) && !in.ordered(n.Pos()) {
		in.report(n.Pos(), "uses maps.%s, which keeps no order: put it into slices.Sorted, or say why it does not matter in a comment \"// order: ...\" on this line or the one above", n.Sel.Name)
	}
}

// sorted reports whether the call around a selector is itself within slices.Sorted.
func (in *inspection) sorted(stack []ast.Node) bool {
	if len(stack) < 2 {
		return false
	}
	outer, ok := stack[len(stack)-2].(*ast.CallExpr)
	if !ok {
		return false
	}
	fun, ok := outer.Fun.(*ast.SelectorExpr)
	if !ok {
		return false
	}
	id, ok := fun.X.(*ast.Ident)
	return ok && id.Name == "slices" && strings.HasPrefix(fun.Sel.Name, "Sorted")
}

// prints: the built-in print and println write to standard error.
func (in *inspection) prints(n *ast.CallExpr) {
	id, ok := n.Fun.(*ast.Ident)
	if !ok {
		return
	}
	if b, ok := in.info.Uses[id].(*types.Builtin); ok && strings.HasPrefix(b.Name(), "print") {
		in.report(n.Pos(), "uses %s: effects go out as values", b.Name())
	}
}

func (in *inspection) orderLines(file *ast.File) map[int]bool {
	lines := map[int]bool{}
	for _, group := range file.Comments {
		for _, c := range group.List {
			if strings.HasPrefix(c.Text, "// order: ") {
				lines[in.fset.Position(c.Pos()).Line] = true
			}
		}
	}
	return lines
}

func (in *inspection) ordered(at token.Pos) bool {
	line := in.fset.Position(at).Line
	return in.orders[line] || in.orders[line-1]
}
