package reliability

import (
	"fmt"
	"math"
)

// Use is how often a part is operated, as ISO 13849-1:2015 C.4.2 counts it.
type Use struct {
	DaysPerYear     float64
	HoursPerDay     float64
	SecondsPerCycle float64
}

// PerYear is n_op, the operations per year: days · hours · 3600 / seconds.
func (u Use) PerYear() float64 { return u.DaysPerYear * u.HoursPerDay * 3600 / u.SecondsPerCycle }

func (u Use) check() error {
	switch {
	case !(u.DaysPerYear > 0 && u.DaysPerYear <= 366):
		return fmt.Errorf("%g days a year: it must be above 0 and at most 366", u.DaysPerYear)
	case !(u.HoursPerDay > 0 && u.HoursPerDay <= 24):
		return fmt.Errorf("%g hours a day: it must be above 0 and at most 24", u.HoursPerDay)
	}
	return positive("seconds per cycle", u.SecondsPerCycle)
}

// Dangerous is what a B10d means in use, by ISO 13849-1:2015 C.4.
type Dangerous struct {
	B10d    float64 // cycles by which 10 % have failed dangerously
	PerYear float64 // operations a year
	// MTTFd is the mean time to a dangerous failure in years, B10d/(0.1·n_op). It
	// takes the rate as constant, which holds until T10d only. Capped is what
	// counts for one channel: at most 100 years.
	MTTFd, Capped float64 // years
	// T10d is the time in years after which the part must be replaced, B10d/n_op.
	T10d float64 // years
	// Level names Capped: "low" from 3 years, "medium" from 10, "high" from 30, else
	// "not enough" (ISO 13849-1 table 4; from memory).
	Level  string
	Doubts []string
}

// DangerousOf judges a B10d in use.
func DangerousOf(b10d float64, use Use) (Dangerous, error) {
	err := positive("a B10d", b10d)
	if err == nil {
		err = use.check()
	}
	if err != nil {
		return Dangerous{}, fmt.Errorf("mean time to dangerous failure: %w", err)
	}
	n := use.PerYear()
	out := Dangerous{B10d: b10d, PerYear: n, MTTFd: b10d / (0.1 * n), T10d: b10d / n}
	out.Capped = math.Min(100, out.MTTFd)
	switch {
	case out.MTTFd < 3:
		out.Level = "not enough"
	case out.MTTFd < 10:
		out.Level = "low"
	case out.MTTFd < 30:
		out.Level = "medium"
	default:
		out.Level = "high"
	}
	if out.T10d < 20 {
		out.Doubts = append(out.Doubts, fmt.Sprintf("replace the part after %.3g years: by then 10 %% have failed, before the 20 years that a machine is taken to last", out.T10d))
	}
	return out, nil
}
