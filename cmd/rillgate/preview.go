package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"rillgate/configs"
	"rillgate/daemon"
	"rillgate/daemon/operator"
	"rillgate/daemon/preview"
	"rillgate/store"
	"rillgate/zones"
	"rillgate/zones/response"
)

// previewOptions are the flags of preview.
type previewOptions struct {
	days   int
	from   string
	out    string
	asJSON bool
}

func newPreview(f *flags) *cobra.Command {
	o := previewOptions{}
	cmd := &cobra.Command{
		Use:   "preview [--days 2] [--from 2027-03-01] [--out FILE.svg or .html] [--json]",
		Short: "Show what the schedule would do, in a simulated room",
		Long: "Run the files' schedule on a simulated room, from now on, and show the moisture, the shots and what is refused.\n" +
			"Each bed answers to water as its zone has taught the running daemon (or as its store remembers); what nobody\n" +
			"has taught is assumed, and the table says so. Nothing is commanded and no file but --out is written.",
		Args: cobra.NoArgs,
		RunE: job(func(cmd *cobra.Command, _ []string) error { return o.run(cmd, f) }),
	}
	cmd.Flags().IntVar(&o.days, "days", 2, fmt.Sprintf("how many days, 1 to %d", preview.MostDays))
	cmd.Flags().StringVar(&o.from, "from", "", "begin on this `DATE` of the room, or at this time (default: now)")
	cmd.Flags().StringVar(&o.out, "out", "", "draw it as a `FILE`.html or FILE.svg, too")
	jsonFlag(cmd, &o.asJSON)
	return cmd
}

func (o *previewOptions) run(cmd *cobra.Command, f *flags) error {
	if o.days < 1 || o.days > preview.MostDays {
		return misuse("--days %d is not within 1 to %d", o.days, preview.MostDays)
	}
	if o.out != "" && !drawn(o.out) {
		return misuse("--out takes a file that ends in .html or .svg, not %s", o.out)
	}
	loaded, problems := configs.Load(f.config)
	if loaded == nil {
		_ = configs.Print(cmd.ErrOrStderr(), problems)
		return rejected(f, problems)
	}
	do, err := o.simulation(cmd, f, loaded.Plan)
	if err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(cmd.Context(), syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	r, err := preview.Run(ctx, loaded.Plan, do)
	if err != nil {
		return err
	}
	if o.out != "" {
		if err := writePreview(o.out, r); err != nil {
			return err
		}
	}
	if o.asJSON {
		return printJSON(cmd, r)
	}
	return r.Table(cmd.OutOrStdout())
}

// simulation settles from when on, and from what is known of the zones.
func (o *previewOptions) simulation(cmd *cobra.Command, f *flags, plan *zones.Plan) (preview.Options, error) {
	known := f.lessons(cmd, plan)
	do := preview.Options{From: time.Now().Truncate(time.Minute), Days: o.days, Learned: known.learned, Level: known.level, Standing: known.standing, Assigned: known.assigned, Taught: daemon.TaughtOf}
	if o.from != "" {
		from, err := instantIn(o.from, plan.Calendar.Location)
		if err != nil {
			return do, err
		}
		do.From, do.Level, do.Standing = from, nil, nil // how it is now says little of another day
	}
	return do, nil
}

// instantIn reads a date, or a time of RFC 3339; a date begins at midnight of the
// place.
func instantIn(s string, place *time.Location) (time.Time, error) {
	if place == nil {
		place = time.UTC
	}
	if t, err := time.ParseInLocation(time.DateOnly, s, place); err == nil {
		return t, nil
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return t, misuse("--from %q is no date: write it like 2027-03-01, or 2027-03-01T06:00:00Z", s)
	}
	return t, nil
}

// lessons is what is known of the zones: what they have taught, and how they are now.
type lessons struct {
	learned  map[string]response.Learned
	level    map[string]float64
	standing []string
	assigned []zones.Probe // by a person, not in the files of the plan in force
}

// lessons asks the running daemon, and where none runs, its store. Where there is
// neither nothing is known; what cannot be read is told, and is no obstacle.
func (f *flags) lessons(cmd *cobra.Command, plan *zones.Plan) lessons {
	v, err := f.viewNow(cmd.Context())
	if err == nil {
		if v.Plan != plan.Hash {
			fmt.Fprintf(cmd.ErrOrStderr(), "the files are not the plan in force: what the zones have taught is of plan %s\n", v.Plan)
		}
		return fromView(v, plan)
	}
	dir, dirErr := f.stateDir()
	if dirErr != nil || !errors.Is(err, operator.ErrNotRunning) {
		fmt.Fprintln(cmd.ErrOrStderr(), "what the zones have taught is not known:", err)
		return lessons{}
	}
	learned, err := fromFile(storePath(dir), plan)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		fmt.Fprintf(cmd.ErrOrStderr(), "no daemon runs and there is no store in %s: the zones have taught nothing, all is assumed\n", dir)
	case err != nil:
		fmt.Fprintln(cmd.ErrOrStderr(), "what the zones have taught is not known:", err)
	default:
		fmt.Fprintln(cmd.ErrOrStderr(), "no daemon runs: what the zones have taught is from its store, their moisture now is not known")
	}
	return lessons{learned: learned}
}

