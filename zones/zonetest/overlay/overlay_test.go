package overlay

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestFailedNamesTheInnermostTest(t *testing.T) {
	require.Equal(t, "TestA/deep", failed("=== RUN   TestA\n=== RUN   TestA/deep\n--- FAIL: TestA (0.01s)\n    --- FAIL: TestA/deep (0.00s)\n--- FAIL: TestB (0.00s)\n", false))
	require.Equal(t, "TestB (died)", failed("=== RUN   TestA\n--- PASS: TestA\n=== RUN   TestB\npanic: no\n", false))
	require.Equal(t, "TestB (did not end)", failed("=== RUN   TestB\n", true))
	require.Empty(t, failed("flag provided but not defined: -x\n", false), "no test's doing")
}

// TestBuildSeesTheOverlay builds a package that exists nowhere but in the overlay.
func TestBuildSeesTheOverlay(t *testing.T) {
	b := &Builder{Root: root(t), Dir: t.TempDir()}
	const at = "zones/zonetest/overlay/nowhere"
	binary, err := b.Build(t.Context(), at, Sources{
		at + "/n.go":      "package nowhere\n\nconst n = 1\n",
		at + "/n_test.go": "package nowhere\n\nimport \"testing\"\n\nfunc TestN(t *testing.T) {\n\tif n != 2 {\n\t\tt.Error(n)\n\t}\n}\n",
	})
	require.NoError(t, err)
	o, err := b.Run(t.Context(), binary, "zones/zonetest/overlay", nil)
	require.NoError(t, err)
	require.False(t, o.Passed)
	require.Equal(t, "TestN", o.Failed)
	_, err = b.Build(t.Context(), at, Sources{at + "/n.go": "package nowhere\n\nconst n = \n"})
	require.ErrorContains(t, err, "n.go:4", "the compiler's words are told")
}

func root(t *testing.T) string {
	path, err := filepath.Abs("../../..")
	require.NoError(t, err)
	return path
}

func TestProgramRefusesAnEditThatDoesNotFit(t *testing.T) {
	b := &Builder{Root: root(t), Dir: t.TempDir()}
	const at = "zones/zonetest/overlay/program.go"
	_, err := b.Program(t.Context(), "cmd/rillgate", Edit{at, "no such line as this\n", ""})
	require.ErrorContains(t, err, "stands there 0 times")
	_, err = b.Program(t.Context(), "cmd/rillgate", Edit{at, "if ", ""})
	require.ErrorContains(t, err, "times")
	_, err = b.Program(t.Context(), "cmd/rillgate", Edit{"nowhere.go", "x", ""})
	require.ErrorContains(t, err, "nowhere.go")
}
