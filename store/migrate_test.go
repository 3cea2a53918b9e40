package store

import (
	"compress/gzip"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"
)

// next is a made-up schema after this one.
func next(run func(*bolt.Tx) error) Options {
	o := fixed()
	o.schema = schema + 1
	o.migrations = []migration{
		{to: schema, what: "must not run", run: func(*bolt.Tx) error { return errors.New("ran again") }},
		{to: schema + 1, what: "name the room", run: run},
	}
	return o
}

func nameRoom(tx *bolt.Tx) error { return put(tx, metaBucket, "room", []byte("a")) }

func TestMigrationKeepsAllAndACopy(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s, _ := mustOpen(t, path)
	populate(t, s)
	require.NoError(t, s.Close())

	s, opened, err := Open(path, next(nameRoom))
	require.NoError(t, err)
	require.Equal(t, uint32(schema), opened.Migrated)
	whole(t, s)
	require.NoError(t, s.view("look", func(tx *bolt.Tx) error {
		_, err := get(tx, metaBucket, "room")
		return err
	}))
	require.NoError(t, s.Close())

	old, err := OpenReadOnly(fmt.Sprintf("%s.schema-%d", path, schema))
	require.NoError(t, err)
	whole(t, old)
	require.NoError(t, old.Close())

	_, _, err = Open(path, fixed())
	require.ErrorIs(t, err, ErrNewer)
	_, err = OpenReadOnly(path)
	require.ErrorIs(t, err, ErrNewer)
}

func TestAMigrationThatFailsChangesNothing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s, _ := mustOpen(t, path)
	populate(t, s)
	require.NoError(t, s.Close())
	_, _, err := Open(path, next(func(tx *bolt.Tx) error {
		return errors.Join(nameRoom(tx), errors.New("no"))
	}))
	require.ErrorContains(t, err, "name the room")
	s, opened := mustOpen(t, path)
	require.Zero(t, opened)
	whole(t, s)
	require.NoError(t, s.Close())
}

func TestSchemaHasItsMigrations(t *testing.T) {
	require.Len(t, migrations(), schema-1)
	for i, m := range migrations() {
		require.Equal(t, uint32(i+2), m.to)
	}
}

const oldStores = "../testdata/stores"

// Every schema that was ever released opens, migrates and gives all it held.
func TestOldStores(t *testing.T) {
	if *writeOld {
		writeOldStore(t, filepath.Join(oldStores, fmt.Sprintf("v%d.db.gz", schema)))
	}
	files, err := filepath.Glob(filepath.Join(oldStores, "v*.db.gz"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), schema)
	for _, name := range files {
		t.Run(filepath.Base(name), func(t *testing.T) {
			s, opened := mustOpen(t, gunzipped(t, name))
			require.False(t, opened.Damaged, opened.Detail)
			whole(t, s)
			require.NoError(t, s.Close())
		})
	}
}

// writeOld writes the file of the present schema; done once, when a schema is made.
var writeOld = flag.Bool("write-old-store", false, "write testdata/stores for the present schema")

func writeOldStore(t *testing.T, name string) {
	path := filepath.Join(t.TempDir(), "store.db")
	s, _ := mustOpen(t, path)
	populate(t, s)
	require.NoError(t, s.Close())
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.MkdirAll(filepath.Dir(name), 0o755))
	f, err := os.Create(name)
	require.NoError(t, err)
	z := gzip.NewWriter(f)
	_, err = z.Write(data)
	require.NoError(t, errors.Join(err, z.Close(), f.Close()))
}

func gunzipped(t *testing.T, name string) string {
	t.Helper()
	f, err := os.Open(name)
	require.NoError(t, err)
	defer f.Close()
	z, err := gzip.NewReader(f)
	require.NoError(t, err)
	data, err := io.ReadAll(z)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "store.db")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	return path
}
