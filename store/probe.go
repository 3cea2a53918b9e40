package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"time"

	bolt "go.etcd.io/bbolt"
)

// probeVariable carries the path to the child that looks at it.
const probeVariable = "RILLGATE_PROBE_STORE"

const (
	probeTimeout = time.Minute
	// fullCheckBelow is the size up to which an unclean end is followed by a check
	// of every page: more takes too long on a card.
	fullCheckBelow = 50 << 20
)

// How the child ends. Any other way, a signal or a panic, is damage.
const (
	exitSound   = 0
	exitLocked  = 40
	exitNewer   = 41
	exitDamaged = 42
	exitDenied  = 43
	exitUnknown = 44
)

// ProbeMain must be the first call of main: in a child that was started to look
// at a store it does so and ends the process; else it returns at once.
func ProbeMain() {
	path := os.Getenv(probeVariable)
	if path == "" {
		return
	}
	err := inspect(path)
	if err != nil {
		fmt.Println(strings.ReplaceAll(err.Error(), "\n", " "))
	}
	os.Exit(exitCode(err))
}

func exitCode(err error) int {
	switch {
	case err == nil:
		return exitSound
	case errors.Is(err, ErrLocked):
		return exitLocked
	case errors.Is(err, ErrNewer):
		return exitNewer
	case errors.Is(err, ErrReadOnly):
		return exitDenied
	case errors.Is(err, ErrDamaged):
		return exitDamaged
	}
	return exitUnknown
}

// probe looks at a store from a child process, which damage may kill.
func probe(path string) error {
	self, err := os.Executable()
	if err != nil {
		return fmt.Errorf("find the own program to check the store: %w", err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), probeTimeout)
	defer cancel()
	var out, trouble bytes.Buffer
	child := exec.CommandContext(ctx, self)
	child.Env = append(os.Environ(), probeVariable+"="+path)
	child.Stdout, child.Stderr = &out, &trouble
	err = child.Run()
	if ctx.Err() != nil {
		return fmt.Errorf("%w: it could not be read within %v", ErrDamaged, probeTimeout)
	}
	return verdict(err, strings.TrimSpace(out.String()), firstLine(trouble.String()))
}

func verdict(err error, said, trouble string) error {
	if err == nil {
		return nil
	}
	var exit *exec.ExitError
	if !errors.As(err, &exit) {
		return fmt.Errorf("start a child to check the store: %w", err)
	}
	switch exit.ExitCode() {
	case exitLocked:
		return ErrLocked
	case exitNewer:
		return ErrNewer
	case exitDenied:
		return fmt.Errorf("%w: %s", ErrReadOnly, said)
	case exitUnknown:
		return fmt.Errorf("check the store: %s", said)
	case exitDamaged:
		return fmt.Errorf("%w: %s", ErrDamaged, strings.TrimPrefix(said, ErrDamaged.Error()+": "))
	}
	return fmt.Errorf("%w: the program that looked at it ended with %v: %s", ErrDamaged, exit, trouble)
}

func firstLine(s string) string {
	line, _, _ := strings.Cut(strings.TrimSpace(s), "\n")
	return line
}

// inspect reads a store as the daemon will, and all of its state.
func inspect(path string) error {
	err := guarded(func() error {
		if err := bigEnough(path); err != nil {
			return err
		}
		db, err := bolt.Open(path, 0, &bolt.Options{Timeout: lockTimeout, ReadOnly: true,
			PreLoadFreelist: true, FreelistType: bolt.FreelistMapType})
		if err != nil {
			return err
		}
		defer db.Close()
		return db.View(func(tx *bolt.Tx) error { return inspectTx(tx, path) })
	})
	if err != nil {
		return named(err)
	}
	return nil
}

func inspectTx(tx *bolt.Tx, path string) error {
	if _, err := readSchema(tx, schema); err != nil {
		return err
	}
	for _, name := range stateBuckets() {
		if err := walk(tx, name); err != nil {
			return err
		}
	}
	for _, name := range []bucketName{journalBucket, historyBucket} {
		b, err := at(tx, name)
		if err != nil {
			return err
		}
		b.Cursor().Last()
	}
	_, open := get(tx, metaBucket, keyOpen)
	_, suspect := os.Stat(path + suspectSuffix)
	if suspect != nil && (open != nil || tx.Size() > fullCheckBelow) {
		return nil
	}
	for err := range tx.Check() {
		return fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	return nil
}

// walk checks every value of a bucket.
func walk(tx *bolt.Tx, name bucketName) error {
	b, err := at(tx, name)
	if err != nil {
		return err
	}
	return b.ForEach(func(k, v []byte) error {
		_, err := unsealed(name, k, v)
		return err
	})
}
