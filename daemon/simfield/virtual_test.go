package simfield

import (
	"fmt"
	"testing"
	"time"

	"rillgate/zones"
	"rillgate/zones/simroom"

	"github.com/stretchr/testify/require"
)

// thinks is how long the gateway takes to answer, in true time: a lease of 30 s when the
// clock runs a thousand times faster than time.
const thinks = 30 * time.Millisecond

// gateway is a plain hand that gives one long run in short leases: 30 s at a time,
// renewed when a report comes 10 s or more after the last grant.
type gateway struct {
	t       *testing.T
	w       *peer
	seq     int
	granted int64 // uptime of the last grant, ms
	end     int64 // uptime at which the run ends
	until   int64 // of the last grant
	expired int   // reports that came after the last grant had run out
}

func (g *gateway) look() (sent bool) {
	for _, s := range seen(g.w.take(), "north/report") {
		r := readReport(g.t, s)
		switch {
		case g.end == 0:
			g.end = r.UptimeMS + (10 * time.Minute).Milliseconds()
		case r.UptimeMS >= g.until && r.UptimeMS < g.end:
			g.expired++
		}
		if r.UptimeMS < g.granted+10000 || r.UptimeMS >= g.end-30000 && g.until == g.end {
			continue
		}
		g.seq++
		<-time.After(thinks)
		g.granted, g.until = r.UptimeMS, min(r.UptimeMS+30000, g.end)
		g.w.client.Publish("rillgate/bay/field/north/valve/1/command", 1, false,
			fmt.Sprintf(`{"epoch":1,"seq":%d,"run":"r-1","open":true,"boot":"%s","until_ms":%d}`, g.seq, r.Boot, g.until))
		sent = true
	}
	return sent
}

// With the barrier between, a virtual clock may run as fast as the machine can: a run of
// ten minutes on grants of 30 s stays whole although the gateway takes longer to answer,
// in true time, than a whole grant would last at this speed.
func TestNoGrantRunsOutAtAnySpeed(t *testing.T) {
	at := embedded(t)
	f := stepped(t, at, plan("north"), simroom.Options{CrystalPPM: -1})
	g := &gateway{t: t, w: newPeer(t, at)}
	began := time.Now()
	for now := time.Duration(0); now <= 11*time.Minute; now = max(now+time.Millisecond, f.Next()) {
		if step(t, f, now) == 0 {
			continue
		}
		g.w.barrier()
		for g.look() {
			g.w.barrier()
			require.NoError(t, f.Barrier(t.Context()))
			step(t, f, now)
			g.w.barrier()
		}
	}
	speed := float64(11*time.Minute) / float64(time.Since(began)-time.Duration(g.seq)*thinks)
	t.Logf("%.0f times faster than time but for the gateway's thinking", speed)
	require.Zero(t, g.expired)
	require.Greater(t, g.seq, 20)
	f.Look(func(r *simroom.Room) {
		require.Equal(t, []simroom.Interval{{From: 0, To: 10 * time.Minute}}, r.Driven(zones.Output{Controller: "north", Number: 1}))
	})
}

// Without renewals the same grant runs out: the room's clock does not wait.
func TestAGrantRunsOutOnTheVirtualClock(t *testing.T) {
	at := embedded(t)
	f := stepped(t, at, plan("north"), simroom.Options{CrystalPPM: -1})
	g := &gateway{t: t, w: newPeer(t, at)}
	step(t, f, 0)
	g.w.barrier()
	require.True(t, g.look())
	g.w.barrier()
	step(t, f, 0)
	step(t, f, time.Minute)
	f.Look(func(r *simroom.Room) {
		require.Equal(t, []simroom.Interval{{From: 0, To: 30 * time.Second}}, r.Driven(zones.Output{Controller: "north", Number: 1}))
	})
}
