package page

import (
	"html/template"
	"math"
	"time"
)

// Picture is a chart of a zone's moisture and shots, to be drawn in another document.
// Location may not be nil.
type Picture struct {
	Title    string // what it shows, for those who cannot see it
	From, To time.Time
	Location *time.Location
	US       bool
	Points   []Point
	Shots    []Shot
	Levels   []Level
}

// Level is a thin line across a picture at so many percent. Short is its name where
// there is little room; Class is "below", "stop" or "max".
type Level struct {
	Name, Short, Class string
	Percent            float64
}

// Sizes of a wide and of a narrow picture, in its own units (CSS pixels when shown at
// full width).
const (
	PictureWidth  = 760
	PictureHeight = 240
)

// Wide draws the picture for a wide screen or paper, PictureWidth by PictureHeight;
// Narrow for a narrow screen. Of both the style of Style shows the one that fits.
func (p *Picture) Wide() template.HTML {
	return p.draw(&frame{w: PictureWidth, left: 48, right: 104, most: 720}, 12, 8)
}

// Narrow is beside Wide.
func (p *Picture) Narrow() template.HTML {
	return p.draw(&frame{w: 340, left: 44, right: 84, narrow: true}, 5, 2)
}

// draw sets the marks of the time axis: so many hours at most, or so many dates.
func (p *Picture) draw(f *frame, hours, dates int) template.HTML {
	f.h, f.top, f.bottom = PictureHeight, 10, 46
	f.hours = p.hours(hours)
	if f.hours == 24 {
		days := int(math.Ceil(p.To.Sub(p.From).Hours() / 24))
		f.days = (days + dates - 1) / dates
	}
	return p.chart().draw(f)
}

// Style is the style sheet of the page, which pictures need.
func Style() template.CSS { return styleSheet() }

// hours gives how far apart the labels of the time axis stand, so that there are about
// n of them at most.
func (p *Picture) hours(n int) int {
	long := int(p.To.Sub(p.From) / time.Hour)
	for _, every := range []int{1, 3, 6, 12} {
		if long <= n*every {
			return every
		}
	}
	return 24
}

func (p *Picture) chart() *chart {
	c := &chart{title: p.Title, from: p.From, to: p.To, loc: p.Location, points: p.Points, shots: p.Shots,
		write: writing{loc: p.Location, us: p.US, now: p.From}}
	for _, l := range p.Levels {
		c.levels = append(c.levels, level{l.Name, l.Short, l.Percent, l.Class})
	}
	return c
}
