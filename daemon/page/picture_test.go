package page

import (
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// However long a picture is, its line holds together, and its dates do not touch: a
// date is about 70 wide.
func TestPicturesOfAnyLength(t *testing.T) {
	date := regexp.MustCompile(`x="([0-9.]+)" y="[0-9.]+">[A-Z][a-z]{2} [0-9]+ [A-Z][a-z]{2}<`)
	from := time.Date(2027, time.March, 1, 0, 0, 0, 0, time.UTC)
	for _, days := range []int{1, 2, 3, 7, 8, 9, 10, 30, 92} {
		p := Picture{Title: "t", From: from, To: from.AddDate(0, 0, days), Location: time.UTC, Levels: []Level{{Name: "highest", Short: "max", Class: "max", Percent: 70}}}
		for at := p.From; !at.After(p.To); at = at.Add(time.Minute) {
			p.Points = append(p.Points, Point{At: at, Value: 50 + float64(at.Hour())/4, Known: true})
		}
		p.Shots = []Shot{{Start: from.Add(time.Hour), End: from.Add(time.Hour + time.Minute)}}
		for name, svg := range map[string]string{"wide": string(p.Wide()), "narrow": string(p.Narrow())} {
			require.Equal(t, 1, strings.Count(svg, "<polyline"), "%s of %d days", name, days)
			require.NotContains(t, svg, `class="dot"`)
			require.Equal(t, 1, strings.Count(svg, `class="shot"`))
			last := -100.0
			found := date.FindAllStringSubmatch(svg, -1)
			require.NotEmpty(t, found, "%s of %d days", name, days)
			for _, m := range found {
				x, err := strconv.ParseFloat(m[1], 64)
				require.NoError(t, err)
				require.Greater(t, x-last, 72.0, "%s of %d days", name, days)
				last = x
			}
		}
	}
}

func TestAGapStaysAGapInALongPicture(t *testing.T) {
	from := time.Date(2027, time.March, 1, 0, 0, 0, 0, time.UTC)
	p := Picture{From: from, To: from.AddDate(0, 0, 30), Location: time.UTC}
	for at := p.From; !at.After(p.To); at = at.Add(time.Minute) {
		known := at.Sub(from) < 10*24*time.Hour || at.Sub(from) > 11*24*time.Hour
		p.Points = append(p.Points, Point{At: at, Value: 50, Known: known})
	}
	require.Equal(t, 2, strings.Count(string(p.Wide()), "<polyline"))
}
