package picture

import (
	"math"
	"strings"
	"testing"
)

var nan = math.NaN()

// spotsOf are the places of the shapes that are dots of a radius.
func spotsOf(d *drawing, radius float64) (all []spot) {
	for _, s := range d.shapes {
		if s.radius == radius {
			all = append(all, s.points...)
		}
	}
	return all
}

// linesOf are the lines of a width.
func linesOf(d *drawing, width float64) (all []shape) {
	for _, s := range d.shapes {
		if s.radius == 0 && !s.area && s.text == "" && len(s.pieces) == 0 && s.width == width {
			all = append(all, s)
		}
	}
	return all
}

func drawn(t *testing.T, s *Strip) *drawing {
	t.Helper()
	d, err := s.drawing()
	if err != nil {
		t.Fatal(err)
	}
	if d.wide() != 160 || d.height != 20 {
		t.Errorf("the strip is %g x %g", d.wide(), d.height)
	}
	for _, x := range d.shapes {
		for _, p := range x.points {
			if !(p.x >= 0 && p.x <= stripWidth && p.y >= 0 && p.y <= stripHeight) {
				t.Errorf("%+v lies outside", p)
			}
		}
	}
	return d
}

// With an upper limit alone the scale begins at zero: a value's place says what share of its
// limit it takes.
func TestStrip_ShareOfALimit(t *testing.T) {
	t.Parallel()
	d := drawn(t, &Strip{Dots: []Dot{{Value: 50}, {Value: 200}}, Lower: nan, Upper: 100, FromZero: true})
	dots, edge := spotsOf(d, 1.75), linesOf(d, 1.5)
	if len(dots) != 2 || len(edge) != 1 {
		t.Fatalf("%d dots and %d limits", len(dots), len(edge))
	}
	zero, limit := 4.0, edge[0].points[0].x
	for i, want := range []float64{0.5, 2} {
		if got := (dots[i].x - zero) / (limit - zero); math.Abs(got-want) > 1e-9 {
			t.Errorf("value %d takes %g of the limit's length, not %g", i, got, want)
		}
	}
}

// What failed and what is undecided differs in shape.
func TestStrip_Verdicts(t *testing.T) {
	t.Parallel()
	d := drawn(t, &Strip{Dots: []Dot{{Value: 12}, {Value: 13}, {Value: 10, Out: true}, {Value: 11, Open: true}}, Lower: 11.5, Upper: nan, Guard: 0.2})
	if n := len(linesOf(d, 1.5)); n != 1+2 { // limit and cross
		t.Errorf("%d lines for a limit and a cross", n)
	}
	if len(spotsOf(d, 3.5)) != 1 || len(spotsOf(d, 2)) != 1 {
		t.Error("no ring for what is undecided")
	}
	if len(spotsOf(d, 1.75)) != 2 {
		t.Errorf("%d dots of what passed", len(spotsOf(d, 1.75)))
	}
}

// The guard band lies within the limits and is as wide as it says.
func TestStrip_GuardBand(t *testing.T) {
	t.Parallel()
	for _, guard := range []float64{0, nan, 0.25} {
		d := drawn(t, &Strip{Dots: []Dot{{Value: 12}, {Value: 13}}, Lower: 11, Upper: 14, Guard: guard})
		least, most := math.Inf(1), math.Inf(-1)
		middle := 0
		for _, s := range d.shapes {
			for _, l := range s.pieces {
				for _, p := range l {
					least, most = min(least, p.x), max(most, p.x)
					if p.x > 60 && p.x < 100 {
						middle++
					}
				}
			}
		}
		if !(guard > 0) {
			if !math.IsInf(least, 1) {
				t.Errorf("a guard of %g is drawn", guard)
			}
			continue
		}
		edges := linesOf(d, 1.5)
		if middle > 0 || math.Abs(least-edges[0].points[0].x) > 2 || math.Abs(most-edges[1].points[0].x) > 2 {
			t.Errorf("hatched from %g to %g, %d in the middle", least, most, middle)
		}
	}
}

// Many values are spread over the height, so that they do not cover one another.
func TestStrip_ManyDots(t *testing.T) {
	t.Parallel()
	s := &Strip{Lower: nan, Upper: nan}
	for n := range MostDots {
		s.Dots = append(s.Dots, Dot{Value: float64(n % 10)})
		heights := map[float64]bool{}
		for _, p := range spotsOf(drawn(t, s), map[bool]float64{true: 1.75, false: 1}[len(s.Dots) <= mostInLine]) {
			heights[p.y] = true
		}
		if spread := len(heights) > 1; spread != (len(s.Dots) > mostInLine) {
			t.Fatalf("%d dots lie at %d heights", len(s.Dots), len(heights))
		}
		if n == mostInLine+1 {
			break
		}
	}
	for len(s.Dots) < MostDots {
		s.Dots = append(s.Dots, Dot{Value: float64(len(s.Dots))})
	}
	var b strings.Builder
	if err := s.Inline(&b); err != nil || b.Len() > 20_000 {
		t.Errorf("%d dots take %d bytes, %v", MostDots, b.Len(), err)
	}
	s.Dots = append(s.Dots, Dot{})
	if _, err := s.drawing(); err == nil {
		t.Errorf("%d dots are drawn", len(s.Dots))
	}
}

func TestStrip_Bands(t *testing.T) {
	t.Parallel()
	d := drawn(t, &Strip{Quantiles: []float64{2, 4, 5, 6, 8}, Low: 1, High: 12, Lower: nan, Upper: 10, FromZero: true})
	var widths []float64
	for _, s := range d.shapes {
		if s.area && s.role == ink {
			widths = append(widths, s.points[1].x-s.points[0].x)
		}
	}
	if len(widths) != 3 || math.Abs(widths[0]/widths[2]-11.0/2) > 1e-9 || math.Abs(widths[1]/widths[2]-6.0/2) > 1e-9 {
		t.Errorf("bands %v wide", widths)
	}
	if n := len(linesOf(d, 1.5)); n != 1+1+2 { // limit, median and the highest, which is out of it
		t.Errorf("%d lines", n)
	}
}

func TestStrip_Nothing(t *testing.T) {
	t.Parallel()
	for _, s := range []*Strip{{Lower: 1, Upper: 2}, {Quantiles: []float64{1, 2}, Low: 1, High: 2}, {Dots: []Dot{{Value: nan}}}} {
		if _, err := s.drawing(); err == nil {
			t.Errorf("%+v is drawn", s)
		}
	}
	drawn(t, &Strip{Dots: []Dot{{Value: 0}}, Lower: nan, Upper: nan})
	drawn(t, &Strip{Dots: []Dot{{Value: 0}, {Value: 0}}, Lower: nan, Upper: 0, FromZero: true})
}
