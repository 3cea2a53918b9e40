package store

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Series is History of every series at once, thinned days too.
func TestSeriesGivesWhatHistoryGives(t *testing.T) {
	s := inMemory(t)
	for day := range 9 {
		require.NoError(t, s.PutHistory(append(wave("p", noon().AddDate(0, 0, day), 130), wave("q", noon().AddDate(0, 0, day).Add(7*time.Minute), 30)...)))
	}
	_, err := s.Thin(noon().AddDate(0, 0, 9), 90*24*time.Hour)
	require.NoError(t, err)
	from, to := noon().Add(23*time.Minute), noon().AddDate(0, 0, 8).Add(41*time.Minute)
	all, err := s.Series(from, to, func(Kind, string) bool { return true })
	require.NoError(t, err)
	require.NotEmpty(t, all)
	ids := map[string]bool{}
	for i := range all {
		want, err := s.History(all[i].Kind, all[i].ID, from, to)
		require.NoError(t, err)
		require.Equal(t, want, all[i].Points, all[i].ID)
		ids[all[i].ID] = true
	}
	require.Equal(t, map[string]bool{"p": true, "q": true}, ids)

	one, err := s.Series(from, to, func(_ Kind, id string) bool { return id == "q" })
	require.NoError(t, err)
	for i := range one {
		require.Equal(t, "q", one[i].ID)
	}
	_, err = s.Series(time.Time{}, to, func(Kind, string) bool { return true })
	require.Error(t, err)
}
