package trace

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// FuzzLine: whatever is accepted is JSON that encoding/json reads too, means the same
// instant there, and reads back as the same line when it is written.
func FuzzLine(f *testing.F) {
	for _, seed := range []string{
		at + `"reading":{"controller":"north","terminal":1,"address":"0","moisture":46.2,"ec":1.8,"temperature":22.1}}`,
		at + `"reading":{"controller":"n","place":"a","permittivity":-1e2,"time":"2027-03-01T06:00:00.123456789Z","serial":"s","retained":true}}`,
		at + `"report":{"valve":"east","open":true,"flow_lpm":0.5}}`,
		at + `"controller":{"id":"north","online":true,"boot":"9f31"}}`,
		at + `"order":{"kind":"shot","zone":"east","for":"1m30s","volume":"120mL","by":"x","note":"\u0000\ud83d\ude00"}}`,
		at + `"clock":{"trusted":false,"step":"-1h0.5s"}}`,
		at + `"restart":{}}`, at + `"broker":{"up":true}}`, at + `"input":{"id":"a","active":false}}`,
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		l, err := NewReader(bytes.NewReader(b)).Next()
		if err != nil {
			return
		}
		first, _, _ := strings.Cut(string(bytes.TrimLeft(b, " \t\r\n")), "\n")
		var loose struct {
			At time.Time `json:"at"`
		}
		require.NoError(t, json.Unmarshal([]byte(first), &loose))
		require.True(t, loose.At.Equal(l.At))

		again := &bytes.Buffer{}
		require.NoError(t, json.NewEncoder(again).Encode(wire(&l)))
		back, err := NewReader(again).Next()
		require.NoError(t, err, again.String())
		require.Equal(t, mustJSON(t, wire(&l)), mustJSON(t, wire(&back)))
	})
}

func jsonLine(l *Line) (string, error) {
	b, err := json.Marshal(wire(l))
	return string(b), err
}

func mustJSON(t *testing.T, v any) string {
	b, err := json.Marshal(v)
	require.NoError(t, err)
	return string(b)
}
