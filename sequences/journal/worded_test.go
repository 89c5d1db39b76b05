package journal

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"makebreak/analyze"
)

// Every form of sentence that a program of ours stored with a figure gives its doubt; what
// would settle a figure is no doubt; what is in no known form stays as it is.
func TestDoubtsOfWords(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	one := func(code analyze.DoubtCode, value float64, signals ...string) []analyze.Doubt {
		d := analyze.Doubt{Code: code, Value: value}
		if len(signals) > 0 {
			d.Signal = signals[0]
		}
		if len(signals) > 1 {
			d.Other = signals[1]
		}
		return []analyze.Doubt{d}
	}
	coil := func(code analyze.DoubtCode, signal string, ended, reached float64, expanded ...float64) []analyze.Doubt {
		all := append(one(code, ended, signal), one(analyze.CoilReachedOnly, reached)...)
		for _, u := range expanded {
			all = append(all, one(analyze.CoilReachedWith, u)...)
		}
		return all
	}
	const (
		times  = "mostly the time stamps (100 %): edges stamped to ± 4 µs or better (now ± 15 µs) (or the mean of 10 cycles) would settle it"
		cannot = "mostly the resistors and the converter (60 %); too close to the limit for this rig: with all that can be bettered, ± 480 µV would be left"
		both   = "more than anything else the calibration (40 %): calibrating again, against a meter good to ± 3 mV or better, and samples at most 1 ms apart (now about 4 ms: sample the output alone, or faster) would settle it together"
	)
	for _, tc := range []struct {
		reason string
		want   []analyze.Doubt
	}{
		{"", nil},
		{times, nil}, {cannot, nil}, {both, nil},
		{"closer to the limit than the expanded uncertainty", nil},
		{"no samples", one(analyze.NoSamples, nan)},
		{"no samples in the settled part of the state", one(analyze.NoSettledSamples, nan)},
		{"no samples near the state's level", one(analyze.NoSamplesAtLevel, nan)},
		{"no samples of COIL around the change-over", one(analyze.NoSamplesAround, nan, "COIL")},
		{"only 1 samples in the state", one(analyze.FewSamples, 1)},
		{"only 1 sample in the state", one(analyze.FewSamples, 1)},
		{"only 2 samples in the state", one(analyze.FewSamples, 2)},
		{"mean of 5 samples, too few for a histogram", one(analyze.PlainMean, 5)},
		{"mean of 1 sample, too few for a histogram; " + times, one(analyze.PlainMean, 1)},
		{"mean of 7 samples, too few for a histogram; " + cannot, one(analyze.PlainMean, 7)},
		{"samples are missing for 12.3 ms", one(analyze.SamplesAbsent, 0.0123)},
		{"samples are missing for 450 µs", one(analyze.SamplesAbsent, 0.00045)},
		{"samples were left out on purpose for 2.50 s: only a move would have been kept", one(analyze.SamplesLeftOut, 2.5)},
		{"samples were left out on purpose for 2.50 s: only a move would have been kept; the whole capture would settle it", one(analyze.SamplesLeftOut, 2.5)},
		{"upper bound: shorter than the sampling can resolve", one(analyze.AtMost, nan)},
		{"upper bound: shorter than the sampling can resolve; samples at most 250 µs apart would settle it", one(analyze.AtMost, nan)},
		{"upper bound: shorter than the sampling can resolve; only samples closer than the transition takes would settle it", one(analyze.AtMost, nan)},
		{"the samples do not show where it crossed", one(analyze.CrossingNotShown, nan)},
		{"the crossing lies in a gap of the samples", one(analyze.CrossingNotShown, nan)},
		{"the 10 % or 90 % instant is not in the samples", one(analyze.ReferencesNotShown, nan)},
		{"nothing is known of the state before the event", one(analyze.StateBeforeUnknown, nan)},
		{"watched for only 150 ms", one(analyze.WatchedBriefly, 0.15)},
		{"watched for only 0 s", one(analyze.WatchedBriefly, 0)},
		{"the supply's converter had lost its setting", one(analyze.SupplySettingLost, nan)},
		{"the crossing of OUT3 could not be placed", one(analyze.OutputNotPlaced, nan, "OUT3")},
		{"no output is known to drive K1", one(analyze.NoOutputKnown, nan, "K1")},
		{"the pulse's edges could not be placed", one(analyze.PulseEdgesNotPlaced, nan)},
		{"the output did not go high", one(analyze.DidNotGoHigh, nan)},
		{"the output did not go low", one(analyze.DidNotGoLow, nan)},
		{"the output was already high", one(analyze.AlreadyHigh, nan)},
		{"the output was already low", one(analyze.AlreadyLow, nan)},
		{"the output did not pulse", one(analyze.DidNotPulse, nan)},
		{"no such contact is wired", one(analyze.NoContactWired, nan)},
		{"K1_NC was already closed", one(analyze.AlreadyClosed, nan, "K1_NC")},
		{"K1_NC was already open", one(analyze.AlreadyOpen, nan, "K1_NC")},
		{"K1_NO did not close", one(analyze.DidNotClose, nan, "K1_NO")},
		{"K1_NO did not open", one(analyze.DidNotOpen, nan, "K1_NO")},
		{"K1_NO did not open; edges were lost", append(one(analyze.DidNotOpen, nan, "K1_NO"), one(analyze.EdgesMissing, nan)...)},
		{"K1_NO did not close before the state ended, which was soon", one(analyze.NotClosedInTime, nan, "K1_NO")},
		{"K1_NO did not close until 13.8 V", one(analyze.DidNotCloseTill, 13.8, "K1_NO")},
		{"K1_NC did not open until 0 V", one(analyze.DidNotOpenTill, 0, "K1_NC")},
		{"K1_NO did not close until 13.8 V, and the coil came to 0.652 V only", coil(analyze.DidNotCloseTill, "K1_NO", 13.8, 0.652)},
		{"K1_NO did not close until 13.8 V, and the coil came to 8.91 V ± 120 mV only: it changes over above that. A ramp that ends well above 9 V would show whether it must",
			coil(analyze.DidNotCloseTill, "K1_NO", 13.8, 8.91, 0.12)},
		{"K1_NC did not open until 1 V, and the coil came to 1.30 V only: it changes over below that. A ramp that ends well below 1.2 V would show whether it must",
			coil(analyze.DidNotOpenTill, "K1_NC", 1, 1.3)},
		{"K1_NO closed before OUT3 crossed its mid level: the edge is too slow to time the relay by, or the relay moved by itself",
			one(analyze.ClosedBefore, nan, "K1_NO", "OUT3")},
		{"the contact had come to rest and then changed again, 1 time", one(analyze.ChangedAgain, 1)},
		{"the contact had come to rest and then changed again, 3 times", one(analyze.ChangedAgain, 3)},
		{"the state ended 13.2 ms after the last edge: there may have been more to come", one(analyze.StillBouncing, 0.0132)},
		{"still bouncing when the state ended: at least this long", one(analyze.StillBouncing, nan)},
		{"edges were lost", one(analyze.EdgesMissing, nan)},
		{"edges were lost: there may be more bounce than was seen", one(analyze.BounceIncomplete, nan)},

		{`[{"code":"did-not-open","signal":"K1_NO"},{"code":"samples-missing","value":0.25,"other":"OUT1","text":"x"}]`,
			[]analyze.Doubt{{Code: analyze.DidNotOpen, Value: nan, Signal: "K1_NO"}, {Code: analyze.SamplesAbsent, Value: 0.25, Other: "OUT1", Text: "x"}}},
		{`[{"code":`, analyze.InWords(`[{"code":`)},
		{"the moon was full", analyze.InWords("the moon was full")},
		{"upper bound: shorter than the sampling can resolve; the moon was full", append(one(analyze.AtMost, nan), analyze.InWords("the moon was full")...)},
		{"samples are missing for 3 parsecs", analyze.InWords("samples are missing for 3 parsecs")},
		{"K1_NO did not close until 13.8 V, and the coil came to 8.91 V ± 2 A only", analyze.InWords("K1_NO did not close until 13.8 V, and the coil came to 8.91 V ± 2 A only")},
		{"K1_NO did not close until 13.8 V, and the coil came to nothing V only", analyze.InWords("K1_NO did not close until 13.8 V, and the coil came to nothing V only")},
	} {
		if d := cmp.Diff(tc.want, doubtsOfWords(tc.reason), cmpopts.EquateNaNs(), cmpopts.EquateApprox(1e-12, 0)); d != "" {
			t.Errorf("%q: %s", tc.reason, d)
		}
	}
}

