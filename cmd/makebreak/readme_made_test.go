package main

import (
	"context"
	"fmt"
	"maps"
	"os/exec"
	"path"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"makebreak/analyze"
	"makebreak/rig/ads1x15"
	"makebreak/rig/bench"
	"makebreak/rig/calibration"
	"makebreak/rig/meter"
	"makebreak/rig/prompt"
	"makebreak/rig/sim"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/rig/words"
	"makebreak/sequences"
)

// made is what the documents hold between the marks of each name.
var made = map[string]func(*testing.T) string{
	"commands":     madeCommands,
	"cautions":     madeCautions,
	"divider":      madeDivider,
	"rates":        madeRates,
	"coverage":     func(t *testing.T) string { return documentText(t, "testdata/golden/coverage.md") },
	"filters":      func(t *testing.T) string { return documentText(t, "testdata/golden/coverage-filters.md") },
	"shapes":       func(t *testing.T) string { return documentText(t, "testdata/golden/shapes.md") },
	"starter":      func(t *testing.T) string { return fenced("yaml", documentText(t, starter)) },
	"rig":          func(t *testing.T) string { return fenced("yaml", documentText(t, "testdata/rigs/full.yaml")) },
	"sequence":     func(t *testing.T) string { return fenced("yaml", documentText(t, "sequences/builtin/armed-high.yaml")) },
	"keys":         func(t *testing.T) string { return fenced("yaml", documentText(t, "testdata/sequences/full.yaml")) },
	"capture":      func(t *testing.T) string { return fenced("csv", documentText(t, "testdata/readme/capture.csv")) },
	"rigs":         madeRigs,
	"points":       madePoints,
	"quantities":   madeQuantities,
	"sequences":    madeSequences,
	"faults":       madeFaults,
	"changes":      madeChanges,
	"meter":        madeMeter,
	"columns":      func(t *testing.T) string { return madeMembers(t, "column", "measurement") },
	"members":      func(t *testing.T) string { return madeMembers(t, "key", "record") },
	"runs":         func(t *testing.T) string { return madeMembers(t, "column", "run") },
	"counts":       func(t *testing.T) string { return madeMembers(t, "count", "counts") },
	"metrics":      func(t *testing.T) string { return documentText(t, "testdata/golden/metrics-table.md") },
	"logmetrics":   func(t *testing.T) string { return documentText(t, "testdata/golden/metrics-log-table.md") },
	"observations": func(t *testing.T) string { return documentText(t, "testdata/golden/cause-observations.md") },
	"causes":       func(t *testing.T) string { return documentText(t, "testdata/golden/cause-causes.md") },
	"measurements": func(t *testing.T) string { return documentText(t, "testdata/golden/cause-measurements.md") },
	"rooms":        madeRooms,
	"mistakes":     madeMistakes,
	"limits": func(t *testing.T) string {
		return documentText(t, "testdata/golden/sampling-follow.md") + "\n" + documentText(t, "testdata/golden/sampling-sweep.md")
	},
	"causeshares":     func(t *testing.T) string { return documentText(t, "testdata/golden/causes-shares.md") },
	"surveyshares":    func(t *testing.T) string { return documentText(t, "testdata/golden/survey-shares.md") },
	"surveyconfusion": func(t *testing.T) string { return documentText(t, "testdata/golden/survey-confusion.md") },
	"causeconfusion":  func(t *testing.T) string { return documentText(t, "testdata/golden/causes-confusion.md") },
	"wire":            func(t *testing.T) string { return documentText(t, "testdata/golden/wire-faults.md") },
}

func fenced(language, text string) string { return "```" + language + "\n" + text + "```\n" }

// madeCommands lists every command with its own flags, then the common ones.
func madeCommands(*testing.T) string {
	var b strings.Builder
	root := (&app{}).root()
	b.WriteString("| command | what it does | its own flags |\n| --- | --- | --- |\n")
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		for _, sub := range c.Commands() {
			if sub.Hidden || sub.Name() == "help" {
				continue
			}
			if sub.Name() == "rig" || sub.Name() == "work" { // show their help and do nothing themselves
				walk(sub)
				continue
			}
			var flags []string
			sub.LocalNonPersistentFlags().VisitAll(func(f *pflag.Flag) { flags = appendFlag(flags, f) })
			use := strings.TrimPrefix(sub.CommandPath(), "makebreak ") + strings.TrimPrefix(sub.Use, sub.Name())
			fmt.Fprintf(&b, "| `%s` | %s | %s |\n", use, escaped(sub.Short), escaped(strings.Join(flags, ", ")))
			walk(sub)
		}
	}
	walk(root)
	b.WriteString("\n| flag of all commands | meaning |\n| --- | --- |\n")
	root.PersistentFlags().VisitAll(func(f *pflag.Flag) {
		_, usage := pflag.UnquoteUsage(f)
		fmt.Fprintf(&b, "| %s | %s |\n", strings.Join(appendFlag(nil, f), ""), escaped(usage))
	})
	return b.String()
}

