package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
	"makebreak/rig/sim"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/record"
	"makebreak/testdata/faultrun"
	"makebreak/testdata/few"
)

// at is one figure of a cycle: which one of its event it is, counted, since an event may
// come twice.
type at struct {
	event, signal string
	quantity      analyze.Quantity
	count         int
}

func figuresAt(list []analyze.Measurement) map[at]analyze.Measurement {
	all := map[at]analyze.Measurement{}
	for _, m := range list {
		if m.Event == "" { // a cycle on its own begins with a state of which no event tells
			continue
		}
		k := at{m.Event, m.Signal, m.Quantity, 0}
		for _, taken := all[k]; taken; _, taken = all[k] {
			k.count++
		}
		all[k] = m
	}
	return all
}

// exported writes the capture of a cycle and measures it as analyze does, by the run's
// own sequence.
func exported(t *testing.T, log string, rec *journal.RunRecord, n int) []analyze.Measurement {
	t.Helper()
	status, text, errs := run(t, "--log", log, "report", rec.ID, "--capture", fmt.Sprint(n), "--quiet")
	if status != exitPass {
		t.Fatalf("cycle %d: exit status %d: %s", n, status, errs)
	}
	data, err := rec.Capture(n)
	if err != nil {
		t.Fatal(err)
	}
	var c capture.Capture
	if err := c.UnmarshalBinary(data); err != nil {
		t.Fatal(err)
	}
	averaged, _ := record.Averaged(rec, &c)
	seq, err := sequences.Parse(rec.Sequence, []byte(rec.SequenceSource))
	if err != nil {
		t.Fatal(err)
	}
	again, unlike, err := record.OfCapture(t.Context(), "exported", strings.NewReader(text), averaged, seq)
	if err != nil {
		t.Fatal(err)
	}
	if unlike != "" {
		t.Errorf("cycle %d: a converter's own samples are doubted: %s", n, unlike)
	}
	var all []analyze.Measurement
	for m := range again.Measurements {
		all = append(all, m)
	}
	return all
}

// loggedRun runs a sequence on the simulated bench and returns its record.
func loggedRun(t *testing.T, args ...string) (log string, rec *journal.RunRecord) {
	t.Helper()
	log = filepath.Join(t.TempDir(), "log.db")
	run(t, append([]string{"--log", log, "--quiet", "run"}, args...)...)
	db, err := journal.Open(log)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	if rec, err = db.Find("last"); err != nil {
		t.Fatal(err)
	}
	return log, rec
}

// cycleFigures are a cycle's figures as they were logged.
func cycleFigures(t *testing.T, rec *journal.RunRecord, n int) []analyze.Measurement {
	t.Helper()
	var list []analyze.Measurement
	for m, err := range rec.MeasurementsIn(analyze.Cycles{First: n, Last: n}) {
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, m)
	}
	return list
}

// betweenLevels are the times that are placed between two levels, and so move a little
// with these.
var betweenLevels = []analyze.Quantity{analyze.SwitchingDelay, analyze.TransitionDuration, analyze.OperateTime, analyze.ReleaseTime, analyze.PulseDuration}

// An exported cycle gives the run's figures again. Samples and time stamps are
// written in full, so times and counts are the same to the nanosecond. Levels come from
// the samples that were kept, so they agree within the run's own uncertainty, and times
// that are placed between two levels to the microsecond.
func TestReportCapture_FiguresAgain(t *testing.T) {
	for _, args := range [][]string{
		{"armed-high", "--seed", "1", "--cycles", "3"},
		{"armed-pulse", "--seed", "2", "--cycles", "2"},
		{"exit-delay", "--seed", "3", "--cycles", "2"},
		{"relay-only", "--seed", "4", "--cycles", "4"},
		{"armed-high", "--seed", "5", "--cycles", "2", "--fault", "holding-in"},
		{"armed-high", "--seed", "6", "--cycles", "2", "--fault", "long-bounce"},
	} {
		log, rec := loggedRun(t, args...)
		compared := 0
		for n := 1; n <= rec.Cycles; n++ {
			again := figuresAt(exported(t, log, rec, n))
			for k, want := range figuresAt(cycleFigures(t, rec, n)) {
				got, ok := again[k]
				if !ok {
					t.Errorf("%v, cycle %d: %v is not measured again", args, n, k)
					continue
				}
				compared++
				within := 1e-9
				switch {
				case k.quantity == analyze.Ripple:
					continue // of fewer samples: see TestReportCapture_NotMisread
				case k.quantity.Unit() == "V":
					within = want.Expanded
				case slices.Contains(betweenLevels, k.quantity):
					within = 1e-6
				}
				if math.IsNaN(want.Value) != math.IsNaN(got.Value) || math.Abs(want.Value-got.Value) > within {
					t.Errorf("%v, cycle %d: %v is %.9g again, was %.9g ± %.2g", args, n, k, got.Value, want.Value, want.Expanded)
				}
			}
		}
		if compared < 10 {
			t.Errorf("%v: only %d figures were compared", args, compared)
		}
	}
}

