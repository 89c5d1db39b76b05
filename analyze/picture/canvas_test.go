package picture

import (
	"image/color"
	"math"
	"strings"
	"testing"
)

// Text has a contrast of 4.5 and a line one of 3 with each ground that it stands on
// (WCAG 2.2, 1.4.3 and 1.4.11, from memory), by day and by night.
func TestColours_Contrast(t *testing.T) {
	t.Parallel()
	for _, ground := range []role{sheet, pale} {
		for r, least := range map[role]float64{ink: 4.5, soft: 4.5, fitted: 3, bound: 3} {
			for _, dark := range []bool{false, true} {
				if got := contrast(luminance(t, r, dark), luminance(t, ground, dark)); got < least {
					t.Errorf("%s on %s, dark %t: %.2f, at least %g", r, ground, dark, got, least)
				}
			}
		}
	}
}

func contrast(a, b float64) float64 { return (max(a, b) + 0.05) / (min(a, b) + 0.05) }

func luminance(t *testing.T, r role, dark bool) float64 {
	t.Helper()
	for _, c := range colours {
		if c.role != r {
			continue
		}
		hex := c.light
		if dark {
			hex = c.dark
		}
		x := colourOf(hex)
		linear := func(v uint8) float64 {
			s := float64(v) / 255
			if s <= 0.04045 {
				return s / 12.92
			}
			return math.Pow((s+0.055)/1.055, 2.4)
		}
		return 0.2126*linear(x.R) + 0.7152*linear(x.G) + 0.0722*linear(x.B)
	}
	t.Fatalf("no colour for %s", r)
	return 0
}

func TestColourOf(t *testing.T) {
	t.Parallel()
	if got := colourOf("#d55e00"); got != (color.RGBA{0xd5, 0x5e, 0, 0xff}) {
		t.Errorf("%v", got)
	}
}

func TestFolded(t *testing.T) {
	t.Parallel()
	long := strings.Repeat("a word and another ", 12)
	lines := folded(long, mediumText)
	if strings.Join(lines, " ") != strings.TrimSpace(long) || len(lines) != 3 {
		t.Errorf("%d lines: %q", len(lines), lines)
	}
	for _, l := range lines {
		if widthOf(l, mediumText) > across {
			t.Errorf("%q is too wide", l)
		}
	}
}
