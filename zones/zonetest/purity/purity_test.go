package purity

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// check writes one file into a folder of a module of its own and checks it.
func check(t *testing.T, source string, allowed ...string) []string {
	t.Helper()
	root := t.TempDir()
	dir := filepath.Join(root, "pure")
	require.NoError(t, os.MkdirAll(filepath.Join(root, "other"), 0o755))
	require.NoError(t, os.MkdirAll(dir, 0o755))
	for name, text := range map[string]string{
		filepath.Join(root, "go.mod"):           "module rillgate\n",
		filepath.Join(root, "other", "a.go"):    "package other\n\ntype Table map[string]int\n\nfunc Of() Table { return nil }\n",
		filepath.Join(dir, "a.go"):              source,
		filepath.Join(dir, "not_read_test.go"):  "package pure\n\nimport _ \"os\"\n",
		filepath.Join(root, "unread", "b.go.x"): "",
	} {
		require.NoError(t, os.MkdirAll(filepath.Dir(name), 0o755))
		require.NoError(t, os.WriteFile(name, []byte(text), 0o644))
	}
	found, err := Check(dir, allowed...)
	require.NoError(t, err)
	return found
}

func TestFindsWhatIsNotPure(t *testing.T) {
	for name, c := range map[string]struct{ source, want string }{
		"os":             {`import "os"; var X = os.Args`, "imports \"os\""},
		"net below":      {`import "net/http"; var X http.Client`, "imports \"net/http\""},
		"rand":           {`import "math/rand/v2"; var X = rand.Int()`, "imports \"math/rand/v2\""},
		"sync":           {`import "sync"; var X sync.Mutex`, "imports \"sync\""},
		"log":            {`import "log"; var X = log.Default()`, "imports \"log\""},
		"not allowed":    {`import "rillgate/other"; var X other.Table`, "imports \"rillgate/other\""},
		"tests only":     {`import _ "rillgate/zones/zonetest/tool"`, "imports \"rillgate/zones/zonetest/tool\""},
		"prefix only":    {`import "rillgate/otherwise"`, "imports \"rillgate/otherwise\""},
		"blank":          {`import _ "os"`, "imports \"os\""},
		"dot":            {`import . "time"; var X = Now()`, "into its own names"},
		"go":             {`func f() { go f() }`, "starts a goroutine"},
		"channel type":   {`type c chan int`, "has a channel"},
		"channel made":   {`func f() { _ = make(chan int) }`, "has a channel"},
		"select":         {`func f() { select {} }`, "selects"},
		"init":           {`func init() {}`, "has init"},
		"now":            {`import "time"; func f() time.Time { return time.Now() }`, "uses time.Now: it reads a clock"},
		"now as a value": {`import "time"; var now = time.Now`, "uses time.Now"},
		"now by alias":   {`import clock "time"; func f() { clock.Sleep(1) }`, "uses time.Sleep"},
		"since":          {`import "time"; func f(t time.Time) { _ = time.Since(t) }`, "uses time.Since"},
		"timer":          {`import "time"; func f() { time.AfterFunc(1, f) }`, "uses time.AfterFunc"},
		"machine's zone": {`import "time"; func f() { _ = time.Local }`, "uses time.Local: it depends on the machine"},
		"printf":         {`import "fmt"; func f() { fmt.Println() }`, "uses fmt.Println"},
		"println":        {`func f() { println() }`, "uses println"},
		"map":            {`func f(m map[int]int) { for range m { } }`, "visits a map in no fixed order"},
		"map of times":   {"import \"time\"\nfunc f() { m := map[string]time.Time{}; for k := range m { _ = k } }", "visits a map"},
		"named map":      {`type table map[string]int; type s struct { t table }; func f(x *s) { for k, v := range x.t { _, _ = k, v } }`, "visits a map"},
		"keys":           {"import \"maps\"\nfunc f(m map[int]int) { for k := range maps.Keys(m) { _ = k } }", "uses maps.Keys"},
		"collected keys": {"import (\"maps\"; \"slices\")\nfunc f(m map[int]int) { _ = slices.Collect(maps.Keys(m)) }", "uses maps.Keys"},
		"far comment":    {"func f(m map[int]int) {\n// order: too far up\n\n\nfor range m { } }", "visits a map"},
		"empty comment":  {"func f(m map[int]int) {\n// order:\nfor range m { } }", "visits a map"},
	} { // each case stands alone
		found := check(t, "package pure\n"+c.source+"\n", "rillgate/zones")
		require.Len(t, found, 1, name)
		require.Contains(t, found[0], c.want, name)
		require.True(t, strings.HasPrefix(found[0], "a.go:"), found[0])
	}
}

func TestFindsMapsOfOtherPackages(t *testing.T) {
	found := check(t, "package pure\nimport \"rillgate/other\"\nfunc f() { for range other.Of() { } }\n", "rillgate/other")
	require.Len(t, found, 1)
	require.Contains(t, found[0], "a.go:3: visits a map")
}

func TestLetsThroughWhatIsPure(t *testing.T) {
	for name, source := range map[string]string{
		"arithmetic":    `import ("math"; "time"); func f(t time.Time) float64 { return math.Sqrt(float64(t.Add(time.Second).Unix())) }`,
		"slices":        `func f(s []int, n int) { for range s { }; for range n { } }`,
		"above":         "func f(m map[int]int) (n int) {\n// order: a sum\nfor _, v := range m { n += v }; return }",
		"beside":        "func f(m map[int]int) (n int) {\nfor _, v := range m { // order: a sum\nn += v }; return }",
		"sorted keys":   "import (\"maps\"; \"slices\")\nfunc f(m map[int]int) { for _, k := range slices.Sorted(maps.Keys(m)) { _ = m[k] } }",
		"own method":    `type clock struct{}; func (clock) Now() int { return 0 }; func f(time clock) int { return time.Now() }`,
		"own print":     `func print(int) {}; func f() { print(1) }`,
		"method init":   `type s struct{}; func (s) init() {}`,
		"sprintf":       `import "fmt"; func f() string { return fmt.Sprintf("%d", 1) }`,
		"allowed":       `import "rillgate/other"; var X other.Table`,
		"below allowed": `import "rillgate/other/below"`,
	} { // each case stands alone
		require.Empty(t, check(t, "package pure\n"+source+"\n", "rillgate/other"), name)
	}
}

func TestSaysWhatItCannotRead(t *testing.T) {
	_, err := Check(t.TempDir())
	require.ErrorContains(t, err, "find go.mod")
	root := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(root, "go.mod"), []byte("module rillgate\n"), 0o644))
	_, err = Check(root)
	require.ErrorContains(t, err, "no Go file in it")
	require.NoError(t, os.WriteFile(filepath.Join(root, "a.go"), []byte("packag"), 0o644))
	_, err = Check(root)
	require.ErrorContains(t, err, "parse")
}
