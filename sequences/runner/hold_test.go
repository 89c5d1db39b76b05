package runner_test

import (
	"os"
	"runtime"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
)

const heldState = `
name: held
steps: [{event: arm-away, hold: 168 h}, {event: disarm, hold: 1 min}]
outputs: {OUT3: {expect: {arm-away: high, disarm: low}, limits: {hold: {max: 0 s}, high_level: {min: 12 V}}, relay: K1}}
others: unmoved
relays: {K1: {make: K1_NO, break: K1_NC}}
`

// sixteenOutputs is a bench of four converters that sweep four outputs each, 8 conversions a
// second.
func sixteenOutputs(t *testing.T, seq *sequences.Sequence, faults ...string) *bench.Bench {
	t.Helper()
	src, err := os.ReadFile("../../testdata/rigs/sixteen.yaml")
	if err != nil {
		t.Fatal(err)
	}
	rig, err := rigfile.Parse("sixteen.yaml", []byte(strings.ReplaceAll(string(src), "860 /s", "8 /s")))
	if err != nil {
		t.Fatal(err)
	}
	o := setup.Unit(rig, seq)
	o.Seed = 5
	return simulatedBench(t, rig, o, faults...)
}

// What a capture holds of a state depends on what happened in it, and hardly on how long it
// lasted.
func TestHold_Flat(t *testing.T) {
	lasts := 168 * time.Hour
	if testing.Short() {
		lasts = 6 * time.Hour
	}
	for _, c := range []struct {
		fault   string
		samples int // of sixteen outputs, at most
		edges   int // of a contact, at most
		verdict analyze.Verdict
	}{
		{"", 200_000, 32, analyze.Pass},
		{"loose-wire", 600_000, 32, analyze.Fail},
		{"chatter", 350_000, 8000, analyze.Fail},
	} {
		t.Run(c.fault, func(t *testing.T) {
			if c.fault != "" && lasts > 24*time.Hour {
				lasts = 24 * time.Hour // what happens takes its time to simulate
			}
			held(t, c.fault, lasts, c.samples, c.edges, c.verdict)
		})
	}
}

func held(t *testing.T, fault string, lasts time.Duration, samples, edges int, verdict analyze.Verdict) {
	var faults []string
	if fault != "" {
		faults = []string{fault}
	}
	seq, err := sequences.Parse("held.yaml", []byte(heldState))
	if err != nil {
		t.Fatal(err)
	}
	b := sixteenOutputs(t, seq, faults...)
	c, err := b.NewCapture()
	if err != nil {
		t.Fatal(err)
	}
	c.Thin()
	if err := b.Record(t.Context(), c, b.Now().Add(2*time.Minute)); err != nil {
		t.Fatal(err)
	}
	for i, hold := range []time.Duration{lasts, time.Minute} {
		e, err := b.Cause(t.Context(), c, seq.Steps[i].Event)
		if err != nil {
			t.Fatal(err)
		}
		if err := b.Record(t.Context(), c, e.At.Add(hold)); err != nil {
			t.Fatal(err)
		}
	}
	n := 0
	for _, tr := range c.Traces {
		n += tr.Len()
		all := 0
		for p := range tr.Pieces(c.Start, c.End+1) {
			if all += len(p.At); p.Sum != nil {
				all += p.Sum.N
			}
		}
		if want := int(c.End.Sub(c.Start).Seconds() * 2); all < want*8/10 || all > want*12/10 {
			t.Errorf("%s: %d samples were looked at, want about %d", tr.Signal, all, want)
		}
	}
	t.Logf("%d samples held of %.0f", n, 32*c.End.Sub(c.Start).Seconds())
	if n > samples {
		t.Errorf("%d samples are held, want %d at most", n, samples)
	}
	for _, k := range c.Tracks {
		if len(k.Edges) > edges {
			t.Errorf("%d edges of %s are held, want %d at most", len(k.Edges), k.Signal, edges)
		}
	}
	cut := c.Around(100 * time.Millisecond)
	stored, err := cut.MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d bytes would be stored", len(stored))
	if len(stored) > 3*samples {
		t.Errorf("%d bytes would be stored", len(stored))
	}
	r, err := diagnose.Examine(&seq.Plan, c)
	if err != nil {
		t.Fatal(err)
	}
	if r.Verdict() != verdict {
		t.Errorf("verdict %v, want %v", r.Verdict(), verdict)
		for _, x := range r.Measurements {
			t.Logf("%s %s %s: %g ± %g %v", x.Event, x.Signal, x.Quantity, x.Value, x.Expanded, x.Verdict)
		}
	}
	var again capture.Capture
	if err := again.UnmarshalBinary(stored); err != nil {
		t.Fatal(err)
	}
	r, err = diagnose.Examine(&seq.Plan, &again)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range r.Measurements {
		if x.Verdict != analyze.NoVerdict && x.Verdict != analyze.Undecided && x.Verdict != verdict && verdict == analyze.Pass {
			t.Errorf("from the log: %s %s %s: %v", x.Event, x.Signal, x.Quantity, x.Verdict)
		}
	}
}

// inUse is how many bytes of memory are in use.
func inUse() int64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}

// A run takes no more memory for a state of an hour than for one of a minute.
func TestRun_FlatMemory(t *testing.T) {
	seq, err := sequences.Parse("held.yaml", []byte(strings.Replace(heldState, "168 h", "40 min", 1)))
	if err != nil {
		t.Fatal(err)
	}
	rig := rigfile.Builtin()[0]
	o := setup.Unit(rig, seq)
	o.Seed = 7
	b := simulatedBench(t, rig, o)
	before, after := int64(0), int64(0)
	_, err = runner.Run(t.Context(), b, seq, runner.Opts{First: 1, Last: 1, Now: time.Now, OnEvent: func(_ int, event string) {
		if event == "arm-away" {
			before = inUse()
		} else {
			after = inUse()
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	const most = 12 << 20 // all samples would be 40 MB
	if after-before > most {
		t.Errorf("%d bytes are in use after the state, %d before it", after, before)
	}
	t.Logf("%d bytes before, %d after", before, after)
}
