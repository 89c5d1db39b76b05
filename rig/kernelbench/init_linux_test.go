package kernelbench_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"makebreak/rig/wiring/rigfile"
)

// A first rig file is made of the converters that answer, with the line that ticks as the ready
// line. It is found to be right, and is not overwritten.
func TestKernel_Init(t *testing.T) {
	s := newSite(t, faultRate, "100 ms", "600 ms")
	s.adc.SetPresent([4]bool{true, true, false, false})
	resetThresholds(t, 0x48, 0x49)
	path := filepath.Join(s.dir, "first.yaml")
	r := s.start(nil, "rig", "init", "--yes", "-o", path)
	if status := r.wait(); status != exitPass || !strings.Contains(r.out.String(), "ready of A") {
		t.Fatalf("exit %d\n%s%s", status, r.out.String(), r.err.String())
	}
	rig, err := rigfile.Load(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if len(rig.Chips) != 2 || rig.Chips[0].Ready == nil || rig.Chips[0].Ready.LineName != "READY_A" || rig.Chips[0].Ready.Chip != s.lines.Name || rig.Chips[1].Ready != nil {
		t.Errorf("%s", text)
	}
	r = s.start(nil, "rig", "check", "--rig", path)
	if status := r.wait(); status != exitUndecided || !strings.Contains(r.out.String(), "A ready") {
		t.Errorf("exit %d\n%s%s", status, r.out.String(), r.err.String())
	}
	r = s.start(nil, "rig", "init", "--yes", "-o", path)
	if status := r.wait(); status != 64 {
		t.Errorf("again: exit %d\n%s", status, r.err.String())
	}
	if again, err := os.ReadFile(path); err != nil || string(again) != string(text) {
		t.Errorf("the file was overwritten: %v\n%s", err, again)
	}
}

// A run's record says what the computer was like and how fast its bus was measured to be.
func TestKernel_Computer(t *testing.T) {
	s := newSite(t, faultRate, "100 ms", "600 ms")
	s.startPanel()
	r := s.start(nil, "run", s.sequence, "--rig", s.rig, "--yes", "--cycles", "1", "--as", "json")
	status := r.wait()
	var got struct {
		Machine map[string]any
	}
	if err := json.Unmarshal(r.out.Bytes(), &got); err != nil {
		t.Fatalf("exit %d, %v\n%s%s", status, err, r.out.String(), r.err.String())
	}
	m := got.Machine
	took, timed := m["transfer_overhead_seconds"].(float64)
	if m["kernel"] == nil || m["bus_file_hz"] != 400e3 || m["priority"] != "deadline" || m["memory_lock"] != "locked" || !timed || took <= 0 {
		t.Errorf("%v", m)
	}
	if changes := m["changes"].([]any); len(changes) > 0 {
		t.Errorf("changed in a second: %v", changes)
	}
}
