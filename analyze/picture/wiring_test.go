package picture

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// drawBench draws any bench that a rig file can describe.
func drawBench(t *rapid.T) *Bench {
	name := func(what string) string {
		return rapid.SampledFrom([]string{"OUT1", "A", "STROBE_OUTSIDE", "SIREN-OF-THE-WHOLE-HOUSE-AND-YARD", "K1_NO", "K"}).Draw(t, what)
	}
	n := 0
	wire := func() string { n++; return fmt.Sprintf("W%d", n) }
	point := func(part, terminal string) TestPoint {
		return TestPoint{Name: part + "." + terminal, Terminal: terminal, About: "a terminal"}
	}
	b := &Bench{Name: name("rig"), Heading: "Wiring of " + name("rig"), Unit: rapid.SampledFrom([]string{"panel", "driver"}).Draw(t, "unit"), Words: []string{"Each ring is a point."}}
	b.Zero = BenchZero{Unit: point(b.Unit, "0V"), Rig: point("rig", "0V"), Wire: wire()}
	if rapid.Bool().Draw(t, "supply") {
		b.Supply = BenchSupply{Words: rapid.SampledFrom([]string{"supply", "supply, 13.8 V or 10.5 V and more words than there is room for"}).Draw(t, "supply's words"),
			Plus: point("supply", "+"), Minus: point("supply", "-"), AtUnit: point(b.Unit, "+"), PlusWire: wire(), MinusWire: wire()}
		b.Zero.Logic = point("rig", "3V3")
	}
	for i := range rapid.IntRange(0, 16).Draw(t, "outputs") {
		terminal := fmt.Sprintf("%d%s", i, name("output")) // names of outputs differ
		o := BenchOutput{At: point(b.Unit, terminal), Rig: point("rig", terminal), Wire: wire(), Input: "B.AIN3", Note: fmt.Sprintf("address %d", i+1)}
		if rapid.Bool().Draw(t, "divided") {
			o.Upper, o.Lower = "39.2 kΩ", "10.7 kΩ"
		}
		if rapid.Bool().Draw(t, "pin") {
			o.Pin = point("pin", terminal)
		}
		for range rapid.IntRange(0, 2).Draw(t, "relays") {
			k := name("relay")
			b.Relays = append(b.Relays, BenchRelay{Name: k, Output: terminal, Coil: rapid.SampledFrom([]string{"", "400 Ω"}).Draw(t, "coil"), Flyback: "diode",
				From: point(k, "A1"), To: point(k, "A2"), FromWire: wire(), ToWire: wire(), Common: point(k, "COM"), CommonWire: wire(), CommonTo: b.Zero.Rig,
				Make:  BenchLine{Far: point(k, "NO"), At: point("rig", name("make")), Wire: wire(), Line: "GPIO22"},
				Break: BenchLine{Far: point(k, "NC"), At: point("rig", name("break")), Wire: wire(), Line: "gpiochip17 255"}})
		}
		b.Outputs = append(b.Outputs, o)
	}
	for range rapid.IntRange(0, 3).Draw(t, "inputs") {
		in := BenchInput{At: point(b.Unit, name("input"))}
		for range rapid.IntRange(1, 4).Draw(t, "lines") {
			l := BenchLine{At: point("rig", name("line")), Wire: wire(), Note: rapid.SampledFrom([]string{"", "arm-away", strings.Repeat("arm-away, ", 20)}).Draw(t, "note"), Line: "GPIO5"}
			switch rapid.IntRange(0, 2).Draw(t, "behind") {
			case 0:
				l.Part = "optocoupler"
			case 1:
				l.Pin = point("pin", l.At.Terminal)
			}
			in.Lines = append(in.Lines, l)
		}
		b.Inputs = append(b.Inputs, in)
	}
	if len(b.Inputs) > 0 {
		b.Zero.Common, b.Zero.CommonWire = point("rig", "COM"), wire()
	}
	for range rapid.IntRange(0, 3).Draw(t, "contacts") {
		b.Contacts = append(b.Contacts, BenchLine{At: point("rig", name("contact")), Note: "contact", Line: "GPIO23"})
	}
	return b
}

// Whatever is on a bench: all lies within the sheet, no text lies on another or on a wire, and
// each point and each wire is drawn once.
func TestWiring_Anything(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		b := drawBench(t)
		w := NewWiring(b)
		checkClear(t, w.d)
		var svg bytes.Buffer
		if err := w.SVG(&svg); err != nil {
			t.Fatal(err)
		}
		for _, bad := range []string{"NaN", "Inf"} {
			if strings.Contains(svg.String(), bad) {
				t.Fatalf("%s is drawn", bad)
			}
		}
		drawn := 0
		for _, p := range w.Places {
			if p.Name == "" {
				t.Error("a point without a name is drawn")
			}
			drawn++
		}
		if want := pointsOf(b); drawn != want {
			t.Errorf("%d points are drawn of %d", drawn, want)
		}
		for i := 1; ; i++ {
			name := fmt.Sprintf(">W%d<", i)
			n := strings.Count(svg.String(), name)
			if n == 0 && i > 1 {
				break
			}
			if n != 1 {
				t.Errorf("%s is drawn %d times", name, n)
			}
		}
	})
}

