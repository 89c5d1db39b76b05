package journal

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"iter"
	"math"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/rig/capture"
	_ "makebreak/testdata/fixedseed"
)

// exampleCycle is a cycle with something in every field.
func exampleCycle(n int) *Cycle {
	return &Cycle{N: n, Started: time.Date(2026, 11, 25, 8, 0, n, 123456789, time.UTC), Verdict: analyze.Fail, Complete: true,
		Counts:  capture.Counts{MissedConversions: 1, DoubledConversions: 2, BusErrors: 3, LostEdges: 4, ChipResets: uint64(n), LostReadyEdges: uint64(5 * n)},
		Capture: []byte(fmt.Sprintf("capture of cycle %d%s", n, strings.Repeat(".", 1500))),
		Measurements: []analyze.Measurement{
			{Cycle: n, Event: "arm-away", Signal: "OUT3", Quantity: analyze.HighLevel, Value: 13.2 + float64(n)/1000, Expanded: 0.02, Standard: 0.01,
				Coverage: 2, DegreesOfFreedom: math.Inf(1), Limit: analyze.Limit{Lower: 12, Upper: 14.5}, Verdict: analyze.Pass, Conformance: 1,
				Budget: []gum.Component{
					{Source: "upper resistor", Distribution: "rectangular", Standard: 0.0057, Sensitivity: float64(n), DegreesOfFreedom: math.Inf(1)},
					{Source: "noise", Distribution: "normal", Standard: 0.001, Sensitivity: 1, DegreesOfFreedom: 99}}},
			{Cycle: n, Signal: "K1_NO", Quantity: analyze.BounceCount, Value: 4, Expanded: math.NaN(), Limit: analyze.NoLimit(), Conformance: math.NaN()},
			{Cycle: n, Event: "disarm", Signal: "K1", Quantity: analyze.ReleaseTime, Value: math.NaN(), Expanded: math.NaN(), Verdict: analyze.Fail,
				Limit: analyze.Limit{Lower: math.NaN(), Upper: 0.01}, Doubts: []analyze.Doubt{{Code: analyze.StillBouncing, Value: 0.0132}, {Code: analyze.DidNotClose, Value: math.NaN(), Signal: "K1_NC"}, {Code: analyze.ClosedBefore, Value: math.NaN(), Signal: "K1_NO", Other: "OUT3"}}},
		},
		Symptoms: []analyze.Symptom{{Cycle: n, Event: "disarm", Signal: "K1", Kind: "no-release", Other: "OUT3", Value: 1.7, Limit: math.NaN()}},
	}
}

// fill begins a run and stores example cycles.
func fill(tb testing.TB, db *DB, cycles int) *Run {
	tb.Helper()
	run, err := db.Begin(RunInfo{Started: time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)})
	if err != nil {
		tb.Fatal(err)
	}
	for n := range cycles {
		if err := run.Append(exampleCycle(n + 1)); err != nil {
			tb.Fatal(err)
		}
	}
	return run
}

// tester is what *testing.T and *rapid.T have in common.
type tester interface {
	Helper()
	Error(...any)
	Fatal(...any)
	Fatalf(string, ...any)
	Context() context.Context
}

// collect gathers a stream.
func collect[T any](tb tester, s iter.Seq2[T, error]) []T {
	tb.Helper()
	var all []T
	for x, err := range s {
		if err != nil {
			tb.Fatal(err)
		}
		all = append(all, x)
	}
	return all
}

// readCycles reads the last run's cycles back whole.
func readCycles(tb tester, db *DB) []*Cycle {
	tb.Helper()
	rec, err := db.Find("last")
	if err != nil {
		tb.Fatal(err)
	}
	var cycles []*Cycle
	at := map[int]*Cycle{}
	for _, c := range collect(tb, rec.CycleInfos()) {
		b, err := rec.Capture(c.N)
		if err != nil || (b != nil) != c.HasCapture {
			tb.Fatalf("capture of cycle %d: %d bytes, %v", c.N, len(b), err)
		}
		at[c.N] = &Cycle{N: c.N, Started: c.Started, Counts: c.Counts, Capture: b, Verdict: c.Verdict, Complete: c.Complete}
		cycles = append(cycles, at[c.N])
	}
	for _, m := range collect(tb, rec.Measurements()) {
		at[m.Cycle].Measurements = append(at[m.Cycle].Measurements, m)
	}
	for _, s := range collect(tb, rec.Symptoms()) {
		at[s.Cycle].Symptoms = append(at[s.Cycle].Symptoms, s)
	}
	return cycles
}