func appendFlag(list []string, f *pflag.Flag) []string {
	if f.Hidden || f.Name == "help" {
		return list
	}
	name := "--" + f.Name
	if f.Shorthand != "" {
		name = "-" + f.Shorthand
	}
	if forms := f.Annotations[formsKey]; forms != nil {
		name += " " + strings.Join(forms, "/")
	} else if word, _ := pflag.UnquoteUsage(f); word != "" {
		name += " " + word
	}
	return append(list, "`"+name+"`")
}

// escaped is text that can stand in a cell of a table.
func escaped(s string) string { return strings.ReplaceAll(s, "|", "\\|") }

// madeCautions are the cautions that the program shows before it acts on a unit.
func madeCautions(*testing.T) string {
	_, list, _ := strings.Cut(prompt.Cautions, "\n")
	return strings.ReplaceAll(strings.ReplaceAll(list, "\n    ", "\n  "), "  - ", "- ")
}

// madeQuantities lists what is measured.
func madeQuantities(*testing.T) string {
	var b strings.Builder
	b.WriteString("| quantity | unit | of | definition | after |\n| --- | --- | --- | --- | --- |\n")
	for _, d := range analyze.Definitions() {
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s |\n", d.Quantity, d.Unit, d.Of, escaped(d.Means), d.Source)
	}
	return b.String()
}

func madeSequences(*testing.T) string {
	var b strings.Builder
	b.WriteString("| sequence | cycles | one cycle | steps | what it shows |\n| --- | --- | --- | --- | --- |\n")
	for _, s := range sequences.Builtin() {
		fmt.Fprintf(&b, "| `%s` | %d | %s | %s | %s |\n", s.Name, s.Cycles, unit.Time.Format(s.Duration().Seconds()), strings.Join(s.Plan.Steps, ", "), s.About)
	}
	return b.String()
}

// madeRigs lists the built-in rigs by the names that --rig takes.
func madeRigs(*testing.T) string {
	var b strings.Builder
	b.WriteString("| `--rig` | what it is |\n| --- | --- |\n")
	for _, r := range rigfile.Builtin() {
		fmt.Fprintf(&b, "| `%s` | %s |\n", r.Name, r.About)
	}
	return b.String()
}

// madePoints is a file of points for a calibration, which is read first.
func madePoints(t *testing.T) string {
	const path = "testdata/readme/points.yaml"
	text := documentText(t, path)
	if s, err := calibration.ParsePoints(path, []byte(text)); err != nil || len(s.Points) != 2 || !s.Dated || !s.HasDue {
		t.Errorf("%s: %+v, %v", path, s, err)
	}
	return fenced("yaml", text)
}

func madeFaults(*testing.T) string {
	var b strings.Builder
	var group sim.FaultGroup
	for _, f := range sim.Faults() {
		if f.Group != group {
			group = f.Group
			fmt.Fprintf(&b, "\n**%s**: %s.\n\n| fault | value | usually | at | what it does |\n| --- | --- | --- | --- | --- |\n", words.Capital(string(group)), group.About())
		}
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s |\n", f.Name, f.Value, f.Usual, f.Place, f.About)
	}
	return strings.TrimPrefix(b.String(), "\n")
}

func madeChanges(*testing.T) string {
	var b strings.Builder
	b.WriteString("| change | what it does |\n| --- | --- |\n")
	for _, c := range sim.Changes() {
		fmt.Fprintf(&b, "| `%s` | %s |\n", escaped(c.Form), c.About)
	}
	return b.String()
}

