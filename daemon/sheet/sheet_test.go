package sheet

import (
	"encoding/xml"
	"errors"
	"io"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/zones/wiring"
)

// The drawing is well-formed XML, whatever the names hold, and holds no script.
func TestDrawingIsXML(t *testing.T) {
	for name, r := range map[string]wiring.Room{"full": full(2), "small": small(), "hostile": hostile(), "empty": {ID: "x", Name: "x"}} {
		text := svg(t, r)
		d := xml.NewDecoder(strings.NewReader(text))
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			require.NoError(t, err, name)
			if e, ok := token.(xml.StartElement); ok {
				require.NotEqual(t, "script", e.Name.Local, name)
			}
		}
	}
}

// Every probe, box, valve and piece that is surveyed stands on both sheets.
func TestNothingIsLeftOut(t *testing.T) {
	for _, r := range []wiring.Room{full(2), small()} {
		s := wiring.Survey(r)
		page, drawing := html(t, r), svg(t, r)
		for _, c := range s.Controllers {
			for _, terminal := range c.Terminals {
				for _, p := range terminal.Probes {
					for _, text := range []string{page, drawing} {
						require.Contains(t, text, ">"+p.ID+" · address "+p.Address+"<")
						require.Contains(t, text, "run "+p.Run.Length(r.US))
					}
					require.Contains(t, page, "<b>"+p.ID+"</b>", "a label")
				}
				for _, b := range terminal.Boxes {
					require.Contains(t, page, "<b>"+b.Label+"</b>", "a label")
				}
			}
			for _, v := range c.Valves {
				require.Contains(t, page, "<b>"+v.ID+"</b>")
				require.Contains(t, drawing, v.ID)
			}
			if h := c.Healthy; h != nil {
				for _, text := range []string{page, drawing} {
					require.Contains(t, text, ">"+h.Label+"<")
					require.Contains(t, text, ">"+h.Drives+"<", "what sounds")
					require.Contains(t, text, h.Steps()[1])
				}
				require.Equal(t, 1, strings.Count(page, "<b>HEALTHY</b>"), "a label")
			}
			for _, p := range c.Pieces {
				require.Equal(t, 2, strings.Count(page, "<b>"+p.Label+"</b>"), "a label for each end")
				require.Contains(t, drawing, p.Label)
			}
		}
		for _, f := range s.Findings {
			require.Contains(t, page, f.Basis)
		}
		require.Equal(t, len(s.Findings), strings.Count(page, `<li class="warning"`)+strings.Count(page, `<li class="note"`))
	}
}

// Names are text, not markup; nothing is fetched and nothing runs.
func TestNamesAreText(t *testing.T) {
	page, drawing := html(t, hostile()), svg(t, hostile())
	for _, text := range []string{page, drawing} {
		require.NotContains(t, text, "<script")
		require.Contains(t, text, "&lt;script&gt;")
	}
	require.Empty(t, regexp.MustCompile(`(?i)\b(src|href)=|url\(|@import`).FindAllString(page+drawing, -1))
	require.NotContains(t, html(t, small()), "ZgotmplZ")
	require.NotContains(t, html(t, full(1)), "ZgotmplZ")
}

// The same room gives the same bytes.
func TestSameRoomSameBytes(t *testing.T) {
	require.Equal(t, html(t, full(2)), html(t, full(2)))
	require.Equal(t, svg(t, full(2)), svg(t, full(2)))
	var body strings.Builder
	require.NoError(t, Body(&body, wiring.Survey(small()), Head{Plan: "0123456789ab", Date: "2027-03-01"}))
	require.Contains(t, html(t, small()), body.String(), "the pages alone are those of the document")
}

type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, errors.New("disk full") }

func TestWritersMayFail(t *testing.T) {
	require.ErrorContains(t, HTML(broken{}, wiring.Survey(small()), Head{}), "write sheet: disk full")
	require.ErrorContains(t, SVG(broken{}, wiring.Survey(small())), "write drawing: disk full")
}

// No line of the drawing is squeezed for its length, as far as its sentences can be parted.
func TestWordsAreNotSqueezed(t *testing.T) {
	for _, r := range []wiring.Room{full(2), small()} {
		for _, line := range strings.Split(svg(t, r), "\n") {
			if strings.Contains(line, `class="words" x="24"`) {
				require.NotContains(t, line, "textLength")
			}
		}
	}
}

func TestWrapped(t *testing.T) {
	require.Equal(t, []string{"one two", "    three"}, wrapped("one two three", 8))
	require.Equal(t, []string{""}, wrapped("", 8))
	require.Equal(t, []string{"longerthanaline"}, wrapped("longerthanaline", 8))
}
