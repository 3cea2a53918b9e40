package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	days "rillgate/daemon/report"
	"rillgate/zones/substrate"
)

// drainFlags are what `drain` is told.
type drainFlags struct {
	volume, ec, feed, note string
	applied                volumeFlag
	since                  durationFlag
	ph                     float64
	plants                 int
	asJSON                 bool
}

// appliedWithin is how far back the water counts that a sample is held against.
const appliedWithin = 24 * time.Hour

// stillDrains is how long after a shot drain may still come (chosen here).
const stillDrains = 15 * time.Minute

func newDrain(f *flags) *cobra.Command {
	var d drainFlags
	cmd := &cobra.Command{
		Use:   "drain ZONE --volume VOLUME --ec CONDUCTIVITY",
		Short: "Enter a collected drain sample: drain share, leaching fraction, salt balance",
		Long: "Collect what drains from some plants, measure its volume and EC, and enter both. The sample is kept with the zone and shown\n" +
			"by `report` and `why`. What the plants were given is reckoned from the runs since the last sample, 24 h at most; the feed's\n" +
			"EC is that of the last sample. A conductivity needs its unit: \"3.1 mS/cm\".",
		Example: "  rillgate drain east --volume 1.2L --ec \"3.1 mS/cm\" --ph 5.9 --plants 4 --feed-ec \"2.0 mS/cm\"",
		Args:    cobra.ExactArgs(1),
		RunE:    job(func(cmd *cobra.Command, args []string) error { return enterDrain(cmd, f, args[0], &d) }),
	}
	cmd.Flags().StringVar(&d.volume, "volume", "", "drained from all sampled plants together: `VOLUME` (0 = nothing drained)")
	cmd.Flags().StringVar(&d.ec, "ec", "", "of the drain, at 25 °C: `CONDUCTIVITY`")
	cmd.Flags().StringVar(&d.feed, "feed-ec", "", "of what was given, at 25 °C: `CONDUCTIVITY` (default: that of the last sample)")
	cmd.Flags().Float64Var(&d.ph, "ph", 0, "of the drain")
	cmd.Flags().IntVar(&d.plants, "plants", 1, "how many plants were sampled")
	cmd.Flags().Var(&d.applied, "applied", "given to the sampled plants together")
	cmd.Flags().Var(&d.since, "since", "count what was given since so long ago")
	cmd.Flags().StringVar(&d.note, "note", "", "for the journal: `TEXT`")
	jsonFlag(cmd, &d.asJSON)
	_ = cmd.MarkFlagRequired("volume")
	cmd.MarkFlagsMutuallyExclusive("applied", "since")
	return cmd
}

func enterDrain(cmd *cobra.Command, f *flags, zone string, d *drainFlags) error {
	sample := days.Drain{Zone: zone, Plants: d.plants, PH: d.ph, Note: d.note}
	if err := d.measured(cmd, &sample); err != nil {
		return err
	}
	var err error
	if sample.At, err = timeOfZone(cmd, f, zone); err != nil {
		return err
	}
	last, err := lastDrain(cmd, f, zone)
	if err != nil {
		return err
	}
	if sample.In, err = d.feedEC(last); err != nil {
		return err
	}
	warning, err := d.given(cmd, f, &sample, last)
	if err != nil {
		return err
	}
	s, err := sample.Judge()
	if err != nil {
		return failed(err, "check --volume, --plants and --applied: all must be of the same plants and the same shots")
	}
	key := zone + "/" + sample.At.UTC().Format("2006-01-02T15:04:05.000Z07:00")
	p := operator.Paper{Kind: operator.PaperDrain, Key: key, Zone: zone, Because: "drain: " + s.Words()}
	if err := f.keep(cmd, p, &sample, d.note); err != nil {
		return err
	}
	return showDrain(cmd, &s, warning, d.asJSON)
}

// measured reads what was measured of the drain.
func (d *drainFlags) measured(cmd *cobra.Command, s *days.Drain) error {
	if d.plants < 1 {
		return misuse("--plants %d: one plant at least", d.plants)
	}
	if cmd.Flags().Changed("ph") && !(d.ph > 0 && d.ph <= 14) {
		return misuse("--ph %g: above 0 to 14 is due", d.ph)
	}
	if strings.TrimRight(strings.ReplaceAll(d.volume, " ", ""), "mL") != "0" {
		var v volumeFlag
		if err := v.Set(d.volume); err != nil {
			return misuse("--volume: %v", err)
		}
		s.DrainML = float64(v)
	}
	if d.ec == "" && s.DrainML > 0 {
		return misuse("the drain's conductivity is due: --ec \"3.1 mS/cm\"")
	}
	if d.ec != "" {
		ec, err := substrate.ParseConductivity(d.ec)
		if err != nil {
			return misuse("--ec: %v", err)
		}
		s.Out = float64(ec)
	}
	return nil
}

