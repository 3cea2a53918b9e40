// Package configs reads the three files of a room (room.yaml, schedule.yaml,
// gateway.yaml) and makes one valid plan of them, or says everything that is wrong.
//
//	bytes -> YAML tree -> tables (keys, kinds, units) -> checks (across values) -> zones.Plan
//
// Every problem is told at once, each with file, line, column, the line itself and
// what would be right. What is read is also what `schema` publishes: one set of
// tables (the shapes) serves both.
package configs

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"go.yaml.in/yaml/v4"

	"rillgate/zones"
	"rillgate/zones/wiring"
)

// MaxFileSize is the most that one file may hold, in bytes.
const MaxFileSize = 1 << 20

// Loaded is one valid configuration. It is never changed once made.
type Loaded struct {
	Plan    *zones.Plan
	Gateway Gateway
	Wiring  wiring.Room
	// Contacts is whom to ask about the room, as written.
	Contacts []Contact
	Files    map[string][]byte   // the three files, as read
	Hash     string              // 12 hex digits over names and bytes
	Origins  map[string][]Origin // by zone: each value, and where it came from
}

// Contact is somebody to ask about the room; an empty phone is none.
type Contact struct{ Name, Role, Phone string }

// Load reads the three files of a directory, whole, and parses them. Loaded is nil
// when one of the problems is an error.
func Load(dir string) (*Loaded, []Problem) {
	files, notes := map[string][]byte{}, &problems{}
	stamps := map[string]fs.FileInfo{}
	for _, name := range fileNames {
		text, info, err := readWhole(filepath.Join(dir, name))
		if err != nil {
			notes.add(fileProblem(name, err))
			continue
		}
		files[name], stamps[name] = text, info
	}
	for name, info := range stamps {
		if now, err := os.Stat(filepath.Join(dir, name)); err != nil || now.ModTime() != info.ModTime() || now.Size() != info.Size() {
			notes.add(fileProblem(name, errChanging))
		}
	}
	return parse(files, notes)
}

var (
	errMissing   = errors.New("the file is missing")
	errIrregular = errors.New("this is no regular file")
	errTooBig    = fmt.Errorf("the file is larger than %d MiB", MaxFileSize>>20)
	errChanging  = errors.New("the file changes while it is read")
)

// fileHints say what to do about a file that cannot be read.
var fileHints = map[error]string{
	errMissing:   "write it; the documentation has an example of each of the three files",
	errIrregular: "put the text itself here, not a directory, a pipe or a device",
	errTooBig:    "a room's file has some hundred lines: is this the right file?",
	errChanging:  "save it and try again",
}

func fileProblem(name string, err error) Problem {
	for known, hint := range fileHints {
		if errors.Is(err, known) {
			return Problem{File: name, Line: 1, Column: 1, Code: CodeFile, Message: known.Error(), Hint: hint}
		}
	}
	return Problem{File: name, Line: 1, Column: 1, Code: CodeFile, Message: "the file cannot be read: " + err.Error(), Hint: "see who owns it and who may read it"}
}

// readWhole reads a regular file to its end. It does not wait for the writer of a pipe.
func readWhole(path string) ([]byte, fs.FileInfo, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil, errMissing
	case errors.Is(err, syscall.ENXIO): // a socket
		return nil, nil, errIrregular
	case err != nil:
		return nil, nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	switch {
	case err != nil:
		return nil, nil, err
	case !info.Mode().IsRegular():
		return nil, nil, errIrregular
	case info.Size() > MaxFileSize:
		return nil, nil, errTooBig
	}
	text, err := io.ReadAll(io.LimitReader(f, MaxFileSize+1))
	if err != nil {
		return nil, nil, err
	}
	if int64(len(text)) != info.Size() {
		return nil, nil, errChanging
	}
	return text, info, nil
}

// Parse makes one configuration of the three files' bytes. Loaded is nil when one of
// the problems is an error; warnings leave it. It is a pure function of the files.
func Parse(files map[string][]byte) (*Loaded, []Problem) {
	notes := &problems{}
	kept := map[string][]byte{}
	for _, name := range fileNames {
		text, ok := files[name]
		switch {
		case !ok:
			notes.add(fileProblem(name, errMissing))
		case len(text) > MaxFileSize:
			notes.add(fileProblem(name, errTooBig))
		default:
			kept[name] = text
		}
	}
	return parse(kept, notes)
}

// parse reads what there is; a file that is not there has been noted.
func parse(files map[string][]byte, notes *problems) (*Loaded, []Problem) {
	c := &checker{}
	if s, root := tree(files, RoomFile, notes); root != nil {
		c.room = readRoom(s, root)
	}
	if s, root := tree(files, ScheduleFile, notes); root != nil {
		c.schedule = readSchedule(s, root)
	}
	var gateway Gateway
	if s, root := tree(files, GatewayFile, notes); root != nil {
		gateway = readGateway(s, root)
	}
	c.check()
	if Failed(notes.list) {
		return nil, notes.sorted()
	}
	l := &Loaded{Gateway: gateway, Files: files, Hash: hashOf(files), Wiring: c.wiring(), Contacts: c.room.planContacts(), Origins: c.origins()}
	l.Plan = c.plan(l.Hash, gateway.Lease)
	c.checkDemand(l.Plan)
	return l, notes.sorted()
}

func tree(files map[string][]byte, name string, notes *problems) (*source, *yaml.Node) {
	text, ok := files[name]
	if !ok {
		return nil, nil
	}
	s := newSource(name, text, notes)
	return s, parseTree(s, text)
}

// hashOf is the plan's name: SHA-256 over the files' names, lengths and bytes.
func hashOf(files map[string][]byte) string {
	h := sha256.New()
	for _, name := range fileNames {
		fmt.Fprintf(h, "%s %d\n", name, len(files[name]))
		h.Write(files[name])
	}
	return hex.EncodeToString(h.Sum(nil))[:12]
}
