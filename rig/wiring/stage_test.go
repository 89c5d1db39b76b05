package wiring

import (
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

const stageFile = `
name: two
bus: "1"
chips: {A: {model: ADS1115, address: 0x48, supply: 3.3 V}}
outputs:
  OUT1: {chip: A, channel: 0, divider: {upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}}
  LOGIC: {chip: A, channel: 1, divider: none, highest: 3.3 V}
drives: {STAGE: {chip: gpiochip0, line: 5, longest_on: 2 min}}
supply: {drive: STAGE, off: 13.8 V, on: 10.5 V}
`

// The usual and rest voltages are those of a drive that is released, and the highest is
// the higher one, whichever that is.
func TestParse_stage(t *testing.T) {
	for _, c := range []struct {
		line string
		want Supply
	}{
		{"{drive: STAGE, off: 13.8 V, on: 10.5 V}", Supply{Stage: &Stage{"STAGE", 13.8, 10.5}, Highest: 13.8, Usual: 13.8, Rest: 13.8}},
		{"{on: 15 V, off: 0 V, drive: STAGE}", Supply{Stage: &Stage{"STAGE", 0, 15}, Highest: 15}},
		{`{drive: STAGE, "off": 12000 mV, "on": 0 V}`, Supply{Stage: &Stage{"STAGE", 12, 0}, Highest: 12, Usual: 12, Rest: 12}},
	} {
		src := strings.Replace(stageFile, "{drive: STAGE, off: 13.8 V, on: 10.5 V}", c.line, 1)
		r, err := Parse("two.yaml", []byte(src))
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(&c.want, r.Supply); d != "" {
			t.Error(d)
		}
		if d := r.Drive("STAGE"); d == nil || d.LongestOn != 2*time.Minute {
			t.Errorf("drive %+v", d)
		}
	}
}

// The comment of the full example is a supply that can be read.
func TestParse_stageOfExample(t *testing.T) {
	full, err := Load("../../testdata/rigs/full.yaml")
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile("../../testdata/rigs/full.yaml")
	if err != nil {
		t.Fatal(err)
	}
	src := string(b)
	_, line, found := strings.Cut(src, "\n#   supply: {drive: STAGE,")
	if !found {
		t.Fatal("the example has no comment on a supply of two stages")
	}
	line, _, _ = strings.Cut(line, "\n")
	src, _, _ = strings.Cut(src, "\nsupply:")
	src = strings.Replace(src, "drives:\n", "drives:\n  STAGE: {line: GPIO26, longest_on: 2 min}\n", 1) + "\nsupply: {drive: STAGE," + line + "\n"
	got, err := Parse("full.yaml", []byte(src))
	if err != nil {
		t.Fatal(err)
	}
	if g := got.Supply.Stage; g == nil || *g != (Stage{"STAGE", 13.8, 10.5}) || len(got.Drives) != len(full.Drives)+1 {
		t.Errorf("supply %+v, %d drives", got.Supply, len(got.Drives))
	}
}

func TestStage_At(t *testing.T) {
	g := &Stage{Drive: "STAGE", Off: 13.8, On: 10.5}
	for _, c := range []struct {
		volts   float64
		on, has bool
	}{
		{13.8, false, true}, {10.5, true, true}, {10.5 + 1e-9, true, true}, {13.8 - 1e-9, false, true},
		{10.499, false, false}, {13.801, false, false}, {12, false, false}, {0, false, false}, {math.NaN(), false, false},
	} {
		if on, has := g.At(c.volts); on != c.on || has != c.has {
			t.Errorf("%g V: on %t, has %t", c.volts, on, has)
		}
	}
	if got := g.Both(); got != "13.8 V or 10.5 V" {
		t.Errorf("both: %s", got)
	}
}

// What a file cannot say and Go code can.
func TestCheck_stage(t *testing.T) {
	for _, c := range []struct {
		off, on float64
		want    string
	}{
		{math.NaN(), 12, "supply.off: "},
		{12, math.Inf(1), "supply.on: "},
		{-1, 12, `supply.off: read "-1 V"; may be from 0 V to 100 V`},
		{12, 12 + 1e-7, "supply.on: "},
	} {
		r, err := Parse("two.yaml", []byte(stageFile))
		if err != nil {
			t.Fatal(err)
		}
		r.Supply = TwoStages("STAGE", c.off, c.on)
		if p := r.Check(); len(p) != 1 || !strings.HasPrefix(p[0].String(), c.want) {
			t.Errorf("%g and %g V: %v", c.off, c.on, p)
		}
	}
}