// pointsOf counts a bench's points.
func pointsOf(b *Bench) int {
	n := 0
	count := func(points ...TestPoint) {
		for _, p := range points {
			if p.Name != "" {
				n++
			}
		}
	}
	count(b.Supply.Plus, b.Supply.Minus, b.Supply.AtUnit, b.Zero.Unit, b.Zero.Rig, b.Zero.Common, b.Zero.Logic)
	for _, o := range b.Outputs {
		count(o.At, o.Rig, o.Pin)
		for _, k := range b.Relays { // two outputs of one name have its relays both
			if k.Output == o.At.Terminal {
				count(k.From, k.To, k.Common, k.Make.Far, k.Make.At, k.Break.Far, k.Break.At)
			}
		}
	}
	for _, in := range b.Inputs {
		count(in.At)
		for _, l := range in.Lines {
			count(l.At, l.Pin)
		}
	}
	for _, l := range b.Contacts {
		count(l.At)
	}
	return n
}

// checkClear looks whether all of a drawing lies on its sheet, and no text on another text or
// on a line, unless a ground of its own is between.
func checkClear(t fataler, d *drawing) {
	var texts []box
	var at []int
	for i, s := range d.shapes {
		for _, p := range append([]spot{}, s.points...) {
			if !(p.x >= -0.1 && p.x <= across+0.1 && p.y >= -0.1 && p.y <= d.height+0.1) {
				t.Fatalf("%+v lies off the sheet of %g by %g", s, across+0.0, d.height)
			}
		}
		if s.text == "" {
			continue
		}
		b := inked(&s)
		if b.left < -1 || b.right > across+1 {
			t.Errorf("%q goes from %g to %g", s.text, b.left, b.right)
		}
		for k, o := range texts {
			if b.left < o.right && o.left < b.right && b.top < o.bottom && o.top < b.bottom {
				t.Errorf("%q lies on %q", s.text, d.shapes[at[k]].text)
			}
		}
		texts, at = append(texts, b), append(at, i)
	}
	for i, s := range d.shapes {
		if s.text != "" || s.area || s.radius > 0 || len(s.pieces) > 0 {
			continue
		}
		for k, b := range texts {
			if on(s.points, b) && !covered(d.shapes, i, at[k], b) {
				t.Errorf("%q at %g, %g lies on the line %v", d.shapes[at[k]].text, b.left, b.top, s.points)
			}
		}
	}
}

// inked is about where a text's ink is. It is a little less than what is kept free for it.
func inked(s *shape) box {
	w := 0.5 * s.size * float64(utf8.RuneCountInString(s.text))
	left := s.points[0].x
	switch s.anchor {
	case middle:
		left -= w / 2
	case end:
		left -= w
	}
	return box{left, s.points[0].y - 0.72*s.size, left + w, s.points[0].y}
}

// on reports whether a line goes through a box.
func on(line []spot, b box) bool {
	for i := 1; i < len(line); i++ {
		p, q := line[i-1], line[i]
		if max(p.x, q.x) <= b.left || min(p.x, q.x) >= b.right || max(p.y, q.y) <= b.top || min(p.y, q.y) >= b.bottom {
			continue
		}
		steps := math.Ceil(math.Hypot(q.x-p.x, q.y-p.y)) + 1
		for k := range int(steps) + 1 {
			x, y := p.x+(q.x-p.x)*float64(k)/steps, p.y+(q.y-p.y)*float64(k)/steps
			if x > b.left && x < b.right && y > b.top && y < b.bottom {
				return true
			}
		}
	}
	return false
}

// covered reports whether a ground lies over a line and under a text.
func covered(shapes []shape, line, text int, b box) bool {
	for i := line + 1; i < text; i++ {
		s := &shapes[i]
		if !s.area || s.role != sheet {
			continue
		}
		g := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
		for _, p := range s.points {
			g = box{min(g.left, p.x), min(g.top, p.y), max(g.right, p.x), max(g.bottom, p.y)}
		}
		if g.left <= b.left && g.right >= b.right && g.top <= b.top && g.bottom >= b.bottom {
			return true
		}
	}
	return false
}

// Points that can be chosen are links with words, and what is held somewhere is marked there.
func TestWiring_Choosable(t *testing.T) {
	t.Parallel()
	p := TestPoint{Name: "panel.OUT1", Terminal: "OUT1"}
	w := NewWiring(&Bench{Heading: "Wiring", Unit: "panel", Outputs: []BenchOutput{{At: p, Rig: TestPoint{Name: "rig.OUT1", Terminal: "OUT1"}}}})
	var plain, b bytes.Buffer
	if err := w.Inline(&plain); err != nil {
		t.Fatal(err)
	}
	err := w.Choosable(&b, func(at TestPoint) Choice {
		if at.Name == p.Name {
			return Choice{Address: "?red=<panel.OUT1>", Words: "Hold the red lead to panel.OUT1", Mark: "R"}
		}
		return Choice{}
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`<a href="?red=&lt;panel.OUT1&gt;" aria-label="Hold the red lead to panel.OUT1">`, `role="group"`, ">R</text>"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("there is no %s in %s", want, b.String())
		}
	}
	if strings.Count(b.String(), "<a ") != 1 || strings.Contains(plain.String(), "<a ") || !strings.Contains(plain.String(), `role="img"`) {
		t.Error("there are other links, or links in what is only looked at")
	}
	var again bytes.Buffer
	if err := w.Inline(&again); err != nil || again.String() != plain.String() {
		t.Errorf("the drawing was changed: %v", err)
	}
}
