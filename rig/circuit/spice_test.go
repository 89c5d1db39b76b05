package circuit

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"makebreak/testdata/tool"
)

// patience bounds ngspice's work, which takes a second.
const patience = 5 * time.Minute

// operatingPoint has ngspice work a netlist out and returns the voltages at its nodes.
func operatingPoint(t *testing.T, netlist string) map[string]float64 {
	t.Helper()
	spice := tool.Find(t, "ngspice")
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "drawn.cir"), []byte(netlist), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	c := exec.CommandContext(ctx, spice, "-b", "drawn.cir")
	c.Dir, c.Env = dir, append(os.Environ(), "HOME="+dir, "LC_ALL=C")
	said, err := c.Output()
	if err != nil {
		t.Fatalf("ngspice: %v\n%s", err, said)
	}
	at := map[string]float64{}
	for _, m := range regexp.MustCompile(`(?m)^(n[0-9]+) = ([-+.e0-9]+)`).FindAllSubmatch(said, -1) {
		if at[string(m[1])], err = strconv.ParseFloat(string(m[2]), 64); err != nil {
			t.Fatal(err)
		}
	}
	if len(at) == 0 {
		t.Fatalf("ngspice told no voltages:\n%s", said)
	}
	return at
}

// netlist writes networks side by side for ngspice, each island with a resistor to its zero,
// and returns the node's names there. Wires are sources of 0 V. A piecewise linear diode is a
// source of current by a formula.
func netlist(all []*Network) (text string, node []map[string]string) {
	var b strings.Builder
	b.WriteString("networks of direct current, drawn\n.options reltol=1e-6 abstol=1e-12 vntol=1e-9 gmin=1e-15 itl1=300 itl2=100\n")
	parts, nodes := 0, 0
	part := func(kind, a, b string) string { parts++; return fmt.Sprintf("%s%d %s %s", kind, parts, a, b) }
	for _, n := range all {
		at := map[string]string{}
		joined := n.nodes()
		for _, p := range joined.names {
			nodes++
			at[p] = fmt.Sprint("n", nodes)
		}
		for p := range n.zeros() {
			fmt.Fprintln(&b, part("R", at[p], "0"), 1e3) // one of an island's alone: it carries nothing
		}
		for _, w := range n.Wires {
			if !w.Open && w.From != w.To {
				fmt.Fprintln(&b, part("R", at[w.From], at[w.To]), "1e-7")
			}
		}
		for _, r := range n.Resistors {
			if r.From != r.To {
				fmt.Fprintln(&b, part("R", at[r.From], at[r.To]), r.Ohms)
			}
		}
		for _, s := range n.Sources {
			if s.Plus != s.Minus {
				nodes++
				mid := fmt.Sprint("m", nodes)
				fmt.Fprintln(&b, part("V", mid, at[s.Minus]), "DC", s.Volts)
				fmt.Fprintln(&b, part("R", mid, at[s.Plus]), s.Ohms)
			}
		}
		for _, d := range n.Diodes {
			if d.Anode != d.Cathode {
				v := fmt.Sprintf("v(%s,%s)", at[d.Anode], at[d.Cathode])
				fmt.Fprintf(&b, "%s I=%s/%g+uramp(%s-%g)/%g\n", part("B", at[d.Anode], at[d.Cathode]), v, d.Leakage, v, d.Forward, d.Ohms)
			}
		}
		node = append(node, at)
	}
	b.WriteString(".control\nset numdgt=14\nop\n")
	for i := range nodes {
		if strings.Contains(b.String(), fmt.Sprintf(" n%d ", i+1)) {
			fmt.Fprintf(&b, "print n%d\n", i+1)
		}
	}
	b.WriteString("quit 0\n.endc\n.end\n")
	return b.String(), node
}

// zeros are the points of a network that stand for its islands.
func (n *Network) zeros() map[string]bool {
	all := map[string]bool{}
	nodes := n.nodes()
	islands := n.islands(nodes)
	for _, p := range nodes.names {
		all[islands.of(nodes.of(p))] = true
	}
	return all
}

// Against ngspice, a general circuit simulator, which solves by Newton's method: drawn
// networks with and without diodes. Its wires have a tenth of a microohm.
func TestSpice_Networks(t *testing.T) {
	draws := rapid.Custom(func(t *rapid.T) *Network { return draw(t, 3) })
	var all []*Network
	for seed := range 120 {
		n := draws.Example(seed + 1)
		for i := range n.Diodes {
			// A node that hangs on a gigaohm alone ngspice leaves some tenths of a volt off.
			n.Diodes[i].Leakage = 10e3
		}
		all = append(all, n)
	}
	text, node := netlist(all)
	at := operatingPoint(t, text)
	compared, worst, conduct := 0, 0.0, 0
	for i, n := range all {
		s, err := n.Solve()
		if err != nil {
			t.Fatal(err)
		}
		for _, on := range s.on {
			if on {
				conduct++
			}
		}
		for a, na := range node[i] {
			for b, nb := range node[i] {
				v, err := s.Volts(a, b)
				x, hasA := at[na]
				y, hasB := at[nb]
				if errors.Is(err, ErrFloating) || !hasA || !hasB || a == b {
					continue
				}
				compared++
				if off := math.Abs(v - (x - y)); off > 1e-4*(1+math.Abs(v)) {
					t.Errorf("network %d from %s to %s: %.9g V, by ngspice %.9g V\n%+v", i, a, b, v, x-y, n)
				} else {
					worst = max(worst, off)
				}
			}
		}
	}
	if compared < 1000 || conduct < 15 {
		t.Errorf("%d voltages compared, %d diodes conduct", compared, conduct)
	}
	t.Logf("%d voltages of %d networks, %d diodes conduct, off by %.2g V at most", compared, len(all), conduct, worst)
}
