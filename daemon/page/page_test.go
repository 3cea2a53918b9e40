package page

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

func get(t testing.TB, c Config, target string) *httptest.ResponseRecorder {
	return ask(t, c, httptest.NewRequest(http.MethodGet, target, nil))
}

func ask(t testing.TB, c Config, r *http.Request) *httptest.ResponseRecorder {
	if r.Host == "example.com" { // httptest's own
		r.Host = "127.0.0.1:8480"
	}
	rec := httptest.NewRecorder()
	New(c).Handler().ServeHTTP(rec, r)
	return rec
}

func TestTheRoomIsShown(t *testing.T) {
	rec := get(t, Config{Source: newFake(t), Version: "1.2"}, "/")
	require.Equal(t, 200, rec.Code)
	body := rec.Body.String()
	for _, text := range []string{
		"<title>Bay 2</title>", "Tue 2 Mar 2027, 14:20:05 CST", `content="10"`,
		"files on disk differ: run <code>rillgate apply</code>", "Too few probes are heard: west", "26 min ago",
		"46.2 %", "± 1.3 points", "ramp-up until 16:00, 3 shots so far", "12 min 35 s of 1 h (21 %)", "1204.8 L in 311 shots",
		"maybe open", "no report for 41 s", "fell from 51.2 %", "moisture not known", "Rillgate 1.2", "5f1c09ab77d2",
		"48 plants with 2 emitters of 2 L/h each make 3.2 L/min", "Measured by the meter",
	} {
		require.True(t, strings.Contains(body, text), "%q is not on the page", text)
	}
	require.Less(t, strings.Index(body, "Alarms"), strings.Index(body, "Zones"), "alarms come first")
	require.NotContains(t, body, "<script")
	require.NotContains(t, body, "style=", "the policy forbids style attributes")
}

// The output that is held while all is well stands in the head and in a row of its own.
func TestTheHealthyOutputIsShown(t *testing.T) {
	s := newFake(t)
	body := get(t, Config{Source: s}, "/").Body.String()
	for _, text := range []string{"✗</span> healthy output dropped", "horn over the door", "probes-lost of west: 1 of 3 probes counts", "dropped by probes-lost-west"} {
		require.Contains(t, body, text)
	}
	s.view.Healthy.State, s.view.Healthy.Held, s.view.Healthy.Alarms = zones.HealthyHeld, true, nil
	body = get(t, Config{Source: s}, "/").Body.String()
	require.Contains(t, body, "✓</span> healthy output held")
	require.Contains(t, body, "no urgent alarm stands")
	for state := range healthyWords {
		s.view.Healthy.State, s.view.Healthy.Held = state, state == zones.HealthyHeld
		require.Contains(t, get(t, Config{Source: s}, "/").Body.String(), healthyWords[state][0])
	}
	s.view.Healthy = nil
	require.NotContains(t, get(t, Config{Source: s}, "/").Body.String(), "ealthy output")
}

func TestUnitsOfTheUS(t *testing.T) {
	src := newFake(t)
	src.plan.US = true
	body := get(t, Config{Source: src}, "/").Body.String()
	// 40.3 L / 3.785411784 = 10.65 gal; 22.4 °C = 72.3 °F; 6.7 L/min = 1.77 gal/min.
	for _, text := range []string{"10.6 gal", "72.3 °F", "1.8 gal/min", "Gallons, last 24 h"} {
		require.True(t, strings.Contains(body, text), "%q is not on the page", text)
	}
}

func TestBeforeThereIsAPlan(t *testing.T) {
	rec := get(t, Config{Source: &fakeSource{}}, "/")
	require.Equal(t, 200, rec.Code)
	for _, text := range []string{"No zone is set up yet", "broker lost", "clock unsure", "No alarm stands"} {
		require.Contains(t, rec.Body.String(), text)
	}
}

func TestOneZone(t *testing.T) {
	c := Config{Source: newFake(t)}
	rec := get(t, c, "/zones/east")
	require.Equal(t, 200, rec.Code)
	for _, text := range []string{"East bench", "<details open>", "The median of the probes that count: 4 of 4 count", "e1 45.5 % (good)", "resting", "812", "Shots of the last 24 h", "open now"} {
		require.Contains(t, rec.Body.String(), text)
	}
	require.NotContains(t, rec.Body.String(), "West bench")
	for _, path := range []string{"/zones/", "/zones/nowhere", "/zones/EAST", "/zones/east/x", "/other", "/index.html"} {
		require.Equal(t, 404, get(t, c, path).Code, path)
	}
}

