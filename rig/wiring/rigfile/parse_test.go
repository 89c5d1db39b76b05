package rigfile

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"makebreak/rig/ads1x15"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/wiring"
)

// The commented example holds everything that a rig file can have.
func TestParse_full(t *testing.T) {
	got, err := Load(t.Context(), "../../../testdata/rigs/full.yaml")
	if err != nil {
		t.Fatal(err)
	}
	divider := wiring.Divider{Upper: 39e3, Lower: 10e3, Tolerance: 0.01}
	want := &wiring.Rig{
		Name: "bench-1", About: "Workshop bench by the window.", Bus: "1", BusHz: 400_000,
		Chips: []wiring.Chip{
			{Name: "A", Model: ads1x15.ADS1115, Address: 0x48, Range: 4.096, Rate: 860, Supply: 3.3, Mode: wiring.Follow,
				Ready: &line.Line{Name: "A ready", Chip: "gpiochip0", Number: 17, ActiveLow: true, Pull: line.PullUp}},
			{Name: "B", Model: ads1x15.ADS1015, Address: 0x49, Range: 4.096, Rate: 1600, Supply: 3.3, Mode: wiring.Sweep,
				Ready: &line.Line{Name: "B ready", Number: -1, LineName: "GPIO27", ActiveLow: true, Pull: line.PullUp}},
		},
		Outputs: []wiring.Output{
			{Name: "OUT1", Chip: "B", Channel: 0, Divider: divider, Highest: 15, Nominal: 12},
			{Name: "OUT3", Chip: "A", Channel: 0, Divider: divider, Highest: 15, Nominal: 12},
			{Name: "LOGIC", Chip: "B", Channel: 1, Highest: 3.3, Nominal: 3.3},
		},
		Contacts: []line.Line{
			{Name: "K1_NO", Chip: "gpiochip0", Number: 22, ActiveLow: true, Pull: line.PullUp},
			{Name: "K1_NC", Chip: "gpiochip0", Number: 23, ActiveLow: true, Pull: line.PullUp},
		},
		References: []line.Line{{Name: "REF", Chip: "gpiochip0", Number: 25, Pull: line.PullDown}},
		Drives: []wiring.Drive{
			{Line: line.Line{Name: "KEY_AWAY", Chip: "gpiochip0", Number: 5, Pull: line.PullNone}, LongestOn: 5 * time.Second},
			{Line: line.Line{Name: "ZONE", Number: -1, LineName: "GPIO19", ActiveLow: true, Pull: line.PullNone}, LongestOn: 10 * time.Minute},
			{Line: line.Line{Name: "COIL", Chip: "gpiochip0", Number: 6, Pull: line.PullNone}, LongestOn: time.Minute, Coil: true},
		},
		Causes: []wiring.Cause{
			{Event: "arm-away", Drive: "KEY_AWAY", Pulse: 300 * time.Millisecond, Reference: "REF"},
			{Event: "open-zone", Drive: "ZONE", On: true},
			{Event: "close-zone", Drive: "ZONE"},
			{Event: "arm-stay", Prompt: "Arm the panel in stay mode at its keypad.", Reference: "REF"},
			{Event: "disarm", Prompt: "Disarm the panel at its keypad."},
		},
		Supply:  &wiring.Supply{Model: wiring.MCP4725, Address: 0x60, Reference: 3.3, Gain: 5, Highest: 15, Usual: 13.8, Rest: 0.5},
		Overdue: capture.OverdueUndecided,
		Fields:  []wiring.Field{{Name: "job"}, {Name: "customer"}, {Name: "remarks"}},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if p := got.Check(); len(p) > 0 {
		t.Errorf("problems: %v", p)
	}
}

// A file with Windows line ends and a byte order mark reads the same.
func TestParse_lineEnds(t *testing.T) {
	src, err := os.ReadFile("../../../testdata/rigs/full.yaml")
	if err != nil {
		t.Fatal(err)
	}
	plain, err := Parse("full.yaml", src)
	if err != nil {
		t.Fatal(err)
	}
	other, err := Parse("full.yaml", []byte("\ufeff"+strings.ReplaceAll(string(src), "\n", "\r\n")))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(plain, other); d != "" {
		t.Error(d)
	}
}

func TestBuiltin(t *testing.T) {
	all := Builtin()
	if len(all) != 3 || all[0].Name != "panel" || all[1].Name != "relay" || all[2].Name != "supply" {
		t.Fatalf("built in: %d rigs", len(all))
	}
	for _, r := range all {
		if p := r.Check(); len(p) > 0 || !r.Simulated || r.Bus != "" {
			t.Errorf("%s: simulated %v, problems %v", r.Name, r.Simulated, p)
		}
	}
	panel, relay := all[0], all[1]
	alone := 0
	for _, o := range panel.Outputs {
		if o.Chip == "A" {
			alone++
		}
	}
	if len(panel.Outputs) != 8 || alone != 1 || panel.Output("OUT3").Chip != "A" || panel.Chip("A").Mode != wiring.Follow {
		t.Error("panel: OUT3 is not alone on the chip that follows")
	}
	if !relay.Drive("COIL_DRIVE").Coil || !relay.Cause("energize").On || relay.Cause("release").On {
		t.Error("relay: the coil is not switched by the rig")
	}
	panel.Outputs[0].Name = "changed"
	if Builtin()[0].Outputs[0].Name != "OUT1" {
		t.Error("a change to a built-in rig shows in the next one")
	}
}

func TestLoad(t *testing.T) {
	if r, err := Load(t.Context(), "relay"); err != nil || r.Name != "relay" {
		t.Errorf("relay: %v", err)
	}
	_, err := Load(t.Context(), "no-such-rig")
	if !errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), "panel, relay and supply") {
		t.Errorf("no such rig: %v", err)
	}
	if _, err := Load(t.Context(), t.TempDir()); err == nil {
		t.Error("a folder is read as a rig")
	}
	large := filepath.Join(t.TempDir(), "large.yaml")
	if err := os.WriteFile(large, make([]byte, 1<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(t.Context(), large); err == nil || !strings.Contains(err.Error(), "too large") {
		t.Errorf("a file of 1 MiB: %v", err)
	}
}
