package journal

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/gum"
)

// relayCycle is a cycle of a relay on its own: 26 figures of two events, some
// with one budget line that never changes, and a capture of 2 KB.
func relayCycle(n int, rng *rand.Rand) *Cycle {
	c := &Cycle{N: n, Started: time.Unix(1_800_000_000, int64(n)*500_000_000), Verdict: analyze.Pass, Complete: true,
		Capture: make([]byte, 2048)}
	for i := range c.Capture {
		c.Capture[i] = byte(rng.Uint32())
	}
	for _, event := range []string{"alarm", "disarm"} {
		for i := range 13 {
			c.Measurements = append(c.Measurements, analyze.Measurement{Cycle: n, Event: event, Signal: fmt.Sprintf("K%d", i/4),
				Quantity: analyze.Quantities()[i], Value: 0.005 + 0.0001*rng.NormFloat64(), Expanded: 1.5e-6, Standard: 7.5e-7,
				Coverage: 1.96, DegreesOfFreedom: math.Inf(1), Conformance: 1, Verdict: analyze.Pass,
				Limit: analyze.Limit{Lower: math.NaN(), Upper: 0.015},
				Budget: []gum.Component{{Source: "time stamp of the edge", Distribution: "normal", Standard: 7.5e-7, Sensitivity: 1,
					DegreesOfFreedom: math.Inf(1)}}})
		}
	}
	return c
}

// outputCycle is a cycle of an output with a relay behind it: 40 figures, each
// with a budget of six lines of which two change with the reading.
func outputCycle(n int, rng *rand.Rand) *Cycle {
	c := relayCycle(n, rng)
	c.Measurements = append(c.Measurements, c.Measurements[:14]...)
	for i := range c.Measurements {
		m := &c.Measurements[i]
		m.Event = fmt.Sprintf("step%d", i/14)
		m.Standard = 0.01 + 0.001*rng.NormFloat64()
		m.Expanded = 2 * m.Standard
		m.Budget = nil
		for k := range 6 {
			line := gum.Component{Source: gum.Source(fmt.Sprintf("source %d", k)), Distribution: "rectangular", Standard: 0.001, Sensitivity: 1, DegreesOfFreedom: math.Inf(1)}
			if k < 2 {
				line.Standard *= rng.NormFloat64()
			}
			m.Budget = append(m.Budget, line)
		}
	}
	return c
}

// bare takes the capture off a cycle.
func bare(n int, rng *rand.Rand) *Cycle {
	c := relayCycle(n, rng)
	c.Capture = nil
	return c
}

// BenchmarkSync is what the disk alone takes to hold 20 KB more for good; a cycle
// cannot be stored faster.
func BenchmarkSync(b *testing.B) {
	f, err := os.Create(filepath.Join(b.TempDir(), "file"))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	data := make([]byte, 20<<10)
	for b.Loop() {
		if _, err := f.Write(data); err != nil {
			b.Fatal(err)
		}
		if err := f.Sync(); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkAppend stores cycles durably.
func BenchmarkAppend(b *testing.B) {
	for _, tc := range []struct {
		name string
		make func(int, *rand.Rand) *Cycle
	}{{"relay", relayCycle}, {"relay without capture", bare}, {"output", outputCycle}} {
		b.Run(tc.name, func(b *testing.B) {
			db, err := Open(filepath.Join(b.TempDir(), "log.db"))
			if err != nil {
				b.Fatal(err)
			}
			defer db.Close()
			run, err := db.Begin(RunInfo{Started: time.Unix(1_800_000_000, 0)})
			if err != nil {
				b.Fatal(err)
			}
			rng := rand.New(rand.NewPCG(1, 2))
			b.ReportAllocs()
			n := 0
			for b.Loop() {
				n++
				if err := run.Append(tc.make(n, rng)); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "cycles/s")
			b.ReportMetric(float64(sizeOf(b, db))/float64(n), "B/cycle")
		})
	}
}

// sizeOf returns the log's size without what the write-ahead log holds.
func sizeOf(tb testing.TB, db *DB) int64 {
	var pages, size int64
	if err := db.read.QueryRow("SELECT page_count, page_size FROM pragma_page_count, pragma_page_size").Scan(&pages, &size); err != nil {
		tb.Fatal(err)
	}
	return pages * size
}

func BenchmarkMeasurements(b *testing.B) {
	db, err := Open(filepath.Join(b.TempDir(), "log.db"))
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	run, err := db.Begin(RunInfo{Started: time.Unix(1_800_000_000, 0)})
	if err != nil {
		b.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for n := range 500 {
		if err := run.Append(relayCycle(n+1, rng)); err != nil {
			b.Fatal(err)
		}
	}
	rec, err := db.Find("last")
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		for _, err := range rec.Measurements() {
			if err != nil {
				b.Fatal(err)
			}
			n++
		}
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "figures/s")
}
