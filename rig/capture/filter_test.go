package capture

import (
	"math"
	"testing"
)

// mean is a plain mean's response, with a tail behind it where late is above 0: it is then so
// much later in conversions.
func mean(late float64) *Filter {
	f := &Filter{From: -0.25, Step: 1.0 / 80}
	for i := range 161 {
		f.Shares = append(f.Shares, uint16(math.Round(WholeStep*math.Max(0, math.Min(1, f.age(i)-late)))))
	}
	return f
}

// A plain mean's response is its own law (textbook): the share is the age. There and back is
// the same, and the ends are where the step begins and ceases to be shown.
func TestFilter_mean(t *testing.T) {
	for _, late := range []float64{0, 0.125, -0.125} {
		f := mean(late)
		if !f.Valid() {
			t.Fatal("it is none")
		}
		if got := f.Middle(); math.Abs(got-0.5-late) > 1e-12 {
			t.Errorf("late %g: its middle lies %g before the end", late, got)
		}
		for x := -0.5; x < 2; x += 0.013 {
			want := math.Max(0, math.Min(1, x-late))
			if got := f.Share(x); math.Abs(got-want) > 1e-12 {
				t.Errorf("late %g: share %g at the age %g, want %g", late, got, x, want)
			}
			if got := f.Age(x); math.Abs(got-math.Max(0, math.Min(1, x))-late) > 1e-12 {
				t.Errorf("late %g: age %g of the share %g", late, got, x)
			}
		}
	}
}

// What a plain mean shows of an RC is its own law (textbook): s - tau·(1-exp(-s/tau)) for as
// long as it lasts, and the difference of two of these later.
func TestFilter_Rounded(t *testing.T) {
	area := func(s, tau float64) float64 {
		if s <= 0 {
			return 0
		}
		return s - tau*(1-math.Exp(-s/tau))
	}
	f := mean(0)
	for _, tau := range []float64{1e-4, 0.02, 0.3, 2} {
		for s := -0.3; s < 6; s += 0.031 {
			want := area(s, tau) - area(s-1, tau)
			if got := f.Rounded(s, tau); math.Abs(got-want) > 1e-9 {
				t.Errorf("tau %g: %g of an edge of the age %g, want %g", tau, got, s, want)
			}
		}
	}
}

func TestFilter_Valid(t *testing.T) {
	for name, f := range map[string]*Filter{
		"empty":       {Step: 1},
		"nothing":     {Step: 1, Shares: []uint16{0}},
		"falls":       {Step: 0.1, Shares: []uint16{0, 5000, 4000, 10000}},
		"ends early":  {Step: 0.1, Shares: []uint16{0, 5000, 9000}},
		"begins late": {Step: 0.1, Shares: []uint16{10, 5000, 10000}},
		"no step":     {Shares: []uint16{0, 10000}},
		"no age":      {From: math.NaN(), Step: 0.1, Shares: []uint16{0, 10000}},
		"doubt":       {Step: 0.1, Shares: []uint16{0, 10000}, Standard: math.NaN()},
	} {
		if f.Valid() {
			t.Errorf("%s: %+v is valid", name, f)
		}
	}
}
