package daemon

import (
	"bytes"
	"fmt"
	"time"

	"rillgate/configs"
	"rillgate/schedule"
	"rillgate/zones"
)

// choice is what a start goes by: the files on disk, the last good plan, or
// neither.
type choice struct {
	loaded   *configs.Loaded // in force; nil = none
	plan     *zones.Plan     // what the room gets; it has no zones when closed
	rejected string          // why the files on disk are not in force; "" = they are
	problems []configs.Problem
}

// keepsClosed says why the room is kept closed for want of a plan; "" = it is not.
func (c *choice) keepsClosed() string {
	if len(c.plan.Zones) > 0 {
		return ""
	}
	return c.rejected
}

// choose decides between the files on disk and the last good ones. A room.yaml
// that fails and is another one than the last good keeps the room closed: what is
// wired may have changed. A failing schedule or gateway leaves the last good plan
// in force.
func choose(room string, disk *configs.Loaded, problems []configs.Problem, roomText []byte, last *configs.Loaded) choice {
	if disk != nil {
		return choice{loaded: disk, plan: disk.Plan, problems: problems}
	}
	c := choice{problems: problems, loaded: last}
	first := firstError(problems)
	switch {
	case last == nil:
		c.plan = emptyPlan(room)
		c.rejected = "no plan is in force and the room stays closed: " + first
	case roomFails(problems) && !bytes.Equal(roomText, last.Files[configs.RoomFile]):
		c.plan = closedPlan(last.Plan)
		c.rejected = "room.yaml is another one than the last good and has errors, so the room stays closed: " + first
	default:
		c.plan = last.Plan
		c.rejected = fmt.Sprintf("the files on disk have errors, so plan %s stays in force: %s", last.Hash, first)
	}
	return c
}

// roomFails reports whether an error is in room.yaml.
func roomFails(problems []configs.Problem) bool {
	for i := range problems {
		if !problems[i].Warning && problems[i].File == configs.RoomFile {
			return true
		}
	}
	return false
}

// firstError says where the first error stands, and how many there are.
func firstError(problems []configs.Problem) string {
	first, n := "", 0
	for i := range problems {
		p := &problems[i]
		if p.Warning {
			continue
		}
		if n++; n == 1 {
			first = fmt.Sprintf("%s:%d:%d: %s", p.File, p.Line, p.Column, p.Message)
		}
	}
	if n > 1 {
		first = fmt.Sprintf("%s (and %d more)", first, n-1)
	}
	return first
}

// closedPlan keeps a plan's outputs, so that they are closed first, and takes its
// zones away, so that nothing opens.
func closedPlan(p *zones.Plan) *zones.Plan {
	c := *p
	c.Zones = nil
	c.Probes = nil
	c.HealthyPart.Never = "room.yaml has errors, so the room stays closed"
	return &c
}

// defaultLease stands where no file says another.
const defaultLease = 30 * time.Second

// emptyPlan is a room of which nothing is known.
func emptyPlan(room string) *zones.Plan {
	return &zones.Plan{Room: room, Name: room, Lease: defaultLease,
		Calendar: schedule.Calendar{Location: time.UTC, Days: []schedule.Day{{On: 6 * time.Hour, Off: 18 * time.Hour}}}}
}
