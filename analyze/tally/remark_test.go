package tally_test

import (
	"math"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/tally"
)

// figure is a voltage of 12 V known to 0.1 V, of which something is doubtful.
func figure(cycle int, change func(m *analyze.Measurement), doubts ...analyze.Doubt) analyze.Measurement {
	m := analyze.Measurement{Cycle: cycle, Event: "arm", Signal: "OUT1", Quantity: analyze.HighLevel, Value: 12, Expanded: 0.1,
		Limit: analyze.NoLimit(), Doubts: doubts}
	if change != nil {
		change(&m)
	}
	return m
}

func rowOf(all ...analyze.Measurement) *tally.Row {
	x := tally.NewRow(tally.Key{Signal: "OUT1", Quantity: analyze.HighLevel, Event: "arm"}, all[0].Limit)
	for i := range all {
		x.Add(&all[i])
	}
	return x
}

func TestRow_Remarks(t *testing.T) {
	t.Parallel()
	mean := func(n float64) analyze.Doubt { return analyze.Doubt{Code: analyze.PlainMean, Value: n} }
	nothing := analyze.Doubt{Code: analyze.NoSamples, Value: math.NaN()}
	of := func(signal string) analyze.Doubt {
		return analyze.Doubt{Code: analyze.DidNotClose, Signal: signal, Value: math.NaN()}
	}
	missing := func(m *analyze.Measurement) { m.Value = math.NaN() }
	undecided := func(m *analyze.Measurement) { m.Verdict = analyze.Undecided }
	bound := analyze.Doubt{Code: analyze.AtMost}
	for _, c := range []struct {
		name string
		all  []analyze.Measurement
		want []int // figures of each remark
	}{
		{"nothing doubtful", []analyze.Measurement{figure(1, nil)}, nil},
		{"the same code", []analyze.Measurement{figure(1, nil, mean(2)), figure(2, nil, mean(4))}, []int{2}},
		{"another code", []analyze.Measurement{figure(1, nil, mean(2)), figure(2, nil, nothing), figure(3, nil, mean(3))}, []int{2, 1}},
		{"another signal", []analyze.Measurement{figure(1, missing, of("K1_NO")), figure(2, missing, of("K1_NC"))}, []int{1, 1}},
		{"one more doubt", []analyze.Measurement{figure(1, nil, mean(2)), figure(2, nil, mean(2), nothing)}, []int{1, 1}},
		{"missing and not", []analyze.Measurement{figure(1, missing, nothing), figure(2, nil, nothing)}, []int{1, 1}},
		{"another verdict", []analyze.Measurement{figure(1, undecided, mean(2)), figure(2, nil, mean(2))}, []int{1, 1}},
		{"undecided by its limit alone", []analyze.Measurement{figure(1, undecided), figure(2, undecided)}, []int{2}},
		{"a bound", []analyze.Measurement{figure(1, nil, bound)}, nil},
		{"a bound for a reason", []analyze.Measurement{figure(1, nil, nothing, bound)}, []int{1}},
		{"a bound that is undecided", []analyze.Measurement{figure(1, undecided, bound)}, []int{1}},
		{"a fourth kind", []analyze.Measurement{figure(1, nil, mean(2)), figure(2, nil, nothing), figure(3, missing, nothing), figure(4, nil, of("K1_NO"))}, []int{1, 1, 1}},
	} {
		x := rowOf(c.all...)
		var got []int
		n := 0
		for _, r := range x.Remarks {
			got = append(got, r.N)
			n += r.N
		}
		if len(got) != len(c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
			continue
		}
		for i := range got {
			if got[i] != c.want[i] {
				t.Errorf("%s: %v, want %v", c.name, got, c.want)
			}
		}
		if c.name == "a fourth kind" && x.MoreRemarks != 1 {
			t.Errorf("%s: %d more", c.name, x.MoreRemarks)
		}
	}
}

func TestRemark_Range(t *testing.T) {
	t.Parallel()
	var all []analyze.Measurement
	for i, n := range []float64{4, 2, 7, math.NaN()} {
		all = append(all, figure(i+1, nil, analyze.Doubt{Code: analyze.PlainMean, Value: n}))
	}
	r := rowOf(all...).Remarks[0]
	if r.N != 4 || r.Low[0] != 2 || r.High[0] != 7 {
		t.Errorf("%d figures, %v to %v", r.N, r.Low, r.High)
	}
}

// The example is the figure nearest to a limit, by its uncertainty.
func TestRemark_Example(t *testing.T) {
	t.Parallel()
	near := func(cycle int, value, expanded float64) analyze.Measurement {
		return figure(cycle, func(m *analyze.Measurement) {
			m.Value, m.Expanded, m.Verdict = value, expanded, analyze.Undecided
			m.Limit = analyze.Limit{Lower: 12, Upper: 14}
		})
	}
	for _, c := range []struct {
		name string
		all  []analyze.Measurement
		want int // cycle
	}{
		{"above the lower", []analyze.Measurement{near(1, 12.08, 0.1), near(2, 12.02, 0.1), near(3, 12.05, 0.1)}, 2},
		{"below it", []analyze.Measurement{near(1, 11.98, 0.1), near(2, 11.93, 0.1)}, 1},
		{"at the upper", []analyze.Measurement{near(1, 12.05, 0.1), near(2, 13.97, 0.1)}, 2},
		{"less well known", []analyze.Measurement{near(1, 12.05, 0.1), near(2, 12.06, 0.3)}, 2},
		{"all alike: the first", []analyze.Measurement{near(1, 12.05, 0.1), near(2, 12.05, 0.1)}, 1},
		{"no limit", []analyze.Measurement{figure(1, nil, analyze.Doubt{Code: analyze.NoSamples}), figure(2, nil, analyze.Doubt{Code: analyze.NoSamples})}, 1},
	} {
		if got := rowOf(c.all...).Remarks[0].Example.Cycle; got != c.want {
			t.Errorf("%s: cycle %d, want %d", c.name, got, c.want)
		}
	}
}
