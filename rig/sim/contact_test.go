package sim

import "testing"

// The levels that 50 kohm and a contact's resistance make of 3.3 V, by hand: at a pull-up 0.8 V
// with 16 kohm and 2 V with 76.9 kohm, at a pull-down 2 V with 32.5 kohm and 0.8 V with
// 156 kohm. Between them the line reads what it has read before.
func TestContact_Reads(t *testing.T) {
	for _, c := range []struct {
		down, before bool
		ohms         float64
		want         bool
	}{
		{false, false, 0, true}, {false, false, 15.9e3, true}, {false, false, 16.1e3, false}, {false, true, 76.8e3, true}, {false, true, 77e3, false},
		{true, false, 0, true}, {true, false, 32.4e3, true}, {true, false, 32.6e3, false}, {true, true, 156e3, true}, {true, true, 157e3, false},
	} {
		x := &contact{pulledDown: c.down, closed: c.before}
		if got := x.reads(c.ohms); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}
