package handover

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/report"
	"rillgate/zones"
)

// chromium runs the browser headless on a profile of its own and gives its output;
// without one the test is skipped, or fails when tools are required.
func chromium(t *testing.T, args ...string) string {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		path, err = exec.LookPath("/usr/bin/chromium")
	}
	if err != nil && os.Getenv("RILLGATE_REQUIRE_TOOLS") == "1" {
		t.Fatal("chromium is required and not found in PATH or /usr/bin")
	}
	if err != nil {
		t.Skip("chromium not found in PATH or /usr/bin")
	}
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, path, append([]string{"--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
		"--no-pdf-header-footer", "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage", "--allow-file-access-from-files", "--user-data-dir=" + t.TempDir()}, args...)...)
	cmd.WaitDelay = 5 * time.Second
	var out, errs strings.Builder
	cmd.Stdout, cmd.Stderr = &out, &errs
	require.NoError(t, cmd.Run(), errs.String())
	return out.String()
}

func put(t *testing.T, dir, name, text string) string {
	t.Helper()
	require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600))
	return "file://" + filepath.Join(dir, name)
}

// crowded is a room of so many zones, each with three groups of five shots on its last day.
func crowded(t *testing.T, n int) (*zones.Plan, *report.Report) {
	l := demo(t, nil, nil)
	p := *l.Plan
	z := p.Zones[0]
	p.Zones = nil
	day := past(0)
	d := &day.Days[0]
	d.Zones = nil
	for i := range n {
		z.ID, z.Name = fmt.Sprintf("bench-%02d", i), fmt.Sprintf("Bench %d", i)
		p.Zones = append(p.Zones, z)
		of := report.ZoneDay{Zone: z.ID}
		for k := range 15 {
			at := d.From.Add(7*time.Hour + time.Duration(k)*31*time.Minute)
			of.Runs = append(of.Runs, report.Run{Opened: at, Closed: &at, Window: fmt.Sprint(k / 5), Seconds: float64(60 + k/5*20), Litres: 3})
			of.Shots, of.Seconds, of.Litres = of.Shots+1, of.Seconds+80, of.Litres+3
		}
		d.Zones = append(d.Zones, of)
	}
	return &p, day
}

var pdfPage = regexp.MustCompile(`/Type\s*/Page\b[^s]`)

// printed puts the cards of rooms of so many zones into one document and counts its pages.
func printed(t *testing.T, paper string, sizes ...int) int {
	t.Helper()
	dir, all, head := t.TempDir(), "", ""
	for _, n := range sizes {
		p, days := crowded(t, n)
		var text strings.Builder
		require.NoError(t, CardHTML(&text, p, days, now))
		at := strings.Index(text.String(), "<section")
		head = text.String()[:at]
		all += strings.TrimSuffix(strings.TrimSpace(text.String()[at:]), "</body>\n</html>")
	}
	out := filepath.Join(dir, "card.pdf")
	head = strings.Replace(head, "</head>", "<style>@page { size: "+paper+"; }</style></head>", 1)
	chromium(t, "--print-to-pdf="+out, put(t, dir, "card.html", head+all+"</body></html>"))
	pdf, err := os.ReadFile(out)
	require.NoError(t, err)
	if to := os.Getenv("RILLGATE_PICTURES"); to != "" {
		require.NoError(t, os.WriteFile(filepath.Join(to, "card-"+paper+".pdf"), pdf, 0o600))
	}
	return len(pdfPage.FindAll(pdf, -1))
}

// The card is one page on A4 and on Letter, up to two dozen zones.
func TestTheCardIsOnePage(t *testing.T) {
	t.Parallel()
	require.Equal(t, 6, printed(t, "Letter", 1, 2, 4, 8, 12, 24))
	require.Equal(t, 4, printed(t, "A4", 2, 4, 8, 24))
}

const frame = `<script>window.onload = () => { for (const f of document.querySelectorAll("iframe")) {
  const d = f.contentDocument, w = d.documentElement.clientWidth; let beyond = "";
  for (const e of d.querySelectorAll("body *")) if (e.getBoundingClientRect().right > w + 0.5 && !e.closest("thead")) beyond = e.outerHTML.slice(0, 60).replace(/[\[\]<>]/g, "");
  document.getElementById("o" + f.id.slice(1)).textContent = "scroll=" + (d.documentElement.scrollWidth - w) + " beyond=[" + beyond + "]";
} };</script>`

var measured = regexp.MustCompile(`scroll=(-?\d+) beyond=\[([^\]]*)\]`)

// The document fits a phone and a desk.
func TestFitsEveryWidth(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	put(t, dir, "all.html", htmlOf(t, &Input{Loaded: demo(t, nil, nil), Now: now, Days: past(3, 4, 5)}))
	put(t, dir, "wide.html", `<!doctype html><body><div style="width:600px">too wide</div>`)
	page := "<!doctype html><body>"
	for i, v := range []string{"width=360 height=900 src=all.html", "width=1100 height=900 src=all.html", "width=360 height=900 src=wide.html"} {
		page += fmt.Sprintf(`<iframe id=f%d %s></iframe><pre id=o%d></pre>`, i, v, i)
	}
	found := measured.FindAllStringSubmatch(chromium(t, "--virtual-time-budget=5000", "--dump-dom", put(t, dir, "frames.html", page+frame)), -1)
	require.Len(t, found, 3)
	for _, m := range found[:2] {
		require.Equal(t, []string{"0", ""}, m[1:])
	}
	require.NotEqual(t, "0", found[2][1], "the measure does not see what is too wide")
}
