package main

import (
	"fmt"
	"sync"
	"testing"

	"makebreak/analyze"
)

// A relay that bounces for too long, on a bench whose kernel merges edges that are closer
// together than some time: no run of it passes, whatever was merged. A single figure may pass
// where its own state shows nothing of it and the handler was caught late by less than what it
// hid; how many do is measured here.
func TestMergedEdges_LongBounce(t *testing.T) {
	seeds := 60
	if raceEnabled || testing.Short() {
		seeds = 4
	}
	var mu sync.Mutex
	runs, passed, figures, wrong, failed := 0, 0, 0, 0, 0
	t.Run("benches", func(t *testing.T) {
		for _, bounce := range []string{"5.2ms", "5.6ms", "6.5ms", "7.5ms"} {
			for _, merging := range []string{"250us", "450us", "700us", "900us", "1.1ms", "1.4ms"} {
				t.Run(fmt.Sprintf("%s by %s", bounce, merging), func(t *testing.T) {
					t.Parallel()
					for i := range seeds {
						r := runSimulated(t, "relay-only", 1, uint64(2000+i), "long-bounce="+bounce, "merged-edges="+merging)
						mu.Lock()
						runs++
						if r.err != nil || r.verdict == analyze.Pass || r.verdict == analyze.NoVerdict {
							passed++
							t.Errorf("seed %d: verdict %q, error %v", 2000+i, r.verdict, r.err)
						}
						for _, x := range r.rows {
							if x.Quantity != analyze.BounceTime || x.Limit.None() {
								continue
							}
							switch figures++; x.Verdict {
							case analyze.Pass:
								wrong++
							case analyze.Fail:
								failed++
							}
						}
						mu.Unlock()
					}
				})
			}
		}
	})
	t.Logf("%d runs, %d of them passed; of %d figures of bounce %d failed, %d passed wrongly", runs, passed, figures, failed, wrong)
	// One in 1,000 is expected; more than these have a probability of 2 % at most then.
	if most := map[bool]int{true: 2, false: 7}[figures < 1000]; wrong > most {
		t.Errorf("%d of %d figures passed wrongly, want %d at most", wrong, figures, most)
	}
}
