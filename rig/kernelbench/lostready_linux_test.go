package kernelbench_test

import (
	"testing"
	"time"
)

// Ready edges get lost between the pin and the kernel, of a chip that is followed and of one
// that sweeps. The conversions are there all the same, with the right values, none is far from
// the next, and what was lost is counted as that and as nothing else.
func TestKernel_ReadyEdgesLost(t *testing.T) {
	s := newSite(t, followRate, "100 ms", "600 ms")
	s.wireB()
	s.adc.SetBus(400_000)
	s.adc.LoseReady([4]int{7, 5, 0, 0})
	s.startPanel()
	before := s.adc.Lost()
	s.startRun().ends(exitPass)
	after := s.adc.Lost()

	rec := s.logged()
	s.compareLevels(rec.Measurements())
	// Some were lost before the run began and after it had ended.
	lost, n := after[0]+after[1]-before[0]-before[1], rec.Counts
	t.Logf("%d ready edges lost; counts of the run: %+v", lost, n)
	if counted := int(n.LostReadyEdges); counted > lost || counted < lost*9/10 {
		t.Errorf("%d ready edges were lost, %d are counted", lost, counted)
	}
	// Until a followed chip's time is known, a conversion without an edge is overwritten.
	const unknown = 20/7 + 1
	n.LostReadyEdges, n.MissedConversions = 0, max(n.MissedConversions, unknown)-unknown
	s.fewMissed(n)
	s.closeTogether("OUT1", time.Second/followRate)
	s.closeTogether("OUT2", 2*time.Second/860)
}

// wireB gives the chip that sweeps its full rate and a ready line.
func (s *site) wireB() {
	s.t.Helper()
	s.replace("rate: 128 /s, supply: 3.3 V}", "rate: 860 /s, supply: 3.3 V, ready: {line: READY_B}}")
	s.adc.WireReady(1, s.lines, readyB)
}

// closeTogether checks that an output's samples stand no more than two of its intervals apart.
func (s *site) closeTogether(output string, interval time.Duration) {
	s.t.Helper()
	rec := s.logged()
	for cycle := 1; cycle <= 3; cycle++ {
		n, _, longest := spacing(s.capture(rec, cycle), output)
		if n < 100 || longest > 2*interval {
			s.t.Errorf("cycle %d: %d samples of %s, up to %v apart, want %v", cycle, n, output, longest, interval)
		}
		s.t.Logf("cycle %d: %d samples of %s, up to %v apart", cycle, n, output, longest)
	}
}
