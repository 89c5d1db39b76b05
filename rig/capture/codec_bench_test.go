package capture

import (
	"bytes"
	"fmt"
	"testing"
	"time"
)

// benchCapture is what a converter records in about three minutes.
func benchCapture(b *testing.B) *Capture {
	c, err := readAll(bytes.NewReader(benchText(150_000, "%.6f,,%.4f,%.4f,,\n")), 0)
	if err != nil {
		b.Fatal(err)
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
