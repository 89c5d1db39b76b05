package rigfile

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"makebreak/rig/wiring"
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
		want wiring.Supply
	}{
		{"{drive: STAGE, off: 13.8 V, on: 10.5 V}", wiring.Supply{Stage: &wiring.Stage{Drive: "STAGE", Off: 13.8, On: 10.5}, Highest: 13.8, Usual: 13.8, Rest: 13.8}},
		{"{on: 15 V, off: 0 V, drive: STAGE}", wiring.Supply{Stage: &wiring.Stage{Drive: "STAGE", Off: 0, On: 15}, Highest: 15}},
		{`{drive: STAGE, "off": 12000 mV, "on": 0 V}`, wiring.Supply{Stage: &wiring.Stage{Drive: "STAGE", Off: 12, On: 0}, Highest: 12, Usual: 12, Rest: 12}},
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
	full, err := Load(t.Context(), "../../../testdata/rigs/full.yaml")
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile("../../../testdata/rigs/full.yaml")
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
	if g := got.Supply.Stage; g == nil || *g != (wiring.Stage{Drive: "STAGE", Off: 13.8, On: 10.5}) || len(got.Drives) != len(full.Drives)+1 {
		t.Errorf("supply %+v, %d drives", got.Supply, len(got.Drives))
	}
}
