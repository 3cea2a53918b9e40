package daemon

import (
	"context"
	"time"

	"rillgate/configs"
	"rillgate/daemon/operator"
	"rillgate/store"
	"rillgate/zones"
	lives "rillgate/zones/register"
)

// freshWithin is the age up to which a reading goes into history.
const freshWithin = 2 * time.Minute

// boltShelf saves batches in the store.
type boltShelf struct {
	files *stores
	keep  func() time.Duration // how long history is kept
}

// shelf is nil without a store.
func (d *Daemon) shelf() shelf {
	if d.files.store == nil {
		return nil
	}
	return &boltShelf{files: &d.files, keep: d.historyKept}
}

func (b *boltShelf) save(batch *batch) error {
	w := store.Batch{Journal: stored(batch.lines), History: samples(batch.views), Probes: batch.probes, Papers: batch.papers}
	if batch.mirror && b.files.open != nil {
		w.Mirror = b.files.open.Memory() // of what is durable: a mirror must never be ahead
	}
	if err := b.files.store.Write(w); err != nil {
		return err
	}
	if err := b.silence(batch); err != nil || !batch.thin {
		return err
	}
	_, err := b.files.store.Thin(batch.at, b.keep())
	return err
}

// silence keeps which alarms are acknowledged. It is rare, so each may have a commit of
// its own.
func (b *boltShelf) silence(batch *batch) error {
	for i := range batch.silenced {
		if err := b.files.store.Acknowledge(batch.silenced[i]); err != nil {
			return err
		}
	}
	for _, name := range batch.forgotten {
		if err := b.files.store.ForgetAlarm(name.code, name.subject); err != nil {
			return err
		}
	}
	return nil
}

// defaultKeep stands while no gateway.yaml says another.
const defaultKeep = 90 * 24 * time.Hour

func (d *Daemon) historyKept() time.Duration {
	if s := d.shown.Load(); s != nil && s.loaded != nil {
		return s.loaded.Gateway.History.Keep
	}
	return defaultKeep
}

func stored(lines []operator.Line) []store.JournalEntry {
	out := make([]store.JournalEntry, len(lines))
	for i := range lines {
		out[i] = store.JournalEntry(lines[i])
	}
	return out
}

func linesOf(entries []store.JournalEntry) []operator.Line {
	out := make([]operator.Line, len(entries))
	for i := range entries {
		out[i] = operator.Line(entries[i])
	}
	return out
}

// samples turns minutely looks into series.
func samples(views []zones.View) []store.Sample {
	var s sampler
	for i := range views {
		v := &views[i]
		for k := range v.Zones {
			z := &v.Zones[k]
			s.add(v.Wall, store.ZoneMoisture, z.ID, z.Moisture)
			s.add(v.Wall, store.ZoneTemperature, z.ID, z.Temperature)
			s.add(v.Wall, store.ZoneHalfWidth, z.ID, z.HalfWidth)
			s.add(v.Wall, store.ZonePoreEC, z.ID, z.PoreEC)
		}
		for k := range v.Probes {
			p := &v.Probes[k]
			if p.AgeSeconds == nil || time.Duration(*p.AgeSeconds)*time.Second > freshWithin {
				continue
			}
			s.add(v.Wall, store.ProbeMoisture, p.ID, p.Moisture)
			s.add(v.Wall, store.ProbeEC, p.ID, p.EC)
			s.add(v.Wall, store.ProbeTemperature, p.ID, p.Temperature)
		}
	}
	return s.all
}

// sampler gathers points by series, in order of first sight.
type sampler struct {
	all   []store.Sample
	index map[seriesOf]int
}

type seriesOf struct {
	kind store.Kind
	id   string
}

func (s *sampler) add(at time.Time, kind store.Kind, id string, v *float64) {
	if v == nil {
		return
	}
	if s.index == nil {
		s.index = map[seriesOf]int{}
	}
	key := seriesOf{kind, id}
	i, ok := s.index[key]
	if !ok {
		i = len(s.all)
		s.index[key] = i
		s.all = append(s.all, store.Sample{Kind: kind, ID: id})
	}
	s.all[i].Points = append(s.all[i].Points, store.Point{At: at, Value: int32(*v * 1000)})
}

// Recent gives lines of the journal: the newest n, or with from the first n whose
// number is at least that. What is no more in memory comes from the store.
func (d *Daemon) Recent(_ context.Context, from uint64, n int) ([]operator.Line, error) {
	lines := d.trail.recent(from, n)
	if from == 0 || d.files.store == nil || len(lines) > 0 && lines[0].Seq == from {
		return lines, nil
	}
	old, err := d.files.store.Journal(from, n)
	if err != nil {
		return nil, err
	}
	if len(old) > 0 {
		lines = d.trail.recent(old[len(old)-1].Seq+1, n-len(old))
	}
	return append(linesOf(old), lines...), nil
}

// remember brings back what page and journal show of the time before.
func (d *Daemon) remember() {
	s := d.files.store
	if s == nil {
		d.trail = newTrail(0, nil)
		d.register.book = lives.New(nil)
		d.silenced.remember(nil, d.now.Mono)
		return
	}
	d.register.load(s)
	acknowledged, err := s.Acknowledged()
	if err != nil {
		d.o.Log.Warn("read the acknowledged alarms", "error", err)
	}
	d.silenced.remember(acknowledged, d.now.Mono)
	lines, err := s.JournalTail(trailKept, nil)
	d.trail = newTrail(s.NextSeq()-1, linesOf(lines))
	if err != nil {
		d.o.Log.Warn("read the journal", "error", err)
	}
}

// redraw brings back the zones' lines of the last day, for the page.
func (d *Daemon) redraw(plan *zones.Plan) {
	s, to := d.files.store, d.now.Wall
	if s == nil {
		return
	}
	from := to.Add(-recentSpan)
	for i := range plan.Zones {
		id := plan.Zones[i].ID
		points, _ := s.History(store.ZoneMoisture, id, from, to) // a line on the page; the next minutes draw it again
		for _, p := range pointsOf(points) {
			d.recent.point(id, p)
		}
	}
	runs, _ := s.Runs(from, to)
	for i := range runs {
		d.recent.run(runs[i].Zone, shotOf(&runs[i], false))
	}
}

// lastGood gives the plan that was in force last; nil when there is none that this
// program accepts.
func (d *Daemon) lastGood() *configs.Loaded {
	if d.files.store == nil {
		return nil
	}
	p, err := d.files.store.PlanInForce()
	if err != nil {
		return nil
	}
	loaded, _ := configs.Parse(filesOf(&p))
	return loaded
}

func filesOf(p *store.Plan) map[string][]byte {
	return map[string][]byte{configs.RoomFile: p.Room, configs.ScheduleFile: p.Schedule, configs.GatewayFile: p.Gateway}
}