// A log whose figures refer to sentences has doubts once it is opened, in each of its runs;
// a bound stays one, and the view of the figures keeps its columns.
func TestMigrate_Doubts(t *testing.T) {
	t.Parallel()
	statements := []string{oldRun + "'')", oldRun + "'')", "INSERT INTO checkpoint VALUES (1, 1, x'00')"}
	const advised = "mostly the time stamps (100 %): the mean of 10 cycles would settle it"
	reasons := []string{advised, "upper bound: shorter than the sampling can resolve; " + advised, "K1_NO did not open; edges were lost"}
	for run := 1; run <= 2; run++ {
		statements = append(statements, fmt.Sprintf("INSERT INTO cycle VALUES (%d,1,1,1,1,0,0,0,0,0,NULL)", run),
			fmt.Sprintf("INSERT INTO point VALUES (%d,0,'disarm','K1','hold',NULL,NULL,'[]',zeroblob(32))", run),
			fmt.Sprintf("INSERT INTO measurement VALUES (%d,1,0,0,1.5,NULL,1,NULL,NULL)", run))
		for i, reason := range reasons {
			statements = append(statements, fmt.Sprintf("INSERT INTO reason VALUES (%d,%d,'%s')", run, i, reason),
				fmt.Sprintf("INSERT INTO measurement VALUES (%d,1,%d,0,1.5,NULL,1,%d,NULL)", run, i+1, i))
		}
	}
	db := openLog(t, logOfSchema(t, 5, statements...))
	nan := math.NaN()
	want := [][]analyze.Doubt{nil, nil, {{Code: analyze.AtMost, Value: nan}},
		{{Code: analyze.DidNotOpen, Value: nan, Signal: "K1_NO"}, {Code: analyze.EdgesMissing, Value: nan}}}
	for run := 1; run <= 2; run++ {
		rec, err := db.Find(fmt.Sprintf("2026-11-25.%d", run))
		if err != nil {
			t.Fatal(err)
		}
		var got [][]analyze.Doubt
		bounds := 0
		for m, err := range rec.Measurements() {
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, m.Doubts)
			if m.Bound() != analyze.NoBound {
				bounds++
			}
		}
		if d := cmp.Diff(want, got, cmpopts.EquateNaNs()); d != "" || bounds != 1 {
			t.Errorf("run %d, %d bounds: %s", run, bounds, d)
		}
		if n, _, err := rec.Checkpoint(); n != 0 || err != nil {
			t.Errorf("the sum of %d cycles is left: %v", n, err)
		}
	}
	rows, err := db.read.Query("SELECT run, unit, cycle, event, signal, quantity, value, unit_of_measure, expanded_uncertainty, verdict, reason, bound FROM figures WHERE run = '2026-11-25.2'")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var words []string
	for rows.Next() {
		line, err := textRow(rows)
		if err != nil {
			t.Fatal(err)
		}
		words = append(words, line)
	}
	const figure = "2026-11-25.2 U1 1 disarm K1 hold 1.5 s  pass "
	if d := cmp.Diff([]string{figure + " ", figure + " ", figure + "upper bound upper", figure + "K1_NO did not open; edges lost "}, words); d != "" {
		t.Error(d)
	}
	if tables(t, db, "reason") != 0 || count(t, db, "pragma_table_info('doubts') WHERE name = 'text'") != 0 {
		t.Error("sentences are left")
	}
}

