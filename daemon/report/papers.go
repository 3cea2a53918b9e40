package report

import (
	"encoding/json"
	"fmt"
	"time"

	"rillgate/zones/substrate"
)

// Drain is a drain sample as it is kept with its zone. Volumes are those of the sampled
// plants, mL; conductivities are dS/m at 25 °C.
type Drain struct {
	Zone      string     `json:"zone"`
	At        time.Time  `json:"at"`
	Plants    int        `json:"plants"` // sampled
	DrainML   float64    `json:"drain_ml"`
	AppliedML float64    `json:"applied_ml"`
	Since     *time.Time `json:"applied_since,omitempty"` // nil = a person said what was applied
	In        float64    `json:"ec_in"`
	Out       float64    `json:"ec_out"`
	PH        float64    `json:"ph,omitempty"` // 0 = not measured
	Note      string     `json:"note,omitempty"`
}

// DrainSummary is a drain sample with what it says.
type DrainSummary struct {
	Drain
	Share       float64 `json:"drain_share"`     // of what was applied, 0 to 1: the leaching fraction by volume
	SteadyShare float64 `json:"ec_in_to_ec_out"` // the leaching fraction in balance, above 0; 0 = no drain
	SaltIn      float64 `json:"salt_in"`         // dS/m x L
	SaltOut     float64 `json:"salt_out"`
	SaltKept    float64 `json:"salt_kept"`
}

// Judge says what the sample shows. It fails as substrate.DrainSample.Judge does.
func (d *Drain) Judge() (DrainSummary, error) {
	j, err := substrate.DrainSample{AppliedML: d.AppliedML, DrainML: d.DrainML,
		In: substrate.Conductivity(d.In), Out: substrate.Conductivity(d.Out), PH: d.PH}.Judge()
	return DrainSummary{Drain: *d, Share: j.Share, SteadyShare: j.SteadyShare, SaltIn: j.SaltIn, SaltOut: j.SaltOut, SaltKept: j.SaltKept}, err
}

// Words tell the sample in one line.
func (s *DrainSummary) Words() string {
	text := fmt.Sprintf("%.0f of %.0f mL drained, %.0f %%; EC in %.2f, out %.2f mS/cm", s.DrainML, s.AppliedML, 100*s.Share, s.In, s.Out)
	if s.DrainML == 0 {
		text = fmt.Sprintf("nothing drained of %.0f mL; EC in %.2f mS/cm", s.AppliedML, s.In)
	}
	if s.PH > 0 {
		text += fmt.Sprintf(", pH %.1f", s.PH)
	}
	return text + "; " + s.Balance()
}

// steadyWithin is how near, in drain share, salts count as in balance (chosen here).
const steadyWithin = 0.02

// Balance says what becomes of the salts.
func (s *DrainSummary) Balance() string {
	kept := fmt.Sprintf("%.2f of %.2f dS/m x L of salt stayed or was taken up", s.SaltKept, s.SaltIn)
	switch {
	case s.SaltKept < 0:
		return fmt.Sprintf("%.2f dS/m x L more salt left than came: the substrate is being washed out", -s.SaltKept)
	case s.SteadyShare == 0:
		return kept + ": all of it, for nothing drained"
	case s.Share < s.SteadyShare-steadyWithin:
		return kept + "; more than a salt that no plant takes up would leave in balance"
	}
	return kept
}

// ReadDrain reads a kept sample, of a time.
func ReadDrain(body json.RawMessage, at time.Time) (d Drain, err error) {
	if err := json.Unmarshal(body, &d); err != nil {
		return d, fmt.Errorf("read a drain sample: %w", err)
	}
	d.At = at
	return d, nil
}

// Catch is a catch test as it is kept with its zone: one volume an emitter, all over one
// time.
type Catch struct {
	Zone    string    `json:"zone"`
	At      time.Time `json:"at"`
	Volumes []float64 `json:"volumes"`
	Unit    string    `json:"unit"`
	Note    string    `json:"note,omitempty"`
}

// CatchSummary is what a catch test says; shares are percent.
type CatchSummary struct {
	At           time.Time `json:"at"`
	N            int       `json:"emitters"`
	Mean         float64   `json:"mean"`
	Unit         string    `json:"unit"`
	Christiansen float64   `json:"christiansen"`
	LowQuarter   float64   `json:"low_quarter"`
	Statistical  float64   `json:"statistical"`
	RunTime      *float64  `json:"run_time_factor"`            // nil = the lowest quarter gets nothing
	DriestML     *float64  `json:"low_quarter_ml,omitempty"`   // mL a plant of the day, if it was given as the test shows
	FewEmitters  bool      `json:"too_few_emitters,omitempty"` // fewer than substrate.EnoughCatches
}

// Judge says what the test shows. It fails as substrate.UniformityOf does.
func (c *Catch) Judge() (CatchSummary, error) {
	u, err := substrate.UniformityOf(c.Volumes)
	if err != nil {
		return CatchSummary{}, err
	}
	s := CatchSummary{At: c.At, N: u.N, Mean: u.Mean, Unit: c.Unit, Christiansen: u.Christiansen, LowQuarter: u.LowQuarter,
		Statistical: u.Statistical, FewEmitters: u.N < substrate.EnoughCatches}
	if f, ok := u.RunTimeFactor(); ok {
		s.RunTime = &f
	}
	return s, nil
}

// Words tell the test in one line.
func (s *CatchSummary) Words() string {
	text := fmt.Sprintf("low quarter %.0f %%, Christiansen %.0f %%, statistical %.0f %% of %d emitters", s.LowQuarter, s.Christiansen, s.Statistical, s.N)
	if s.RunTime == nil {
		return text + "; the lowest quarter gets nothing"
	}
	return text + fmt.Sprintf("; run time x %.2f for the lowest quarter", *s.RunTime)
}

// ReadCatch reads a kept test, of a time.
func ReadCatch(body json.RawMessage, at time.Time) (c Catch, err error) {
	if err := json.Unmarshal(body, &c); err != nil {
		return c, fmt.Errorf("read a catch test: %w", err)
	}
	c.At = at
	return c, nil
}

// papers fills in the day's drain samples and the zone's catch test. One that cannot be
// judged is left out: nothing can be said of it.
func (b *bed) papers(z *ZoneDay) {
	z.Drains = []DrainSummary{}
	for i := range b.in.Drains {
		d := &b.in.Drains[i]
		if d.Zone != b.zone.ID || !b.day.holds(d.At) {
			continue
		}
		if s, err := d.Judge(); err == nil {
			z.Drains = append(z.Drains, s)
		}
	}
	for i := range b.in.Catches {
		c := &b.in.Catches[i]
		if c.Zone != b.zone.ID {
			continue
		}
		if s, err := c.Judge(); err == nil {
			z.Uniformity = &s
			if z.MLPlant != nil && *z.MLPlant > 0 {
				s.DriestML = ptr(*z.MLPlant * s.LowQuarter / 100)
			}
		}
	}
}
