package page

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"net"
	"net/http"
	"strconv"
	"time"

	"golang.org/x/net/netutil"
)

const (
	maxConnections = 16
	headerTimeout  = 5 * time.Second
	writeTimeout   = 15 * time.Second
	maxHeaderBytes = 8 << 10
	closeTimeout   = 2 * time.Second
)

// Config is what a Server needs to know once.
type Config struct {
	Source  Source
	Version string   // of the program
	Hosts   []string // more names by which browsers may reach the page
	// Health says what is wrong with the process; nil, or a nil error = nothing.
	Health func() error
}

// Server answers requests for the page.
type Server struct {
	cfg     Config
	pages   *template.Template
	handler http.Handler
}

// New makes a server.
func New(c Config) *Server {
	s := &Server{cfg: c, pages: parsePages()}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", s.room)
	mux.HandleFunc("GET /zones/{id}", s.zone)
	mux.HandleFunc("GET /probes/{id}", s.probe)
	mux.HandleFunc("GET /view.json", s.viewJSON)
	mux.HandleFunc("GET /healthz", s.healthz)
	s.handler = s.guard(mux)
	return s
}

// Handler gives the page with its guards, for a server of one's own.
func (s *Server) Handler() http.Handler { return s.handler }

// Serve answers on ln until the context ends, then lets open answers finish for 2 s.
// It closes ln. The error is nil after an end by context.
func (s *Server) Serve(ctx context.Context, ln net.Listener) error {
	srv := &http.Server{
		Handler:           s.handler,
		ReadHeaderTimeout: headerTimeout,
		ReadTimeout:       headerTimeout,
		WriteTimeout:      writeTimeout,
		MaxHeaderBytes:    maxHeaderBytes,
	}
	srv.SetKeepAlivesEnabled(false) // so that idle browsers hold none of the few connections
	done := make(chan error, 1)
	go func() { done <- srv.Serve(netutil.LimitListener(ln, maxConnections)) }()
	select {
	case err := <-done:
		return fmt.Errorf("serve the page on %s: %w", ln.Addr(), err)
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), closeTimeout)
	defer cancel()
	if err := srv.Shutdown(last); err != nil {
		_ = srv.Close() // what is still open after the last word is cut
	}
	if err := <-done; !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("serve the page on %s: %w", ln.Addr(), err)
	}
	return nil
}

func (s *Server) room(w http.ResponseWriter, r *http.Request) {
	s.render(w, "room", newRoomPage(&s.cfg, r.URL.Query().Has("still")))
}

func (s *Server) zone(w http.ResponseWriter, r *http.Request) {
	p, ok := newZonePage(&s.cfg, r.PathValue("id"), r.URL.Query().Has("still"))
	if !ok {
		http.Error(w, "there is no such zone; the list of zones is at /", http.StatusNotFound)
		return
	}
	s.render(w, "zone", p)
}

func (s *Server) probe(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	days, _ := strconv.Atoi(q.Get("days")) // what is none is the usual
	p, ok := newProbePage(&s.cfg, r.PathValue("id"), days, q.Has("still"))
	if !ok {
		http.Error(w, "there is no such probe; the list of probes is at /", http.StatusNotFound)
		return
	}
	s.render(w, "probe", p)
}

// render writes a whole page or an error, never half a page.
func (s *Server) render(w http.ResponseWriter, name string, data any) {
	var b bytes.Buffer
	if err := s.pages.ExecuteTemplate(&b, name, data); err != nil {
		http.Error(w, "draw the page: "+err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write(b.Bytes()) // the browser has gone: nothing is left to do
}

func (s *Server) viewJSON(w http.ResponseWriter, _ *http.Request) {
	b, err := json.MarshalIndent(s.cfg.Source.View(), "", "  ")
	if err != nil {
		http.Error(w, "encode the view: "+err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(append(b, '\n'))
}

func (s *Server) healthz(w http.ResponseWriter, _ *http.Request) {
	if s.cfg.Health != nil {
		if err := s.cfg.Health(); err != nil {
			http.Error(w, err.Error(), http.StatusServiceUnavailable)
			return
		}
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	_, _ = w.Write([]byte("ok\n"))
}