// More sentences than are read together are all taken apart.
func TestMigrate_ManyReasons(t *testing.T) {
	t.Parallel()
	const reasons = 2500
	db := openLog(t, logOfSchema(t, 5, oldRun+"'')",
		fmt.Sprintf("WITH RECURSIVE i (x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM i WHERE x < %d) INSERT INTO reason SELECT 1, x, 'only ' || x || ' samples in the state' FROM i", reasons)))
	if n := count(t, db, "doubt WHERE code = 'few-samples' AND value = doubts AND seq = 0"); n != reasons {
		t.Errorf("%d doubts of %d", n, reasons)
	}
}

// A figure must not lose its doubts: where they are not there, that is damage.
func TestMeasurements_DoubtsLost(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "log.db")
	db, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	fill(t, db, 2)
	if _, err := db.write.ExecContext(t.Context(), "PRAGMA foreign_keys = OFF; DELETE FROM doubt; DELETE FROM doubts"); err != nil {
		t.Fatal(err)
	}
	rec, err := db.Find("last")
	if err != nil {
		t.Fatal(err)
	}
	var found error
	for _, err := range rec.Measurements() {
		found = errors.Join(found, err)
	}
	if !errors.Is(found, ErrCorrupt) || !strings.Contains(found.Error(), "doubts 0, which are not there") {
		t.Errorf("%v", found)
	}
}