// feedEC gives the conductivity of what was given, dS/m.
func (d *drainFlags) feedEC(last *days.Drain) (float64, error) {
	if d.feed != "" {
		ec, err := substrate.ParseConductivity(d.feed)
		if err != nil {
			return 0, misuse("--feed-ec: %v", err)
		}
		return float64(ec), nil
	}
	if last == nil {
		return 0, misuse("the feed's conductivity is due with a zone's first sample: --feed-ec \"2.0 mS/cm\"")
	}
	return last.In, nil
}

// lastDrain gives the zone's newest sample; nil = none.
func lastDrain(cmd *cobra.Command, f *flags, zone string) (last *days.Drain, err error) {
	err = f.ask(cmd.Context(), operator.Request{Kind: operator.AskPapers, Subject: operator.PaperDrain}, func(r operator.Reply) error {
		for i := range r.Papers {
			d, err := days.ReadDrain(r.Papers[i].Body, r.Papers[i].At)
			if err == nil && d.Zone == zone && (last == nil || d.At.After(last.At)) {
				last = &d
			}
		}
		return nil
	})
	return last, err
}

// given puts in what the sampled plants were given, and warns of a run whose drain may
// still come.
func (d *drainFlags) given(cmd *cobra.Command, f *flags, s *days.Drain, last *days.Drain) (warning string, err error) {
	since := s.At.Add(-appliedWithin)
	if last != nil && last.At.After(since) {
		since = last.At
	}
	if d.since > 0 {
		since = s.At.Add(-time.Duration(d.since))
	}
	back := int(s.At.Sub(since).Hours()/24) + 2
	ask := &days.Ask{Day: s.At.AddDate(0, 0, -back+1).Format(time.DateOnly), Days: back + 1, Zone: s.Zone}
	if back > 30 {
		return "", misuse("--since: 28 days at most")
	}
	err = f.ask(cmd.Context(), operator.Request{Kind: operator.AskReport, Report: ask}, func(r operator.Reply) error {
		if r.Report == nil {
			return errors.New("read the answer: there is no report in the reply")
		}
		litres, plants, end := givenSince(r.Report, since)
		if s.At.Sub(end) < stillDrains {
			warning = "the last shot was less than 15 min ago: more may drain"
		}
		if d.applied > 0 {
			s.AppliedML = float64(d.applied)
			return nil
		}
		s.Since, s.AppliedML = &since, 1000*litres*float64(s.Plants)/float64(max(plants, 1))
		if s.AppliedML == 0 || plants == 0 {
			return failed(fmt.Errorf("reckon what was given: no run since %s gave zone %s a known volume", since.Local().Format("2006-01-02 15:04"), s.Zone),
				"say what the sampled plants were given: --applied 1.5L")
		}
		return nil
	})
	return warning, err
}

// givenSince sums the litres of the runs that opened after an instant; end is the last
// one's.
func givenSince(r *days.Report, since time.Time) (litres float64, plants int, end time.Time) {
	for i := range r.Days {
		for k := range r.Days[i].Zones {
			z := &r.Days[i].Zones[k]
			plants = z.Plants
			for _, run := range z.Runs {
				if !run.Opened.After(since) {
					continue
				}
				litres += run.Litres
				if end = run.Opened; run.Closed != nil {
					end = *run.Closed
				}
			}
		}
	}
	return litres, plants, end
}

func showDrain(cmd *cobra.Command, s *days.DrainSummary, warning string, asJSON bool) error {
	if asJSON {
		return printJSON(cmd, s)
	}
	out := cmd.OutOrStdout()
	from := "as you say"
	if s.Since != nil {
		from = "by the runs since " + s.Since.Local().Format("2006-01-02 15:04")
	}
	plants := "1 plant"
	if s.Plants > 1 {
		plants = fmt.Sprintf("%d plants", s.Plants)
	}
	fmt.Fprintf(out, "zone %s, %s: %.0f mL given (%s), %.0f mL drained\n", s.Zone, plants, s.AppliedML, from, s.DrainML)
	fmt.Fprintf(out, "drain share:       %.1f %%, the leaching fraction by volume\n", 100*s.Share)
	if s.SteadyShare > 0 {
		fmt.Fprintf(out, "EC in / EC out:    %.1f %%, the leaching fraction of a salt in balance that no plant takes up\n", 100*s.SteadyShare)
	}
	fmt.Fprintf(out, "salts:             %.2f dS/m x L in, %.2f out: %s\n", s.SaltIn, s.SaltOut, s.Balance())
	if warning != "" {
		fmt.Fprintf(out, "note: %s\n", warning)
	}
	return nil
}
