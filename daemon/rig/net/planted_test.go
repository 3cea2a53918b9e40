package netrig

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/zones/zonetest/overlay"
)

// caught is a planted fault, and the test that must refuse it: with these arguments, as
// it stands.
type caught struct {
	name string
	edit []overlay.Edit
	test string
	args []string
	says string
}

var plantedFaults = []caught{
	{
		name: "a grant is renewed on an old report",
		edit: []overlay.Edit{ // it is asked twice: when a renewal is looked at, and when it is given
			{File: "zones/output.go", Old: "	case again && r.t > c.arrived+freshWord, o.wanted", New: "	case o.wanted"},
			{File: "zones/runends.go", Old: "	if due <= o.ctl.arrived+freshWord {", New: "	if due >= 0 {"},
		},
		test: "TestNetwork/broker-controller,_from_the_controller", args: []string{"-net.all"}, says: "closed too late",
	},
	{
		name: "a packet is read whole, however long",
		edit: []overlay.Edit{{File: "daemon/field/wire.go", Old: "if length > maxPacket {", New: "if length < 0 {"}},
		test: "TestPayloads", args: []string{"-net.payloads", "-net.payload", "100 MB"}, says: `memory after 100 MB|highest memory \d{3,} MiB`,
	},
	{
		name: "a key may stand twice",
		edit: []overlay.Edit{{File: "daemon/field/jsonobject.go", Old: "if slices.Contains(m.names, name) {", New: "if slices.Contains(m.names, name+name) {"}},
		test: "TestPayloads", args: []string{"-net.payloads", "-net.payload", "same key twice"}, says: "nothing was refused as duplicate-key",
	},
	{
		name: "a close leaves 60 ms late",
		edit: []overlay.Edit{{File: "daemon/loop.go", Old: "			if l.field.Send(e) {\n", New: "			if !e.Open {\n				time.Sleep(60 * time.Millisecond)\n			}\n			if l.field.Send(e) {\n"}},
		test: "TestFlood", args: []string{"-net.flood", "4s", "-net.rate", "20000"}, says: "close after a",
	},
}

// TestPlantedFaultsAreCaught builds the program with one fault at a time; the test that
// is named must fail on it, for the reason that is named.
func TestPlantedFaultsAreCaught(t *testing.T) {
	if !*planted {
		t.Skip("a minute: -net.planted")
	}
	root, err := filepath.Abs("../../..")
	require.NoError(t, err)
	b := &overlay.Builder{Root: root, Dir: t.TempDir()}
	for _, f := range plantedFaults {
		t.Run(f.name, func(t *testing.T) {
			binary, err := b.Program(t.Context(), "cmd/rillgate", f.edit...) // one after the other
			require.NoError(t, err)
			t.Parallel()
			o, err := overlay.Again(t.Context(), f.test, []string{faultyVariable + "=" + binary}, f.args...)
			require.NoError(t, err)
			require.False(t, o.Passed, "the rig let it pass: %s", o.Output)
			require.Regexp(t, f.says, o.Output)
			t.Logf("%s after %s", f.test, o.Took.Round(1e9))
		})
	}
}
