package daemon

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"rillgate/configs"
)

// filesEvery is how often the files on disk are compared with the plan in force.
// They are never acted on by themselves: a half-saved file must not water a room.
const filesEvery = 15 * time.Second

// watchFiles tells the loop how the files on disk differ from the plan in force.
func (d *Daemon) watchFiles(ctx context.Context) {
	ticker := time.NewTicker(filesEvery)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
		}
		differ := differs(d.o.Config, d.shown.Load().loaded)
		if d.post(ctx, func() { d.changed = d.changed || d.differ != differ; d.differ = differ }) != nil {
			return
		}
	}
}

// differs says in a sentence which files on disk are not those in force, "" for none.
func differs(dir string, inForce *configs.Loaded) string {
	if inForce == nil {
		return "" // that no plan is in force says more
	}
	var names []string
	for name, text := range inForce.Files {
		now, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil || !bytes.Equal(now, text) {
			names = append(names, name)
		}
	}
	if len(names) == 0 {
		return ""
	}
	slices.Sort(names)
	return "files on disk differ from the plan in force: " + strings.Join(names, ", ") + "; `rillgate apply` puts them in force"
}