// checkStored checks that the last run holds the example cycles up to n, whole.
func checkStored(tb tester, db *DB, n int) {
	tb.Helper()
	var want []*Cycle
	for i := range n {
		want = append(want, exampleCycle(i+1))
	}
	if d := cmp.Diff(want, readCycles(tb, db), sameBits); d != "" {
		tb.Error(d)
	}
}

// sameBits compares floats bit for bit, apart from the sign of zero and the bits
// of NaN, which SQLite does not keep. Captures are compared whole: byte by byte takes cmp longest.
var sameBits = cmp.Options{
	cmp.Comparer(func(a, b float64) bool { return a == b || a != a && b != b }),
	cmp.Comparer(func(a, b []byte) bool { return (a == nil) == (b == nil) && bytes.Equal(a, b) }),
}

func TestRun_RoundTrip(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	fill(t, db, 3)
	checkStored(t, db, 3)
}

// Whatever a cycle holds comes back as it was.
func TestRun_RoundTripAny(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	rapid.Check(t, func(t *rapid.T) {
		run, err := db.Begin(RunInfo{Started: time.Unix(0, 0)})
		if err != nil {
			t.Fatal(err)
		}
		var want []*Cycle
		for n := range rapid.IntRange(1, 4).Draw(t, "cycles") {
			c := drawCycle(t, n+1)
			if err := run.Append(c); err != nil {
				t.Fatal(err)
			}
			want = append(want, c)
			if rapid.Bool().Draw(t, "resume") {
				if run, err = db.Resume(run.ID(), time.Unix(1_900_000_000, 0), ""); err != nil {
					t.Fatal(err)
				}
			}
		}
		if d := cmp.Diff(want, readCycles(t, db), sameBits); d != "" {
			t.Fatal(d)
		}
	})
}

func drawCycle(t *rapid.T, n int) *Cycle {
	word := rapid.SampledFrom([]string{"", "OUT1", "K1", "arm-away", "disarm", "it's \"so\", ü", "\x00"})
	float := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{0, 1, -1, math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64, 5e-324, 0.1}))
	verdict := rapid.SampledFrom(analyze.Verdicts[:])
	count := rapid.Uint64Range(0, 1<<40)
	c := &Cycle{N: n, Verdict: verdict.Draw(t, "verdict"), Complete: rapid.Bool().Draw(t, "complete"),
		Counts: capture.Counts{MissedConversions: count.Draw(t, "missed"), DoubledConversions: count.Draw(t, "doubled"), BusErrors: count.Draw(t, "bus"), LostEdges: count.Draw(t, "lost"), ChipResets: count.Draw(t, "resets"), LostReadyEdges: count.Draw(t, "lost ready")}}
	if rapid.Bool().Draw(t, "stamped") {
		c.Started = time.Unix(0, rapid.Int64().Draw(t, "started")).UTC()
	}
	if rapid.Bool().Draw(t, "kept") {
		c.Capture = rapid.SliceOfN(rapid.Byte(), 1, 100).Draw(t, "capture")
	}
	for range rapid.IntRange(0, 5).Draw(t, "measurements") {
		m := analyze.Measurement{Cycle: n, Event: word.Draw(t, "event"), Signal: word.Draw(t, "signal"), Quantity: analyze.Quantity(word.Draw(t, "quantity")),
			Value: float.Draw(t, "value"), Expanded: float.Draw(t, "expanded"), Standard: float.Draw(t, "standard"), Coverage: float.Draw(t, "coverage"),
			DegreesOfFreedom: float.Draw(t, "freedom"), Limit: analyze.Limit{Lower: float.Draw(t, "lower"), Upper: float.Draw(t, "upper")},
			Verdict: verdict.Draw(t, "verdict"), Conformance: float.Draw(t, "conformance")}
		for range rapid.IntRange(0, 3).Draw(t, "doubts") {
			m.Doubts = append(m.Doubts, analyze.Doubt{Code: analyze.DoubtCode(word.Draw(t, "code")), Value: float.Draw(t, "doubt"),
				Signal: word.Draw(t, "doubted"), Other: word.Draw(t, "other"), Text: word.Draw(t, "text")})
		}
		for range rapid.IntRange(0, 3).Draw(t, "lines") {
			m.Budget = append(m.Budget, gum.Component{Source: gum.Source(word.Draw(t, "source")), Distribution: word.Draw(t, "distribution"),
				Standard: float.Draw(t, "line"), Sensitivity: float.Draw(t, "sensitivity"), DegreesOfFreedom: float.Draw(t, "line's freedom")})
		}
		c.Measurements = append(c.Measurements, m)
	}
	for range rapid.IntRange(0, 3).Draw(t, "symptoms") {
		c.Symptoms = append(c.Symptoms, analyze.Symptom{Cycle: n, Event: word.Draw(t, "event"), Signal: word.Draw(t, "signal"), Kind: analyze.Kind(word.Draw(t, "kind")),
			Other: word.Draw(t, "other"), Value: float.Draw(t, "value"), Limit: float.Draw(t, "limit")})
	}
	return c
}

