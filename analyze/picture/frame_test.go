package picture

import (
	"math"
	"testing"
)

// A label goes where it covers nothing, in the order of its places, and is written even
// where each of them covers something.
func TestFrame_Label(t *testing.T) {
	t.Parallel()
	at := spot{200, 200}
	for _, c := range []struct {
		name  string
		marks []spot
		want  anchor
		free  bool
	}{
		{"nothing about", nil, start, true},
		{"a line to the right", []spot{{230, 100}, {230, 300}}, end, true},
		{"a line on either side", []spot{{230, 300}, {230, 190}, {170, 190}, {170, 300}}, middle, true},
		{"lines all over, fewest to the right", []spot{{230, 300}, {230, 100}, {190, 100}, {190, 300}, {180, 300}, {180, 100}, {185, 100}, {185, 300}}, start, false},
	} {
		d := &drawing{}
		f := &frame{left: 50, right: 600, top: 50, bottom: 400}
		f.mark(c.marks...)
		free := f.label(d, label{"a label", around(at)})
		if got := d.shapes[0]; got.anchor != c.want || free != c.free || got.text != "a label" {
			t.Errorf("%s: %+v, free %t", c.name, got, free)
		}
	}
}

// Two labels in one place, and one beyond the frame, give way.
func TestFrame_LabelsGiveWay(t *testing.T) {
	t.Parallel()
	d := &drawing{}
	f := &frame{left: 50, right: 600, top: 50, bottom: 400}
	f.label(d, label{"first", around(spot{200, 200})})
	f.label(d, label{"second", around(spot{200, 200})})
	f.label(d, label{"at the edge", around(spot{590, 200})})
	for i, want := range []anchor{start, end, end} {
		if got := d.shapes[i].anchor; got != want {
			t.Errorf("label %d stands at its %s, want %s", i, got, want)
		}
	}
}

func TestFrame_At(t *testing.T) {
	t.Parallel()
	f := &frame{left: 100, right: 300, top: 20, bottom: 120, fromX: 0, toX: 10, fromY: -1, toY: 1}
	for _, c := range []struct{ x, y, right, down float64 }{{0, -1, 100, 120}, {10, 1, 300, 20}, {5, 0, 200, 70}, {2.5, 0.5, 150, 45}} {
		if got := f.at(c.x, c.y); got != (spot{c.right, c.down}) {
			t.Errorf("(%g, %g) is at %v", c.x, c.y, got)
		}
	}
}

// A rising line is cut where it crosses the sides, or ends there.
func TestWithin(t *testing.T) {
	t.Parallel()
	line := []spot{{0, 100}, {20, 80}, {60, 40}}
	same := func(got, want []spot) bool {
		if len(got) != len(want) {
			return false
		}
		for i := range got {
			if math.Hypot(got[i].x-want[i].x, got[i].y-want[i].y) > 1e-9 {
				return false
			}
		}
		return true
	}
	if got := within(line, 10, 40); !same(got, []spot{{10, 90}, {20, 80}, {40, 60}}) {
		t.Errorf("within: %v", got)
	}
	if got := clipped(line, 10, 40); !same(got, []spot{{10, 100}, {10, 90}, {20, 80}, {40, 60}, {40, 40}}) {
		t.Errorf("clipped: %v", got)
	}
	if got := within(line, 61, 70); len(got) != 0 {
		t.Errorf("off: %v", got)
	}
}

func TestDashed(t *testing.T) {
	t.Parallel()
	got := dashed([]spot{{0, 0}, {10, 0}, {10, 10}}, 4)
	want := [][]spot{{{0, 0}, {4, 0}}, {{8, 0}, {10, 0}, {10, 2}}, {{10, 6}, {10, 10}}}
	if len(got) != len(want) {
		t.Fatalf("%v", got)
	}
	for i := range want {
		for k := range want[i] {
			if got[i][k] != want[i][k] {
				t.Errorf("dash %d: %v, want %v", i, got[i], want[i])
			}
		}
	}
}
