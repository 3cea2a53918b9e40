package daemon

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/operator"
)

// What nobody opens anew takes no backup, instead of saying that it did.
func TestADemonstrationRestoresNothing(t *testing.T) {
	o, _ := inRoom(t)
	o.OneLife = true
	d := open(t, o)
	_, err := d.Restore(t.Context(), strings.NewReader("a backup"), "ana", "")
	var refusal *operator.Refusal
	require.ErrorAs(t, err, &refusal)
	require.Contains(t, refusal.Text, "does not start anew")
	require.NoError(t, d.Close(nil))
}
