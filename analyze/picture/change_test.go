package picture

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// What was is a ring above, what is a dot below it, and both lie where their values are against
// the limit.
func TestChange(t *testing.T) {
	t.Parallel()
	c := Change{Name: "OUT3 high level", About: "now 9 V, was 13 V", Before: Figure{13, 0.2}, Now: Figure{9, 0.2}, Lower: 12, Upper: 14.5}
	d, err := c.drawing()
	if err != nil {
		t.Fatal(err)
	}
	now, before := spotsOf(d, 3.5), spotsOf(d, 2)
	if len(now) != 2 || len(before) != 1 { // the ring is a dot with a smaller one on it
		t.Fatalf("%d dots, %d rings", len(now), len(before))
	}
	ring, dot := before[0], now[1]
	edges := linesOf(d, 1.5)
	if len(edges) != 2 || !(dot.x < edges[0].points[0].x && edges[0].points[0].x < ring.x && ring.x < edges[1].points[0].x) || !(dot.y > ring.y) {
		t.Errorf("now at %v, before at %v, limits %v", dot, ring, edges)
	}
	var b bytes.Buffer
	if err := c.Inline(&b); err != nil || !strings.Contains(b.String(), "now 9 V, was 13 V") {
		t.Errorf("%v: %s", err, b.String())
	}
}

// A limit that is far away is left outside: what moved must be seen to have moved.
func TestChange_FarLimit(t *testing.T) {
	t.Parallel()
	c := Change{Name: "x", Before: Figure{4.0, 0.01}, Now: Figure{4.4, 0.01}, Lower: math.NaN(), Upper: 100}
	d, err := c.drawing()
	if err != nil {
		t.Fatal(err)
	}
	if edges := linesOf(d, 1.5); len(edges) != 0 {
		t.Errorf("limits at %v", edges)
	}
	if far := spotsOf(d, 3.5)[1].x - spotsOf(d, 2)[0].x; far < changeWidth/2 {
		t.Errorf("the change is %g units wide", far)
	}
}

func TestChange_NoValue(t *testing.T) {
	t.Parallel()
	c := Change{Name: "x", Before: Figure{math.NaN(), 1}, Now: Figure{1, 1}}
	if _, err := c.drawing(); err == nil {
		t.Error("it is drawn without a value")
	}
}

// Whatever the values and the limits, all lies inside.
func TestChange_Inside(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.Float64Range(-1e3, 1e3)
		some := func(name string) float64 {
			if rapid.Bool().Draw(t, name) {
				return number.Draw(t, name)
			}
			return math.NaN()
		}
		c := Change{Name: "x", Before: Figure{number.Draw(t, "before"), math.Abs(some("its uncertainty"))}, Now: Figure{number.Draw(t, "now"), math.Abs(some("uncertainty"))},
			Lower: some("lower"), Upper: some("upper")}
		d, err := c.drawing()
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range d.shapes {
			for _, p := range x.points {
				if !(p.x >= 0 && p.x <= changeWidth && p.y >= 0 && p.y <= changeHeight) {
					t.Fatalf("%v lies outside", p)
				}
			}
		}
	})
}