func TestABudgetThatCountsAsSpent(t *testing.T) {
	src := newFake(t)
	src.view.Zones[0].UsedSeconds, src.view.Zones[0].BudgetSpent = 0, true
	body := get(t, Config{Source: src}, "/zones/east").Body.String()
	require.Contains(t, body, "counts as spent, all 1 h: what was given is not known")
	require.Contains(t, body, `max="3600" value="3600"`, "the bar is full")
}

func TestHeldStill(t *testing.T) {
	c := Config{Source: newFake(t)}
	require.NotContains(t, get(t, c, "/?still").Body.String(), "http-equiv")
	require.Contains(t, get(t, c, "/zones/east?still").Body.String(), `<a href="/zones/east">Let it renew itself`)
}

func TestViewAsData(t *testing.T) {
	src := newFake(t)
	rec := get(t, Config{Source: src}, "/view.json")
	require.Equal(t, "application/json", rec.Header().Get("Content-Type"))
	var v zones.View
	require.NoError(t, json.Unmarshal(rec.Body.Bytes(), &v))
	require.Equal(t, src.view.Zones, v.Zones)
	src.view.Zones[0].Moisture = ptr(math.NaN())
	require.Equal(t, 500, get(t, Config{Source: src}, "/view.json").Code)
	require.Contains(t, get(t, Config{Source: src}, "/").Body.String(), "moisture not known")
}

func TestHealth(t *testing.T) {
	c := Config{Source: newFake(t)}
	require.Equal(t, "ok\n", get(t, c, "/healthz").Body.String())
	c.Health = func() error { return errors.New("the loop has not moved for 31 s") }
	rec := get(t, c, "/healthz")
	require.Equal(t, 503, rec.Code)
	require.Contains(t, rec.Body.String(), "has not moved")
}

func TestWordsFromOutsideCannotBecomeMarkup(t *testing.T) {
	src := newFake(t)
	const evil = `"><script>alert(1)</script>`
	z := &src.view.Zones[0]
	z.ID, z.Name, z.Because, z.Next, z.Window, z.Stage = "east", evil, evil, evil, evil, evil
	src.view.Name, src.notices = evil, []string{evil, "`" + evil + "`"}
	src.view.Probes[0].ID, src.view.Probes[0].Label, src.view.Probes[0].Because, src.view.Probes[0].Serial = evil, evil, evil, evil
	src.view.Alarms[0].Because, src.view.Alarms[0].Subject, src.view.Alarms[0].Code = evil, evil, zones.Reason(evil)
	src.shots["east"][0].Opened = zones.Reason(evil)
	for _, path := range []string{"/", "/zones/east"} {
		body := get(t, Config{Source: src}, path).Body.String()
		require.NotContains(t, body, "<script", path)
		require.Contains(t, body, "&lt;script&gt;")
	}
}

