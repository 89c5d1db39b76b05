package kernelbench_test

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"
)

// The bus runs slower than the rig file says, as a Raspberry Pi's does whose core clock is
// not what it was taken for (raspberrypi/firmware issue 1281). The check of the rig measures
// it and says so. A run on it is refused, with the reason, or its figures are right and what
// was missed is counted.
func TestKernel_SlowBus(t *testing.T) {
	for _, c := range []struct {
		hz       int
		twoChips bool // followed
		carries  bool // all of it, without a miss
	}{{250_000, true, true}, {100_000, false, false}, {62_500, true, false}} {
		t.Run(fmt.Sprintf("%g kHz", float64(c.hz)/1e3), func(t *testing.T) {
			s := newSite(t, followRate, "100 ms", "600 ms")
			s.replace("bus: BUS", "bus: BUS\nbus_speed: 400 kHz")
			s.adc.SetBus(c.hz)
			if c.twoChips {
				s.wireB()
				s.replace("ready: {line: READY_B}}", "sample: follow, ready: {line: READY_B}}")
				s.replace("  OUT3: {chip: B, channel: 1, divider: {upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}}\n", "")
			}
			s.slowBusTold(c.hz)
			panel := s.startPanel()
			r := s.startRun()
			status := r.wait()
			if status == exitPass {
				s.nothingHidden(panel, c.carries)
				return
			}
			said := r.out.String() + r.err.String()
			if c.carries || !strings.Contains(said, "kHz") {
				t.Errorf("exit %d; the bus carries the rig: %t\n%s", status, c.carries, said)
			}
			t.Logf("exit %d\n%s", status, r.err.String())
		})
	}
}

// nothingHidden checks a run that has passed: its figures, and that its samples stand a
// conversion apart but for those that are counted as missed.
func (s *site) nothingHidden(p *panelProcess, complete bool) {
	s.t.Helper()
	rec := s.logged()
	s.t.Logf("passed; counts of the run: %+v", rec.Counts)
	s.compareLevels(rec.Measurements())
	s.compareTimes(rec.Measurements(), p)
	if complete || rec.Counts.MissedConversions == 0 {
		s.fewMissed(rec.Counts)
		s.closeTogether("OUT1", time.Second/followRate)
	}
}

// slowBusTold checks that rig check has measured the clock, and that it warns of it.
func (s *site) slowBusTold(hz int) {
	s.t.Helper()
	r := s.start(nil, "rig", "check", "--rig", s.rig)
	if status := r.wait(); status != exitUndecided && status != exitRig {
		s.t.Errorf("rig check: exit %d", status)
	}
	text := r.out.String() + r.err.String()
	_, after, found := strings.Cut(text, "the bus runs at ")
	number, _, _ := strings.Cut(after, " ")
	kHz, err := strconv.ParseFloat(number, 64)
	if !found || err != nil || math.Abs(kHz*1e3/float64(hz)-1) > 0.1 {
		s.t.Errorf("rig check does not say that the bus runs at %d Hz:\n%s", hz, text)
	}
}
