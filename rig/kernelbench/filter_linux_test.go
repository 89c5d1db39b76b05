package kernelbench_test

import (
	"fmt"
	"testing"
	"time"
)

// A converter's filter need not be a plain mean over its conversion. Where it is not, the
// instants at which the output switched are still held by their stated uncertainty.
func TestKernel_Filter(t *testing.T) {
	for _, c := range []struct{ means, lastPercent int }{{3, 100}, {1, 90}, {3, 90}} {
		t.Run(fmt.Sprintf("%d means over the last %d percent", c.means, c.lastPercent), func(t *testing.T) {
			s := newSite(t, followRate, "100 ms", "600 ms")
			s.adc.SetFilter(c.means, c.lastPercent)
			panel := s.startPanel()
			s.startRun().ends(exitPass)
			rec := s.logged()
			s.compareLevels(rec.Measurements())
			s.delaysHeld(rec.Measurements(), panel)
			s.fewMissed(rec.Counts)
		})
	}
}

// delaysHeld holds delays against the panel's notes, to no more than their stated uncertainty
// and the time between the two readings of the clock around what it did.
func (s *site) delaysHeld(all figures, p *panelProcess) {
	s.t.Helper()
	// A stamp is late by some 10 µs, and the pin is written within the two readings.
	const late = 20 * time.Microsecond
	compared, worst := 0, time.Duration(0)
	for m, err := range all {
		if err != nil {
			s.t.Fatal(err)
		}
		want, ok := p.truth(&m)
		if !ok || m.Quantity != "switching_delay" {
			continue
		}
		compared++
		got, u := time.Duration(m.Value*1e9), time.Duration(m.Expanded*1e9)
		off := (got - want).Abs()
		worst = max(worst, off)
		if bracket := p.bracket(&m); off > u+bracket+late {
			s.t.Errorf("%s: %v ± %v, the panel's own notes say %v ± %v", name(&m), got, u, want, bracket)
		}
		if compared == 1 {
			s.t.Logf("%s: %v ± %v, the panel's own notes say %v ± %v", name(&m), got, u, want, p.bracket(&m))
		}
	}
	if compared != 3*2 {
		s.t.Errorf("%d delays compared, want 6", compared)
	}
	s.t.Logf("%d delays, worst off by %v", compared, worst)
}
