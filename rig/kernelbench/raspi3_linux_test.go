package kernelbench_test

import (
	"encoding/json"
	"os"
	"os/exec"
	"slices"
	"testing"

	"golang.org/x/sys/unix"

	"makebreak/rig/gpioline"
	"makebreak/rig/line"
)

// raspi3 skips the test unless it runs on the emulated board.
func raspi3(t *testing.T) {
	t.Helper()
	if os.Getenv("MAKEBREAK_RASPI3") != "1" {
		t.Skip("needs the Raspberry Pi 3 that QEMU models: run .ci/kernel-bench/pi3")
	}
}

const raspi3Label = "pinctrl-bcm2835" // drivers/pinctrl/bcm/pinctrl-bcm2835.c

// The scan finds the header's lines under the kernel's own names on the kernel's own driver.
func TestRaspi3_Scan(t *testing.T) {
	raspi3(t)
	cmd := exec.Command(os.Getenv("MAKEBREAK_BIN"), "rig", "scan", "--as", "json")
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Error(err)
	}
	var got found
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if len(got.Buses) != 0 {
		t.Errorf("buses: %+v; the model has none", got.Buses)
	}
	for _, c := range got.Chips {
		if c.Label != raspi3Label {
			continue
		}
		if c.Lines != 54 || len(c.Named) != 28 {
			t.Fatalf("%d lines, %d at the header: %+v", c.Lines, len(c.Named), c.Named)
		}
		if l := c.Named[8]; l.Line != 8 || l.GPIO != "GPIO8" || l.Name != "SPI_CE0_N" {
			t.Errorf("%+v", l)
		}
		return
	}
	t.Fatalf("no chip %s: %+v", raspi3Label, got.Chips)
}

// Drives are set by the kernel's driver, and read back in the registers of the model. A contact
// can be asked for, with its pull; the model makes no edge of it.
func TestRaspi3_Drives(t *testing.T) {
	raspi3(t)
	const driveLine, other = 0, 1
	set, err := gpioline.Open([]gpioline.Request{
		{Line: line.Line{Name: "KEY", Number: -1, LineName: "GPIO8"}, Role: line.Drive},
		{Line: line.Line{Name: "SIREN", Number: -1, LineName: "GPIO17"}, Role: line.Drive},
		{Line: line.Line{Name: "K1_NO", Number: -1, LineName: "GPIO22", Pull: line.PullUp}, Role: line.Contact},
	})
	if err != nil {
		t.Fatal(err)
	}
	defer set.Close()
	for _, on := range []bool{true, false, true} {
		if _, _, err := set.Drive(driveLine, on); err != nil {
			t.Fatal(err)
		}
		for i, want := range map[int]bool{driveLine: on, other: false} {
			if got, err := set.Active(i); err != nil || got != want {
				t.Errorf("line %d: %t, %v; want %t", i, got, err, want)
			}
		}
	}
	if err := set.Close(); err != nil {
		t.Error(err)
	}
	// What the board does with a line that nobody holds any more is its kernel's business.
	chips, err := gpioline.Inventory()
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(chips, func(c gpioline.ChipInfo) bool { return c.Label == raspi3Label })
	var u unix.Utsname
	_ = unix.Uname(&u)
	t.Logf("Linux %s, after its release: %+v", unix.ByteSliceToString(u.Release[:]), chips[i].Lines[8])
}