// A run's ID is the day on which it began, where it began, the log's word and a count.
func TestBegin_ID(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	word := wordIn(t, db)
	east := time.FixedZone("east", 11*3600)
	for _, tc := range []struct {
		started time.Time
		want    string
	}{
		{time.Date(2026, 11, 25, 8, 0, 0, 1, time.UTC), "2026-11-25-" + word + ".1"},
		{time.Date(2026, 11, 25, 23, 0, 0, 0, time.UTC), "2026-11-25-" + word + ".2"},
		{time.Date(2026, 11, 26, 8, 0, 0, 0, east), "2026-11-26-" + word + ".1"},
		{time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC), "2026-11-25-" + word + ".3"},
	} {
		run, err := db.Begin(RunInfo{Started: tc.started, ID: "ignored"})
		if err != nil || run.ID() != tc.want {
			t.Errorf("begun %v: %s, %v, want %s", tc.started, run.ID(), err, tc.want)
			continue
		}
		rec, err := db.Find(tc.want)
		if err != nil || !rec.Started.Equal(tc.started) || rec.Started.Location() != time.UTC {
			t.Errorf("%s began %v, %v", tc.want, rec.Started, err)
		}
	}
	if _, err := db.Begin(RunInfo{}); err == nil {
		t.Error("a run without a beginning is taken")
	}
	if _, err := db.Begin(RunInfo{Started: time.Date(2300, 1, 1, 0, 0, 0, 0, time.UTC)}); err == nil {
		t.Error("a time that nanoseconds cannot hold is taken")
	}
}

