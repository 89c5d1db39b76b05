package picture

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
)

// sums are the pictures that sums have, with long texts.
func sumPictures() map[string]interface {
	SVG(io.Writer) error
	drawing() *drawing
} {
	return map[string]interface {
		SVG(io.Writer) error
		drawing() *drawing
	}{
		"cable": &Ladder{Heading: "Voltage drop", Words: []string{"It works."}, Top: "10.55 V", Bottom: "0 V", Series: []string{"123.4 mohm"}, Return: []string{"123.4 mohm"},
			Along: "cable: 1234.5 m of 16 × 0.3255 mm²", Rungs: []Rung{{LoadSymbol, []string{"load of 123.4 mA", "sees 9.123 V"}}}},
		"coil": &Ladder{Heading: "Relay coil", Top: "output 13.85 V", Bottom: "0 V", Series: []string{"120.5 ohm"},
			Rungs: []Rung{{CoilSymbol, []string{"coil 1.234 kohm"}}, {DiodeSymbol, []string{"diode, its bar", "to the output"}}}},
		"divider": &Ladder{Heading: "Divider", Top: "output, up to 123.4 V", Bottom: "0 V", Series: []string{"390.2 kohm"},
			Rungs: []Rung{{ResistorSymbol, []string{"10.25 kohm"}}, {CapacitorSymbol, []string{"123.4 nF"}}}, End: []string{"converter", "3.111 V", "at most", "0 V"}},
		"lamp": &Ladder{Heading: "LED", Top: "12 V", Bottom: "0 V", Series: []string{"1 kohm"}, Rungs: []Rung{{LEDSymbol, []string{"LED of 1.8 V", "10.2 mA at 12 V"}}}},
		"battery": &Shares{Heading: "Battery", Words: []string{"It lasts."}, Shares: []Share{{"as rated", 0, 1, WholeShare, "7 Ah"}, {"standby 23.76 h", 0, 1.5, UsedShare, "123 %"},
			{"alarm 0.08333 h", 0.9, 0.9, UsedShare, "0.01 %"}, {"left", 0.9, 0.95, LeftShare, "5 %"}}},
	}
}

// Every shape and every text lies within the picture, with the wide side of what fonts have; no
// text lies over another; the same figures give the same bytes, which are XML.
func TestSums_Drawn(t *testing.T) {
	for name, p := range sumPictures() {
		d := p.drawing()
		var texts []box
		for _, s := range d.shapes {
			at := s.points[0]
			if s.text == "" {
				for _, p := range s.points {
					if p.x < 0 || p.x > across || p.y < 0 || p.y > d.height {
						t.Errorf("%s: a shape at %v", name, p)
					}
				}
				continue
			}
			w := widthOf(s.text, s.size)
			left := map[anchor]float64{start: at.x, middle: at.x - w/2, end: at.x - w}[s.anchor]
			b := box{left, at.y - 0.75*s.size, left + w, at.y + 0.25*s.size}
			if b.left < -0.5 || b.right > across || b.top < 0 || b.bottom > d.height {
				t.Errorf("%s: %q lies at %v of %g × %g", name, s.text, b, float64(across), d.height)
			}
			for i, o := range texts {
				if math.Min(b.right, o.right) > math.Max(b.left, o.left) && math.Min(b.bottom, o.bottom) > math.Max(b.top, o.top) {
					t.Errorf("%s: %q lies over text %d, %v on %v", name, s.text, i, b, o)
				}
			}
			texts = append(texts, b)
		}
		var once, again bytes.Buffer
		if err := errors.Join(p.SVG(&once), p.SVG(&again)); err != nil || !bytes.Equal(once.Bytes(), again.Bytes()) {
			t.Errorf("%s: two pictures differ: %v", name, err)
		}
		for x := xml.NewDecoder(&once); ; {
			if _, err := x.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
	}
}

// What is drawn is what was given: each text once, a bar for each share, and the parts' own symbols.
func TestSums_Texts(t *testing.T) {
	var b strings.Builder
	if err := sumPictures()["divider"].SVG(&b); err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"output, up to 123.4 V", "390.2 kohm", "10.25 kohm", "123.4 nF", "converter", "3.111 V", "at most"} {
		if n := strings.Count(b.String(), ">"+text+"</text>"); n != 1 {
			t.Errorf("%q is written %d times", text, n)
		}
	}
	d := sumPictures()["battery"].drawing()
	areas, hatches := 0, 0
	for _, s := range d.shapes {
		if s.area {
			areas++
		}
		if len(s.pieces) > 0 {
			hatches++
		}
	}
	if areas != 3 || hatches != 1 {
		t.Errorf("%d bars and %d hatched ones", areas, hatches)
	}
}
