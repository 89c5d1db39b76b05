package kernelbench_test

import (
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"makebreak/rig/capture"
)

// followHold is how long each state of a follow run is watched; a cycle has two.
const followHold = 600 * time.Millisecond

// followTime is how long sampling is to go on without a miss, as the bench was started.
func followTime(t *testing.T) time.Duration {
	t.Helper()
	d, err := time.ParseDuration(os.Getenv("MAKEBREAK_BENCH_FOLLOW"))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// A chip that is followed at its full rate gives every conversion once while the program
// arms and disarms the panel, measures each cycle and stores it, on a bus that takes its
// time. The kernel stamps the ready edges, the module makes the conversions by the data
// sheet's rate (SBAS444, 860/s): what is counted as missed is missed.
func TestKernel_Follow(t *testing.T) {
	for _, kHz := range []int{400, 100} {
		t.Run(fmt.Sprintf("%d kHz", kHz), func(t *testing.T) {
			s := newSite(t, followRate, "100 ms", followHold.String())
			s.onlyFollowed(kHz)
			s.adc.SetBus(kHz * 1000)
			s.startPanel()
			cycles := int(math.Ceil(followTime(t).Seconds() / (2 * followHold).Seconds()))
			began := s.adc.Transfers()
			r := s.startRun("--cycles", strconv.Itoa(cycles))
			if status := r.waitFor(followTime(t) + 2*patience); status != 0 {
				t.Fatalf("exit %d\n%s", status, r.err.String())
			}
			s.everyConversion(r, cycles, s.adc.Transfers()-began)
		})
	}
}

// onlyFollowed leaves the chip that is followed in the rig's file, alone on a bus of the
// speed.
func (s *site) onlyFollowed(kHz int) {
	s.t.Helper()
	var kept []string
	for _, line := range strings.Split(s.text, "\n") {
		if !strings.HasPrefix(line, "  B:") && !strings.HasPrefix(line, "  OUT2:") && !strings.HasPrefix(line, "  OUT3:") {
			kept = append(kept, line)
		}
	}
	s.text = strings.Replace(strings.Join(kept, "\n"), "bus: BUS", fmt.Sprintf("bus: BUS\nbus_speed: %d kHz", kHz), 1)
	s.rig = s.writeRig("rig.yaml", `"1"`)
}

// mostMissed is how many conversions a short run may miss: no change is to be refused for
// what happens once in a long time. Four rounds of some 38,000 conversions each missed none.
const mostMissed = 2

// everyConversion holds a run that has ended to having fetched all conversions, once: by
// the program's own count, by the captures that it kept, and by the transfers on the bus,
// of which each sample takes one. It returns how many were missed.
func (s *site) everyConversion(r *running, cycles, transfers int) (missed int) {
	s.t.Helper()
	rec := s.logged()
	s.fewMissed(rec.Counts)
	missed = int(rec.Counts.MissedConversions)
	if missed > 0 && followTime(s.t) >= time.Minute {
		s.t.Errorf("%d cycles: %d conversions missed, want none", cycles, missed)
	}
	samples, shortest, longest := 0, time.Duration(math.MaxInt64), time.Duration(0)
	for cycle := 1; cycle <= cycles; cycle += max(1, cycles/20) {
		k, least, most := spacing(s.capture(rec, cycle), "OUT1")
		samples, shortest, longest = samples+k, min(shortest, least), max(longest, most)
	}
	// An edge is stamped late by some 10 µs, by far less than half a conversion in any case.
	one := float64(time.Second) / followRate
	if samples == 0 || float64(shortest) < 0.5*one || missed == 0 && float64(longest) > 1.5*one {
		s.t.Errorf("%d samples of the captures kept, %v to %v apart, want %.0f ns", samples, shortest, longest, one)
	}
	usage, ok := r.cmd.ProcessState.SysUsage().(*syscall.Rusage)
	if !ok {
		s.t.Fatal("the kernel tells no use of memory")
	}
	took := time.Duration(float64(cycles) * 2 * float64(followHold))
	busy := r.cmd.ProcessState.UserTime() + r.cmd.ProcessState.SystemTime()
	s.t.Logf("%v: %d missed, %d transfers, %.1f a second; %.1f %% of the guest's processor, %d MB of memory at most",
		took, missed, transfers, float64(transfers)/took.Seconds(), 100*busy.Seconds()/took.Seconds(), usage.Maxrss/1024)
	return missed
}

// spacing counts an output's samples in the spans of a capture that were kept,
// and returns the shortest and the longest time between two of them.
func spacing(c *capture.Capture, output string) (samples int, shortest, longest time.Duration) {
	shortest = math.MaxInt64
	for _, span := range c.Kept {
		last := int64(0)
		for times := range c.Trace(output).Blocks(span.From, span.To+1) {
			for _, at := range times {
				if last != 0 {
					gap := time.Duration(at - last)
					shortest, longest = min(shortest, gap), max(longest, gap)
				}
				last = at
				samples++
			}
		}
	}
	return samples, shortest, longest
}