func TestFind_Record(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	seed := uint64(math.MaxUint64)
	info := RunInfo{Unit: "SN-0042", By: "trainee 3", Sequence: "armed-high", SequenceSource: "name: armed-high\n", Rig: "bench", RigSource: "name: bench\n",
		Started: time.Date(2026, 11, 25, 8, 0, 0, 7, time.UTC), Planned: 5, Seed: &seed, Program: "1.0", Notes: "after repair",
		Faults: []string{"hum=0.4 V", "welded"}}
	run, err := db.Begin(info)
	if err != nil {
		t.Fatal(err)
	}
	info.ID, info.UUID = "2026-11-25-"+wordIn(t, db)+".1", run.Info().UUID
	if d := cmp.Diff(info, run.Info()); d != "" {
		t.Error(d)
	}
	for n := range 2 {
		if err := run.Append(exampleCycle(n + 1)); err != nil {
			t.Fatal(err)
		}
	}
	end := RunEnd{Ended: info.Started.Add(time.Minute), Gravest: analyze.Undecided, Reason: "interrupted"}
	if err := run.Finish(end); err != nil {
		t.Fatal(err)
	}
	rec, err := db.Find(info.ID)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(info, rec.RunInfo); d != "" {
		t.Error(d)
	}
	if got := (RunEnd{Ended: rec.Ended, Gravest: rec.Gravest, Complete: rec.Complete, Reason: rec.Reason}); !cmp.Equal(got, end) || rec.Cycles != 2 {
		t.Errorf("%d cycles, end %+v, want 2, %+v", rec.Cycles, got, end)
	}
	if want := (capture.Counts{MissedConversions: 2, DoubledConversions: 4, BusErrors: 6, LostEdges: 8, ChipResets: 3, LostReadyEdges: 15}); rec.Counts != want {
		t.Errorf("counts %+v, want %+v", rec.Counts, want)
	}
	if b, err := rec.Capture(77); b != nil || err != nil {
		t.Errorf("the capture of a cycle that is not there: %d bytes, %v", len(b), err)
	}
	if got := collect(t, rec.MeasurementsIn(analyze.Cycles{First: 2, Last: 2})); len(got) != 3 || got[0].Cycle != 2 {
		t.Errorf("figures of cycle 2: %+v", got)
	}
	for m, err := range rec.Measurements() { // a stream may be left early
		if err != nil || m.Cycle != 1 {
			t.Error(m, err)
		}
		break
	}
}

func TestFind_Unknown(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	for _, id := range []string{"last", "2026-11-25.1", ""} {
		if _, err := db.Find(id); !errors.Is(err, ErrNoRun) || !strings.Contains(err.Error(), "holds none") {
			t.Errorf("%q in an empty log: %v", id, err)
		}
	}
	for _, day := range []int{3, 24, 25} {
		for range 2 {
			if _, err := db.Begin(RunInfo{Started: time.Date(2026, 11, day, 8, 0, 0, 0, time.UTC)}); err != nil {
				t.Fatal(err)
			}
		}
	}
	word := wordIn(t, db)
	_, err := db.Find("2026-11-25-" + word + ".7")
	if !errors.Is(err, ErrNoRun) || !strings.Contains(err.Error(), "near it are 2026-11-25-"+word+".2, 2026-11-25-"+word+".1,") {
		t.Errorf("a near ID: %v", err)
	}
	if rec, err := db.Find("last"); err != nil || rec.ID != "2026-11-25-"+word+".2" {
		t.Errorf("the last: %v, %v", rec, err)
	}
}

func TestRuns(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	if runs, err := db.Runs(); err != nil || runs == nil || len(runs) != 0 {
		t.Errorf("an empty log: %v, %v", runs, err)
	}
	started := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	begin := func(unit string, cycles ...analyze.Verdict) *Run {
		run, err := db.Begin(RunInfo{Unit: unit, Sequence: "s", Started: started, Planned: 3})
		if err != nil {
			t.Fatal(err)
		}
		for i, v := range cycles {
			if err := run.Append(&Cycle{N: i + 1, Verdict: v, Complete: true}); err != nil {
				t.Fatal(err)
			}
		}
		return run
	}
	done := begin("A", analyze.Pass, analyze.Pass)
	if err := done.Finish(RunEnd{Ended: started, Gravest: analyze.Pass, Complete: true}); err != nil {
		t.Fatal(err)
	}
	begin("B", analyze.Pass, analyze.Fail, analyze.Undecided) // cut off
	begin("C")
	begin("D", analyze.Pass, analyze.Undecided)
	word := wordIn(t, db)
	want := []RunSummary{
		{Run: "2026-11-25-" + word + ".4", Unit: "D", Sequence: "s", Started: started, Planned: 3, Cycles: 2, Verdict: analyze.Incomplete},
		{Run: "2026-11-25-" + word + ".3", Unit: "C", Sequence: "s", Started: started, Planned: 3, Verdict: analyze.Incomplete},
		{Run: "2026-11-25-" + word + ".2", Unit: "B", Sequence: "s", Started: started, Planned: 3, Cycles: 3, Verdict: analyze.Fail},
		{Run: "2026-11-25-" + word + ".1", Unit: "A", Sequence: "s", Started: started, Planned: 3, Cycles: 2, Verdict: analyze.Pass, Complete: true},
	}
	runs, err := db.Runs()
	if d := cmp.Diff(want, runs, cmpopts.IgnoreUnexported(RunSummary{}), cmpopts.IgnoreFields(RunSummary{}, "UUID")); err != nil || d != "" {
		t.Errorf("%v %s", err, d)
	}
}

