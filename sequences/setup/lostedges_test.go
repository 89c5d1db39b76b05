package setup_test

import (
	"fmt"
	"sync"
	"testing"

	"makebreak/analyze"
	"makebreak/testdata/few"
)

// A relay that bounces for too long, on a bench whose kernel merges edges that are closer
// together than some time, or drops some: no run of it passes, whatever was lost. A single figure may pass
// where its own state shows nothing of it and the handler was caught late by less than what it
// hid; how many do is measured here.
func TestLostEdges_LongBounce(t *testing.T) {
	seeds := 60
	if few.Race || testing.Short() {
		seeds = 4
	}
	var mu sync.Mutex
	runs, passed, figures, wrong, failed := 0, 0, 0, 0, 0
	t.Run("benches", func(t *testing.T) {
		for _, bounce := range []string{"5.2ms", "5.6ms", "6.5ms", "7.5ms"} {
			for _, loss := range []string{"merged-edges=250us", "merged-edges=450us", "merged-edges=700us", "merged-edges=900us", "merged-edges=1.1ms", "merged-edges=1.4ms",
				"lost-edges=2", "lost-edges=3", "lost-edges=5", "lost-edges=11"} {
				t.Run(fmt.Sprintf("%s and %s", bounce, loss), func(t *testing.T) {
					t.Parallel()
					for i := range seeds {
						r := runSimulated(t, "relay-only", 1, uint64(2000+i), "long-bounce="+bounce, loss)
						mu.Lock()
						runs++
						if r.err != nil || r.verdict == analyze.Pass || r.verdict == analyze.NoVerdict {
							passed++
							t.Errorf("seed %d: verdict %q, error %v", 2000+i, r.verdict, r.err)
						}
						for _, x := range r.rows {
							if closes := x.Event == "energize" == (x.Signal == "K1_NO"); x.Quantity != analyze.BounceTime || !closes {
								continue // contacts that open bounce as usual
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

// A sound relay does not fail for what the kernel merged or dropped, and no fault of a relay is
// found in it.
func TestLostEdges_Sound(t *testing.T) {
	seeds := 60
	if few.Race || testing.Short() {
		seeds = 6
	}
	for _, loss := range []string{"merged-edges=80us", "merged-edges=300us", "merged-edges=1ms", "merged-edges=3ms", "lost-edges=2", "lost-edges=3", "lost-edges=8", "lost-edges=13"} {
		t.Run(loss, func(t *testing.T) {
			t.Parallel()
			decided := map[analyze.Verdict]int{}
			for i := range seeds {
				r := runSimulated(t, "relay-only", 3, uint64(3000+i), loss)
				decided[r.verdict]++
				if r.err != nil || r.verdict == analyze.Fail {
					t.Errorf("seed %d: verdict %q, error %v, findings %v", 3000+i, r.verdict, r.err, r.findings)
				}
			}
			t.Logf("verdicts: %v", decided)
		})
	}
}
