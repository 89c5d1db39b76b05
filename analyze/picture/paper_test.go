package picture_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"makebreak/analyze/picture"
	"makebreak/analyze/reliability"
	_ "makebreak/testdata/fixedseed"
)

// published are ten failures and ten units stopped at 500 hours (NIST/SEMATECH
// e-Handbook 8.4.1.3).
func published() []reliability.Unit {
	var u []reliability.Unit
	for _, c := range []float64{54, 187, 216, 240, 244, 335, 361, 373, 375, 386} {
		u = append(u, reliability.Unit{Cycles: c, Failed: true})
	}
	return append(u, slices.Repeat([]reliability.Unit{{Cycles: 500}}, 10)...)
}

func paperOf(t testing.TB, units []reliability.Unit) *picture.Paper {
	t.Helper()
	fit, err := reliability.FitWeibull(units, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	p, err := picture.PaperOf(units, &fit)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// coordinates are what is drawn, line by line.
func coordinates(p *picture.Paper) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n%s\n", p.Heading, strings.Join(p.Words, "\n"))
	fmt.Fprintf(&b, "paper %.6g..%.6g cycles, %.6g..%.6g failed\n", p.From.Cycles, p.To.Cycles, p.From.Failed, p.To.Failed)
	for _, q := range p.Points {
		fmt.Fprintf(&b, "point %.6g %.6g at %.6g %.6g\n", q.Cycles, q.Failed, q.X, q.Y)
	}
	for _, s := range p.Stopped {
		fmt.Fprintf(&b, "stopped %.6g %d\n", s.Cycles, s.Boards)
	}
	fmt.Fprintf(&b, "B10 %.6g, %.6g..%.6g\n", p.B10.Value, p.B10.Likelihood.Lower, p.B10.Likelihood.Upper)
	for _, l := range p.Line {
		fmt.Fprintf(&b, "line %.6g: %.6g, %.6g..%.6g\n", l.Failed, l.Cycles, l.Early, l.Late)
	}
	return b.String()
}

func TestPaper_Coordinates(t *testing.T) {
	t.Parallel()
	if runtime.GOARCH != "amd64" {
		t.Skip("fused multiply-adds move the last digits")
	}
	golden(t, "weibull-paper.txt", coordinates(paperOf(t, published())))
}

// golden compares with a file under the top-level testdata/golden.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("..", "..", "testdata", "golden", name)
	if os.Getenv("MAKEBREAK_UPDATE") != "" {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs (MAKEBREAK_UPDATE=1 writes it anew):\n%s", path, got)
	}
}

// The pictures themselves, to be looked at: boards of a published test, boards whose lives
// lie so far apart that only decades are labelled, and a course.
func TestPictures_Golden(t *testing.T) {
	t.Parallel()
	if runtime.GOARCH != "amd64" {
		t.Skip("fused multiply-adds move the last digits")
	}
	apart := []reliability.Unit{{Cycles: 1, Failed: true}, {Cycles: 5e8, Failed: true}, {Cycles: 2e5}}
	golden(t, "weibull-paper.svg", svg(t, paperOf(t, published())))
	golden(t, "weibull-paper-apart.svg", svg(t, paperOf(t, apart)))
	var b strings.Builder
	if err := stepped().Inline(&b); err != nil {
		t.Fatal(err)
	}
	golden(t, "course.svg", b.String())
}

// stepped is an invented voltage that falls by a step towards its lower limit.
func stepped() *picture.Course {
	c := &picture.Course{Heading: "OUT3 high level at arm-away", About: "steps by -400 mV at about cycle 31", Unit: "V", First: 1, Last: 60,
		Limits: []picture.Limit{{Value: 12.4, Words: "min 12.4 V"}, {Value: 14.5, Upper: true, Words: "max 14.5 V"}}}
	for n := range 60 {
		v := 13.2 + 0.02*float64(n*7%5-2)
		if n >= 30 {
			v -= 0.4
		}
		c.Values = append(c.Values, picture.Place{Cycle: float64(1 + n), Value: v})
	}
	c.Fits = []picture.Fit{{Line: []picture.Place{{Cycle: 1, Value: 13.2}, {Cycle: 31, Value: 13.2}}},
		{Line: []picture.Place{{Cycle: 31, Value: 12.8}, {Cycle: 60, Value: 12.8}}, Words: "step"}}
	return c
}

// The line passes the shape and scale that R 4.2.2 with survival 3.5-3 gives for the
// published lives, 1.7208 and 606.5280, and its B10, 164.022: 63.2 % have failed at
// the scale, and the slope on the paper is the shape.
func TestPaper_Line(t *testing.T) {
	t.Parallel()
	p := paperOf(t, published())
	if got := p.B10.Value; math.Abs(got-164.022) > 0.001 {
		t.Errorf("B10 %g, R says 164.022", got)
	}
	for i, l := range p.Line {
		x, y := reliability.Paper(l.Cycles, l.Failed)
		if want := 1.7208 * (x - math.Log(606.5280)); math.Abs(y-want) > 0.001 {
			t.Errorf("at %g cycles the line has y = %g, want %g", l.Cycles, y, want)
		}
		if !(l.Early < l.Cycles && l.Cycles < l.Late) {
			t.Errorf("at %g failed the bounds %g and %g do not hold %g", l.Failed, l.Early, l.Late, l.Cycles)
		}
		if i > 0 && l.Cycles <= p.Line[i-1].Cycles {
			t.Errorf("the line goes back at %g cycles", l.Cycles)
		}
	}
}

