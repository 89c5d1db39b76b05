package exercise

import (
	"os"
	"strconv"
	"testing"
)

// tested are the built-in exercises that a test tries, and how often it is to draw: the first of
// each sequence and grade. MAKEBREAK_LONG=1 tries all of them, MAKEBREAK_LONG=17 with as many
// draws as exercise check has; -short tries one, which is a relay alone.
func tested(t *testing.T) (all []*Definition, draws int) {
	t.Helper()
	if n, err := strconv.Atoi(os.Getenv("MAKEBREAK_LONG")); err == nil && n > 0 {
		return Builtin(), min(12*n, CheckDraws)
	}
	type kind struct {
		sequence string
		grade    int
	}
	seen := map[kind]bool{}
	for _, d := range Builtin() {
		k := kind{d.Sequence.Name, d.Grade}
		if !seen[k] && (!testing.Short() || k == kind{"relay-only", 1}) {
			all = append(all, d)
		}
		seen[k] = true
	}
	if testing.Short() {
		return all, 4
	}
	return all, 6
}

// Built-in exercises can be solved: what may be done tells each state from every other
// answer. Of all draws at most one in 50 may scatter beyond what is compared with, and always
// one.
func TestBuiltin_Check(t *testing.T) {
	refuted, drawn := 0, 0
	all, draws := tested(t)
	for _, d := range all {
		c, err := d.Check(t.Context(), draws, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range c.Truths {
			drawn, refuted = drawn+x.Draws, refuted+x.Refuted
			if len(x.Alike) > 0 {
				t.Errorf("%s: %v in %d draws: not told from %v", d.Name, x.Truth, x.Draws, x.Alike)
			}
		}
	}
	t.Logf("%d of %d draws refuted", refuted, drawn)
	if drawn != draws*len(all) || refuted > 1 && refuted*50 > drawn {
		t.Errorf("%d of %d draws scatter beyond what they are compared with", refuted, drawn)
	}
}
