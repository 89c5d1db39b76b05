package picture_test

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"

	"makebreak/analyze/picture"
)

// worn is an invented operate time that drifts towards its limit, with some cycles out of it
// and two interruptions.
func worn() *picture.Course {
	c := &picture.Course{Heading: "K1 operate time at energize", Words: []string{"drifts by 80 µs in 1000 cycles; will cross its limit"}, Unit: "ms", First: 1, Last: 5000,
		Limits: []picture.Limit{{Value: 6, Upper: true, Words: "max 6 ms"}}, Guard: 0.1, FirstOut: 2100, Out: []picture.Span{{First: 2100, Last: 2100}, {First: 3001, Last: 3090}},
		Extremes: []picture.Extreme{{Place: picture.Place{Cycle: 3050, Value: 20}, Words: "highest 20 ms, cycle 3050"}},
		Gaps:     []picture.Gap{{After: 1000, Words: "2 h 10 min", Long: 7800}, {After: 1030, Words: "45 s", Long: 45}},
		Fits:     []picture.Fit{{Line: []picture.Place{{Cycle: 1, Value: 5}, {Cycle: 5000, Value: 5.4}}, Low: []picture.Place{{Cycle: 1, Value: 4.98}, {Cycle: 5000, Value: 5.38}}, High: []picture.Place{{Cycle: 1, Value: 5.02}, {Cycle: 5000, Value: 5.42}}, Words: "drift"}},
		Ahead:    &picture.Ahead{From: picture.Place{Cycle: 5000, Value: 5.4}, To: picture.Place{Cycle: 12500, Value: 6}, Earliest: 12100, Latest: 12900, Words: "if it goes on: max 6 ms at about cycle 12500"}}
	for n := range 50 {
		b := picture.Spread{First: 100*n + 1, Last: 100*n + 100}
		for i, off := range []float64{-0.16, -0.07, 0, 0.07, 0.16} {
			b.Values[i] = 5 + 0.008*float64(n) + off + 0.01*float64(n*7%5-2)
		}
		c.Bands = append(c.Bands, b)
	}
	return c
}

func failed() *picture.Timeline {
	lane := func(name string, marks ...picture.FailureMark) picture.FailureLane {
		return picture.FailureLane{Name: name, Count: "of 3000", Marks: marks, Width: 1}
	}
	var many []picture.FailureMark
	for n := range 200 {
		many = append(many, picture.FailureMark{Span: picture.Span{First: 10*n + 5, Last: 10*n + 5}, N: 1})
	}
	return &picture.Timeline{Heading: "Failures over the cycles", Words: []string{"202 of 3000 failed"}, First: 1, Last: 3000,
		Gaps: []picture.Gap{{After: 700, Words: "1 d 2 h", Long: 1}}, When: func(cycle int) string { return fmt.Sprintf("%d Nov 08:00", 1+cycle/200) },
		Lanes: []picture.FailureLane{lane("cycles that failed", many...), lane("K1 operate time at energize", picture.FailureMark{Span: picture.Span{First: 700, Last: 700}, N: 1}, picture.FailureMark{Span: picture.Span{First: 2900, Last: 2900}, N: 1})}}
}

func TestSoakPictures_Golden(t *testing.T) {
	t.Parallel()
	if runtime.GOARCH != "amd64" {
		t.Skip("fused multiply-adds move the last digits")
	}
	golden(t, "course-bands.svg", inlined(t, worn()))
	golden(t, "timeline.svg", inlined(t, failed()))
}

