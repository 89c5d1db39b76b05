package reliability

import (
	"encoding/binary"
	"math"
	"testing"
)

// Any boards, however odd: no panic, no endless search, and figures in order.
func FuzzFitWeibull(f *testing.F) {
	f.Add([]byte{1, 0, 0, 1, 2, 0, 0, 0, 200, 3, 0, 1})
	f.Add([]byte{255, 255, 255, 1, 1, 0, 0, 1})
	f.Add([]byte{1, 0, 0, 1, 255, 255, 255, 0, 255, 255, 255, 0})
	f.Fuzz(func(t *testing.T, data []byte) {
		var units []Unit
		for ; len(data) >= 4 && len(units) < 60; data = data[4:] {
			bits := binary.LittleEndian.Uint32(append(data[:3:3], 0))
			// From 1e-15 to 1e21 cycles, evenly on a logarithmic scale.
			units = append(units, Unit{Cycles: math.Pow(10, float64(bits)/466034-15), Failed: data[3]&1 == 1})
		}
		w, err := FitWeibull(units, 0.95)
		if err != nil {
			return
		}
		b10, err := w.Life(0.1)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range []Estimate{w.Shape, w.Scale, b10} {
			for _, i := range []Interval{e.Fisher, e.Likelihood} {
				if !(i.Lower <= e.Value*(1+1e-9) && e.Value <= i.Upper*(1+1e-9)) {
					t.Fatalf("%+v of %+v", e, units)
				}
			}
		}
		if _, err := Points(units); err != nil {
			t.Fatal(err)
		}
	})
}
