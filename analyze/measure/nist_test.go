package measure

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"makebreak/rig/capture"
)

// strd reads lines of a name and numbers.
func strd(t *testing.T) map[string][]float64 {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", "strd.txt"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	sets := map[string][]float64{}
	for in := bufio.NewScanner(f); in.Scan(); {
		words := strings.Fields(in.Text())
		if words[0] == "#" {
			continue
		}
		for _, w := range words[1:] {
			x, err := strconv.ParseFloat(w, 64)
			if err != nil {
				t.Fatal(err)
			}
			sets[words[0]] = append(sets[words[0]], x)
		}
	}
	return sets
}

// Mean and scatter of a level against the certified values of NIST's Statistical
// Reference Datasets (univariate). Sums are kept in double precision as differences
// from the centre, but samples in single precision: 24 bits. A sample is off by up to
// half a unit of its last bit, and so may the mean and the standard deviation be: 0.12
// µV for Mavro (at 2 V the last bit is 2^-22 V), 15 µV for Michelso (at 300 V 2^-15 V). The whole
// numbers of Lew and NumAcc1 are kept exactly. NumAcc3 and NumAcc4 (a million and
// ten million, ± 0.1) do not fit into 24 bits and cannot be tried.
func TestLevels_StRD(t *testing.T) {
	sets := strd(t)
	sets["NumAcc1"] = []float64{10000001, 10000003, 10000002}
	sets["NumAcc2"] = []float64{1.2}
	for len(sets["NumAcc2"]) < 1001 {
		sets["NumAcc2"] = append(sets["NumAcc2"], 1.1, 1.3)
	}
	for _, c := range []struct {
		name     string
		n        int
		mean, sd float64
		tol      float64
	}{
		{"Lew", 200, -177.435, 277.332168044316, 1e-11},
		{"Mavro", 50, 2.001856, 0.000429123454003053, 0.5 / (1 << 22)},
		{"Michelso", 100, 299.8524, 0.0790105478190518, 0.5 / (1 << 15)},
		{"NumAcc1", 3, 10000002, 1, 0},
		{"NumAcc2", 1001, 1.2, 0.1, 0.5 / (1 << 23)},
	} {
		data := sets[c.name]
		if len(data) != c.n {
			t.Fatalf("%s: %d values, want %d", c.name, len(data), c.n)
		}
		tr := capture.NewTrace(c.name, capture.Converter{})
		for i, x := range data {
			tr.Append(capture.Instant(i)*1e6, x)
		}
		for _, centre := range []float64{data[0], c.mean, c.mean + 0.0123} {
			l := refine(tr, 0, all, centre, math.Inf(1))
			near(t, c.name+" mean", l.volts, c.mean, c.tol+2e-16*math.Abs(c.mean))
			near(t, c.name+" standard deviation", l.sigma, c.sd, c.tol)
			if l.n != c.n || l.dof != float64(c.n-1) {
				t.Errorf("%s: %d samples, %g degrees of freedom", c.name, l.n, l.dof)
			}
		}
	}
}
