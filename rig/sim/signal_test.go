package sim

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// drawSignal draws a signal of a few segments that follow each other by 10 µs to
// 20 ms.
func drawSignal(t *rapid.T) (signal, int64) {
	g := newSignal(0, rapid.Float64Range(-1, 15).Draw(t, "first"))
	at := int64(0)
	for range rapid.IntRange(0, 6).Draw(t, "segments") {
		at += rapid.Int64Range(10e3, 20e6).Draw(t, "lasts")
		s := constant(at, rapid.Float64Range(-1, 15).Draw(t, "c"))
		if rapid.Bool().Draw(t, "exponential") {
			s.a = rapid.Float64Range(-14, 14).Draw(t, "a")
			s.tau = rapid.Float64Range(50e3, 5e6).Draw(t, "tau")
		}
		if rapid.Bool().Draw(t, "sloping") {
			s.slope = rapid.Float64Range(-2e-9, 2e-9).Draw(t, "slope")
		}
		if rapid.Bool().Draw(t, "humming") {
			s.hum = rapid.Float64Range(0.1, 1).Draw(t, "hum")
		}
		g.push(s)
	}
	return g, at
}

// Each stretch of the signal is integrated by Simpson's rule, which knows nothing
// of the closed forms.
func TestSignal_MeanIsTheIntegral(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g, last := drawSignal(t)
		from := rapid.Int64Range(0, last+5e6).Draw(t, "from")
		to := from + rapid.Int64Range(1e3, 30e6).Draw(t, "span")
		var sum float64
		for i, s := range g.segs {
			begin, end := max(s.at, from), to
			if i+1 < len(g.segs) {
				end = min(end, g.segs[i+1].at)
			}
			if end > begin {
				sum += simpson(&s, begin, end)
			}
		}
		want := sum / float64(to-from)
		if got := g.mean(from, to); math.Abs(got-want) > 1e-6 {
			t.Fatalf("mean from %d to %d is %.9f V, by Simpson's rule %.9f V", from, to, got, want)
		}
	})
}

func simpson(s *segment, from, to int64) float64 {
	// As real numbers, because the law does not stop at whole nanoseconds.
	law := func(x float64) float64 {
		dt := x - float64(s.at)
		v := s.c + s.slope*dt + s.hum*math.Sin(2*math.Pi*50*x*1e-9)
		if s.a != 0 {
			v += s.a * math.Exp(-dt/s.tau)
		}
		return v
	}
	n := 2000
	if s.a != 0 {
		n = max(n, 2*int(10*float64(to-from)/s.tau)) // a step is at most 1/20 of the time constant
	}
	h := float64(to-from) / float64(n)
	sum := law(float64(from)) + law(float64(to))
	for i := 1; i < n; i++ {
		k := 2.0
		if i%2 == 1 {
			k = 4
		}
		sum += k * law(float64(from)+h*float64(i))
	}
	return sum * h / 3
}

func TestSignal_ForgetsOnlyWhatIsOld(t *testing.T) {
	g := newSignal(0, 1)
	for i := int64(1); i <= 1000; i++ {
		g.push(constant(i*1000, float64(i)))
	}
	if len(g.segs) > maxSegs {
		t.Errorf("%d segments kept, at most %d wanted", len(g.segs), maxSegs)
	}
	for i := int64(1000 - keepSegs + 1); i <= 1000; i++ {
		if got := g.mean(i*1000, i*1000+500); got != float64(i) {
			t.Errorf("segment %d: mean %g", i, got)
		}
	}
	oldest := g.segs[0].c
	if got := g.mean(0, 500); got != oldest {
		t.Errorf("long ago: mean %g, want the oldest level known, %g", got, oldest)
	}
}

func TestSignal_SegmentOfNoLengthIsReplaced(t *testing.T) {
	g := newSignal(0, 1)
	g.push(constant(10, 2))
	g.push(constant(10, 3))
	if got := g.value(10); got != 3 || len(g.segs) != 2 {
		t.Errorf("value %g with %d segments, want 3 with 2", got, len(g.segs))
	}
}

func TestSignal_MixedConversion(t *testing.T) {
	// A step inside a conversion gives the mixed value.
	g := newSignal(0, 0)
	g.push(constant(1_000_000, 12))
	if got := g.mean(750_000, 1_750_000); got != 9 {
		t.Errorf("three quarters at 12 V: %g V, want 9 V", got)
	}
}

// newSignal returns a signal that has always been at a voltage.
func newSignal(at int64, volts float64) signal { return signalFrom(constant(at, volts)) }
