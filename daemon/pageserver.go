package daemon

import (
	"context"
	"errors"
	"fmt"
	"net"
	"time"

	"rillgate/daemon/page"
	"rillgate/zones"
)

// loopStalled is how long the loop may be silent before the page calls it ill.
const loopStalled = 10 * time.Second

// source lets the page look at the daemon.
type source struct{ d *Daemon }

func (s source) View() zones.View { return s.d.shown.Load().view }

func (s source) Plan() *zones.Plan {
	sh := s.d.shown.Load()
	if sh.loaded == nil {
		return nil
	}
	return sh.plan
}

func (s source) History(of page.Series, from, to time.Time) []page.Point {
	if of.Of == page.Moisture && of.Zone != "" && s.recently(from) {
		return s.d.recent.history(of.Zone, from, to)
	}
	return s.d.longAgo(of, from, to)
}

func (s source) Shots(zone string, from, to time.Time) []page.Shot {
	recent := s.d.recent.runs(zone, from, to)
	if s.recently(from) {
		return recent
	}
	return s.d.earlier(zone, recent, from, to)
}

// recently reports whether memory reaches back so far.
func (s source) recently(from time.Time) bool {
	return s.d.shown.Load().view.Wall.Sub(from) <= recentSpan
}

func (s source) Notices() []string { return s.d.shown.Load().notices }

// health is the page's word for other programs: the loop lives.
func (d *Daemon) health() error {
	wall, _ := d.clock.Now()
	if silent := wall.Sub(d.Shown().Wall); silent > loopStalled {
		return fmt.Errorf("the loop was not heard for %s", silent.Round(time.Second))
	}
	return nil
}

// pageServer is the page on its address.
type pageServer struct {
	address string
	cancel  context.CancelFunc
	done    chan error
}

// openPage serves the page; an address in use is an error.
func (d *Daemon) openPage(address string) (*pageServer, error) {
	ln, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("open the page on %s: %w", address, err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	p := &pageServer{address: ln.Addr().String(), cancel: cancel, done: make(chan error, 1)}
	server := page.New(page.Config{Source: source{d}, Version: d.o.Version, Health: d.health})
	go func() { p.done <- server.Serve(ctx, ln) }()
	return p, nil
}

func (p *pageServer) close() error {
	p.cancel()
	if err := <-p.done; err != nil && !errors.Is(err, context.Canceled) {
		return err
	}
	return nil
}

// PageAddress gives where the page is served, "" when it is not.
func (d *Daemon) PageAddress() string {
	if d.page == nil {
		return ""
	}
	return d.page.address
}
