package analyze_test

import (
	"testing"

	"makebreak/analyze"
)

func TestRunVerdict(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		gravest        analyze.Verdict
		complete, ends analyze.Verdict // of a run that is complete, and of one that ended early
	}{
		{analyze.NoVerdict, analyze.NoVerdict, analyze.Incomplete},
		{analyze.Pass, analyze.Pass, analyze.Incomplete},
		{analyze.Undecided, analyze.Undecided, analyze.Incomplete},
		{analyze.Fail, analyze.Fail, analyze.Fail},
	} {
		if got := analyze.RunVerdict(true, c.gravest); got != c.complete {
			t.Errorf("complete, gravest %q: %q, want %q", c.gravest, got, c.complete)
		}
		if got := analyze.RunVerdict(false, c.gravest); got != c.ends {
			t.Errorf("ended early, gravest %q: %q, want %q", c.gravest, got, c.ends)
		}
	}
}

// Logs hold these numbers: none may change.
func TestVerdict_Gravity(t *testing.T) {
	t.Parallel()
	for v, want := range map[analyze.Verdict]int{
		analyze.NoVerdict: 0, analyze.Pass: 1, analyze.Undecided: 2, analyze.Fail: 3,
		analyze.Incomplete: 0, "perhaps": 0, // of no figure
	} {
		if got := v.Gravity(); got != want {
			t.Errorf("%q: %d, want %d", v, got, want)
		}
	}
}

func TestVerdict_Worse(t *testing.T) {
	t.Parallel()
	order := []analyze.Verdict{analyze.NoVerdict, analyze.Pass, analyze.Incomplete, analyze.Undecided, analyze.Fail}
	for i, v := range order {
		for k, w := range order {
			if got, want := v.Worse(w), order[max(i, k)]; got != want {
				t.Errorf("the worse of %q and %q: %q, want %q", v, w, got, want)
			}
		}
	}
}

// Each verdict of a figure has a mark of its own.
func TestVerdict_Mark(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, v := range analyze.Verdicts {
		seen[v.Mark()] = true
	}
	if len(seen) != len(analyze.Verdicts) || analyze.Incomplete.Mark() != analyze.NoVerdict.Mark() {
		t.Errorf("%v", seen)
	}
}
