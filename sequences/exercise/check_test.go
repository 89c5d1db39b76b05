package exercise

import "testing"

// Each built-in exercise can be solved: what may be done tells each state from every other
// answer. Of all draws at most one in 50 may scatter beyond what is compared with.
func TestBuiltin_Check(t *testing.T) {
	draws, refuted, all := 12, 0, 0
	if testing.Short() {
		draws = 3
	}
	for _, d := range Builtin() {
		if testing.Short() && d.Sequence.Name != "relay-only" {
			continue // the others take seconds each
		}
		c, err := d.Check(t.Context(), draws, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range c.Truths {
			all, refuted = all+x.Draws, refuted+x.Refuted
			if len(x.Alike) > 0 {
				t.Errorf("%s: %v in %d draws: not told from %v", d.Name, x.Truth, x.Draws, x.Alike)
			}
		}
	}
	t.Logf("%d of %d draws refuted", refuted, all)
	if all < 15 || refuted*50 > all {
		t.Errorf("%d of %d draws scatter beyond what they are compared with", refuted, all)
	}
}
