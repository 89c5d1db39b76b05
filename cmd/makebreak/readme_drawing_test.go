package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"makebreak/rig/bench"
	"makebreak/rig/line"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
)

// starter is the rig file that belongs to the drawing in the README.
const starter = "testdata/rigs/starter.yaml"

func starterRig(t *testing.T) *wiring.Rig {
	t.Helper()
	rig, err := rigfile.Load(t.Context(), filepath.Join(root, starter))
	if err != nil {
		t.Fatal(err)
	}
	return rig
}

// drawnWiring is the README's drawing of the wiring.
func drawnWiring(t *testing.T) string {
	t.Helper()
	for _, s := range fence.FindAllString(documentText(t, filepath.Join(root, "README.md")), -1) {
		if strings.Contains(s, "UNIT UNDER TEST") {
			return s
		}
	}
	t.Fatal("README.md has no drawing of the wiring")
	return ""
}

// What stands in the drawing: an output with its divider and its converter, and lines.
var (
	drawnOutput = regexp.MustCompile(`(?s)([\d.]+) kΩ\n output (\w+) .*?AIN(\d) .*?([\d.]+) kΩ \[█\]`)
	drawnChip   = regexp.MustCompile(`(?s)│ (ADS\d+) │  VDD ─── ([\d.]+) V\n.*?│ +(0x\w+) +│`)
	drawnLine   = regexp.MustCompile(`GPIO(\d+) +(contact|reference|drive) (\w+)`)
	drawnReady  = regexp.MustCompile(`ALERT/RDY [─┬]+ GPIO(\d+)`)
	drawnBus    = regexp.MustCompile(`(SDA|SCL) ─+ GPIO(\d+)`)
	anyPin      = regexp.MustCompile(`GPIO\d+`)
)

// busPins are the header's pins of bus 1.
var busPins = []string{"SDA GPIO2", "SCL GPIO3"}

// TestReadme_Drawing compares the drawing with the rig file shown below it: each has
// every output, divider, converter and line of the other.
func TestReadme_Drawing(t *testing.T) {
	text, rig := drawnWiring(t), starterRig(t)
	ohms := func(s string) float64 {
		f, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return f * 1e3
	}

	var drawn, filed []string
	pins := 0
	for _, m := range drawnOutput.FindAllStringSubmatch(text, -1) {
		drawn = append(drawn, fmt.Sprintf("output %s, channel %s, %g over %g ohm", m[2], m[3], ohms(m[1]), ohms(m[4])))
	}
	for _, m := range drawnChip.FindAllStringSubmatch(text, -1) {
		drawn = append(drawn, fmt.Sprintf("%s at %s, supply %s V", m[1], m[3], m[2]))
	}
	for _, m := range drawnBus.FindAllStringSubmatch(text, -1) {
		pins++
		drawn = append(drawn, fmt.Sprintf("%s GPIO%s", m[1], m[2]))
	}
	for _, m := range drawnReady.FindAllStringSubmatch(text, -1) {
		pins++
		drawn = append(drawn, "ready GPIO"+m[1])
	}
	for _, m := range drawnLine.FindAllStringSubmatch(text, -1) {
		pins++
		drawn = append(drawn, fmt.Sprintf("%s %s GPIO%s", m[2], m[3], m[1]))
	}
	if all := len(anyPin.FindAllString(text, -1)); all != pins {
		t.Errorf("the drawing shows %d pins, of which this test understands %d", all, pins)
	}

	for _, o := range rig.Outputs {
		filed = append(filed, fmt.Sprintf("output %s, channel %d, %g over %g ohm", o.Name, o.Channel, o.Divider.Upper, o.Divider.Lower))
	}
	for _, c := range rig.Chips {
		filed = append(filed, fmt.Sprintf("%s at %#x, supply %g V", c.Model, c.Address, c.Supply))
	}
	if rig.Bus == "1" {
		filed = append(filed, busPins...)
	}
	for _, r := range bench.Requests(rig) {
		if r.Role == line.Ready {
			filed = append(filed, "ready "+r.Line.LineName)
			continue
		}
		filed = append(filed, fmt.Sprintf("%s %s %s", r.Role, r.Line.Name, r.Line.LineName))
	}

	slices.Sort(drawn)
	slices.Sort(filed)
	if !slices.Equal(drawn, filed) {
		t.Errorf("the drawing has\n  %s\nthe rig file\n  %s", strings.Join(drawn, "\n  "), strings.Join(filed, "\n  "))
	}
	for _, s := range []string{"contact", "reference", "drive", "ready", "output", "ADS1115", "SDA", "SCL"} {
		if !slices.ContainsFunc(drawn, func(d string) bool { return strings.HasPrefix(d, s) }) {
			t.Errorf("the drawing has no %s", s)
		}
	}
}

// TestReadme_DrawnPins: the README names the place on the header of each pin of its
// drawing, as the table of all pins does.
func TestReadme_DrawnPins(t *testing.T) {
	text := prose(t, "README.md")
	cells, rows := firstCells(t, "rig/wiring/README.md", "## Header pins")
	for _, pin := range anyPin.FindAllString(drawnWiring(t), -1) {
		i := slices.Index(cells, pin)
		if i < 0 {
			t.Errorf("the table has no %s", pin)
			continue
		}
		place := pin + ` (is )?pin ` + strings.TrimSpace(rows[i][1]) + `\b`
		if !regexp.MustCompile(place).MatchString(text) {
			t.Errorf("the README does not say that %s is on pin %s", pin, rows[i][1])
		}
	}
}

// TestReadme_Starter uses the drawing's rig file as a newcomer does: the sequence that
// the README runs on it fits, its check is worked out without hardware, and a simulated
// bench of the same wiring passes.
func TestReadme_Starter(t *testing.T) {
	all := sequences.Builtin()
	i := slices.IndexFunc(all, func(s *sequences.Sequence) bool { return s.Name == "armed-high" })
	if _, err := all[i].Fits(starterRig(t)); err != nil {
		t.Errorf("armed-high does not fit the rig of the drawing: %v", err)
	}
	text := documentText(t, filepath.Join(root, starter))
	simulated := strings.Replace(text, `bus: "1"   `, "bus: simulated", 1)
	if simulated == text {
		t.Fatal("the file names its bus in another way")
	}
	dir := t.TempDir()
	rig := filepath.Join(dir, "rig.yaml")
	if err := os.WriteFile(rig, []byte(simulated), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		want int
	}{
		{[]string{"rig", "check", "--rig", rig}, exitUndecided}, // nobody tries its wires
		{[]string{"run", "armed-high", "--rig", rig, "--seed", "1", "--log", filepath.Join(dir, "log.db")}, exitPass},
	} {
		var out bytes.Buffer
		if status := bounded(c.args, streams{strings.NewReader(""), &out, &out}); status != c.want {
			t.Errorf("%v: exit status %d\n%s", c.args, status, &out)
		}
	}
}
