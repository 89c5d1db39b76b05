package csvfile

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"testing"
	"time"
)

// benchText returns a file of the given number of rows with six columns, as a
// converter gives it: most rows hold a voltage, few an edge or an event.
func benchText(rows int, every string) []byte {
	rng := rand.New(rand.NewPCG(1, 2))
	var b bytes.Buffer
	b.WriteString("time_s,event,OUT3_V,OUT4_V,K1_NO,K1_NC\n")
	for i := range rows {
		at := float64(i) * 0.001198753
		switch {
		case i == 0:
			fmt.Fprintf(&b, "%.6f,,,,0,1\n", at)
		case i%2500 == 0:
			fmt.Fprintf(&b, "%.6f,arm-away,,,,\n", at)
		case i%2500 < 5:
			fmt.Fprintf(&b, "%.6f,,,,%d,\n", at, i&1)
		default:
			fmt.Fprintf(&b, every, at, 13.2+0.002*rng.NormFloat64(), 0.6+0.002*rng.NormFloat64())
		}
	}
	return b.Bytes()
}

func benchmarkReader(b *testing.B, text []byte, rows int) {
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	samples := 0
	for b.Loop() {
		r, err := NewReader(bytes.NewReader(text), "bench.csv", time.Millisecond)
		if err != nil {
			b.Fatal(err)
		}
		samples = 0
		for {
			e, err := r.Next()
			if err == io.EOF {
				break
			}
			if err != nil {
				b.Fatal(err)
			}
			samples += r.Capture().Traces[0].Len() + r.Capture().Traces[1].Len()
			r.Capture().Discard(e.At)
		}
	}
	b.ReportMetric(float64(rows)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N)/float64(rows)*1e6, "s/Mrow")
	if samples == 0 {
		b.Fatal("nothing read")
	}
}

func BenchmarkReader(b *testing.B) {
	const rows = 200_000
	b.Run("plain", func(b *testing.B) { benchmarkReader(b, benchText(rows, "%.6f,,%.4f,%.4f,,\n"), rows) })
	b.Run("quoted", func(b *testing.B) { benchmarkReader(b, benchText(rows, "\"%.6f\",\"\",\"%.4f\",\"%.4f\",,\n"), rows) })
	b.Run("scientific", func(b *testing.B) { benchmarkReader(b, benchText(rows, "%.9E,,%.4E,%.4E,,\n"), rows) })
}

func BenchmarkWrite(b *testing.B) {
	c, err := readAll(bytes.NewReader(benchText(100_000, "%.6f,,%.4f,%.4f,,\n")), 0)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		if err := Write(io.Discard, c, Origin{}); err != nil {
			b.Fatal(err)
		}
		n += c.Traces[0].Len() + c.Traces[1].Len()
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "samples/s")
}
