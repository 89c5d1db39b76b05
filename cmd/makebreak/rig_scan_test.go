package main

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"makebreak/rig/commission"
)

// Without hardware it says what is missing and how it is switched on.
func TestRigScan_Nothing(t *testing.T) {
	for _, pattern := range []string{"/dev/i2c-*", "/dev/gpiochip*"} {
		if found, _ := filepath.Glob(pattern); len(found) > 0 {
			t.Skipf("this machine has %v", found)
		}
	}
	status, out, errs := run(t, "rig", "scan")
	for _, want := range []string{"No I²C bus: on a Raspberry Pi put dtparam=i2c_arm=on into config.txt and restart", "modprobe i2c-dev", "No GPIO chip: "} {
		if !strings.Contains(unbroken(out), want) {
			t.Errorf("it does not say %q:\n%s", want, out)
		}
	}
	if status != exitRig || !strings.Contains(errs, "there is no I²C bus and no GPIO chip that this user can open") {
		t.Errorf("exit status %d: %s", status, errs)
	}
	status, out, _ = run(t, "rig", "scan", "--as", "json")
	var got commission.Found
	if err := json.Unmarshal([]byte(out), &got); err != nil || status != exitRig || got.Buses == nil || got.Chips == nil || got.Closed == nil {
		t.Errorf("exit status %d, %v: %s", status, err, out)
	}
}
