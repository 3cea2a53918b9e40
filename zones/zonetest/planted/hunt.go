package planted

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"rillgate/zones/zonetest/overlay"
)

// Suite is a group of tests of one package.
type Suite struct {
	Name    string
	Package string   // from the module's root
	Run     string   // the tests it holds, a pattern; "" = all
	Skip    []string // top-level tests that it leaves out
	Args    []string
}

func (s Suite) args() []string {
	args := slices.Clone(s.Args)
	if s.Run != "" {
		args = append(args, "-test.run", s.Run)
	}
	if len(s.Skip) > 0 {
		args = append(args, "-test.skip", "^("+strings.Join(s.Skip, "|")+")$")
	}
	return args
}

// suites gives, for a package, the groups of tests that must notice a fault in it:
// the cheapest first.
func suites(pkg string) []Suite {
	whole := Suite{Name: pkg, Package: pkg}
	scenarios := Suite{Name: "scenarios", Package: "zones/zonetest", Run: "^TestScenarios$"}
	switch pkg {
	case "zones":
		return []Suite{whole, scenarios,
			{Name: "zonetest", Package: "zones/zonetest", Skip: []string{"TestCampaign"}},
			{Name: "campaign", Package: "zones/zonetest", Run: "^TestCampaign$", Args: []string{"-campaign.shrink", "0"}}}
	case "schedule":
		return []Suite{whole, scenarios}
	case "store/ledger":
		return []Suite{whole, {Name: "store", Package: "store"}}
	}
	return []Suite{whole}
}

// suites gives those of every package that the fault touches.
func (f *Fault) suites() []Suite {
	var all []Suite
	for _, pkg := range f.packages() {
		all = append(all, suites(pkg)...)
	}
	return all
}

// Find is what became of one fault.
type Find struct {
	Fault *Fault
	Suite string // that noticed; "" = none did
	Test  string
	Ran   time.Duration // of tests until one failed, compiling apart
	Built time.Duration
}

// Caught reports whether a test noticed the fault.
func (f *Find) Caught() bool { return f.Test != "" }

// hunter runs suites over planted sources, within a limit for each fault.
type hunter struct {
	builder overlay.Builder
	limit   time.Duration
	clean   map[string]string // test binaries of the sources as they are, by package
}

func newHunter(root, dir string, limit time.Duration) *hunter {
	return &hunter{builder: overlay.Builder{Root: root, Dir: dir}, limit: limit, clean: map[string]string{}}
}

// planted is one fault being hunted.
type planted struct {
	*hunter
	sources overlay.Sources
	built   map[string]string
	found   *Find
}

// hunt plants a fault and runs its suites until a test notices. The error means that
// the fault itself is wrong: it does not fit or does not compile.
func (h *hunter) hunt(ctx context.Context, f *Fault) (*Find, error) {
	sources, err := f.Plant(h.builder.Root)
	if err != nil {
		return nil, err
	}
	p := &planted{h, sources, map[string]string{}, &Find{Fault: f}}
	for _, s := range f.suites() {
		noticed, err := p.ask(ctx, s)
		if err != nil {
			return nil, fmt.Errorf("hunt %s: suite %s: %w", f.Name, s.Name, err)
		}
		if noticed || p.found.Ran >= h.limit {
			break
		}
	}
	return p.found, nil
}

// ask runs a suite until a test fails that fails again alone, and passes without the
// fault. One that does not is left out and the rest asked again.
func (p *planted) ask(ctx context.Context, s Suite) (noticed bool, err error) {
	binary, err := p.build(ctx, s.Package)
	if err != nil {
		return false, err
	}
	for p.found.Ran < p.limit {
		o, err := p.run(ctx, binary, s, p.limit-p.found.Ran)
		if err != nil {
			return false, err
		}
		p.found.Ran += o.Took
		switch {
		case o.Passed && strings.Contains(o.Output, "no tests to run"):
			return false, fmt.Errorf("it has no tests")
		case o.Passed:
			return false, nil
		case o.Failed == "":
			return false, fmt.Errorf("it ended without naming a test:\n%s", o.Output)
		}
		test := topLevel(o.Failed)
		if sure, err := p.confirm(ctx, binary, s, test); sure || err != nil {
			p.found.Suite, p.found.Test = s.Name, o.Failed
			return sure, err
		}
		s.Skip = append(slices.Clone(s.Skip), test)
	}
	return false, nil
}

// confirm reports whether a test fails again, alone, and passes without the fault.
func (p *planted) confirm(ctx context.Context, binary string, s Suite, test string) (bool, error) {
	s.Run, s.Skip = "^"+test+"$", nil
	again, err := p.run(ctx, binary, s, p.limit)
	if err != nil || again.Passed {
		return false, err
	}
	clean, ok := p.clean[s.Package]
	if !ok {
		if clean, err = p.builder.Build(ctx, s.Package, nil); err != nil {
			return false, err
		}
		p.clean[s.Package] = clean
	}
	without, err := p.run(ctx, clean, s, p.limit)
	return err == nil && without.Passed, err
}

func (p *planted) build(ctx context.Context, pkg string) (string, error) {
	if binary, ok := p.built[pkg]; ok {
		return binary, nil
	}
	began := time.Now()
	binary, err := p.builder.Build(ctx, pkg, p.sources)
	p.built[pkg] = binary
	p.found.Built += time.Since(began)
	return binary, err
}

func (p *planted) run(ctx context.Context, binary string, s Suite, within time.Duration) (*overlay.Outcome, error) {
	ctx, cancel := context.WithTimeout(ctx, within)
	defer cancel()
	return p.builder.Run(ctx, binary, s.Package, nil, s.args()...)
}

// topLevel gives the test of which a failed one is a part.
func topLevel(failed string) string {
	name, _, _ := strings.Cut(failed, " ")
	name, _, _ = strings.Cut(name, "/")
	return name
}