func inlined(t interface {
	Helper()
	Fatal(...any)
}, d interface{ Inline(io.Writer) error }) string {
	t.Helper()
	var b strings.Builder
	if err := d.Inline(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// What a course and a time line say stands in them.
func TestSoakPictures_Words(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		drawn string
		says  []string
	}{
		{inlined(t, worn()), []string{"first out of its limit: cycle 2100", "highest 20 ms, cycle 3050", "2 h 10 min", "45 s", "max 6 ms", "drift", "median", "95 %", "5 %",
			"if it goes on: max 6 ms at about cycle 12500", "measured to here"}},
		{inlined(t, failed()), []string{"1 d 2 h", "cycles that failed", "K1 operate time at energize", "25", "11 Nov 08:00"}},
	} {
		all := strings.Join(texts(t, c.drawn), "\n")
		for _, want := range c.says {
			if !strings.Contains(all, want) {
				t.Errorf("it does not say %q: %q", want, all)
			}
		}
	}
}

// Nothing is drawn beside the picture, whatever the values, and no text hangs out of it.
func TestCourse_NothingOutside(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) { inside(t, inlined(t, drawnCourse(t))) })
}

// drawnCourse draws a course of any kind.
func drawnCourse(t *rapid.T) *picture.Course {
	rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
	scale := math.Pow(10, float64(rapid.IntRange(-5, 4).Draw(t, "power")))
	at := func() float64 { return scale * (rng.NormFloat64() + 10*float64(rng.IntN(2))) }
	last := rapid.IntRange(1, 2_000_000).Draw(t, "cycles")
	c := &picture.Course{Heading: "a quantity", Words: []string{"what happened to it"}, Unit: "ms", First: 1, Last: last, Guard: rapid.SampledFrom([]float64{0, 0.1 * scale, 100 * scale}).Draw(t, "guard")}
	cycle := func() int { return 1 + rng.IntN(last) }
	if rapid.Bool().Draw(t, "bands") {
		each := max(1, last/rapid.IntRange(1, 96).Draw(t, "number"))
		for first := 1; first+each-1 <= last; first += each {
			low, b := at(), picture.Spread{First: first, Last: first + each - 1}
			for i := range b.Values {
				low += scale * rng.ExpFloat64()
				b.Values[i] = low
			}
			c.Bands = append(c.Bands, b)
		}
	} else {
		for range rapid.IntRange(1, 383).Draw(t, "values") {
			c.Values = append(c.Values, picture.Place{Cycle: float64(cycle()), Value: at()})
		}
	}
	for i := range rapid.IntRange(0, 2).Draw(t, "limits") {
		c.Limits = append(c.Limits, picture.Limit{Value: at(), Upper: i == 0, Words: "max 6 ms"})
	}
	for range rapid.IntRange(0, 30).Draw(t, "interruptions") {
		c.Gaps = append(c.Gaps, picture.Gap{After: rng.IntN(last + 1), Words: "12 h 50 min", Long: rng.Float64()})
	}
	for range rapid.IntRange(0, 400).Draw(t, "failures") {
		n := cycle()
		c.Out, c.FirstOut = append(c.Out, picture.Span{First: n, Last: n}), n
	}
	if rapid.Bool().Draw(t, "extreme") {
		c.Extremes = []picture.Extreme{{Place: picture.Place{Cycle: float64(cycle()), Value: 50 * scale}, Words: "highest 50 ms, cycle 17"}}
	}
	if rapid.Bool().Draw(t, "fit") {
		line := func() []picture.Place {
			return []picture.Place{{Cycle: 1, Value: at()}, {Cycle: float64(last), Value: 20 * at()}}
		}
		c.Fits = []picture.Fit{{Line: line(), Low: line(), High: line(), Words: "drift or step"}}
	}
	if rapid.Bool().Draw(t, "ahead") {
		to := float64(last) * (1 + 5*rng.Float64())
		c.Ahead = &picture.Ahead{From: picture.Place{Cycle: float64(last), Value: at()}, To: picture.Place{Cycle: to, Value: at()}, Earliest: to * rng.Float64(), Latest: to * (1 + rng.Float64()), Words: "if it goes on: max 6 ms at about cycle 12500"}
	}
	return c
}

