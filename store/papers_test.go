package store

import (
	"encoding/json"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestPapers(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s, _ := mustOpen(t, path)
	at := time.Date(2027, 3, 1, 6, 0, 0, 0, time.UTC)
	paper := func(kind, key, body string) Paper {
		return Paper{Kind: kind, Key: key, At: at, By: "test", Body: json.RawMessage(body)}
	}
	require.NoError(t, s.SavePapers([]Paper{paper("walk", "west", `1`), paper("walk", "east", `2`), paper("walker", "a", `3`), paper("drain", "east", `4`)}))
	require.NoError(t, s.SavePapers([]Paper{paper("walk", "west", `{"n":5}`)}))
	require.NoError(t, s.Close())

	s, _ = mustOpen(t, path)
	got, err := s.Papers("walk")
	require.NoError(t, err)
	require.Equal(t, []Paper{paper("walk", "east", `2`), paper("walk", "west", `{"n":5}`)}, got)
	require.NoError(t, s.ForgetPaper("walk", "east"))
	got, err = s.Papers("walk")
	require.NoError(t, err)
	require.Len(t, got, 1)
	got, err = s.Papers("none")
	require.NoError(t, err)
	require.Empty(t, got)
	require.NoError(t, s.Close())
}
