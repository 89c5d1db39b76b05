package capture

import (
	"math/rand/v2"
	"runtime"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// ownTime is the processor time of the calling thread.
func ownTime(b *testing.B) time.Duration {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_THREAD_CPUTIME_ID, &t); err != nil {
		b.Fatal(err)
	}
	return time.Duration(t.Nano())
}

// What thinning costs a sample of an hour of one output, that keeps its state or never does,
// and the longest that one sample took of the processor.
func BenchmarkThin(b *testing.B) {
	const rate, hour = 860, 3600
	for _, c := range []struct {
		name string
		thin bool
		flap int // samples in each state; 0: one state
	}{{"all kept", false, 0}, {"steady", true, 0}, {"flapping", true, 40}} {
		b.Run(c.name, func(b *testing.B) {
			r := rand.New(rand.NewPCG(1, 2))
			volts := make([]float64, 1<<16)
			for i := range volts {
				volts[i] = 13 + 0.02*r.Float64()
			}
			longest := time.Duration(0)
			for b.Loop() {
				runtime.LockOSThread()
				k := &Capture{Traces: []*Trace{NewTrace("OUT1", Converter{})}}
				if c.thin {
					k.Thin()
				}
				k.AddEvent(Event{Name: "on"})
				t := k.Traces[0]
				for i := range rate * hour {
					v := volts[i%len(volts)]
					if c.flap > 0 && i/c.flap%2 == 1 {
						v = 0.6
					}
					if i%BlockLen > 1 {
						t.Append(Instant(i)*1_162_790, v)
						continue
					}
					begun := ownTime(b)
					t.Append(Instant(i)*1_162_790, v)
					longest = max(longest, ownTime(b)-begun)
				}
				k.Recycle()
				runtime.UnlockOSThread()
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/rate/hour, "ns/sample")
			b.ReportMetric(float64(longest.Microseconds()), "µs/longest")
			b.ReportMetric(0, "ns/op")
		})
	}
}