func TestTimeline_NothingOutside(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		line := failed()
		line.Last = rapid.IntRange(1, 1_000_000).Draw(t, "cycles")
		width := 1 << rapid.IntRange(0, 6).Draw(t, "width")
		line.Lanes, line.Gaps = nil, nil
		for range rapid.IntRange(1, 11).Draw(t, "lanes") {
			l := picture.FailureLane{Name: "K1 operate time at energize", Count: "3 of 150", Width: width}
			sum := 0
			for at := rapid.IntRange(1, line.Last).Draw(t, "first"); at <= line.Last && len(l.Marks) < 400; at += width * (1 + at%7) {
				n := 1 + at%width
				l.Marks = append(l.Marks, picture.FailureMark{Span: picture.Span{First: at, Last: at}, N: n})
				sum += n
			}
			for _, b := range l.Bins(line.Last) {
				sum -= b.N
			}
			if sum != 0 {
				t.Errorf("the rows have %d fewer than the marks", sum)
			}
			line.Lanes = append(line.Lanes, l)
		}
		for range rapid.IntRange(0, 20).Draw(t, "interruptions") {
			line.Gaps = append(line.Gaps, picture.Gap{After: rapid.IntRange(0, line.Last).Draw(t, "after"), Words: "12 h 50 min"})
		}
		inside(t, inlined(t, line))
	})
}

var (
	size     = regexp.MustCompile(`viewBox="0 0 720 ([0-9.]+)"`)
	paths    = regexp.MustCompile(` d="([^"]*)"`)
	numbers  = regexp.MustCompile(`[ML](-?[0-9.e+]+) (-?[0-9.e+]+)`)
	placed   = regexp.MustCompile(`<text class="[^"]*" x="(-?[0-9.]+)" y="(-?[0-9.]+)" font-size="([0-9.]+)" text-anchor="([a-z]+)"[^>]*>([^<]*)</text>`)
	nonsense = regexp.MustCompile(`NaN|Inf`)
)

// inside reports what of a drawing lies beside it. A text is taken to be half its size wide a
// letter.
func inside(t *rapid.T, svg string) {
	if nonsense.MatchString(svg) {
		t.Fatal("it holds what is no number")
	}
	number := func(s string) float64 { x, _ := strconv.ParseFloat(s, 64); return x }
	height := number(size.FindStringSubmatch(svg)[1])
	for _, p := range paths.FindAllStringSubmatch(svg, -1) {
		for _, at := range numbers.FindAllStringSubmatch(p[1], -1) {
			if x, y := number(at[1]), number(at[2]); x < 0 || x > 720 || y < 0 || y > height {
				t.Errorf("a line goes to %g, %g of 720 x %g: %.80s", x, y, height, p[1])
			}
		}
	}
	for _, p := range placed.FindAllStringSubmatch(svg, -1) {
		x, y, wide := number(p[1]), number(p[2]), 0.5*number(p[3])*(float64(utf8.RuneCountInString(p[5]))-0.5*float64(strings.Count(p[5], "\u2009")))
		left := map[string]float64{"start": x, "middle": x - wide/2, "end": x - wide}[p[4]]
		if left < 0 || left+wide > 720 || y < 8 || y > height {
			t.Errorf("%q stands from %g to %g at %g of %g", p[5], left, left+wide, y, height)
		}
	}
}

// A gap has its place between the cycles it lies between, wherever the others are: what was
// measured is not drawn across it.
func TestCourse_Gaps(t *testing.T) {
	t.Parallel()
	c := worn()
	whole := len(paths.FindAllString(inlined(t, c), -1))
	c.Gaps = nil
	bare := inlined(t, c)
	if strings.Contains(bare, "2 h 10 min") {
		t.Error("it names a gap that is not there")
	}
	// Each gap cuts two areas and the median in two, and is a ground, a hatch and two edges.
	if n := whole - len(paths.FindAllString(bare, -1)); n != 2*(3+4) {
		t.Errorf("two gaps make %d more lines and areas, want 14", n)
	}
}

func BenchmarkCourse_Inline(b *testing.B) {
	c := worn()
	for b.Loop() {
		if err := c.Inline(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
}
