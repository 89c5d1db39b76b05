package main

import (
	"os"
	"runtime"
	"strconv"
	"testing"
	"time"

	"makebreak/analyze/cause"
	"makebreak/rig/capture"
	"makebreak/testdata/drawnbench"
	"makebreak/testdata/few"
	"makebreak/testdata/goldenfile"
)

// causesDrawing is the number of the drawing of benches that the causes were measured on last. Each
// measuring takes the next number, so that a table that was changed after one is measured on
// benches that nobody has seen.
const causesDrawing = 11

// ranked is what the program says of a run: the causes of its record.
func ranked(b *drawnbench.Bench, r *drawnbench.Run) []drawnbench.Claim {
	plan := b.Seq.Plan
	plan.Coils = b.Rig.SwitchesCoils() // as for a record
	e := cause.New(&plan)
	e.Cycles, e.Complete, e.Counts, e.Converters, e.Ending = r.Cycles, r.Err == nil, r.Counts, r.Converters, capture.EndingOf(r.Err)
	e.Unreferenced = !b.Seq.Referenced(b.Rig)
	for _, s := range r.Symptoms {
		e.Symptom(s)
	}
	for i := range r.Rows {
		e.Figure(&r.Rows[i])
	}
	var claims []drawnbench.Claim
	for _, c := range cause.Rank(cause.Builtin(), e) {
		claims = append(claims, drawnbench.Claim{Cause: c.Cause, Place: placeOf(b, c.Place)})
	}
	return claims
}

// placeOf is the output of a bench's fault for the converter that it is on, where a cause names
// that; else the place itself.
func placeOf(b *drawnbench.Bench, place string) string {
	for _, f := range b.Faults {
		if o := b.Rig.Output(f.Place); o != nil && o.Chip == place {
			return f.Place
		}
	}
	return place
}

// TestCauses_DrawnBenches draws benches, plants faults of random kind, size and place, and counts
// where the true cause stands among those ranked. MAKEBREAK_LONG=50 draws all 2,800 that count,
// and with MAKEBREAK_UPDATE=1 writes the tables of the document.
func TestCauses_DrawnBenches(t *testing.T) {
	t.Parallel()
	want := drawnbench.Wanted{Singles: 40, Pairs: 6, Healthy: 10}
	long, err := strconv.Atoi(os.Getenv("MAKEBREAK_LONG"))
	switch {
	case err == nil:
		want = drawnbench.Wanted{Singles: 40 * long, Pairs: 6 * long, Healthy: 10 * long, Alike: true}
	case testing.Short() || few.Race:
		want = drawnbench.Wanted{Singles: 12, Pairs: 2, Healthy: 3}
	}
	began := time.Now()
	c, err := drawnbench.Count(t.Context(), causesDrawing, want, ranked)
	if err != nil {
		t.Fatal(err)
	}
	summary, confusion := c.Summary(), c.Confusion(drawnbench.Kinds())
	t.Logf("%d benches with one fault, %d with two, %d with none in %v\n%s\n%s", len(c.Singles), len(c.Pairs), len(c.Healthy), time.Since(began), summary, confusion)
	for _, s := range c.Singles {
		if s.Doubtful != "" {
			t.Errorf("seed %d is not in order without a fault: %s", s.Bench.Seed, s.Doubtful)
		}
		if len(s.Broken) > 0 && s.Passed {
			t.Errorf("seed %d, %s: the run passes, and by the simulator's truth it must not: %v", s.Bench.Seed, s.Fault, s.Broken)
		}
	}
	for _, s := range c.Singles {
		if s.Mute {
			t.Errorf("seed %d, %s: the run fails, and no finding says why", s.Bench.Seed, s.Fault)
		}
	}
	told := len(c.Told())
	if c.Claimed() > len(c.Healthy)/200 {
		t.Errorf("a fault is claimed of %d healthy benches of %d, at most 0.5 %% may be", c.Claimed(), len(c.Healthy))
	}
	if long < 50 {
		if c.First()*10 < told*7 {
			t.Errorf("the true cause is first on %d of %d benches only", c.First(), told)
		}
		return
	}
	// The aim is 95 % and 99.5 %. It has not been reached: these hold what has been.
	if c.First()*100 < told*93 {
		t.Errorf("the true cause is first on %d of %d benches, 94.75 %% were reached", c.First(), told)
	}
	if c.Three()*100 < told*98 {
		t.Errorf("the true cause is among the first three on %d of %d benches, 98.8 %% were reached", c.Three(), told)
	}
	if runtime.GOARCH == "amd64" {
		goldenfile.Check(t, "causes-shares.md", summary)
		goldenfile.Check(t, "causes-confusion.md", confusion)
	}
}

// What holds the program to the simulator's truth must know it: these faults break something on
// any bench that can have them, and the same seed draws the same bench.
func TestCauses_DrawnTruth(t *testing.T) {
	t.Parallel()
	for i, kind := range []string{"stuck-low", "inverted", "one-arming", "dead-relay", "welded", "swapped-contacts", "common-open"} {
		seed := 6_900_000_000 + uint64(i)
		b, err := drawnbench.Draw(seed, kind)
		if err != nil {
			t.Fatal(err)
		}
		if again, err := drawnbench.Draw(seed, kind); err != nil || again.RigFile != b.RigFile || again.SequenceFile != b.SequenceFile || again.Faults[0] != b.Faults[0] {
			t.Errorf("seed %d draws another bench the second time (%v)", seed, err)
		}
		r, err := b.Run(t.Context(), b.Faults)
		if err != nil {
			t.Fatal(err)
		}
		if len(b.Broken(r)) == 0 {
			t.Errorf("seed %d, %s: nothing is broken by the simulator's truth", seed, b.Faults[0])
		}
		if r, err = b.Run(t.Context(), nil); err != nil || len(b.Broken(r)) > 0 {
			t.Errorf("seed %d without its fault: %v is broken (%v)", seed, b.Broken(r), err)
		}
	}
}