// madeMeter lists the meter's ranges, those of one accuracy in a row.
func madeMeter(*testing.T) string {
	var b strings.Builder
	b.WriteString("| mode | ranges | last digit | accuracy | tests with |\n| --- | --- | --- | --- | --- |\n")
	for _, m := range meter.Modes() {
		all := meter.Ranges(m)
		for len(all) > 0 {
			n := 1
			for n < len(all) && all[n].Accuracy == all[0].Accuracy {
				n++
			}
			row := all[:n]
			all = all[n:]
			ranges := func(of func(meter.Range) float64) string {
				return words.List(words.Texts(row, func(r meter.Range) string { return m.Kind().Format(of(r)) }))
			}
			test := ""
			if row[0].Test > 0 {
				test = unit.Voltage.Format(row[0].Test) + " behind as many ohms as the range"
				if row[0].TestOhms != row[0].FullScale {
					test = unit.Voltage.Format(row[0].Test) + " behind " + unit.Resistance.Format(row[0].TestOhms)
				}
			}
			fmt.Fprintf(&b, "| `%s` | %s | %s | %s + %s | %s |\n", m, ranges(func(r meter.Range) float64 { return r.FullScale }), ranges(func(r meter.Range) float64 { return r.Digit }),
				unit.Share.Format(row[0].Share), words.Count(int(row[0].Digits), "digit"), test)
		}
	}
	return b.String()
}

// terminalVolts is the voltage of the README's worked divider: a 12 V battery on
// float.
const terminalVolts = 13.8

// madeDivider works the README's divider through the code that a rig uses.
func madeDivider(t *testing.T) string {
	t.Helper()
	rig := rigfile.Builtin()[0]
	o := rig.Output("OUT3")
	o.Nominal = terminalVolts
	d := o.Divider
	f, err := rig.DividerReport("OUT3")
	if err != nil {
		t.Fatal(err)
	}
	pin := terminalVolts * f.LoadedRatio
	code := pin / (f.StepVoltsAtTerminal * f.LoadedRatio)
	rows := []struct{ what, sum, result string }{
		{"at the input, by the resistors alone", fmt.Sprintf("%g V × %g / (%g + %g)", terminalVolts, d.Lower/1e3, d.Upper/1e3, d.Lower/1e3), fmt.Sprintf("%.3f V", terminalVolts*f.Ratio)},
		{"the same with the converter's 6 MΩ across the lower one", fmt.Sprintf("− %.2f %%", 100*f.InputShare), fmt.Sprintf("%.4f V", pin)},
		{"code at ±4.096 V", fmt.Sprintf("%.4f V / 125 µV", pin), fmt.Sprintf("%.0f", code)},
		{"one step, seen at the terminal", fmt.Sprintf("125 µV × %.4f", 1/f.LoadedRatio), fmt.Sprintf("%.3f mV", f.StepVoltsAtTerminal*1e3)},
		{"worst case at 15 V, both resistors at the end of their 1 %", "15 V × 10.1 / (38.61 + 10.1)", fmt.Sprintf("%.3f V", f.WorstPinVolts)},
		{"which must not exceed the lower of range and supply", fmt.Sprintf("%.3f V < %g V", f.WorstPinVolts, f.AllowedVolts), fmt.Sprintf("%.2f V to spare", f.AllowedVolts-f.WorstPinVolts)},
		{"the terminal voltage at which the input reaches its supply", fmt.Sprintf("%g V × %.4f", f.AllowedVolts, 1/f.LoadedRatio), fmt.Sprintf("%.1f V", f.ClipTerminalVolts)},
		{"load on the output", "39 kΩ + 10 kΩ", fmt.Sprintf("%.0f kΩ", f.TerminalOhms/1e3)},
		{"resistance that the input sees", "39 kΩ and 10 kΩ in parallel", fmt.Sprintf("%.2f kΩ", f.PinOhms/1e3)},
		{"standard uncertainty from two resistors of 1 %", "39/49 × 1 % × √(2/3)", fmt.Sprintf("%.2f %%", 100*f.ResistorsUncertainty)},
		{fmt.Sprintf("expanded uncertainty (95 %%) of a reading of %g V, all sources", terminalVolts), "1.96 × the standard one", fmt.Sprintf("± %.2f V", 1.96*f.NominalUncertainty)},
	}
	var b strings.Builder
	fmt.Fprintf(&b, "| %g V at the terminal, 39 kΩ over 10 kΩ | sum | result |\n| --- | --- | --- |\n", terminalVolts)
	for _, r := range rows {
		fmt.Fprintf(&b, "| %s | %s | %s |\n", r.what, r.sum, r.result)
	}
	return b.String()
}

// TestReadme_Divider checks the worked divider against sums done by hand: the
// voltage divider rule and the code of TI SBAS444 (step 125 µV at ±4.096 V, input
// impedance 6 MΩ).
func TestReadme_Divider(t *testing.T) {
	text := madeDivider(t)
	for _, want := range []string{"| 2.816 V |", "| 2.8126 V |", "| 22501 |", "| 0.613 mV |", "| 3.110 V |", "| 16.2 V |", "| 49 kΩ |", "| 7.96 kΩ |", "| 0.65 % |"} {
		if !strings.Contains(text, want) {
			t.Errorf("the worked divider does not say %s:\n%s", want, text)
		}
	}
}

