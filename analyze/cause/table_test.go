package cause

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"makebreak/rig/sim"
	"makebreak/rig/yamlfile"
)

// Each fault that the simulated bench can plant has a cause of its name at the same kind of
// place, but for the oscillators' errors, which break nothing.
func TestBuiltin_Faults(t *testing.T) {
	t.Parallel()
	of := map[sim.FaultPlace]Subject{sim.WholeBench: OfRun, sim.AtOutput: OfOutput, sim.AtRelay: OfRelay}
	for _, f := range sim.Faults() {
		i := slices.IndexFunc(Builtin().causes, func(c *Cause) bool { return c.Name == f.Name })
		switch {
		case strings.HasSuffix(f.Name, "-oscillator"):
		case i < 0:
			t.Errorf("fault %s is no cause", f.Name)
		case f.Name == "adc-lost" || f.Name == "chip-reset": // counts do not say which converter it is
		case Builtin().causes[i].Of != of[f.Place]:
			t.Errorf("cause %s is of the %s, its fault %q", f.Name, Builtin().causes[i].Of, f.Place)
		}
	}
}

// Each row's probabilities are 1 together, and each cause can be told from the one that the
// table does not know by some measurement.
func TestBuiltin_Sound(t *testing.T) {
	t.Parallel()
	table := Builtin()
	for _, c := range table.causes {
		for _, f := range c.forms {
			for _, r := range f.rows {
				sum := 0.0
				for _, p := range r.share {
					sum += p
				}
				if sum < 0.999 || sum > 1.001 || len(r.share) != len(r.kind.values)+1 {
					t.Errorf("%s, %s: the probabilities of %d values are %g together", c.Name, r.kind.name, len(r.share), sum)
				}
			}
		}
		h := &hypothesis{cause: c, place: place{output: "OUT3", relay: "K1"}, share: 0.9}
		m := &model{table: table, facts: &facts{}}
		if c.Name != Else && m.next(h, &hypothesis{cause: &Cause{Name: Else, Of: OfRun}, share: 0.1}) == "" {
			t.Errorf("%s: nothing to measure next", c.Name)
		}
	}
}

// badTables are tables with one mistake each, and what the message must name.
var badTables = map[string][2]string{
	"no causes":         {"healthy: 5\nsecond_fault: 5 %\nobservations: {}\n", "observations"},
	"unknown key":       {"helthy: 5\n", "healthy"},
	"no weight":         {strings.Replace(smallest(), "weight: 5", "weigt: 5", 1), "weight"},
	"unknown see":       {strings.Replace(smallest(), "see: follow", "see: folow", 1), "follow"},
	"unknown value":     {strings.Replace(smallest(), "{stays-in: 95 %}", "{stays: 95 %}", 1), "stays-in"},
	"over 100 %":        {strings.Replace(smallest(), "{stays-in: 95 %}", "{stays-in: 95 %, still: 9 %}", 1), "100 %"},
	"bare number":       {strings.Replace(smallest(), "95 %", "0.95", 1), "0.95"},
	"unknown relation":  {strings.Replace(smallest(), "at: here", "at: there", 1), "here"},
	"unknown cause":     {strings.Replace(smallest(), "given: {welded:", "given: {wended:", 1), "welded"},
	"forms not 100 %":   {strings.Replace(smallest(), "rows: [", "forms: [{share: 50 %, rows: [", 1), ""},
	"a missing one":     {strings.Replace(smallest(), "  rise: ", "  rose: ", 1), "rise"},
	"no table":          {"- 1\n", "keys"},
	"negative":          {strings.Replace(smallest(), "healthy: 1000", "healthy: -1", 1), "whole number"},
	"too high a second": {strings.Replace(smallest(), "second_fault: 5 %", "second_fault: 150 %", 1), "100 %"},
}

// smallest is the smallest table.
func smallest() string {
	var b strings.Builder
	b.WriteString("healthy: 1000\nsecond_fault: 5 %\nobservations:\n")
	for _, k := range kinds {
		fmt.Fprintf(&b, "  %s: {otherwise: {%s: 0.1 %%}}\n", k.name, k.values[0])
	}
	b.WriteString("causes:\n  welded: {about: it has welded, of: relay, weight: 5, rows: [{see: follow, at: here, as: {stays-in: 95 %}, why: it holds}]}\n")
	b.WriteString("measurements:\n  unplug: {say: Unplug it., of: relay, minutes: 1, given: {welded: {stays: 95 %}}, otherwise: {opens: 95 %}}\n")
	return b.String()
}

