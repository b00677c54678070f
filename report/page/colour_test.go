package page

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// schemes are the page's colours by name, light and dark, read from its style.
func schemes(t *testing.T) map[string]map[string][3]float64 {
	t.Helper()
	blocks := regexp.MustCompile(`:root\{([^}]*)\}`).FindAllStringSubmatch(pageCSS, -1)
	require.Len(t, blocks, 3)
	out := map[string]map[string][3]float64{}
	for i, name := range []string{"light", "dark", "print"} {
		out[name] = map[string][3]float64{}
		for _, m := range regexp.MustCompile(`--([a-z0-9]+):#([0-9a-f]+)`).FindAllStringSubmatch(blocks[i][1], -1) {
			hex := m[2]
			if len(hex) == 3 {
				hex = strings.Repeat(hex[:1], 2) + strings.Repeat(hex[1:2], 2) + strings.Repeat(hex[2:], 2)
			}
			var c [3]float64
			for k := range c {
				n, err := strconv.ParseUint(hex[2*k:2*k+2], 16, 8)
				require.NoError(t, err)
				c[k] = linear(float64(n) / 255)
			}
			out[name][m[1]] = c
		}
	}
	return out
}

// linear is a channel of sRGB as light (IEC 61966-2-1).
func linear(x float64) float64 {
	if x <= 0.04045 {
		return x / 12.92
	}
	return math.Pow((x+0.055)/1.055, 2.4)
}

// contrast is the ratio of WCAG 2.2 (relative luminance, success criterion 1.4.3).
func contrast(a, b [3]float64) float64 {
	lum := func(c [3]float64) float64 { return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2] }
	x, y := lum(a)+0.05, lum(b)+0.05
	return math.Max(x, y) / math.Min(x, y)
}

// oklab is the colour in Oklab, in which equal distances look about equally different (B. Ottosson, A perceptual
// color space for image processing, 2020).
func oklab(c [3]float64) [3]float64 {
	l := math.Cbrt(0.4122214708*c[0] + 0.5363325363*c[1] + 0.0514459929*c[2])
	m := math.Cbrt(0.2119034982*c[0] + 0.6806995451*c[1] + 0.1073969566*c[2])
	s := math.Cbrt(0.0883024619*c[0] + 0.2817188376*c[1] + 0.6299787005*c[2])
	return [3]float64{
		0.2104542553*l + 0.7936177850*m - 0.0040720468*s,
		1.9779984951*l - 2.4285922050*m + 0.4505937099*s,
		0.0259040371*l + 0.7827717662*m - 0.8086757660*s,
	}
}

// How people without one kind of cone see linear light (G. Machado, M. Oliveira and L. Fernandes, IEEE Trans. Vis. Comput. Graph.
// 15, 2009, 1291-1298, severity 1.0).
func deficiencies() map[string][3][3]float64 {
	return map[string][3][3]float64{
		"all cones":    {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
		"protanopia":   {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
		"deuteranopia": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}},
		"tritanopia":   {{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}},
	}
}

// The speed scale goes by equal steps of colour and of lightness, faster standing out more from the ground, for people
// with all cones; without one kind, lightness alone still tells the order, and no two neighbours look alike
// (a just noticeable difference is about 0.02 in Oklab).
func TestSpeedColoursAreUniformAndSafe(t *testing.T) {
	for _, scheme := range []string{"light", "dark", "print"} {
		c := schemes(t)[scheme]
		for who, m := range deficiencies() {
			var labs [speedClasses][3]float64
			for k := range labs {
				var seen [3]float64
				for i := range seen {
					for j := range 3 {
						seen[i] += m[i][j] * c[fmt.Sprint("k", k)][j]
					}
					seen[i] = min(max(seen[i], 0), 1)
				}
				labs[k] = oklab(seen)
			}
			for k := 1; k < speedClasses; k++ {
				a, b := labs[k-1], labs[k]
				d := math.Hypot(math.Hypot(a[0]-b[0], a[1]-b[1]), a[2]-b[2])
				lighter := b[0] - a[0]
				if scheme != "dark" {
					lighter = -lighter
				}
				require.Greater(t, lighter, 0.03, "%s, %s, class %d", scheme, who, k)
				require.Greater(t, d, 0.045, "%s, %s, class %d", scheme, who, k)
				if who == "all cones" {
					require.InDelta(t, 0.105, d, 0.015, "%s, class %d", scheme, k)
				}
			}
		}
	}
}

// Contrast by WCAG 2.2: text 4.5 to 1 and, because the page is read in the sun, 7 to 1 (level AAA) for
// all of it; marks 3 to 1 (success criterion 1.4.11).
func TestContrast(t *testing.T) {
	for _, scheme := range []string{"light", "dark", "print"} {
		c := schemes(t)[scheme]
		for _, ground := range []string{"paper", "arena", "mark"} {
			for _, text := range []string{"ink", "quiet"} {
				if ground == "mark" && text == "quiet" {
					continue // the line below a marked row is not marked
				}
				require.Greater(t, contrast(c[text], c[ground]), 7.0, "%s: %s on %s", scheme, text, ground)
			}
			marks := []string{"accent", "line"}
			if ground == "mark" {
				marks = marks[:1]
			}
			for k := range speedClasses {
				if ground != "mark" {
					marks = append(marks, fmt.Sprint("k", k))
				}
			}
			for _, mark := range marks {
				require.Greater(t, contrast(c[mark], c[ground]), 3.0, "%s: %s on %s", scheme, mark, ground)
			}
		}
		require.Greater(t, contrast(c["accent"], c["paper"]), 7.0, scheme) // the radii are text
	}
}

// Speed has its width too: wider is faster, by steps that can be seen.
func TestSpeedHasWidthBesideColour(t *testing.T) {
	last := 0.0
	for k := range speedClasses {
		m := regexp.MustCompile(fmt.Sprintf(`\.k%d\{stroke:var\(--k%d\)!important;stroke-width:([0-9.]+)px\}`, k, k)).FindStringSubmatch(pageCSS)
		require.NotNil(t, m)
		w, err := strconv.ParseFloat(m[1], 64)
		require.NoError(t, err)
		require.Greater(t, w, last+0.5)
		last = w
	}
}

func TestStyleReachesForNothing(t *testing.T) {
	require.NotContains(t, pageCSS, "url(")
	require.NotContains(t, pageCSS, "@import")
}

// A brace too many has a browser drop the rule after it without a word.
func TestStyleIsWhole(t *testing.T) {
	depth := 0
	for i, c := range pageCSS {
		switch c {
		case '{':
			depth++
		case '}':
			depth--
		}
		require.GreaterOrEqual(t, depth, 0, "after %q", pageCSS[:i][max(0, i-40):])
	}
	require.Zero(t, depth)
}
