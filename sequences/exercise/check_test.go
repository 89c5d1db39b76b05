package exercise

import "testing"

// Each built-in exercise can be solved: what may be done tells each state from every other
// answer.
func TestBuiltin_Check(t *testing.T) {
	draws := 25
	if testing.Short() {
		draws = 3
	}
	for _, d := range Builtin() {
		t.Run(d.Name, func(t *testing.T) {
			c, err := d.Check(t.Context(), draws, nil)
			if err != nil {
				t.Fatal(err)
			}
			for _, x := range c.Truths {
				t.Logf("%v: %d draws, ways %v", x.Truth, x.Draws, x.Ways)
				if len(x.Alike) > 0 || x.Refuted > 0 {
					t.Errorf("%v in %d draws: not told from %v, itself refuted in %d", x.Truth, x.Draws, x.Alike, x.Refuted)
				}
			}
		})
	}
}
