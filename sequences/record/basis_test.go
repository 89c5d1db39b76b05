package record

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"makebreak/rig/capture"
	"makebreak/sequences"
	"makebreak/sequences/journal"
)

const realRig = `name: bench
bus: "1"
chips:
  A: {model: ADS1115, address: 0x48, supply: 3.3 V}
outputs:
  OUT3: {chip: A, channel: 0, divider: {upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}}
  OUT4: {chip: A, channel: 1, divider: {upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}}
contacts:
  K1_NO: {chip: gpiochip0, line: 22}
  K1_NC: {chip: gpiochip0, line: 23}
drives:
  KEY: {chip: gpiochip0, line: 5, longest_on: 5 s}
events:
  arm-away: {drive: KEY, pulse: 300 ms}
  disarm: {drive: KEY, pulse: 300 ms}
`

// On one rig in one log all of an output's chain cancels between two runs, but not where
// its wiring or its calibration is another; on two rigs nothing.
func TestBasis(t *testing.T) {
	t.Parallel()
	open := func() *journal.DB {
		db, err := journal.Open(filepath.Join(t.TempDir(), "log.db"))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { db.Close() })
		return db
	}
	logs := []*journal.DB{open(), open()}
	seed := func(n uint64) *uint64 { return &n }
	calibrated := func(meter string, gain float64) []capture.Calibration {
		return []capture.Calibration{{Output: "OUT3", State: capture.InDate, Meter: meter, Made: "2026-03-01", Due: "2027-03-01", Rig: "bench", Gain: gain}, {Output: "OUT4", State: capture.NotCalibrated, Gain: 1}}
	}
	source := sequences.Builtin()[0].Source
	begin := func(db *journal.DB, change func(*journal.RunInfo)) *journal.RunRecord {
		info := journal.RunInfo{Started: time.Now(), Sequence: "armed-high", SequenceSource: string(source), Rig: "bench", RigSource: realRig, Calibrations: calibrated("M", 1.01)}
		change(&info)
		run, err := db.Begin(info)
		if err != nil {
			t.Fatal(err)
		}
		rec, err := db.Find(run.ID())
		if err != nil {
			t.Fatal(err)
		}
		return rec
	}
	before := begin(logs[0], func(*journal.RunInfo) {})
	rewired := strings.Replace(realRig, "channel: 0, divider: {upper: 39", "channel: 0, divider: {upper: 47", 1)
	faster := strings.Replace(realRig, "supply: 3.3 V", "supply: 3.3 V, rate: 250 /s", 1)
	for name, c := range map[string]struct {
		log          int
		change       func(*journal.RunInfo)
		rig          bool
		chain, chip  string // signals of which they are the same
		recalibrated []string
	}{
		"the same":           {0, func(*journal.RunInfo) {}, true, "OUT3 OUT4 K1 K1_NO", "OUT3 OUT4 K1 K1_NO", nil},
		"another log":        {1, func(*journal.RunInfo) {}, false, "", "", nil},
		"another name":       {0, func(i *journal.RunInfo) { i.Rig = "other" }, false, "", "", nil},
		"simulated":          {0, func(i *journal.RunInfo) { i.Seed = seed(1) }, false, "", "", nil},
		"a resistor changed": {0, func(i *journal.RunInfo) { i.RigSource = rewired }, true, "OUT4", "OUT4", []string{"OUT3"}},
		"another rate":       {0, func(i *journal.RunInfo) { i.RigSource = faster }, true, "", "", []string{"OUT3", "OUT4"}},
		"calibrated anew":    {0, func(i *journal.RunInfo) { i.Calibrations = calibrated("M", 1.02) }, true, "OUT4", "OUT3 OUT4 K1 K1_NO", []string{"OUT3"}},
		"by another meter":   {0, func(i *journal.RunInfo) { i.Calibrations = calibrated("N", 1.01) }, true, "OUT4", "OUT3 OUT4 K1 K1_NO", []string{"OUT3"}},
		"overdue now": {0, func(i *journal.RunInfo) {
			i.Calibrations = calibrated("M", 1.01)
			i.Calibrations[0].State = capture.Overdue
		}, true, "OUT3 OUT4 K1 K1_NO", "OUT3 OUT4 K1 K1_NO", nil},
		"not calibrated": {0, func(i *journal.RunInfo) {
			i.Calibrations = calibrated("", 1)
			i.Calibrations[0].State = capture.NotCalibrated
		}, true, "OUT4", "OUT3 OUT4 K1 K1_NO", []string{"OUT3"}},
		"a file not read":      {0, func(i *journal.RunInfo) { i.RigSource = "name: [" }, false, "", "", nil},
		"calibrations unknown": {0, func(i *journal.RunInfo) { i.Calibrations = nil }, true, "", "OUT3 OUT4 K1 K1_NO", []string{"OUT3", "OUT4"}},
	} {
		basis, recalibrated, err := basisOf(begin(logs[c.log], c.change), before)
		if err != nil || basis.SameRig != c.rig {
			t.Errorf("%s: one rig %v, %v", name, basis.SameRig, err)
		}
		of := func(f func(string) bool) string {
			var same []string
			for _, s := range []string{"OUT3", "OUT4", "K1", "K1_NO"} {
				if f != nil && f(s) {
					same = append(same, s)
				}
			}
			return strings.Join(same, " ")
		}
		if got := of(basis.SameChain); got != c.chain {
			t.Errorf("%s: the chain is the same of %q, want %q", name, got, c.chain)
		}
		if got := of(basis.SameChip); got != c.chip {
			t.Errorf("%s: the chip is the same of %q, want %q", name, got, c.chip)
		}
		if d := cmp.Diff(c.recalibrated, recalibrated); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
}

// Simulated benches are one where their seeds are.
func TestSameRig_Simulated(t *testing.T) {
	t.Parallel()
	record := func(seed uint64) *journal.RunRecord {
		return &journal.RunRecord{RunInfo: journal.RunInfo{ID: "2026-01-01-abcdef.1", Rig: "panel", Seed: &seed}}
	}
	if !sameRig(record(7), record(7)) || sameRig(record(7), record(8)) {
		t.Error("benches are not told apart by their seeds")
	}
}