// madeRates counts the samples that the simulated bench takes of each output in ten
// seconds, with converters at their nominal rate.
func madeRates(t *testing.T) string {
	t.Helper()
	const seconds = 10
	n := samplesIn(t, rigfile.Builtin()[0], seconds*time.Second)
	var b strings.Builder
	b.WriteString("| one ADS1115 at 860 conversions/s | samples/s of each output | one sample every |\n| --- | --- | --- |\n")
	for _, r := range []struct{ what, output string }{{"follows one output", "OUT3"}, {"sweeps three outputs", "OUT6"}, {"sweeps four outputs", "OUT1"}} {
		rate := float64(n[r.output]) / seconds
		fmt.Fprintf(&b, "| %s | %.0f | %.2f ms |\n", r.what, rate, 1e3/rate)
	}
	world, err := sim.NewWorld(rigfile.Builtin()[0], sim.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	dev, err := ads1x15.New(world.Bus(), 0x48, &ads1x15.DefaultOpts)
	if err != nil {
		t.Fatal(err)
	}
	shortest, nominal, longest := dev.Period()
	ms := func(d time.Duration) float64 { return d.Seconds() * 1e3 }
	fmt.Fprintf(&b, "\nOne conversion lasts %.3f ms at the nominal rate and %.3f to %.3f ms over the oscillator's tolerance of ±10 %%.\n",
		ms(nominal), ms(shortest), ms(longest))
	return b.String()
}

// samplesIn lets the simulated bench record, the middle of everything drawn, and
// counts the samples of each output.
func samplesIn(t *testing.T, rig *wiring.Rig, d time.Duration) map[string]int {
	t.Helper()
	world, err := sim.NewWorld(rig, sim.Opts{Exact: true})
	if err != nil {
		t.Fatal(err)
	}
	lines, err := world.Lines(bench.Requests(rig))
	if err != nil {
		t.Fatal(err)
	}
	b, err := bench.Open(rig, world.Bus(), lines, bench.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	c, err := b.NewCapture()
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Record(context.Background(), c, c.Start.Add(d)); err != nil {
		t.Fatal(err)
	}
	n := map[string]int{}
	for _, trace := range c.Traces {
		n[trace.Signal] = trace.Len()
	}
	return n
}

// madeRooms lists the packages that the program is made of, with the first
// sentence of what they say of themselves. One that nothing uses yet is not among
// them.
func madeRooms(t *testing.T) string {
	t.Helper()
	out, err := exec.Command("go", "list", "-deps", "-f", "{{.ImportPath}}\t{{.Name}}\t{{.Doc}}", "./cmd/makebreak").Output()
	if err != nil {
		t.Fatal(err)
	}
	rooms := slices.Collect(strings.Lines(string(out)))
	slices.Sort(rooms)
	var b strings.Builder
	b.WriteString("| package | what it is |\n| --- | --- |\n")
	for _, top := range []string{"rig", "analyze", "sequences", "cmd"} {
		for _, room := range rooms {
			f := strings.Split(strings.TrimSpace(room), "\t")
			if !within(f[0], top) {
				continue
			}
			if len(f) < 3 || f[2] == "" {
				t.Errorf("package %s says nothing of itself", f[0])
				continue
			}
			about := strings.TrimPrefix(strings.TrimPrefix(f[2], "Package "+f[1]+" "), "is ")
			fmt.Fprintf(&b, "| `%s` | %s |\n", strings.TrimPrefix(f[0], "makebreak/"), escaped(strings.ToUpper(about[:1])+about[1:]))
		}
	}
	return b.String()
}

// madeMistakes counts the mistakes that the list of the mutation run has, by package.
func madeMistakes(t *testing.T) string {
	counts, all := map[string]int{}, 0
	for line := range strings.Lines(documentText(t, ".ci/mutate/list.txt")) {
		at, is := strings.CutPrefix(line, "at: ")
		if !is {
			continue
		}
		file, _, _ := strings.Cut(at, " ")
		counts[path.Dir(file)]++
		all++
	}
	text := "| package | mistakes |\n| --- | --- |\n"
	for _, name := range slices.Sorted(maps.Keys(counts)) {
		text += fmt.Sprintf("| `%s` | %d |\n", name, counts[name])
	}
	return text + fmt.Sprintf("| all | %d |", all)
}
