package virtual

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

const mono = 100 * time.Hour

func fresh() *Controller { return newController("north", []int{2, 1}, mono) }

func openCmd(c *Controller, epoch, seq uint32, run string, until time.Duration) *zones.Command {
	return &zones.Command{
		Output: zones.Output{Controller: "north", Number: 1}, Epoch: epoch, Seq: seq, Run: run,
		Open: true, Boot: c.boot, UntilMS: until.Milliseconds(),
	}
}

func closeCmd(epoch, seq uint32, run string) *zones.Command {
	return &zones.Command{Output: zones.Output{Controller: "north", Number: 1}, Epoch: epoch, Seq: seq, Run: run}
}

// TestControllerRefuses: what the field topics forbid a controller to do, it does not.
func TestControllerRefuses(t *testing.T) {
	cases := map[string]func(c *Controller) *zones.Command{
		"a lower seq":        func(c *Controller) *zones.Command { return openCmd(c, 3, 4, "r", time.Minute) },
		"the same pair":      func(c *Controller) *zones.Command { return openCmd(c, 3, 5, "r", time.Minute) },
		"a lower epoch":      func(c *Controller) *zones.Command { return openCmd(c, 2, 9, "r", time.Minute) },
		"a close of old":     func(c *Controller) *zones.Command { return closeCmd(3, 4, "r") },
		"a grant that ended": func(c *Controller) *zones.Command { return openCmd(c, 3, 6, "r", 10*time.Second) },
		"one too far ahead":  func(c *Controller) *zones.Command { return openCmd(c, 3, 6, "r", 15*time.Minute+11*time.Second) },
		"a closed run":       func(c *Controller) *zones.Command { return openCmd(c, 3, 6, "gone", time.Minute) },
		"another boot": func(c *Controller) *zones.Command {
			cmd := openCmd(c, 3, 6, "r", time.Minute)
			cmd.Boot = "other"
			return cmd
		},
		"an output it lacks": func(c *Controller) *zones.Command {
			cmd := openCmd(c, 3, 6, "r", time.Minute)
			cmd.Output.Number = 7
			return cmd
		},
	}
	for name, make := range cases {
		c := fresh()
		require.True(t, c.act(mono+10*time.Second, closeCmd(3, 5, "gone")), name)
		require.False(t, c.act(mono+10*time.Second, make(c)), name)
		require.Equal(t, uint32(5), c.seq, name)
		require.Empty(t, c.openOutputs(), name)
	}
}

func TestControllerObeys(t *testing.T) {
	c := fresh()
	require.True(t, c.act(mono+10*time.Second, openCmd(c, 1, 1, "r", 40*time.Second)))
	require.Equal(t, []int{1}, c.openOutputs())
	require.True(t, c.act(mono+20*time.Second, openCmd(c, 1, 2, "r", 50*time.Second)), "a renewal")
	require.False(t, c.expire(mono+50*time.Second-1))
	r := c.report(mono + 45*time.Second)
	require.Equal(t, &zones.Report{
		Controller: "north", Boot: "north-b1", Uptime: 45 * time.Second, Epoch: 1, Seq: 2,
		Outputs: []zones.OutputReport{{Number: 1, Open: true, Run: "r", FlowLPM: -1}, {Number: 2, FlowLPM: -1}},
	}, r)
	require.True(t, c.expire(mono+50*time.Second))
	require.Empty(t, c.openOutputs())
	require.False(t, c.act(mono+51*time.Second, openCmd(c, 1, 3, "r", 80*time.Second)), "its grant ran out: the run is over")
	require.True(t, c.act(mono+52*time.Second, openCmd(c, 1, 3, "r-2", 80*time.Second)))
	require.True(t, c.act(mono+53*time.Second, closeCmd(2, 1, "r-2")), "a higher epoch begins its own numbers")
	require.Empty(t, c.openOutputs())
}

func TestControllerRebootsClosed(t *testing.T) {
	c := fresh()
	require.True(t, c.act(mono+10*time.Second, openCmd(c, 1, 1, "r", 40*time.Second)))
	c.reboot(mono+20*time.Second, "")
	r := c.report(mono + 21*time.Second)
	require.Equal(t, "north-b2", r.Boot)
	require.Equal(t, time.Second, r.Uptime)
	require.Zero(t, r.Epoch+r.Seq)
	require.Empty(t, c.openOutputs())
}

func TestToldOutputsShowWhatTheyAreTold(t *testing.T) {
	c := fresh()
	o := c.output(1)
	o.told, o.shows, o.flow = true, true, 2.5
	r := c.report(mono)
	require.True(t, r.Outputs[0].Open)
	require.Equal(t, 2.5, r.Outputs[0].FlowLPM)
	require.Empty(t, c.openOutputs(), "the contact is its own")
}
