package wiring

import (
	"testing"

	"makebreak/rig/capture"
)

// A filter holds for the chip and the rate that it was measured at, behind the same resistors.
func TestRig_FilterOf(t *testing.T) {
	divider := Divider{Upper: 39e3, Lower: 10e3, Tolerance: 0.01}
	rig := func() *Rig {
		return &Rig{
			Chips:   []Chip{{Name: "A", Rate: 860}, {Name: "B", Rate: 860}},
			Outputs: []Output{{Name: "ONE", Chip: "A", Divider: divider}, {Name: "TWO", Chip: "A", Channel: 1, Divider: divider}, {Name: "OTHER", Chip: "B", Divider: divider}},
			Latency: &Latency{Filter: &Filter{Filter: capture.Filter{Step: 1, Shares: []uint16{0, capture.WholeStep}}, Output: "ONE", Chip: "A", Rate: 860}},
		}
	}
	for _, c := range []struct {
		name, output string
		change       func(*Rig)
		found        bool
	}{
		{"looped back", "ONE", func(*Rig) {}, true},
		{"its neighbour", "TWO", func(*Rig) {}, true},
		{"of another chip", "OTHER", func(*Rig) {}, false},
		{"another rate", "ONE", func(r *Rig) { r.Chips[0].Rate = 128 }, false},
		{"other resistors", "TWO", func(r *Rig) { r.Outputs[1].Divider.Upper = 56e3 }, false},
		{"moved to another chip", "ONE", func(r *Rig) { r.Outputs[0].Chip = "B" }, false},
		{"looped back no more", "TWO", func(r *Rig) { r.Outputs[0].Name = "GONE" }, false},
		{"no filter", "ONE", func(r *Rig) { r.Latency.Filter = nil }, false},
		{"nothing measured", "ONE", func(r *Rig) { r.Latency = nil }, false},
	} {
		r := rig()
		c.change(r)
		if got := r.FilterOf(c.output); (got != nil) != c.found {
			t.Errorf("%s: %+v", c.name, got)
		}
	}
}
