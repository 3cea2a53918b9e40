package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"

	"go.yaml.in/yaml/v4"

	"rillgate/daemon/operator"
)

// stateRoot holds one state directory a room.
const stateRoot = "/var/lib/rillgate"

// stateDir gives the state directory: the one told, else the one of the room that
// the configuration names, else the only one there is.
func (f *flags) stateDir() (string, error) {
	if f.state != "" {
		return f.state, nil
	}
	if room, err := roomName(f.config); err == nil {
		return filepath.Join(stateRoot, room), nil
	}
	found, _ := filepath.Glob(filepath.Join(stateRoot, "*", "lock"))
	if len(found) == 1 {
		return filepath.Dir(found[0]), nil
	}
	return "", failed(fmt.Errorf("find the state directory: %s names no room", filepath.Join(f.config, "room.yaml")),
		"give --state DIR, or --config DIR with a room.yaml that has room: {id: ...}")
}

// roomID gives the room's id: from room.yaml, else the state directory's name.
func (f *flags) roomID(state string) (string, error) {
	room, err := roomName(f.config)
	if err == nil {
		return room, nil
	}
	if base := filepath.Base(state); validID(base) {
		return base, nil
	}
	return "", failed(err, "write room: {id: ...} into room.yaml: no daemon runs without a room's name")
}

// roomName reads the room's id alone, so that a room with a fault elsewhere in its
// files is still found.
func roomName(config string) (string, error) {
	path := filepath.Join(config, "room.yaml")
	info, err := os.Stat(path)
	if err != nil {
		return "", err
	}
	if info.Size() > 1<<20 {
		return "", fmt.Errorf("read %s: larger than 1 MiB", path)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return "", err
	}
	var file struct {
		Room struct {
			ID string `yaml:"id"`
		} `yaml:"room"`
	}
	_ = yaml.Unmarshal(text, &file) // a fault elsewhere is `check`'s to tell
	if validID(file.Room.ID) {
		return file.Room.ID, nil
	}
	if m := idInText.FindSubmatch(text); m != nil {
		return string(m[1]), nil
	}
	return "", fmt.Errorf("read %s: no room id", path)
}

// idInText finds the id in a file that is no YAML at the moment.
var idInText = regexp.MustCompile(`(?s)\broom:\s.{0,200}?\bid:\s*["']?([a-z0-9-]{1,32})\b`)

func validID(id string) bool {
	if len(id) < 1 || len(id) > 32 {
		return false
	}
	for _, c := range id {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}

// ask sends one request to the running daemon.
func (f *flags) ask(ctx context.Context, req operator.Request, take func(operator.Reply) error) error {
	dir, err := f.stateDir()
	if err != nil {
		return err
	}
	err = operator.Ask(ctx, filepath.Join(dir, operator.SocketName), req, take)
	if errors.Is(err, operator.ErrNotRunning) {
		return failed(err, notRunningHint(err))
	}
	return err
}

func notRunningHint(err error) string {
	if errors.Is(err, os.ErrPermission) {
		return "the socket is for its owner and group: join the group of the state directory, or use sudo"
	}
	return "start it with `rillgate run`, or name its state directory with --state"
}
