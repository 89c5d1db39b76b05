package commission

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"makebreak/rig/sim"
	"makebreak/rig/wiring/rigfile"
)

// What a supply's chip says of itself, told in volts at the unit: 2048 codes of
// 3.3 V · 5 / 4096 are 8.25 V, 1241 are 5.00 V.
func TestProbeSupply(t *testing.T) {
	rig := rigfile.Builtin()[2]
	w, err := sim.NewWorld(rig, sim.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	bus := w.Bus()
	for _, c := range []struct {
		write []byte
		want  string
	}{
		{nil, "at 8.25 V (code 2048); at power-up 8.25 V (code 2048): the unit gets that until the program runs, not the 0 V of rest"},
		{[]byte{0x04, 0xD9}, "at 5.00 V (code 1241); at power-up 8.25 V (code 2048): the unit gets that until the program runs, not the 0 V of rest"},
		{[]byte{0x14, 0xD9}, "at 0.00 V (code 1241); at power-up 8.25 V (code 2048): the unit gets that until the program runs, not the 0 V of rest"},
		{[]byte{0x60, 0x00, 0x00}, "at 0.00 V (code 0); at power-up 0.00 V (code 0)"},
	} {
		if len(c.write) > 0 {
			if err := bus.Tx(0x60, c.write, nil); err != nil {
				t.Fatal(err)
			}
		}
		got, err := probeSupply(bus, rig.Supply)
		if d := cmp.Diff(c.want, got); d != "" || err != nil {
			t.Errorf("%v %s", err, d)
		}
	}
	w.SupplyChip().SetGone(true)
	if _, err := probeSupply(bus, rig.Supply); err == nil {
		t.Error("a chip that is not there answers")
	}
}
