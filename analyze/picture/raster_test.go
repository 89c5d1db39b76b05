package picture

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"testing"
)

// painted is a drawing's PNG read back, and where a place of the drawing is in it.
func painted(t *testing.T, d *drawing) func(x, y float64) color.RGBA {
	t.Helper()
	var b bytes.Buffer
	if err := d.png(&b); err != nil {
		t.Fatal(err)
	}
	p, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	if want := image.Pt((across+2*margin)*dots, (100+2*margin)*dots); p.Bounds().Size() != want {
		t.Fatalf("%v pixels, want %v", p.Bounds().Size(), want)
	}
	return func(x, y float64) color.RGBA {
		return color.RGBAModel.Convert(p.At(int((x+margin)*dots), int((y+margin)*dots))).(color.RGBA)
	}
}

func TestPNG_Shapes(t *testing.T) {
	t.Parallel()
	d := &drawing{height: 100}
	d.area(pale, spot{10, 10}, spot{60, 10}, spot{60, 40}, spot{10, 40})
	d.line(fitted, 4, 0, spot{100, 20}, spot{200, 20}, spot{200, 80}) // with a bend
	d.line(bound, 4, 10, spot{100, 90}, spot{200, 90})                // dashed
	d.dot(ink, spot{300, 50}, 6)
	at := painted(t, d)
	for _, c := range []struct {
		what string
		x, y float64
		want role
	}{
		{"the ground", 5, 5, sheet},
		{"the margin", -10, -10, sheet},
		{"in the area", 35, 25, pale},
		{"beside the area", 35, 42, sheet},
		{"on the line's first piece", 150, 20.5, fitted},
		{"half its width above", 150, 18.6, fitted},
		{"above it", 150, 17, sheet},
		{"on its second piece", 200.5, 50, fitted},
		{"round its bend", 201, 19, fitted},
		{"in its first dash", 105, 90, bound},
		{"in its first gap", 115, 90, sheet},
		{"in its second dash", 125, 90, bound},
		{"in the dot", 304, 50, ink},
		{"beside the dot", 308, 50, sheet},
		{"above the dot", 300, 42, sheet},
	} {
		if got, want := at(c.x, c.y), ground(c.want).C.(color.RGBA); got != want {
			t.Errorf("%s: %v, want %s, %v", c.what, got, c.want, want)
		}
	}
}

// Text stands where its anchor says, and a thin space has a width.
func TestPNG_Text(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		anchor      anchor
		words       string
		left, right float64 // of the ink, to a unit or two
	}{
		{start, "MMMM", 301, 342},
		{end, "MMMM", 259, 299},
		{middle, "MMMM", 280, 321},
		{start, "MM" + thinSpace + thinSpace + thinSpace + thinSpace + "MM", 301, 350},
	} {
		d := &drawing{height: 100}
		d.text(ink, spot{300, 50}, smallText, c.anchor, c.words)
		at := painted(t, d)
		left, right := float64(across), 0.0
		for x := 0.0; x < across; x += 0.5 {
			for y := 38.0; y < 54; y += 0.5 {
				if at(x, y) != ground(sheet).C.(color.RGBA) {
					left, right = min(left, x), max(right, x)
				}
			}
		}
		if left < c.left-2 || left > c.left+2 || right < c.right-3 || right > c.right+3 {
			t.Errorf("%s at its %s is at %g to %g, want %g to %g", c.words, c.anchor, left, right, c.left, c.right)
		}
		if at(300, 56) != ground(sheet).C.(color.RGBA) || at(300, 36) != ground(sheet).C.(color.RGBA) {
			t.Errorf("%s: there is ink above or below the line", c.words)
		}
	}
}
