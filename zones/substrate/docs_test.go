package substrate

import (
	"fmt"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

// docs/substrate.md lists every curve and every medium with its numbers.
func TestCurvesAndMediaAreDocumented(t *testing.T) {
	b, err := os.ReadFile("../../docs/substrate.md")
	require.NoError(t, err)
	doc := string(b)
	for _, c := range Curves() {
		require.Contains(t, doc, fmt.Sprintf("| `%s` | %s | %g to %g | %s |", c.Name, c.Material, c.Low, c.High, c.Standing))
	}
	for _, m := range Media() {
		porosity, curve := "-", "-"
		if m.Porosity.Known() {
			porosity = fmt.Sprintf("%g (%s)", m.Porosity.Value, m.Porosity.Standing)
		}
		if m.Fitted != "" {
			curve = fmt.Sprintf("%g, %g, %g, %g (%s)", m.Retention.ThetaR, m.Retention.ThetaS, m.Retention.Alpha, m.Retention.N, m.Fitted)
		}
		require.Contains(t, doc, fmt.Sprintf("| %s | %s | %s | %g (%s) | `%s` |", m.Name, porosity, curve, m.PoreShift.Value, m.PoreShift.Standing, m.Curve))
	}
}