func TestAppend_Refuses(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	run := fill(t, db, 2)
	for name, c := range map[string]*Cycle{
		"no number":                 {},
		"another's measurement":     {N: 3, Measurements: []analyze.Measurement{{Cycle: 2}}},
		"another's symptom":         {N: 3, Symptoms: []analyze.Symptom{{Cycle: 2}}},
		"a verdict of its own":      {N: 3, Verdict: "perhaps"},
		"a measurement's verdict":   {N: 3, Measurements: []analyze.Measurement{{Cycle: 3, Verdict: "perhaps"}}},
		"a time beyond nanoseconds": {N: 3, Started: time.Date(1, 1, 1, 1, 0, 0, 0, time.UTC)},
	} {
		if err := run.Append(c); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	again := exampleCycle(2)
	again.Measurements[0].Event = "something new"
	if err := run.Append(again); !errors.Is(err, ErrHaveCycle) || !strings.Contains(err.Error(), "cycle 2 of run 2026-11-25-"+wordIn(t, db)+".1") {
		t.Errorf("a cycle stored twice: %v", err)
	}
	// What was new in the refused cycle must not be taken as stored.
	again.N = 3
	for i := range again.Measurements {
		again.Measurements[i].Cycle = 3
	}
	again.Symptoms = nil
	if err := run.Append(again); err != nil {
		t.Fatal(err)
	}
	if got := readCycles(t, db); len(got) != 3 || got[2].Measurements[0].Event != "something new" {
		t.Errorf("cycles %+v", got)
	}
	if err := run.Finish(RunEnd{}); err == nil {
		t.Error("an end without a time is taken")
	}
	if err := run.Finish(RunEnd{Ended: time.Unix(1, 0), Gravest: "perhaps"}); err == nil {
		t.Error("an end with a verdict of its own is taken")
	}
	if err := run.Finish(RunEnd{Ended: time.Unix(1, 0), Complete: true}); err != nil {
		t.Fatal(err)
	}
	if err := run.Append(exampleCycle(4)); err == nil {
		t.Error("a finished run takes a cycle")
	}
	if _, err := db.Resume(run.ID(), time.Unix(1_900_000_000, 0), ""); !errors.Is(err, ErrComplete) {
		t.Errorf("a complete run is resumed: %v", err)
	}
}

func TestResume(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	run := fill(t, db, 2)
	if err := run.Append(exampleCycle(4)); err != nil {
		t.Fatal(err)
	}
	if err := run.Finish(RunEnd{Ended: time.Unix(1, 0), Reason: "interrupted"}); err != nil {
		t.Fatal(err)
	}
	rec, err := db.Find(run.ID())
	if err != nil {
		t.Fatal(err)
	}
	spans, err := rec.Stored()
	if d := cmp.Diff([]analyze.Cycles{{First: 1, Last: 2}, {First: 4, Last: 4}}, spans); err != nil || d != "" {
		t.Errorf("%v %s", err, d)
	}
	if run, err = db.Resume(run.ID(), time.Unix(1_900_000_000, 0), ""); err != nil {
		t.Fatal(err)
	}
	for _, n := range []int{3, 5} {
		if err := run.Append(exampleCycle(n)); err != nil {
			t.Fatal(err)
		}
		if rec, err = db.Find(run.ID()); err != nil || !rec.Ended.IsZero() || rec.Reason != "" {
			t.Errorf("a run that goes on has ended %v for %q, %v", rec.Ended, rec.Reason, err)
		}
	}
	checkStored(t, db, 5)
	if n := points(t, db); n != 3 {
		t.Errorf("%d points for 3 figures: the dictionary was not taken up", n)
	}
	if _, err := db.Resume("2000-01-01.1", time.Unix(1_900_000_000, 0), ""); !errors.Is(err, ErrNoRun) {
		t.Errorf("an unknown run is resumed: %v", err)
	}
}

func points(t *testing.T, db *DB) (n int) {
	t.Helper()
	if err := db.read.QueryRow("SELECT count(*) FROM point").Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// Two that write one run do not mix their dictionaries.
func TestResume_Twice(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	one := fill(t, db, 1)
	two, err := db.Resume(one.ID(), time.Unix(1_900_000_000, 0), "")
	if err != nil {
		t.Fatal(err)
	}
	figure := func(n int, event string) *Cycle {
		return &Cycle{N: n, Measurements: []analyze.Measurement{{Cycle: n, Event: event}}}
	}
	if err := one.Append(figure(2, "a")); err != nil {
		t.Fatal(err)
	}
	if err := two.Append(figure(3, "b")); !errors.Is(err, ErrTaken) {
		t.Errorf("the second writer: %v", err)
	}
}

// Two programs write their runs to one log at one time while a third reads.
func TestRun_TwoWriters(t *testing.T) {
	t.Parallel()
	const cycles = 25
	first := newLog(t)
	var wg sync.WaitGroup
	for range 2 {
		db := openLog(t, first.Path())
		wg.Go(func() {
			run, err := db.Begin(RunInfo{Started: time.Unix(0, 0)})
			if err != nil {
				t.Error(err)
				return
			}
			for n := range cycles {
				if err := run.Append(exampleCycle(n + 1)); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	done := make(chan struct{})
	go func() { wg.Wait(); close(done) }()
	for running := true; running; {
		select {
		case <-done:
			running = false
		default:
		}
		runs, err := first.Runs()
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range runs {
			rec, err := first.Find(s.Run)
			if err != nil {
				t.Fatal(err)
			}
			if got := len(collect(t, rec.Measurements())); got%3 != 0 || got < 3*s.Cycles {
				t.Fatalf("%d figures of %d cycles: half a cycle shows", got, s.Cycles)
			}
		}
	}
	runs, err := first.Runs()
	if err != nil || len(runs) != 2 || runs[0].Cycles != cycles || runs[1].Cycles != cycles || runs[0].Run == runs[1].Run {
		t.Errorf("runs %+v, %v", runs, err)
	}
}

// Doubts may hold figures and be new in every cycle: beyond what is remembered
// they are written anew, and all come back.
func TestRun_ManyDoubts(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	run := fill(t, db, 0)
	const each, cycles = 2000, 7
	for n := 1; n <= cycles; n++ {
		c := &Cycle{N: n}
		for i := range each {
			c.Measurements = append(c.Measurements, analyze.Measurement{Cycle: n, Doubts: []analyze.Doubt{{Code: analyze.StillBouncing, Value: float64(i), Signal: strconv.Itoa(n)}}})
		}
		if err := run.Append(c); err != nil {
			t.Fatal(err)
		}
	}
	if len(run.dict.lists) != listsHeld {
		t.Errorf("%d lists held, want %d", len(run.dict.lists), listsHeld)
	}
	if err := run.Append(&Cycle{N: cycles + 1, Measurements: []analyze.Measurement{{Cycle: cycles + 1, Doubts: []analyze.Doubt{{Code: analyze.StillBouncing, Signal: "7"}}}}}); err != nil {
		t.Fatal(err)
	}
	rec, err := db.Find("last")
	if err != nil {
		t.Fatal(err)
	}
	i := 0
	for m, err := range rec.Measurements() {
		want := analyze.Doubt{Code: analyze.StillBouncing, Value: float64(i % each), Signal: strconv.Itoa(i/each + 1)}
		if m.Cycle == cycles+1 {
			want.Value, want.Signal = 0, "7"
		}
		if err != nil || len(m.Doubts) != 1 || m.Doubts[0] != want {
			t.Fatalf("figure %d: %v, %v, want %v", i, m.Doubts, err, want)
		}
		i++
	}
}