// Everything that is marked lies on the paper, for any boards.
func TestPaper_HoldsAll(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		units := []reliability.Unit{{Cycles: 1000, Failed: true}}
		for range rapid.IntRange(0, 12).Draw(t, "boards") {
			units = append(units, reliability.Unit{Cycles: math.Round(math.Pow(10, rapid.Float64Range(0, 8).Draw(t, "log cycles"))), Failed: rapid.Bool().Draw(t, "failed")})
		}
		var fit *reliability.Weibull
		if w, err := reliability.FitWeibull(units, 0.9); err == nil {
			fit = &w
		}
		p, err := picture.PaperOf(units, fit)
		if err != nil {
			t.Fatal(err)
		}
		on := func(what string, cycles, failed float64) {
			if !(cycles >= p.From.Cycles && cycles <= p.To.Cycles && failed >= p.From.Failed && failed <= p.To.Failed) {
				t.Errorf("%s at %g cycles, %g failed lies off the paper %+v..%+v", what, cycles, failed, p.From, p.To)
			}
		}
		boards := len(p.Points)
		for _, q := range p.Points {
			on("a failure", q.Cycles, q.Failed)
		}
		for _, s := range p.Stopped {
			on("a stop", s.Cycles, p.From.Failed)
			boards += s.Boards
		}
		if boards != len(units) {
			t.Errorf("%d of %d boards are drawn", boards, len(units))
		}
	})
}

// Odd boards are drawn too, without a figure that is none.
func TestPaper_Odd(t *testing.T) {
	t.Parallel()
	for name, units := range map[string][]reliability.Unit{
		"one failure":      {{Cycles: 120_000, Failed: true}, {Cycles: 500_000}, {Cycles: 300_000}},
		"far apart":        {{Cycles: 1, Failed: true}, {Cycles: 5e8, Failed: true}, {Cycles: 2e5}},
		"one and the same": {{Cycles: 7, Failed: true}, {Cycles: 7, Failed: true}, {Cycles: 8}},
		"a single board":   {{Cycles: 3, Failed: true}, {Cycles: 4}},
		"many stopped":     append(slices.Repeat([]reliability.Unit{{Cycles: 1e6}}, 200), reliability.Unit{Cycles: 900, Failed: true}),
	} {
		got := svg(t, paperOf(t, units))
		texts(t, got)
		for _, no := range []string{"NaN", "Inf"} {
			if strings.Contains(got, no) {
				t.Errorf("%s: the picture holds %s", name, no)
			}
		}
	}
}

func svg(t testing.TB, p *picture.Paper) string {
	t.Helper()
	var b bytes.Buffer
	if err := p.SVG(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// texts are the texts of an SVG; it must be one element of well-formed XML.
func texts(t testing.TB, picture string) []string {
	t.Helper()
	if !strings.HasPrefix(picture, "<svg ") {
		t.Errorf("it begins with %.40q, not with its element", picture)
	}
	var out []string
	for d := xml.NewDecoder(strings.NewReader(picture)); ; {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		} else if err != nil {
			t.Fatal(err)
		}
		if c, ok := token.(xml.CharData); ok && strings.TrimSpace(string(c)) != "" {
			out = append(out, string(c))
		}
	}
}

func TestPaper_SVG(t *testing.T) {
	t.Parallel()
	p := paperOf(t, published())
	got := svg(t, p)
	all := texts(t, got)
	for _, want := range []string{"Lives of 20 boards, 10 failed", "Weibull shape 1.72 (1.01 to 2.67), scale 606.5 (458.9 to 975) cycles", "2", "90", "cycles",
		"% failed", "B10 164 cycles", "100", "1\u2009000", "failed boards, at their median ranks", "stopped without a failure", "fitted line, between its bounds", "10"} {
		if !slices.Contains(all, want) {
			t.Errorf("the picture does not say %q: %q", want, all)
		}
	}
	turned := published()
	slices.Reverse(turned)
	if svg(t, paperOf(t, turned)) != got {
		t.Error("the same boards in another order give another picture")
	}
	for _, no := range []string{"http://www.w3.org/1999/xlink\" href", "<script", "url("} {
		if strings.Contains(got, no) {
			t.Errorf("the picture has %q", no)
		}
	}
}

func TestPaper_PNG(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	if err := paperOf(t, published()).PNG(&b); err != nil {
		t.Fatal(err)
	}
	c, err := png.DecodeConfig(&b)
	if err != nil {
		t.Fatal(err)
	}
	if c.Width != 1504 || c.Height != 1064 { // 720 by 500 units and a margin of 16, twice
		t.Errorf("%d by %d dots", c.Width, c.Height)
	}
}

// Without a fit there are points only; without a failure there is nothing.
func TestPaper_Bare(t *testing.T) {
	t.Parallel()
	p, err := picture.PaperOf([]reliability.Unit{{Cycles: 100, Failed: true}, {Cycles: 100, Failed: true}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if all := texts(t, svg(t, p)); slices.ContainsFunc(all, func(s string) bool { return strings.Contains(s, "B10") || strings.Contains(s, "fitted") }) {
		t.Errorf("a fit is drawn where there is none: %q", all)
	}
	if _, err := picture.PaperOf([]reliability.Unit{{Cycles: 100}}, nil); !errors.Is(err, picture.ErrNothing) {
		t.Errorf("no failure: %v", err)
	}
}
