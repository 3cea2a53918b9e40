package handover

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// The output that is held while all is well, what hangs on it, how it is now and what was
// tried stand on the hand-over; a room without one says that nothing sounds.
func TestHealthyIsHandedOver(t *testing.T) {
	l := demo(t, nil, nil)
	without := htmlOf(t, &Input{Loaded: l, Now: now})
	require.Contains(t, without, "Nothing: no output is held while all is well")
	require.Contains(t, without, "<dt>Soak by hand</dt><dd>not allowed</dd>")

	at := zones.Output{Controller: "north", Number: 9}
	p := *l.Plan
	p.Healthy, p.HealthyPart.Drives = &at, "horn <over> the door"
	guarded := *l
	guarded.Plan = &p
	v := &zones.View{Healthy: &zones.HealthyView{Output: at, State: zones.HealthyDropped, Since: now.Add(-time.Hour), Because: "leak of demo: input floor is active"}}
	in := &Input{Loaded: &guarded, Now: now, View: v, Running: true}
	text := htmlOf(t, in)
	require.Contains(t, text, "Output <b>north/9</b> is held while all is well; <b>horn &lt;over&gt; the door</b> sounds when it drops (now: dropped since 2027-03-07 23:30)")
	for _, tried := range []string{"the controller&#39;s plug pulled", "<code>systemctl stop rillgate</code>", "leak switch wet"} {
		require.Contains(t, text, tried)
	}
	require.Contains(t, New(in).Open, Open{What: "Healthy output dropped", Subject: "north/9", Text: "leak of demo: input floor is active", Since: "2027-03-07 23:30"})
	v.Healthy.State, v.Healthy.Held = zones.HealthyHeld, true
	require.Empty(t, New(in).standingHealthy())
	in.Running, v.Healthy.Held = false, false
	require.NotContains(t, htmlOf(t, in), "(now:", "of a room that does not run nobody knows")
	require.Empty(t, New(in).standingHealthy())
}

func (d *Document) standingHealthy() (out []Open) {
	for _, o := range d.Open {
		if o.Subject == "north/9" {
			out = append(out, o)
		}
	}
	return out
}
