package trend

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// readReference reads lines of a name and numbers from testdata; rows of one name
// follow each other.
func readReference(t *testing.T, file string) map[string][][]float64 {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", file))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	out := map[string][][]float64{}
	for sc := bufio.NewScanner(f); sc.Scan(); {
		fields := strings.Fields(sc.Text())
		var row []float64
		for _, s := range fields[1:] {
			x, err := strconv.ParseFloat(s, 64)
			if err != nil {
				t.Fatal(err)
			}
			row = append(row, x)
		}
		out[fields[0]] = append(out[fields[0]], row)
	}
	return out
}

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Max(math.Abs(want), 1e-300)) {
		t.Errorf("%s: got %.15g, want %.15g (within %g)", what, got, want, relative)
	}
}

// Against R 4.2.2 and SciPy 1.10.1 with the Nile and Lake Huron series; how the
// values were made stands in testdata/reference.R and reference.py.
func TestDriftAndStep_Reference(t *testing.T) {
	t.Parallel()
	r, sp := readReference(t, "reference-r.txt"), readReference(t, "reference-scipy.txt")
	for _, set := range []string{"Nile", "LakeHuron"} {
		s, err := New()
		if err != nil {
			t.Fatal(err)
		}
		for i, y := range r[set+".values"][0] {
			if err := s.Add(i+1, y, Unjudged); err != nil {
				t.Fatal(err)
			}
		}
		f := s.fit()
		near(t, set+" slope", f.line.slope, r[set+".sen"][0][0], 1e-11)
		near(t, set+" slope, SciPy", f.line.slope, sp[set+".theil"][0][0], 1e-11)

		plain := f.line
		plain.variance /= plain.inflation
		plain.inflation = 1
		near(t, set+" p", 2*distuv.UnitNormal.Survival(plain.deviate()), r[set+".kendall.p"][0][0], 1e-9)
		// SciPy rounds the bounds' ranks, this package lies between two ranks.
		n := len(plain.blocks)
		slopes := make([]float64, 0, n*n/2)
		for i := range n {
			for j := i + 1; j < n; j++ {
				slopes = append(slopes, (plain.blocks[j].value-plain.blocks[i].value)/float64(j-i))
			}
		}
		plain.bound(sorted(slopes))
		lower, upper := sp[set+".theil"][0][1], sp[set+".theil"][0][2]
		tolerance := 0.01 * (upper - lower)
		if math.Abs(plain.lower-lower) > tolerance || math.Abs(plain.upper-upper) > tolerance {
			t.Errorf("%s: bounds %g to %g, SciPy %g to %g", set, plain.lower, plain.upper, lower, upper)
		}

		k, after := r[set+".pettitt.k.after"][0][0], int(r[set+".pettitt.k.after"][0][1])
		if f.step.index != after {
			t.Errorf("%s: step at %d, R %d", set, f.step.index+1, after+1)
		}
		near(t, set+" Pettitt", f.step.k, k, 1e-12)
	}
}

// The Nile's flow fell at once after 1898, its 28th year: Cobb, Biometrika 65 (1978) 243.
func TestStep_Nile(t *testing.T) {
	t.Parallel()
	s, err := New()
	if err != nil {
		t.Fatal(err)
	}
	for i, y := range readReference(t, "reference-r.txt")["Nile.values"][0] {
		if err := s.Add(1871+i, y, Unjudged); err != nil {
			t.Fatal(err)
		}
	}
	// It is looked at once, so its probability counts as it is; shared among looks and two
	// tests, it would not be clear enough.
	f := s.fit()
	if f.step.P > Significance {
		t.Errorf("p = %g", f.step.P)
	}
	b := s.blocks.done
	ratio, places := compare(b, func(i int) float64 { return f.line.at(b[i].centre) }, &f.step)
	f.step.place(b, places)
	if got := f.step; ratio > -math.Log(clearly) || got.At != 1899 || got.Size > -200 || got.From > 1899 || got.To < 1899 || got.To-got.From > 10 {
		t.Errorf("ratio %g, %+v", ratio, got)
	}
}

// Against R's phyper, see testdata/reference.R.
func TestFailures_Rows(t *testing.T) {
	t.Parallel()
	for _, row := range readReference(t, "reference-r.txt")["rows"] {
		f := failures{judged: int64(row[0]), outside: int64(row[1]), rows: int64(row[2])}
		near(t, "rows", f.fewRows(), row[3], 1e-7)
	}
}
