package planted

import (
	"context"
	"fmt"
	"strings"
	"time"

	"rillgate/zones/zonetest/overlay"
)

// Suite is a group of tests of one package.
type Suite struct {
	Name    string
	Package string // from the module's root
	Args    []string
}

const campaignTests = "^TestCampaign$"

// suites gives, for a package, the groups of tests that must notice a fault in it:
// the cheapest first.
func suites(pkg string) []Suite {
	whole := Suite{Name: pkg, Package: pkg}
	scenarios := Suite{Name: "scenarios", Package: "zones/zonetest", Args: []string{"-test.run", "^TestScenarios$"}}
	switch pkg {
	case "zones":
		return []Suite{whole, scenarios,
			{Name: "zonetest", Package: "zones/zonetest", Args: []string{"-test.skip", campaignTests}},
			{Name: "campaign", Package: "zones/zonetest", Args: []string{"-test.run", campaignTests, "-campaign.shrink", "0"}}}
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
	Fault  *Fault
	Suite  string // that noticed; "" = none did
	Test   string
	Ran    time.Duration // of tests, compiling apart
	Built  time.Duration
	Output string // of the last suite
}

// Caught reports whether a test noticed the fault.
func (f *Find) Caught() bool { return f.Test != "" }

// hunter runs suites over planted sources, within a limit for each fault.
type hunter struct {
	builder overlay.Builder
	limit   time.Duration
	sound   map[string]time.Duration // suites that pass without a fault, and how long they take
}

func newHunter(root, dir string, limit time.Duration) *hunter {
	return &hunter{builder: overlay.Builder{Root: root, Dir: dir}, limit: limit, sound: map[string]time.Duration{}}
}

// hunt plants a fault and runs its suites until one fails. The error means that the
// fault itself is wrong: it does not fit or does not compile.
func (h *hunter) hunt(ctx context.Context, f *Fault) (*Find, error) {
	sources, err := f.Plant(h.builder.Root)
	if err != nil {
		return nil, err
	}
	found := &Find{Fault: f}
	built := map[string]string{}
	for _, s := range f.suites() {
		if found.Ran >= h.limit {
			break
		}
		o, err := h.run(ctx, s, sources, built, found)
		if err != nil {
			return nil, fmt.Errorf("hunt %s: %w", f.Name, err)
		}
		if o.Passed {
			continue
		}
		if o.Failed == "" {
			return nil, fmt.Errorf("hunt %s: suite %s ended without naming a test:\n%s", f.Name, s.Name, o.Output)
		}
		if err := h.prove(ctx, s); err != nil {
			return nil, fmt.Errorf("hunt %s: %w", f.Name, err)
		}
		found.Suite, found.Test = s.Name, o.Failed
		break
	}
	return found, nil
}

func (h *hunter) run(ctx context.Context, s Suite, sources overlay.Sources, built map[string]string, found *Find) (*overlay.Outcome, error) {
	binary, ok := built[s.Package]
	if !ok {
		began := time.Now()
		var err error
		if binary, err = h.builder.Build(ctx, s.Package, sources); err != nil {
			return nil, err
		}
		built[s.Package] = binary
		found.Built += time.Since(began)
	}
	ctx, cancel := context.WithTimeout(ctx, h.limit-found.Ran)
	defer cancel()
	o, err := h.builder.Run(ctx, binary, s.Package, nil, s.Args...)
	if err != nil {
		return nil, err
	}
	found.Ran += o.Took
	found.Output = o.Output
	if o.Passed && strings.Contains(o.Output, "no tests to run") {
		return nil, fmt.Errorf("suite %s has no tests", s.Name)
	}
	return o, nil
}

// prove sees to it that a suite passes on the sources as they are: one that fails
// anyway notices nothing.
func (h *hunter) prove(ctx context.Context, s Suite) error {
	if _, ok := h.sound[s.Name]; ok {
		return nil
	}
	o, err := h.run(ctx, s, nil, map[string]string{}, &Find{})
	if err != nil {
		return err
	}
	if !o.Passed {
		return fmt.Errorf("suite %s fails without any fault, in %s:\n%s", s.Name, o.Failed, o.Output)
	}
	h.sound[s.Name] = o.Took
	return nil
}
