package page

import (
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
)

// guard refuses what the page has no use for, before anything is looked at: other
// methods, bodies, and host names that are not ours. The last one stops a foreign web
// page whose name was pointed at this address (DNS rebinding) from reading it.
func (s *Server) guard(next http.Handler) http.Handler {
	policy := "default-src 'none'; style-src '" + styleHash() + "'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		switch {
		case r.Method != http.MethodGet && r.Method != http.MethodHead:
			h.Set("Allow", "GET, HEAD")
			http.Error(w, "this page shows and changes nothing: GET and HEAD only", http.StatusMethodNotAllowed)
		case r.ContentLength != 0:
			h.Set("Connection", "close")
			http.Error(w, "a body has no use here", http.StatusRequestEntityTooLarge)
		case !s.ourHost(r):
			http.Error(w, "unknown host name: open the page by its address or as localhost", http.StatusMisdirectedRequest)
		default:
			next.ServeHTTP(w, r)
		}
	})
}

// ourHost reports whether the request names us as we may be named: localhost, a name
// of the configuration, or an address. On a connection that came in over loopback the
// address must be a loopback one.
func (s *Server) ourHost(r *http.Request) bool {
	name := strings.ToLower(hostOnly(r.Host))
	if name == "localhost" || slices.Contains(s.cfg.Hosts, name) {
		return true
	}
	ip, err := netip.ParseAddr(strings.Trim(name, "[]"))
	return err == nil && (ip.IsLoopback() || !overLoopback(r))
}

func hostOnly(hostport string) string {
	if host, _, err := net.SplitHostPort(hostport); err == nil {
		return host
	}
	return hostport
}

// overLoopback reports whether the listener's own address is a loopback one; an
// unknown address counts as one.
func overLoopback(r *http.Request) bool {
	addr, ok := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	if !ok {
		return true
	}
	ap, err := netip.ParseAddrPort(addr.String())
	return err != nil || ap.Addr().Unmap().IsLoopback()
}