// What was left out of a capture must not make a good unit fail nor a bad one pass:
// whatever fault is planted, an exported cycle says what the run said, or undecided.
func TestReportCapture_NotMisread(t *testing.T) {
	few.Skip(t)
	t.Parallel()
	cases := [][]string{{"armed-high"}}
	for _, f := range sim.Faults() {
		sequence, text := faultrun.Of(f.Name)
		cases = append(cases, []string{sequence, "--fault", text, "--yes"})
	}
	doubted := 0
	for i, fault := range cases {
		doubted += notMisread(t, append(fault, "--seed", fmt.Sprint(len(cases)-i), "--cycles", "3"))
	}
	// The wire drops out soon after the output went low: in what settles, where all samples are there.
	for _, seed := range []string{"16", "20"} {
		doubted += notMisread(t, []string{"armed-high", "--fault", "loose-wire", "--yes", "--seed", seed, "--cycles", "3"})
	}
	if doubted == 0 {
		t.Error("no figure of a cut capture was left undecided, so nothing was tried")
	}
}

// notMisread runs a sequence, measures the captures in its log again, and returns how many
// figures are undecided then. Nothing that passed may fail, and nothing that failed may pass.
func notMisread(t *testing.T, args []string) (doubted int) {
	t.Helper()
	log, rec := loggedRun(t, args...)
	kept, err := rec.Captured()
	if err != nil {
		t.Fatal(err)
	}
	for n := 1; n <= analyze.CountCycles(kept); n++ {
		was := figuresAt(cycleFigures(t, rec, n))
		for k, got := range figuresAt(exported(t, log, rec, n)) {
			want, ok := was[k]
			if !ok || want.Verdict == got.Verdict {
				continue
			}
			switch {
			case got.Verdict == analyze.Undecided:
				doubted++
			case want.Verdict == analyze.Pass || want.Verdict == analyze.Fail:
				t.Errorf("%v, cycle %d: %v is %s again (%g, %s), was %s (%g, %s)", args, n, k, got.Verdict, got.Value, diagnose.Reason(&got), want.Verdict, want.Value, diagnose.Reason(&want))
			}
		}
	}
	return doubted
}

// The same holds for states of minutes, of which the bench itself keeps no more than a part.
func TestReportCapture_LongHold(t *testing.T) {
	source, err := os.ReadFile(filepath.Join("..", "..", "sequences", "builtin", "armed-high.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "long-high.yaml")
	text := strings.NewReplacer("name: armed-high", "name: long-high", "hold: 3 s", "hold: 4 min").Replace(string(source))
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	faults := [][]string{{"droop=5 mV/s"}, nil, {"loose-wire"}, {"hum"}, {"chatter"}, {"early-fall=2 min"}, {"slow-delay=90 s"}, {"weak-contact"}, {"bus-noise"}, {"lost-edges"}}
	if testing.Short() {
		faults = faults[:2]
	}
	for i, fault := range faults {
		args := []string{file, "--yes", "--seed", fmt.Sprint(i + 1), "--cycles", "1"}
		if fault != nil {
			args = append(args, "--fault", fault[0])
		}
		notMisread(t, args)
	}
}
