package configs

import (
	"embed"
	"io/fs"
)

//go:embed examples
var examples embed.FS

// The example rooms that are built in.
const (
	ExampleBay  = "bay"  // one bench, a crop with two stages, US units, every kind of window
	ExampleDemo = "demo" // two benches on one supply, eight probes: the demonstration
)

// Example gives an example file by its name: "bay/room.yaml", "demo/schedule.yaml",
// and so on; nil when there is none.
func Example(name string) []byte {
	text, err := fs.ReadFile(examples, "examples/"+name)
	if err != nil {
		return nil
	}
	return text
}

// ExampleFiles gives the three files of an example room, ready for Parse.
func ExampleFiles(room string) map[string][]byte {
	files := map[string][]byte{}
	for _, name := range fileNames {
		if text := Example(room + "/" + name); text != nil {
			files[name] = text
		}
	}
	return files
}
