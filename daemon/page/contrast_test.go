package page

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var colourRule = regexp.MustCompile(`--([a-z-]+):\s*(#[0-9a-f]{6})`)

// palettes reads the colours of the light and the dark scheme out of the stylesheet.
func palettes(t *testing.T) (light, dark map[string]string) {
	read := func(s string) map[string]string {
		m := map[string]string{}
		for _, r := range colourRule.FindAllStringSubmatch(s, -1) {
			m[r[1]] = r[2]
		}
		return m
	}
	first, rest, ok := strings.Cut(styleText, "@media (prefers-color-scheme: dark)")
	require.True(t, ok)
	rest, _, ok = strings.Cut(rest, "* { box-sizing")
	require.True(t, ok)
	return read(first), read(rest)
}

// luminance and contrast are WCAG 2.1's relative luminance and contrast ratio
// (https://www.w3.org/TR/WCAG21/#dfn-relative-luminance and #dfn-contrast-ratio).
func luminance(hex string) float64 {
	sum := 0.0
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		n, _ := strconv.ParseUint(hex[1+2*i:3+2*i], 16, 8)
		c := float64(n) / 255
		if c <= 0.03928 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		sum += weight * c
	}
	return sum
}

func contrast(a, b string) float64 {
	la, lb := luminance(a), luminance(b)
	return (math.Max(la, lb) + 0.05) / (math.Min(la, lb) + 0.05)
}

func TestContrast(t *testing.T) {
	require.InDelta(t, 21, contrast("#ffffff", "#000000"), 1e-9)
	require.InDelta(t, 4.48, contrast("#777777", "#ffffff"), 0.005, "the known near miss")
	// WCAG 2.1 AA: 4.5 for text (1.4.3), 3 for graphics (1.4.11).
	text := [][2]string{
		{"ink", "ground"}, {"ink", "sheet"}, {"quiet", "ground"}, {"quiet", "sheet"}, {"link", "ground"}, {"link", "sheet"},
		{"good-ink", "good-ground"}, {"warn-ink", "warn-ground"}, {"bad-ink", "bad-ground"}, {"live-ink", "live-ground"}, {"bad-ink", "sheet"},
		{"below", "sheet"}, {"stop", "sheet"}, {"max", "sheet"},
	}
	graphics := [][2]string{{"curve", "sheet"}, {"shot", "sheet"}, {"below", "sheet"}, {"stop", "sheet"}, {"max", "sheet"}}
	light, dark := palettes(t)
	for name, p := range map[string]map[string]string{"light": light, "dark": dark} {
		require.Len(t, p, len(light), "both schemes name every colour")
		for _, pair := range text {
			require.GreaterOrEqual(t, contrast(p[pair[0]], p[pair[1]]), 4.5, "%s: %v", name, pair)
		}
		for _, pair := range graphics {
			require.GreaterOrEqual(t, contrast(p[pair[0]], p[pair[1]]), 3.0, "%s: %v", name, pair)
		}
	}
}
