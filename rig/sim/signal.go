package sim

import "math"

// settledAfter is after how many time constants an exponential is gone: its
// remainder is then below 1e-10 of its start.
const settledAfter = 24

// segment is a stretch of a voltage: C + A·exp(-(t-At)/Tau) + B·exp(-(t-At)/TauB) +
// Slope·(t-At), plus a sine where the supply hums. The second exponential is a
// programmable supply's. Times in nanoseconds, volts, volts a nanosecond.
type segment struct {
	at    int64
	c     float64
	a     float64
	tau   float64 // ns; only where a is not 0
	b     float64
	tauB  float64 // ns; only where b is not 0
	slope float64 // V/ns
	hum   float64 // V, amplitude
	// flatFrom is from when on the segment is its constant alone; never, where
	// it has a slope or a hum.
	flatFrom int64
}

const never = math.MaxInt64

func constant(at int64, volts float64) segment {
	return segment{at: at, c: volts, flatFrom: at}
}

// settle fills in from when on the segment is flat.
func (s *segment) settle() {
	switch {
	case s.slope != 0 || s.hum != 0:
		s.flatFrom = never
	case s.a == 0 && s.b == 0:
		s.flatFrom = s.at
	default:
		s.flatFrom = s.at + int64(settledAfter*longer(s.a, s.tau, s.b, s.tauB))
	}
}

// longer returns the longer time constant of the exponentials that there are.
func longer(a, tauA, b, tauB float64) float64 {
	switch {
	case b == 0:
		return tauA
	case a == 0:
		return tauB
	}
	return max(tauA, tauB)
}

// value returns the voltage at the instant, hum included.
func (s *segment) value(at int64) float64 {
	dt := float64(at - s.at)
	v := s.c + s.slope*dt
	if s.a != 0 {
		v += s.a * math.Exp(-dt/s.tau)
	}
	if s.b != 0 {
		v += s.b * math.Exp(-dt/s.tauB)
	}
	if s.hum != 0 {
		v += s.hum * math.Sin(humRate*float64(at))
	}
	return v
}

// integral returns the integral from one instant to the other, in volt
// nanoseconds.
func (s *segment) integral(from, to int64) float64 {
	t0, t1 := float64(from-s.at), float64(to-s.at)
	sum := s.c*(t1-t0) + 0.5*s.slope*(t1-t0)*(t1+t0)
	if s.a != 0 {
		sum += s.a * s.tau * (math.Exp(-t0/s.tau) - math.Exp(-t1/s.tau))
	}
	if s.b != 0 {
		sum += s.b * s.tauB * (math.Exp(-t0/s.tauB) - math.Exp(-t1/s.tauB))
	}
	if s.hum != 0 {
		sum += s.hum / humRate * (math.Cos(humRate*float64(from)) - math.Cos(humRate*float64(to)))
	}
	return sum
}

// humRate is the angular frequency of 50 Hz mains in radians a nanosecond.
const humRate = 2 * math.Pi * 50e-9

// signal is a voltage over time: segments, each valid from its start to the
// next one's. The newest segment runs on for ever. What is older than the
// segments kept counts as the oldest one's first value.
type signal struct {
	segs []segment
	// level is the newest segment's constant, flatFrom from when on it is nothing else.
	level    float64 // V
	flatFrom int64
	// fed says that the output follows a programmable supply.
	fed bool
}

// A signal keeps between keepSegs and maxSegs segments, or half of maxSegsFed and all
// where it follows a supply. One switching of an output makes two
// or three, so it reaches back over several switchings and far beyond the conversion
// that is being read. Each step of a supply that is ramped makes one, every 2 ms at the
// least, and the slowest converter takes 138 ms for a conversion.
const (
	keepSegs   = 24
	maxSegs    = 48
	maxSegsFed = 512
)

// signalFrom returns a signal of one settled segment.
func signalFrom(s segment) signal {
	return signal{segs: append(make([]segment, 0, maxSegs), s), level: s.c, flatFrom: s.flatFrom}
}

// push adds a segment that begins at its At, which must not lie before the last
// one's. A segment of no length is replaced.
func (g *signal) push(s segment) {
	s.settle()
	g.level, g.flatFrom = s.c, s.flatFrom
	last := &g.segs[len(g.segs)-1]
	if last.at == s.at {
		*last = s
		return
	}
	keep, most := keepSegs, maxSegs
	if g.fed {
		keep, most = maxSegsFed/2, maxSegsFed
	}
	if len(g.segs) == most {
		n := copy(g.segs, g.segs[most-keep:])
		g.segs = g.segs[:n]
	}
	g.segs = append(g.segs, s)
}

// mean returns the mean over the interval, in volts. A settled signal, by far
// the most frequent case, answers at once.
func (g *signal) mean(from, to int64) float64 {
	if from >= g.flatFrom {
		return g.level
	}
	return g.meanOver(from, to)
}

func (g *signal) meanOver(from, to int64) float64 {
	if to <= from {
		return g.value(to)
	}
	var sum float64
	end := to
	for i := len(g.segs) - 1; i >= 0 && end > from; i-- {
		s := &g.segs[i]
		if s.at >= end {
			continue
		}
		begin := max(s.at, from)
		if begin >= s.flatFrom {
			sum += s.c * float64(end-begin)
		} else {
			sum += s.integral(begin, end)
		}
		end = begin
	}
	if end > from {
		sum += g.segs[0].value(g.segs[0].at) * float64(end-from)
	}
	return sum / float64(to-from)
}

// value returns the voltage at the instant.
func (g *signal) value(at int64) float64 {
	for i := len(g.segs) - 1; i >= 0; i-- {
		if g.segs[i].at <= at {
			return g.segs[i].value(at)
		}
	}
	return g.segs[0].value(g.segs[0].at)
}
