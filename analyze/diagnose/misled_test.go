package diagnose

import (
	"strings"
	"testing"

	"makebreak/analyze"
)

// What a finding says must hold for all that shows so, not for the likeliest cause alone.
func TestFindings_SayNoMoreThanShows(t *testing.T) {
	t.Parallel()
	plan := &analyze.Plan{Steps: []string{"a"}, Outputs: []analyze.OutputPlan{{Signal: "OUT3", Relay: "K1"}}}
	for _, c := range []struct {
		name  string
		seen  [][]analyze.Symptom
		words []string
		not   string
	}{
		{"a unit without leakage on a weak supply shows what a heavy load does",
			[][]analyze.Symptom{seen(analyze.HeavyLoad, "OUT3", "", 9.3, 12, 1, "a")}, []string{"coil's resistance", "supply under load"}, "its load draws"},
		{"a bad joint leaves the coil connected",
			[][]analyze.Symptom{seen(analyze.RelayStill, "K1", "OUT3", 13.5, 0, 1, "a"), seen(analyze.HighWhenOff, "OUT3", "", 1.04, 1, 1, "a")}, []string{"joint", "open"}, "nothing connected"},
		{"the lowest of several",
			[][]analyze.Symptom{seen(analyze.ZeroNotJoined, "0 V", "", -1.2, 0, 1, "a"), seen(analyze.ZeroNotJoined, "0 V", "", -1.5, 0, 2, "a")}, []string{"down to -1.5 V,"}, "-1.2"},
	} {
		var all []analyze.Symptom
		for _, s := range c.seen {
			all = append(all, s...)
		}
		found := Findings(plan, all, 2)
		if len(found) != 1 {
			t.Errorf("%s: %+v", c.name, found)
			continue
		}
		for _, w := range c.words {
			if !strings.Contains(found[0].Text, w) {
				t.Errorf("%s: without %q: %s", c.name, w, found[0].Text)
			}
		}
		if strings.Contains(found[0].Text, c.not) {
			t.Errorf("%s: says %q: %s", c.name, c.not, found[0].Text)
		}
	}
}
