package configs

import (
	"fmt"
	"slices"
	"time"

	"rillgate/schedule"
	"rillgate/zones"
)

// Queue says whether the zones of a supply fit their windows one after the other.
type Queue struct {
	Supply  string   `json:"supply"`
	Zones   []string `json:"zones"`
	Fits    bool     `json:"fits"`
	Because string   `json:"because"`
}

// job is what one daily window asks of its supply: valve time that must lie in it.
type job struct {
	zone       string
	start, end time.Duration
	need       time.Duration
}

// queueOf compares, for every span of the day that begins with one window and ends
// with another, the valve time of all windows within with what the supply can give.
func (m *demand) queueOf(s *zones.Supply) Queue {
	q := Queue{Supply: s.ID, Zones: zonesOn(m.plan, s), Fits: true}
	worst := 0.0
	for _, d := range daysOf(m.plan) {
		jobs := m.jobsOf(s, d)
		for _, a := range jobs {
			for _, b := range jobs {
				if a.start >= wholeDay || b.end <= a.start || b.end > a.start+wholeDay {
					continue
				}
				need, room := within(jobs, a.start, b.end), (b.end-a.start)*time.Duration(s.MaxOpen)
				if share := float64(need) / float64(room); share > worst {
					worst = share
					q.Fits = need <= room
					q.Because = fmt.Sprintf("from %s to %s its zones may ask for %s of valve time, and %s can be given", clockWords(a.start), clockWords(b.end), spanWords(need.Round(time.Second)), spanWords(room))
				}
			}
		}
	}
	if q.Because == "" {
		q.Because = "no daily window asks for water"
	}
	return q
}

func within(jobs []job, from, until time.Duration) (need time.Duration) {
	for _, j := range jobs {
		if j.start >= from && j.end <= until {
			need += j.need
		}
	}
	return need
}

func zonesOn(p *zones.Plan, s *zones.Supply) (ids []string) {
	for i := range p.Zones {
		if valvesOn(p, &p.Zones[i], s) > 0 {
			ids = append(ids, p.Zones[i].ID)
		}
	}
	return ids
}

func valvesOn(p *zones.Plan, z *zones.Zone, s *zones.Supply) (n int) {
	for _, v := range p.Valves {
		n += boolInt(v.Supply == s.ID && slices.Contains(z.Valves, v.ID))
	}
	return n
}

// jobsOf gives the daily windows of each zone's busiest stage, today's and tomorrow's.
func (m *demand) jobsOf(s *zones.Supply, d schedule.Day) (jobs []job) {
	lead := time.Duration(0)
	if s.Master != nil {
		lead = s.Master.Lead
	}
	for i := range m.plan.Zones {
		z := &m.plan.Zones[i]
		valves := valvesOn(m.plan, z, s)
		if valves == 0 {
			continue
		}
		for _, w := range m.busiestWindows(z, d) {
			n, run := shotsIn(z, &w, openLength(&w, d))
			start := mod(edgeOn(w.From, d), wholeDay)
			j := job{z.ID, start, start + openLength(&w, d), time.Duration(n*valves) * (run + lead)}
			next := j
			next.start, next.end = j.start+wholeDay, j.end+wholeDay
			jobs = append(jobs, j, next)
		}
	}
	return jobs
}

// busiestWindows gives the daily windows of the stage that asks for most.
func (m *demand) busiestWindows(z *zones.Zone, d schedule.Day) (daily []schedule.Window) {
	most := time.Duration(-1)
	for _, st := range stagesIn(z) {
		if need := m.busiest(z, st.windows, d); need > most {
			most = need
			daily = slices.DeleteFunc(slices.Clone(st.windows), func(w schedule.Window) bool { return w.Dated() })
		}
	}
	return daily
}
