package sequences

import (
	"slices"
	"testing"

	"makebreak/rig/wiring/rigfile"
)

// A chip that follows one output follows the first: what is demanded comes before what may
// do anything.
func TestSequence_Sampled(t *testing.T) {
	t.Parallel()
	panel := rigfile.Builtin()[0]
	for _, c := range []struct {
		name, src string
		want      []string
	}{
		{"nothing named", "", nil},
		{"all others", "others: unmoved\n", []string{"OUT1", "OUT2", "OUT3", "OUT4", "OUT5", "OUT6", "OUT7", "OUT8"}},
		{"free ones last", "outputs: {OUT2: {expect: any}, OUT5: {expect: low}}\n", []string{"OUT5", "OUT2"}},
		{"free ones after others", "outputs: {OUT2: {expect: any}, OUT5: {expect: {b: any}}}\nothers: unmoved\n",
			[]string{"OUT5", "OUT1", "OUT3", "OUT4", "OUT6", "OUT7", "OUT8", "OUT2"}},
	} {
		s, err := Parse("f.yaml", []byte("name: n\nsteps: [{event: a, hold: 3 s}, {event: b, hold: 3 s}]\n"+c.src))
		if err != nil {
			t.Fatal(err)
		}
		if got := s.Sampled(panel); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}
