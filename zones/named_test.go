package zones

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestAProbeByItsNames(t *testing.T) {
	at := func(address string) Place { return Place{Controller: "north", Terminal: 1, Address: address} }
	v := &View{Probes: []ProbeView{{ID: "a1", Place: at("0"), Serial: "S1"}, {ID: "a2", Place: at("1"), Serial: "S2"}, {ID: "a3", Place: at("2"), Serial: "S2"}, {ID: "S1", Place: at("3")}}}
	for word, id := range map[string]string{"a1": "a1", "north/1/1": "a2", "S1": "S1", "S2": "", "": "", "S": ""} {
		p := v.Probe(word)
		if id == "" {
			require.Nil(t, p, word)
			continue
		}
		require.NotNil(t, p, word)
		require.Equal(t, id, p.ID, word)
	}
}

func TestNames(t *testing.T) {
	for want, all := range map[string][]string{"": nil, "a": {"a"}, "a and b": {"a", "b"}, "a, b and c": {"a", "b", "c"}} {
		require.Equal(t, want, Names(all))
	}
}
