package page

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
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
func chromium(t *testing.T, args ...string) (stdout, stderr string) {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	args = append([]string{
		"--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
		"--disable-component-update", "--disable-sync", "--disable-dev-shm-usage", "--enable-logging=stderr", "--user-data-dir=" + t.TempDir(),
	}, args...)
	cmd := exec.CommandContext(ctx, browser(t), args...)
	cmd.WaitDelay = 5 * time.Second
	var out, errs strings.Builder
	cmd.Stdout, cmd.Stderr = &out, &errs
	require.NoError(t, cmd.Run(), errs.String())
	return out.String(), errs.String()
}

// view is one page shown in a frame of one width.
type framedView struct {
	path  string
	width int
}

var framedViews = []framedView{
	{"/?still", 360}, {"/?still", 760}, {"/?still", 1200}, {"/zones/west?still", 360}, {"/zones/west?still", 1200},
	{"/probes/e1?still", 360}, {"/probes/e1?still", 1200}, {"/past.html", 360},
	{"/too-wide", 360}, // the control: the measure must see it
}

// frames is a page that shows each view in a frame and writes down how wide its
// content came out and what its text is.
func frames() string {
	var b strings.Builder
	b.WriteString("<!doctype html><body>")
	for i, v := range framedViews {
		fmt.Fprintf(&b, `<iframe id=f%d width=%d height=900 src="%s"></iframe><pre id=o%d></pre>`, i, v.width, v.path, i)
	}
	b.WriteString(`<script>window.onload = () => { for (const f of document.querySelectorAll("iframe")) {
  const d = f.contentDocument, w = d.documentElement.clientWidth;
  let beyond = "";
  for (const e of d.querySelectorAll("body *")) if (e.getBoundingClientRect().right > w + 0.5 && !e.closest("thead")) beyond = e.outerHTML.slice(0, 80).replace(/[\[\]<>]/g, "");
  document.getElementById("o" + f.id.slice(1)).textContent = "view=" + f.id.slice(1) + " client=" + w + " scroll=" + d.documentElement.scrollWidth + " beyond=[" + beyond + "] " + d.body.innerText;
} };</script>`)
	return b.String()
}

// framed serves the page and the frames around it. Only the headers that forbid a
// frame are taken away.
func framed(t *testing.T) string {
	src := newFake(t)
	src.addPast("e1")
	h := New(Config{Source: src, Version: "test"}).Handler()
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/frames":
			_, _ = w.Write([]byte(frames()))
			return
		case "/phone":
			fmt.Fprintf(w, `<!doctype html><body style="margin:0"><iframe width=390 height=2900 style="border:0" src="/%s?still"></iframe>`, r.URL.RawQuery)
			return
		case "/past.html":
			require.NoError(t, samplePast(t).HTML(w))
			return
		case "/past.svg":
			w.Header().Set("Content-Type", "image/svg+xml")
			require.NoError(t, samplePast(t).SVG(w))
			return
		case "/too-wide":
			_, _ = w.Write([]byte(`<!doctype html><body><div style="width:600px">wide</div>`))
			return
		}
		rec := httptest.NewRecorder()
		h.ServeHTTP(rec, r)
		for k, v := range rec.Header() {
			w.Header()[k] = v
		}
		w.Header().Del("X-Frame-Options")
		w.Header().Set("Content-Security-Policy", strings.Replace(rec.Header().Get("Content-Security-Policy"), "; frame-ancestors 'none'", "", 1))
		w.WriteHeader(rec.Code)
		_, _ = w.Write(rec.Body.Bytes())
	}))
	t.Cleanup(srv.Close)
	return srv.URL
}

var measured = regexp.MustCompile(`view=(\d+) client=(\d+) scroll=(\d+) beyond=\[([^\]]*)\]`)

func TestInABrowser(t *testing.T) {
	base := framed(t)
	dom, log := chromium(t, "--virtual-time-budget=5000", "--dump-dom", base+"/frames")
	found := measured.FindAllStringSubmatch(dom, -1)
	require.Equal(t, len(framedViews), len(found), "views measured")
	for i, m := range found {
		v := framedViews[i]
		client, _ := strconv.Atoi(m[2])
		scroll, _ := strconv.Atoi(m[3])
		require.InDelta(t, v.width, client, 20, "the frame has the width asked for")
		if v.path == "/too-wide" {
			require.Greater(t, scroll, client, "the measure does not see what is too wide")
			require.NotEmpty(t, m[4])
			continue
		}
		require.LessOrEqual(t, scroll, client, "%+v is wider than its frame", v)
		require.Empty(t, m[4], "%+v: an element reaches beyond the frame", v)
	}
	for _, text := range []string{"Bay 2", "46.2 %", "East bench", "watering", "files on disk differ", "What to do:", "14:20:05", "moisture not known", "The driest of the probes that count"} {
		require.True(t, strings.Contains(dom, text), "%q is not on the page", text)
	}
	require.NotContains(t, log, "Content Security Policy", "the policy refuses something that the page needs")
	if dir := os.Getenv("RILLGATE_PICTURES"); dir != "" {
		pictures(t, dir, base)
	}
}

// pictures saves how the pages look, for a person to judge: RILLGATE_PICTURES=DIR.
func pictures(t *testing.T, dir, base string) {
	for _, p := range []struct{ name, path, size, scheme string }{
		{"room-1200", "/?still", "1200,2900", "1"}, {"room-390", "/phone", "500,2900", "1"},
		{"room-dark", "/?still", "1200,2900", "0"}, {"zone-1200", "/zones/east?still", "1200,1700", "1"}, {"zone-dark-500", "/zones/west?still", "500,2600", "0"},
		{"probe-1200", "/probes/e1?still", "1200,1500", "1"}, {"probe-dark", "/probes/e1?still", "1200,1500", "0"}, {"probe-390", "/phone?probes/e1", "500,1800", "0"},
		{"past", "/past.svg", "820,800", "1"}, {"past-dark", "/past.svg", "820,800", "0"}, {"past-html-500", "/past.html", "500,1100", "0"},
	} {
		chromium(t, "--hide-scrollbars", "--blink-settings=preferredColorScheme="+p.scheme, "--window-size="+p.size,
			"--screenshot="+filepath.Join(dir, p.name+".png"), base+p.path)
	}
	chromium(t, "--print-to-pdf="+filepath.Join(dir, "room.pdf"), base+"/?still")
}
