package sheet

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones/wiring"
)

// browser finds Chromium; without it the test is skipped, or fails when tools are
// required.
func browser(t *testing.T) string {
	for _, name := range []string{"chromium", "chromium-browser", "/usr/bin/chromium"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv("RILLGATE_REQUIRE_TOOLS") == "1" {
		t.Fatal("chromium is required and not found in PATH or /usr/bin")
	}
	t.Skip("chromium not found in PATH or /usr/bin")
	return ""
}

// chromium runs the browser headless, on a profile of its own, and gives its output.
func chromium(t *testing.T, args ...string) string {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	args = append([]string{
		"--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--no-pdf-header-footer",
		"--disable-component-update", "--disable-sync", "--disable-dev-shm-usage", "--allow-file-access-from-files", "--user-data-dir=" + t.TempDir(),
	}, args...)
	cmd := exec.CommandContext(ctx, browser(t), args...)
	cmd.WaitDelay = 5 * time.Second
	var out, errs strings.Builder
	cmd.Stdout, cmd.Stderr = &out, &errs
	require.NoError(t, cmd.Run(), errs.String())
	return out.String()
}

func put(t *testing.T, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return "file://" + path
}

// frame shows the documents in frames of several widths and writes down what is
// wider than its frame, and which text of a drawing runs out of it.
const frame = `<script>window.onload = () => { for (const f of document.querySelectorAll("iframe")) {
  const d = f.contentDocument, w = d.documentElement.clientWidth;
  let beyond = "";
  for (const e of d.querySelectorAll("body *")) if (e.getBoundingClientRect().right > w + 0.5 && !e.closest("thead")) beyond = e.outerHTML.slice(0, 80).replace(/[\[\]<>]/g, "");
  for (const e of d.querySelectorAll("svg text")) if (e.getBoundingClientRect().right > e.closest("svg").getBoundingClientRect().right + 0.5) beyond = "drawing: " + e.textContent;
  document.getElementById("o" + f.id.slice(1)).textContent = "view=" + f.id.slice(1) + " client=" + w + " scroll=" + d.documentElement.scrollWidth + " beyond=[" + beyond + "]";
} };</script>`

var measured = regexp.MustCompile(`view=(\d+) client=(\d+) scroll=(\d+) beyond=\[([^\]]*)\]`)

// The sheet fits a phone, a tablet and a desk; so do names as long as they may be.
func TestFitsEveryWidth(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	put(t, dir, "full.html", html(t, full(1)))
	put(t, dir, "hostile.html", html(t, hostile()))
	put(t, dir, "wide.html", `<!doctype html><body><div style="width:600px">too wide</div>`)
	views := []struct {
		name  string
		width int
	}{{"full", 360}, {"full", 800}, {"full", 1200}, {"hostile", 360}, {"hostile", 1200}, {"wide", 360}}
	page := "<!doctype html><body>"
	for i, v := range views {
		page += fmt.Sprintf(`<iframe id=f%d width=%d height=900 src="%s.html"></iframe><pre id=o%d></pre>`, i, v.width, v.name, i)
	}
	dom := chromium(t, "--virtual-time-budget=5000", "--dump-dom", put(t, dir, "frames.html", page+frame))
	found := measured.FindAllStringSubmatch(dom, -1)
	require.Len(t, found, len(views))
	for i, m := range found {
		client, _ := strconv.Atoi(m[2])
		scroll, _ := strconv.Atoi(m[3])
		require.InDelta(t, views[i].width, client, 20, "the frame has the width asked for")
		if views[i].name == "wide" {
			require.Greater(t, scroll, client, "the measure does not see what is too wide")
			continue
		}
		require.LessOrEqual(t, scroll, client, "%+v", views[i])
		require.Empty(t, m[4], "%+v", views[i])
	}
}

var pdfPage = regexp.MustCompile(`/Type\s*/Page\b[^s]`)

// pages prints the controllers' pages alone on a paper and counts them.
func pages(t *testing.T, r wiring.Room, paper string) int {
	dir := t.TempDir()
	text := html(t, r)
	sized := strings.Replace(text, "</head>", "<style>@page { size: "+paper+"; } .labels, .room { display: none; }</style></head>", 1)
	require.NotEqual(t, text, sized)
	out := filepath.Join(dir, "sheet.pdf")
	chromium(t, "--print-to-pdf="+out, put(t, dir, "sheet.html", sized))
	pdf, err := os.ReadFile(out)
	require.NoError(t, err)
	if dir := os.Getenv("RILLGATE_PICTURES"); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, fmt.Sprintf("sheet-%s-%d.pdf", strings.ToLower(paper), len(r.Controllers))), pdf, 0o600))
	}
	return len(pdfPage.FindAll(pdf, -1))
}

// One page a controller on A4 and on Letter, even for the fullest one that the house's
// rules let be. A controller over them takes more, which the count must see.
func TestOnePageAController(t *testing.T) {
	over := full(1)
	c := &over.Controllers[0]
	c.Terminals = append(c.Terminals, c.Terminals...)
	for name, print := range map[string]struct {
		room  wiring.Room
		paper string
	}{"two on A4": {full(2), "A4"}, "two on Letter": {full(2), "Letter"}, "one over the rules": {over, "A4"}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, 2, pages(t, print.room, print.paper))
		})
	}
}
