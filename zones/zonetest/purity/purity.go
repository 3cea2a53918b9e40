// Package purity reads the source of a package and says what in it could make two
// runs on the same input differ, or could reach outside: for the tests of the
// packages that promise to be pure.
//
//	folder -> parsed files -> types, as far as this module gives them -> findings
package purity

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
)

// module is the name that this module's own packages begin with.
const module = "rillgate"

// standard lists what of the standard library computes and does no more. A package
// that is missing here may be added if it reads no clock, file, socket, environment
// or random source, starts nothing and shares nothing.
func standard() []string {
	return []string{
		"bytes", "cmp", "container/heap", "container/list", "crypto/sha256", "encoding", "encoding/binary", "encoding/hex",
		"encoding/json", "errors", "fmt", "hash", "hash/crc32", "hash/crc64", "hash/fnv", "iter", "maps", "math", "math/bits",
		"math/cmplx", "slices", "sort", "strconv", "strings", "time", "unicode", "unicode/utf8",
	}
}

// forbidden gives, by import path, the names of an otherwise pure package that are
// not pure, and why.
func forbidden(importPath, name string) (why string) {
	switch importPath {
	case "time":
		switch name {
		case "Now", "Since", "Until", "Sleep", "After", "Tick", "NewTimer", "NewTicker", "AfterFunc":
			return "it reads a clock; the instant comes in with the event"
		case "Local", "LoadLocation":
			return "it depends on the machine; the zone comes in with the plan"
		}
	case "fmt":
		if strings.HasPrefix(name, "Print") || strings.HasPrefix(name, "Scan") {
			return "it talks to the terminal; effects go out as values"
		}
	}
	return ""
}

// Check reads the files of the package in dir, tests aside, and gives its findings
// as "file:line: what, and why it must not be". Of imports it lets through a set of
// the standard library and those that begin with one of allowed. The error says
// that the package cannot be read, or holds no file.
func Check(dir string, allowed ...string) ([]string, error) {
	root, err := moduleRoot(dir)
	if err != nil {
		return nil, err
	}
	l := &loader{root: root, fset: token.NewFileSet(), packages: map[string]*source{}}
	s, err := l.load(dir)
	if err != nil {
		return nil, err
	}
	return l.inspect(s, allowed), nil
}

func moduleRoot(dir string) (string, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return "", fmt.Errorf("find folder: %w", err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir, nil
		}
		up := filepath.Dir(dir)
		if up == dir {
			return "", fmt.Errorf("find go.mod: none above; run the test inside the module")
		}
		dir = up
	}
}

// A source is one package as read.
type source struct {
	files []*ast.File
	info  *types.Info
	types *types.Package
}

// A loader reads packages of this module. Others are empty to it: what comes from
// them has no type, and a range over it is taken for ordered.
type loader struct {
	root     string
	fset     *token.FileSet
	packages map[string]*source
}

// Import serves the type checker.
func (l *loader) Import(importPath string) (*types.Package, error) {
	if below, ok := strings.CutPrefix(importPath, module+"/"); ok {
		s, err := l.load(filepath.Join(l.root, below))
		if err != nil {
			return nil, err
		}
		return s.types, nil
	}
	empty := types.NewPackage(importPath, path.Base(importPath))
	empty.MarkComplete()
	return empty, nil
}

func (l *loader) load(dir string) (*source, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("find folder: %w", err)
	}
	if s := l.packages[dir]; s != nil {
		return s, nil
	}
	s := &source{info: &types.Info{Types: map[ast.Expr]types.TypeAndValue{}, Uses: map[*ast.Ident]types.Object{}}}
	if s.files, err = l.parse(dir); err != nil {
		return nil, err
	}
	ignore := func(error) {} // what the empty packages leave open
	config := types.Config{Importer: l, Error: ignore}
	s.types, _ = config.Check(dir, l.fset, s.files, s.info)
	l.packages[dir] = s
	return s, nil
}

func (l *loader) parse(dir string) (files []*ast.File, err error) {
	names, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil {
		return nil, fmt.Errorf("list %s: %w", dir, err)
	}
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(l.fset, name, nil, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			return nil, fmt.Errorf("parse: %w", err)
		}
		files = append(files, file)
	}
	if len(files) == 0 {
		return nil, fmt.Errorf("read %s: no Go file in it", dir)
	}
	return files, nil
}

func (l *loader) inspect(s *source, allowed []string) []string {
	in := &inspection{loader: l, source: s}
	for _, file := range s.files {
		in.orders = in.orderLines(file)
		in.imports(file, allowed)
		ast.PreorderStack(file, nil, in.visit)
	}
	slices.Sort(in.found)
	return slices.Compact(in.found)
}