func fromFile(path string, plan *zones.Plan) (map[string]response.Learned, error) {
	if _, err := os.Stat(path); err != nil {
		return nil, err
	}
	s, err := store.OpenReadOnly(path)
	if err != nil {
		return nil, err
	}
	defer s.Close()
	return daemon.LearnedIn(s, plan)
}

// fromView takes what a running daemon shows of the zones that the plan has too.
func fromView(v *zones.View, plan *zones.Plan) lessons {
	known := lessons{learned: map[string]response.Learned{}, level: map[string]float64{}}
	if v.Room != plan.Room {
		return known
	}
	known.standing = standingNow(v)
	for i := range v.Probes {
		if p := &v.Probes[i]; !p.InFiles && p.Zone != "" {
			known.assigned = append(known.assigned, zones.Probe{ID: p.ID, Place: p.Place, Zone: p.Zone, Label: p.Label})
		}
	}
	for i := range v.Zones {
		z := &v.Zones[i]
		if z.Learned != nil {
			known.learned[z.ID] = *z.Learned
		}
		if z.Moisture != nil {
			known.level[z.ID] = *z.Moisture
		}
	}
	return known
}

// standingNow says what keeps water back in the room and not in a preview.
func standingNow(v *zones.View) (lines []string) {
	const not = ": the preview is as if it did not stand"
	for _, s := range v.Standing {
		lines = append(lines, fmt.Sprintf("the room has %s now%s", s.Code, not))
	}
	for i := range v.Supplies {
		for _, l := range v.Supplies[i].Latches {
			lines = append(lines, fmt.Sprintf("supply %s is latched by %s now%s", v.Supplies[i].ID, l.Code, not))
		}
	}
	for i := range v.Zones {
		z := &v.Zones[i]
		for _, l := range z.Latches {
			lines = append(lines, fmt.Sprintf("%s is latched by %s now%s", z.ID, l.Code, not))
		}
		if z.HoldUntil != nil {
			lines = append(lines, fmt.Sprintf("%s is held until %s%s", z.ID, z.HoldUntil.Local().Format(time.DateTime), not))
		}
	}
	return lines
}

func drawn(path string) bool {
	switch strings.ToLower(filepath.Ext(path)) {
	case ".html", ".htm", ".svg":
		return true
	}
	return false
}

// writePreview writes the file that --out names.
func writePreview(path string, r *preview.Result) error {
	var text bytes.Buffer
	draw := r.HTML
	if strings.EqualFold(filepath.Ext(path), ".svg") {
		draw = r.SVG
	}
	if err := draw(&text); err != nil {
		return err
	}
	if err := os.WriteFile(path, text.Bytes(), 0o644); err != nil {
		return failed(fmt.Errorf("write the preview: %w", err), "name a file in a directory that exists and that you may write to")
	}
	return nil
}
