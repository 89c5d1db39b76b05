package capture

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// benchCapture is what a converter records in about three minutes.
func benchCapture(b *testing.B) *Capture {
	b.Helper()
	rng := rand.New(rand.NewPCG(1, 2))
	c := &Capture{Tracks: []*Track{{Signal: "K1_NO", Known: true}, {Signal: "K1_NC", Known: true, Initial: true}}}
	for _, signal := range []string{"OUT3", "OUT4"} {
		c.Traces = append(c.Traces, NewTrace(signal, Converter{StepVolts: 1e-4}))
	}
	for i := range 150_000 {
		at := Instant(i) * 1_198_753 / 1000 * 1000
		c.End = at
		if i%2500 == 0 {
			c.Events = append(c.Events, Event{Name: "arm-away", At: at})
			c.Tracks[0].Edges = append(c.Tracks[0].Edges, Edge{At: at, Closed: i%5000 == 0})
		}
		for k, volts := range []float64{13.2, 0.6} {
			c.Traces[k].Append(at, math.Round((volts+0.002*rng.NormFloat64())*1e4)/1e4)
		}
	}
	return c
}

func lenOf(c *Capture) (n int) {
	for _, t := range c.Traces {
		n += t.Len()
	}
	return n
}

func BenchmarkCapture_AppendBinary(b *testing.B) {
	fine := benchCapture(b)
	for _, t := range fine.Traces { // as a rig calibrated in floating point
		t.Converter.StepVolts = 0
	}
	for name, c := range map[string]*Capture{"steps": benchCapture(b), "floats": fine} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			var buf []byte
			for b.Loop() {
				var err error
				if buf, err = c.AppendBinary(buf[:0]); err != nil {
					b.Fatal(err)
				}
			}
			n := float64(lenOf(c))
			b.ReportMetric(n*float64(b.N)/b.Elapsed().Seconds(), "samples/s")
			b.ReportMetric(float64(len(buf))/n, "B/sample")
		})
	}
}

func BenchmarkCapture_UnmarshalBinary(b *testing.B) {
	data, err := benchCapture(b).MarshalBinary()
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		var c Capture
		if err := c.UnmarshalBinary(data); err != nil {
			b.Fatal(err)
		}
		n += lenOf(&c)
		c.Recycle()
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "samples/s")
}

// The captures with known truth: what a cycle takes in the log.
func BenchmarkCapture_Around(b *testing.B) {
	for _, name := range []string{"healthy-converter.csv", "healthy-instrument.csv"} {
		for _, keep := range []time.Duration{20 * time.Millisecond, 200 * time.Millisecond} {
			b.Run(fmt.Sprintf("%s/%v", name, keep), func(b *testing.B) {
				c := readFile(b, name)
				b.ReportAllocs()
				var data []byte
				for b.Loop() {
					k := c.Around(keep)
					var err error
					if data, err = k.MarshalBinary(); err != nil {
						b.Fatal(err)
					}
					k.Recycle()
				}
				b.ReportMetric(float64(lenOf(c))*float64(b.N)/b.Elapsed().Seconds(), "samples/s")
				b.ReportMetric(float64(len(data)), "B/capture")
			})
		}
	}
}