func TestParse_Smallest(t *testing.T) {
	t.Parallel()
	table, err := Parse("small.yaml", []byte(smallest()))
	if err != nil || len(table.causes) != 1 || len(table.measures) != 1 {
		t.Fatalf("%+v, %v", table, err)
	}
}

func TestParse_Refused(t *testing.T) {
	t.Parallel()
	for name, c := range badTables {
		_, err := Parse("bad.yaml", []byte(c[0]))
		if bad := new(yamlfile.Error); !errors.As(err, &bad) || !strings.Contains(err.Error(), c[1]) {
			t.Errorf("%s: %v, want %q in it", name, err, c[1])
		}
	}
}

// Whatever the text, Parse neither panics nor returns a table that cannot rank, and every error
// is one of the file.
func FuzzParse(f *testing.F) {
	f.Add(Source())
	f.Add([]byte(smallest()))
	for _, c := range badTables {
		f.Add([]byte(c[0]))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		table, err := Parse("fuzz.yaml", src)
		if err != nil {
			if bad := new(yamlfile.Error); !errors.As(err, &bad) {
				t.Fatalf("%v is no error of the file", err)
			}
			return
		}
		sum := 0.0
		for _, c := range Rank(table, weldedEvidence()) {
			if !(c.Share >= 0 && c.Share <= 1) || c.Cause == "" {
				t.Fatalf("%+v", c)
			}
			sum += c.Share
		}
		if sum > 1.001 {
			t.Fatalf("shares of %g together", sum)
		}
	})
}

// TestDocument keeps the tables of the package's page.
func TestDocument(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]string{"observations": observationsTable(), "causes": causesTable(), "measurements": measurementsTable()} {
		path := filepath.Join("..", "..", "testdata", "golden", "cause-"+name+".md")
		if os.Getenv("MAKEBREAK_UPDATE") != "" {
			if err := os.WriteFile(path, []byte(want), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		have, err := os.ReadFile(path)
		if err != nil || string(have) != want {
			t.Errorf("%s is no longer so (MAKEBREAK_UPDATE=1 writes it anew), %v", path, err)
		}
	}
}

func observationsTable() string {
	var b strings.Builder
	b.WriteString("| observation | of | values besides `usual` | what it is about |\n| --- | --- | --- | --- |\n")
	for _, k := range kinds {
		fmt.Fprintf(&b, "| `%s` | %s | `%s` | %s |\n", k.name, k.of, strings.Join(k.values, "`, `"), k.asks)
	}
	return b.String()
}

func causesTable() string {
	var b strings.Builder
	b.WriteString("| cause | of | form | observation | at | probability | why |\n| --- | --- | --- | --- | --- | --- | --- |\n")
	for _, c := range Builtin().causes {
		name := "`" + c.Name + "`: " + c.About
		of := string(c.Of)
		for _, f := range c.forms {
			share := percentText(f.share)
			if len(c.forms) == 1 {
				share = ""
			}
			for _, r := range f.rows {
				var values []string
				for _, v := range r.kind.all() {
					if p := r.share[v]; p >= 0.0095 {
						values = append(values, "`"+v+"` "+percentText(p))
					}
				}
				fmt.Fprintf(&b, "| %s | %s | %s | `%s` | %s | %s | %s |\n", name, of, share, r.kind.name, r.at, strings.Join(values, ", "), r.why)
				name, of, share = "", "", ""
			}
		}
	}
	return b.String()
}

func percentText(p float64) string { return strconv.FormatFloat(100*p, 'f', 0, 64) + " %" }

func measurementsTable() string {
	var b strings.Builder
	b.WriteString("| measurement | minutes | tells of |\n| --- | --- | --- |\n")
	for _, x := range Builtin().measures {
		var of []string
		for _, c := range Builtin().causes {
			if x.given[c.Name] != nil {
				of = append(of, "`"+c.Name+"`")
			}
		}
		fmt.Fprintf(&b, "| %s | %g | %s |\n", x.say, x.minutes, strings.Join(of, ", "))
	}
	return b.String()
}
