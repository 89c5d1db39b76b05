package survey

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	_ "makebreak/testdata/fixedseed"
)

// Each event follows each, itself included, once.
func TestWalk(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 31).Draw(t, "events")
		events := make([]string, n)
		for i := range events {
			events[i] = fmt.Sprint("e", i)
		}
		walk := Walk(events)
		if len(walk) != n*n+1 || walk[0] != events[0] || walk[len(walk)-1] != events[0] {
			t.Fatalf("%d steps from %s to %s", len(walk), walk[0], walk[len(walk)-1])
		}
		pairs := map[[2]string]int{}
		for i := 1; i < len(walk); i++ {
			pairs[[2]string{walk[i-1], walk[i]}]++
		}
		if len(pairs) != n*n {
			t.Fatalf("%d pairs of %d", len(pairs), n*n)
		}
	})
}
