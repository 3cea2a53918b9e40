package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A file that a spreadsheet wrote in its own way is refused, not read as twice as many
// volumes.
func TestVolumesOfAFile(t *testing.T) {
	for text, want := range map[string][]float64{
		"47\n42\n45.5\n24\n":         {47, 42, 45.5, 24},
		"47, 42, 45\n24":             {47, 42, 45, 24},
		"47\t42\t45\t24":             {47, 42, 45, 24},
		"1;47,5\n2;42,0\n3;45,1\n":   nil,
		"1 47.5\n2 42\n3 45.1\n4 24": nil,
		"1,47\n2,42\n3,45\n4,24\n":   nil,
		"2 47\n2 42 # two a line\n":  {2, 47, 2, 42},
	} {
		file := filepath.Join(t.TempDir(), "volumes")
		require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
		got, err := readVolumes(&catchFlags{file: file})
		require.Equal(t, want == nil, err != nil, "%q: %v", text, err)
		require.Equal(t, want, got, text)
	}
}