func TestGuard(t *testing.T) {
	c := Config{Source: newFake(t), Hosts: []string{"growbox.lan"}}
	request := func(method, target, host string, body io.Reader) *http.Request {
		r := httptest.NewRequest(method, target, body)
		r.Host = host
		return r
	}
	lan := func(r *http.Request) *http.Request {
		addr := &net.TCPAddr{IP: net.ParseIP("192.168.7.20"), Port: 8480}
		return r.WithContext(context.WithValue(r.Context(), http.LocalAddrContextKey, net.Addr(addr)))
	}
	for _, test := range []struct {
		name string
		r    *http.Request
		want int
	}{
		{"loopback address", request("GET", "/", "127.0.0.1:8480", nil), 200},
		{"without port", request("GET", "/", "127.0.0.1", nil), 200},
		{"another loopback address", request("GET", "/", "127.0.0.2:80", nil), 200},
		{"IPv6", request("GET", "/", "[::1]:8480", nil), 200},
		{"IPv6 without port", request("GET", "/", "[::1]", nil), 200},
		{"localhost", request("GET", "/", "LOCALHOST:9000", nil), 200},
		{"configured name", request("GET", "/", "growbox.lan:8480", nil), 200},
		{"head", request("HEAD", "/", "localhost", nil), 200},
		{"foreign name", request("GET", "/", "rebind.example", nil), 421},
		{"foreign name that looks like ours", request("GET", "/view.json", "127.0.0.1.rebind.example:8480", nil), 421},
		{"no host", request("GET", "/", "", nil), 421},
		{"LAN address over loopback", request("GET", "/", "192.168.7.20:8480", nil), 421},
		{"LAN address over LAN", lan(request("GET", "/", "192.168.7.20:8480", nil)), 200},
		{"foreign name over LAN", lan(request("GET", "/", "rebind.example", nil)), 421},
		{"post", request("POST", "/", "localhost", nil), 405},
		{"put", request("PUT", "/zones/east", "localhost", nil), 405},
		{"post to nowhere", request("POST", "/nowhere", "localhost", nil), 405},
		{"delete", request("DELETE", "/zones/east", "localhost", nil), 405},
		{"options", request("OPTIONS", "/", "localhost", nil), 405},
		{"a body", request("GET", "/", "localhost", strings.NewReader("x")), 413},
		{"a body of unknown length", request("GET", "/", "localhost", io.MultiReader(strings.NewReader("x"))), 413},
	} {
		rec := httptest.NewRecorder()
		New(c).Handler().ServeHTTP(rec, test.r)
		require.Equal(t, test.want, rec.Code, test.name)
		requireHeaders(t, rec)
	}
	require.Equal(t, "GET, HEAD", ask(t, c, httptest.NewRequest("POST", "/", nil)).Header().Get("Allow"))
}

func requireHeaders(t testing.TB, rec *httptest.ResponseRecorder) {
	h := rec.Header()
	require.Contains(t, h.Get("Content-Security-Policy"), "default-src 'none'")
	require.NotContains(t, h.Get("Content-Security-Policy"), "unsafe")
	require.Equal(t, "nosniff", h.Get("X-Content-Type-Options"))
	require.Equal(t, "DENY", h.Get("X-Frame-Options"))
	require.Equal(t, "no-store", h.Get("Cache-Control"))
}

func TestServeOverTheNetwork(t *testing.T) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- New(Config{Source: newFake(t)}).Serve(ctx, ln) }()
	base := "http://" + ln.Addr().String()
	resp, err := http.Get(base + "/")
	require.NoError(t, err)
	require.Equal(t, 200, resp.StatusCode)
	require.NoError(t, resp.Body.Close())
	head, err := http.Head(base + "/view.json")
	require.NoError(t, err)
	require.Equal(t, 200, head.StatusCode)
	require.NoError(t, head.Body.Close())
	r, err := http.NewRequest("GET", base+"/", nil)
	require.NoError(t, err)
	r.Header.Set("X-Long", strings.Repeat("x", 64<<10))
	resp, err = http.DefaultClient.Do(r)
	require.NoError(t, err)
	require.Equal(t, http.StatusRequestHeaderFieldsTooLarge, resp.StatusCode)
	require.NoError(t, resp.Body.Close())
	cancel()
	require.NoError(t, <-done)
	_, err = net.DialTimeout("tcp", ln.Addr().String(), time.Second)
	require.Error(t, err, "the port is free again")
}

func TestConnectionsAreBounded(t *testing.T) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- New(Config{Source: newFake(t)}).Serve(ctx, ln) }()
	var silent []net.Conn
	for range maxConnections {
		c, err := net.Dial("tcp", ln.Addr().String())
		require.NoError(t, err)
		silent = append(silent, c)
	}
	answered := make(chan error, 1)
	go func() {
		resp, err := http.Get("http://" + ln.Addr().String() + "/healthz")
		if err == nil {
			err = resp.Body.Close()
		}
		answered <- err
	}()
	select {
	case err := <-answered:
		t.Fatalf("answered beyond the bound: %v", err)
	case <-time.After(200 * time.Millisecond):
	}
	require.NoError(t, silent[0].Close())
	require.NoError(t, <-answered, "a place that came free is used")
	for _, c := range silent[1:] {
		require.NoError(t, c.Close())
	}
	cancel()
	require.NoError(t, <-done)
}

func TestAnErrorOfTheListenerIsTold(t *testing.T) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, ln.Close())
	require.ErrorContains(t, New(Config{Source: newFake(t)}).Serve(context.Background(), ln), "serve the page on 127.0.0.1")
}
