package page

import (
	"bufio"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// FuzzRequest sends any bytes that Go's server would take for a request: the answer
// is one of the known ones, whole, with its headers, and shows no markup of the
// request's own.
func FuzzRequest(f *testing.F) {
	for _, s := range []string{
		"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n",
		"GET /zones/east?still=1 HTTP/1.1\r\nHost: 127.0.0.1:8480\r\n\r\n",
		"HEAD /view.json HTTP/1.0\r\nHost: [::1]\r\n\r\n",
		"POST /zones/%2e%2e/<script> HTTP/1.1\r\nHost: x.example\r\nContent-Length: 3\r\n\r\nabc",
		"GET //zones///east/../%3Cscript%3E HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
		"GET /probes/e1?days=7&still HTTP/1.1\r\nHost: localhost\r\n\r\n",
		"GET http://evil.example/healthz HTTP/1.1\r\nHost: localhost\r\n\r\n",
	} {
		f.Add(s)
	}
	src := newFake(f)
	h := New(Config{Source: src, Version: "test"}).Handler()
	f.Fuzz(func(t *testing.T, raw string) {
		r, err := http.ReadRequest(bufio.NewReader(strings.NewReader(raw)))
		if err != nil {
			return
		}
		rec := httptest.NewRecorder()
		h.ServeHTTP(rec, r)
		require.Contains(t, []int{200, 301, 307, 400, 404, 405, 413, 421}, rec.Code)
		requireHeaders(t, rec)
		body := rec.Body.String()
		require.NotContains(t, body, "<script")
		if rec.Code == 200 && strings.HasPrefix(rec.Header().Get("Content-Type"), "text/html") {
			require.True(t, strings.HasSuffix(strings.TrimSpace(body), "</html>"), "half a page")
		}
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			require.NotEqual(t, 200, rec.Code)
		}
	})
}
