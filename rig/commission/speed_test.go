package commission

import (
	"slices"
	"strings"
	"testing"

	"makebreak/rig/i2cbus"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// A simulated bus is measured at the speed that it has, whatever the rig file says, and
// the warning says how to bring the two together.
func TestBusSpeed_AgainstTheFile(t *testing.T) {
	rig := rigfile.Builtin()[0]
	for _, c := range []struct {
		runs, file int
		want       string // warning; empty: none
	}{
		{400_000, 400_000, ""},
		{100_000, 100_000, ""},
		{340_000, 400_000, ""},
		{100_000, 400_000, "runs at 100 kHz, and the rig file says 400 kHz, which is more than 20 % apart. On a Raspberry Pi set dtparam=i2c_arm_baudrate in config.txt to 400000 and restart; or write bus_speed: 100 kHz into the rig file."},
		{400_000, 100_000, "to 100000 and restart; or write bus_speed: 400 kHz into the rig file."},
		{1_000_000, 400_000, "runs at 1 MHz, and the rig file says 400 kHz, which is more than 20 % apart. On a Raspberry Pi set dtparam=i2c_arm_baudrate in config.txt to 400000 and restart."},
	} {
		rig.BusHz = c.runs
		world, err := sim.NewWorld(rig, sim.Opts{})
		if err != nil {
			t.Fatal(err)
		}
		measured, err := i2cbus.MeasureSpeed(world.Bus(), rig.Chips[0].Address, i2cbus.ManyReads, world.Now)
		if err != nil {
			t.Fatal(err)
		}
		s := BusSpeed{Speed: measured, fileHz: c.file, bus: "/dev/i2c-1"}
		if s.off() != (c.want != "") || !strings.Contains(s.advice(), c.want) {
			t.Errorf("a bus of %d Hz, %d Hz in the file: off %v: %s", c.runs, c.file, s.off(), s.advice())
		}
	}
}

func TestBusSpeed_Words(t *testing.T) {
	for want, s := range map[string]BusSpeed{
		"398 kHz measured, and a transfer takes 47 µs besides its bits, 400 kHz in the device tree, 400 kHz in the rig file": {Speed: i2cbus.Speed{Hz: 397_600, Overhead: 47_200}, treeHz: 400_000, fileHz: 400_000},
		"98.7 kHz ± 6 % measured, 100 kHz in the rig file":                                                                   {Speed: i2cbus.Speed{Hz: 98_651, Doubt: 0.03}, fileHz: 100_000},
		"faster than 3.4 MHz: transfers take no time that could be measured, 400 kHz in the rig file":                        {Speed: i2cbus.Speed{Hz: 3.4e6, Faster: true}, fileHz: 400_000},
		"faster than 52.1 kHz: transfers take no time that could be measured, 400 kHz in the rig file":                       {Speed: i2cbus.Speed{Hz: 52_070, Faster: true}, fileHz: 400_000},
	} {
		if got := s.String(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
		if s.Faster && s.off() {
			t.Errorf("%q: what was not measured cannot be off", want)
		}
	}
	own := BusSpeed{Speed: i2cbus.Speed{Hz: 100_000}, fileHz: 400_000, bus: "/dev/i2c-3"}
	if !own.off() || !strings.Contains(own.advice(), "baudrate of the bus's own dtoverlay in config.txt to 400000") {
		t.Errorf("bus 3: %s", own.advice())
	}
	const core = "the bus runs at 250 kHz, though the device tree asks for 400 kHz, as the rig file does. On a Raspberry Pi the bus's clock is cut from the core clock"
	for _, c := range []struct {
		hz           float64
		tree, file   int
		off, theCore bool
	}{{250e3, 400e3, 400e3, true, true}, {250e3, 100e3, 400e3, true, false}, {250e3, 0, 400e3, true, false}, {640e3, 400e3, 400e3, true, true}, {640e3, 100e3, 400e3, true, false}, {390e3, 400e3, 400e3, false, true}} {
		s := BusSpeed{Speed: i2cbus.Speed{Hz: c.hz}, treeHz: c.tree, fileHz: c.file, bus: "/dev/i2c-1"}
		advice := s.advice()
		if s.off() != c.off || strings.Contains(advice, "core clock") != c.theCore || c.theCore == strings.Contains(advice, "i2c_arm_baudrate") {
			t.Errorf("%+v: off %v: %s", c, s.off(), advice)
		}
		if c.theCore && !strings.Contains(advice, "enable_uart=1") {
			t.Errorf("a remedy is missing: %s", advice)
		}
		if c.hz == 250e3 && c.theCore && (!strings.HasPrefix(advice, core) || !strings.HasSuffix(advice, "; or write bus_speed: 250 kHz into the rig file.")) {
			t.Error(advice)
		}
	}
	if got := (*BusSpeed)(nil).String(); got != "not measured" || (*BusSpeed)(nil).off() {
		t.Errorf("nothing measured: %q", got)
	}
}

// A check of a real rig says when the bus, as measured, does not carry what the rig file follows:
// a run would be refused.
func TestReport_Carried(t *testing.T) {
	rig := *rigfile.Builtin()[0]
	rig.Simulated, rig.Chips = false, slices.Clone(rig.Chips)
	for i := range rig.Chips {
		rig.Chips[i].Mode = wiring.Follow
	}
	for hz, slow := range map[float64]bool{398e3: false, 62.5e3: true} {
		r := Report{Rig: &rig, Speed: &BusSpeed{Speed: i2cbus.Speed{Hz: hz}, fileHz: 400_000, treeHz: 400_000}}
		var w strings.Builder
		if err := r.Text(&w); err != nil {
			t.Fatal(err)
		}
		if strings.Contains(w.String(), "the bus is too slow at 62.5 kHz, as measured (the rig file says 400 kHz)") != slow || strings.Contains(w.String(), "with the warnings above") != slow {
			t.Errorf("a bus of %g Hz:\n%s", hz, w.String())
		}
	}
}
