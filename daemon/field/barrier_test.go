package field

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker"
	"rillgate/zones"
)

// Behind a barrier everything is there that another client was told to be done with:
// readings on their connection, a report and our own commands on the other.
func TestBarrierBringsAllThatWasSent(t *testing.T) {
	b, err := broker.Start("127.0.0.1:0", broker.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { _ = b.Close() })
	began := time.Now()
	l, err := Dial(Config{URL: b.URL(), Room: "bay", Mono: func() time.Duration { return time.Since(began) }})
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	t.Cleanup(func() { l.Close(ctx) })
	l.WatchMarks()
	require.Eventually(t, func() bool {
		up, _ := l.Up()
		readings, _ := l.ReadingsUp()
		return up && readings && l.Barrier(ctx) == nil
	}, 10*time.Second, time.Millisecond)
	l.Drain(nil)

	for round := range 50 {
		// Our own command comes back to nobody; a state that we publish as a controller
		// would is routed to our other connection.
		require.True(t, l.Send(&zones.Command{Output: zones.Output{Controller: "north", Number: 1}, Epoch: 1, Seq: uint32(round + 1)}))
		require.True(t, l.Publish("rillgate/bay/field/north/readings", 0, false, []byte(`[{"bn":"1:0:","n":"moisture","u":"/","v":0.4}]`)))
		require.True(t, l.Publish("rillgate/bay/field/north/report", 1, false,
			fmt.Appendf(nil, `{"boot":"aa","uptime_ms":%d,"epoch":1,"seq":1,"outputs":{"1":{"open":false}}}`, round+1)))
		require.NoError(t, l.Barrier(ctx)) // handled by the broker
		require.NoError(t, l.Barrier(ctx)) // and, behind it, routed to us
		var readings, reports int
		for _, a := range l.Drain(nil) {
			switch a.Event.(type) {
			case *zones.Reading:
				readings++
			case *zones.Report:
				reports++
			}
		}
		require.Equal(t, 1, readings, "round %d", round)
		require.Equal(t, 1, reports, "round %d", round)
	}
	require.Equal(t, uint64(50), l.Stats().CommandsSent)
}
