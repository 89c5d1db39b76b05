package main

import (
	"math/rand/v2"
	"testing"
	"time"

	"makebreak/testdata/drawnpanel"
)

// firstPanel is the seed of the first panel drawn for the survey. The seeds of all other tests lie
// below it.
const firstPanel = 9_000_000_000

// What an output is said to do is what the simulated panel does, whatever order its events come
// in; and the same seed draws the same panel.
func TestSurvey_DrawnTruth(t *testing.T) {
	t.Parallel()
	panels := 40
	if testing.Short() || raceEnabled {
		panels = 8
	}
	moved := map[drawnpanel.Kind]bool{}
	for i := range panels {
		seed := uint64(firstPanel - 1 - i)
		p, err := drawnpanel.Draw(seed)
		if err != nil {
			t.Fatal(err)
		}
		again, err := drawnpanel.Draw(seed)
		if err != nil || again.RigFile != p.RigFile || len(again.Programme()) != len(p.Programme()) {
			t.Errorf("seed %d draws another panel the second time (%v)", seed, err)
		}
		d := rand.New(rand.NewPCG(seed, 5))
		all := p.Events.All()
		var events []string
		for range 30 {
			events = append(events, all[d.IntN(len(all))])
		}
		// No delay ends just where the next event begins.
		mistold, kinds, err := p.Play(seed, events, 15*time.Second+3777*time.Microsecond)
		if err != nil {
			t.Fatal(err)
		}
		for _, wrong := range mistold {
			t.Error(wrong)
		}
		for _, k := range kinds {
			moved[k] = true
		}
	}
	if testing.Short() || raceEnabled {
		return
	}
	for _, k := range drawnpanel.Kinds() {
		if still := k == drawnpanel.NeverMoves || k == drawnpanel.AlwaysOn; moved[k] == still {
			t.Errorf("%q: moved %v", k, moved[k])
		}
	}
}
