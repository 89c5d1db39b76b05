package reliability

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// reference reads testdata/golden/reliability.txt, made by R 4.2.2 with package
// survival 3.5-3 (reliability.R beside it). Rows of one name follow each other.
func reference(t *testing.T) map[string][][]float64 {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "golden", "reliability.txt"))
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
			if s == "NA" { // R's word for no value
				x, err = math.NaN(), nil
			}
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
	if !(math.Abs(got-want) <= relative*math.Abs(want)) && got != want {
		t.Errorf("%s: got %.12g, want %.12g (within %g)", what, got, want, relative)
	}
}

func unitsOf(cycles, failed []float64) []Unit {
	out := make([]Unit, len(cycles))
	for i := range out {
		out[i] = Unit{Cycles: cycles[i], Failed: failed[i] == 1}
	}
	return out
}

var sets = []string{"nist", "bearings", "genfan", "few"}

func TestFitWeibull_R(t *testing.T) {
	t.Parallel()
	ref := reference(t)
	for _, set := range sets {
		t.Run(set, func(t *testing.T) {
			get := func(what string) []float64 {
				t.Helper()
				r := ref[set+"."+what]
				if len(r) != 1 {
					t.Fatalf("no reference %s", what)
				}
				return r[0]
			}
			w, err := FitWeibull(unitsOf(get("cycles"), get("failed")), 0.9)
			if err != nil {
				t.Fatal(err)
			}
			fit, cov := get("scale.shape.loglik"), get("covariance")
			near(t, "scale", w.Scale.Value, fit[0], 1e-9)
			near(t, "shape", w.Shape.Value, fit[1], 1e-9)
			near(t, "log-likelihood", w.LogLikelihood, fit[2], 1e-12)
			near(t, "var ln scale", w.Covariance[0][0], cov[0], 1e-6)
			near(t, "var ln shape", w.Covariance[1][1], cov[1], 1e-6)
			near(t, "cov", w.Covariance[0][1], cov[2], 1e-6)
			near(t, "constant rate", w.ConstantP, get("exponential.mean.p")[1], 1e-6)
			b10, err := w.Life(0.1)
			if err != nil {
				t.Fatal(err)
			}
			fisher := get("b10.fisher")
			near(t, "B10", b10.Value, fisher[0], 1e-8)
			near(t, "B10 Fisher", b10.Fisher.Lower, fisher[1], 1e-6)
			near(t, "B10 Fisher", b10.Fisher.Upper, fisher[2], 1e-6)
			for what, e := range map[string]Estimate{"shape": w.Shape, "scale": w.Scale, "b10": b10} {
				want := get(what + ".likelihood")
				near(t, what+" likelihood lower", e.Likelihood.Lower, want[0], 1e-6)
				near(t, what+" likelihood upper", e.Likelihood.Upper, want[1], 1e-6)
			}
			e, err := ExponentialOfUnits(unitsOf(get("cycles"), get("failed")), 0.9)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "exponential", e.Value, get("exponential.mean.p")[0], 1e-9)
		})
	}
}

func TestProportionOf_R(t *testing.T) {
	t.Parallel()
	for _, row := range reference(t)["clopper"] {
		p, err := ProportionOf(int64(row[0]), int64(row[1]), row[2])
		if err != nil {
			t.Fatal(err)
		}
		what := fmt.Sprintf("%g of %g at %g", row[0], row[1], row[2])
		near(t, what, p.Lower, row[3], 1e-7)
		near(t, what, p.Upper, row[4], 1e-7)
		near(t, what, p.AtMost, row[5], 1e-7)
	}
}

func TestExponentialOf_R(t *testing.T) {
	t.Parallel()
	for _, row := range reference(t)["exponential"] {
		e, err := ExponentialOf(int(row[0]), 1, row[1])
		if err != nil {
			t.Fatal(err)
		}
		what := fmt.Sprintf("%g failures at %g", row[0], row[1])
		near(t, what, e.Lower, row[2], 1e-9)
		near(t, what, e.Upper, row[3], 1e-9)
		near(t, what, e.AtLeast, row[4], 1e-9)
	}
}

func TestPoints_R(t *testing.T) {
	t.Parallel()
	ref := reference(t)
	for _, n := range []int{1, 10, 37} {
		units := make([]Unit, n)
		for i := range units {
			units[n-1-i] = Unit{Cycles: float64(i + 1), Failed: true}
		}
		p, err := Points(units)
		if err != nil {
			t.Fatal(err)
		}
		for i, want := range ref[fmt.Sprintf("ranks.%d", n)][0] {
			near(t, fmt.Sprintf("rank %d of %d", i+1, n), p[i].Failed, want, 1e-9)
			// Bernard's approximation, (i-0.3)/(n+0.4), is good to 1 % of a share.
			if bernard := (float64(i) + 0.7) / (float64(n) + 0.4); math.Abs(p[i].Failed-bernard) > 0.002 {
				t.Errorf("rank %d of %d: %g, Bernard %g", i+1, n, p[i].Failed, bernard)
			}
		}
	}
}

func TestSampleSize_R(t *testing.T) {
	t.Parallel()
	for _, row := range reference(t)["size"] {
		n, err := SampleSize(row[0], row[1], int(row[2]))
		if err != nil || n != int(row[3]) {
			t.Errorf("%v: got %d, %v", row, n, err)
		}
	}
}
