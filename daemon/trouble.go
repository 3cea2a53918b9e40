package daemon

import (
	"time"

	"rillgate/zones"
)

// troubles are the alarms that the shell raises itself: files rejected, store
// damaged. The core has its own.
type troubles struct {
	list []zones.AlarmView
}

// views gives a copy of the alarms that stand.
func (t *troubles) views() []zones.AlarmView { return append([]zones.AlarmView(nil), t.list...) }

func (t *troubles) find(code zones.Reason, subject string) int {
	for i := range t.list {
		if t.list[i].Code == code && t.list[i].Subject == subject {
			return i
		}
	}
	return -1
}

// raise makes an alarm active and reports whether it is new.
func (t *troubles) raise(code zones.Reason, subject, because string, at time.Time) bool {
	if i := t.find(code, subject); i >= 0 {
		t.list[i].Because = because
		return false
	}
	t.list = append(t.list, zones.AlarmView{Code: code, Subject: subject, Since: at, Because: because})
	return true
}

// clear ends an alarm and reports whether it stood.
func (t *troubles) clear(code zones.Reason, subject string) bool {
	i := t.find(code, subject)
	if i < 0 {
		return false
	}
	t.list = append(t.list[:i:i], t.list[i+1:]...)
	return true
}

// acknowledge silences the alarms of a code or subject, "" for all, and reports
// whether there was one.
func (t *troubles) acknowledge(subject string) (some bool) {
	for i := range t.list {
		a := &t.list[i]
		if subject == "" || subject == string(a.Code) || subject == a.Subject {
			a.Acknowledged, some = true, true
		}
	}
	return some
}

// trouble raises an alarm of the shell.
func (d *Daemon) trouble(code zones.Reason, subject, because string) {
	if d.troubles.raise(code, subject, because, d.now.Wall) {
		d.entry(d.now.Wall, d.about(subject, zones.Entry{Kind: "alarm", Reason: code, Because: because}))
		d.o.Log.Warn("alarm", "code", code, "because", because)
	}
	d.changed = true
}

// over ends an alarm of the shell.
func (d *Daemon) over(code zones.Reason, subject string) {
	if d.troubles.clear(code, subject) {
		d.silenced.over(code, subject)
		d.entry(d.now.Wall, d.about(subject, zones.Entry{Kind: "alarm-over", Reason: code}))
		d.changed = true
	}
}

// about puts the zone or the probe that a subject is into an entry; one that is neither
// belongs to the room.
func (d *Daemon) about(subject string, e zones.Entry) *zones.Entry {
	p := d.choice.plan
	if p == nil {
		return &e
	}
	for i := range p.Zones {
		if p.Zones[i].ID == subject {
			e.Zone = subject
			return &e
		}
	}
	for i := range p.Probes {
		if p.Probes[i].ID == subject {
			e.Probe, e.Zone = subject, p.Probes[i].Zone
			return &e
		}
	}
	if l := d.register.book.Lives(subject); len(l) > 0 && l[0].ID == subject {
		e.Probe, e.Zone = subject, l[0].Zone
	}
	return &e
}
