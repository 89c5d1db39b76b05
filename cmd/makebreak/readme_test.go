package main

import (
	"bytes"
	"context"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/rig/ads1x15"
	"makebreak/rig/bench"
	"makebreak/rig/calibration"
	"makebreak/rig/capture"
	"makebreak/rig/sim"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/sequences"
)

// README.md and DEVELOPERS.md hold three kinds of text that the program knows
// better than a person does, and these tests keep each true:
//
//	<!-- made: NAME --> … <!-- end -->   is what made[NAME] returns
//	<!-- example -->                     the fenced console block after it is what its
//	                                     commands write; options narrow what is shown:
//	                                     without TEXT, from TEXT, first N
//	tables written by hand               are compared, row by row, with what they list
//
// MAKEBREAK_UPDATE=1 writes the first two kinds anew.
var made = map[string]func(*testing.T) string{
	"commands":  madeCommands,
	"cautions":  madeCautions,
	"divider":   madeDivider,
	"rates":     madeRates,
	"coverage":  func(t *testing.T) string { return documentText(t, "testdata/golden/coverage.md") },
	"rig":       func(t *testing.T) string { return fenced("yaml", documentText(t, "testdata/rigs/full.yaml")) },
	"sequence":  func(t *testing.T) string { return fenced("yaml", documentText(t, "sequences/builtin/armed-high.yaml")) },
	"capture":   func(t *testing.T) string { return fenced("csv", documentText(t, "testdata/readme/capture.csv")) },
	"rigs":      madeRigs,
	"points":    madePoints,
	"sequences": madeSequences,
	"faults":    madeFaults,
	"metrics":   func(t *testing.T) string { return documentText(t, "testdata/golden/metrics-table.md") },
	"rooms":     madeRooms,
	"limits": func(t *testing.T) string {
		return documentText(t, "testdata/golden/sampling-follow.md") + "\n" + documentText(t, "testdata/golden/sampling-sweep.md")
	},
	"wire": func(t *testing.T) string { return documentText(t, "testdata/golden/wire-faults.md") },
}

func TestReadme(t *testing.T) {
	t.Chdir(filepath.Join("..", ".."))
	keepTrue(t, "README.md")
}

func TestDevelopers(t *testing.T) {
	t.Chdir(filepath.Join("..", ".."))
	keepTrue(t, "DEVELOPERS.md")
}

// keepTrue compares a document with what its blocks and examples should be.
func keepTrue(t *testing.T, path string) {
	t.Helper()
	have := documentText(t, path)
	want := withExamples(t, withBlocks(t, have))
	if have == want {
		return
	}
	if os.Getenv("MAKEBREAK_UPDATE") != "" {
		if err := os.WriteFile(path, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if runtime.GOARCH != "amd64" {
		return // fused multiply-adds move the last digits; the commands have been run
	}
	h, w := strings.Split(have, "\n"), strings.Split(want, "\n")
	for i := range min(len(h), len(w)) {
		if h[i] != w[i] {
			t.Fatalf("%s:%d is no longer so (MAKEBREAK_UPDATE=1 writes it anew):\n have %s\n want %s", path, i+1, h[i], w[i])
		}
	}
	t.Fatalf("%s has %d lines, want %d (MAKEBREAK_UPDATE=1 writes it anew)", path, len(h), len(w))
}

func documentText(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func fenced(language, text string) string { return "```" + language + "\n" + text + "```\n" }

var block = regexp.MustCompile(`(?s)(<!-- made: ([a-z]+) -->\n).*?(<!-- end -->)`)

// withBlocks fills in what is made. An empty line on either side lets a table
// stand as one.
func withBlocks(t *testing.T, text string) string {
	t.Helper()
	return block.ReplaceAllStringFunc(text, func(s string) string {
		m := block.FindStringSubmatch(s)
		f := made[m[2]]
		if f == nil {
			t.Fatalf("nothing makes %q", m[2])
		}
		return m[1] + "\n" + f(t) + "\n" + m[3]
	})
}

var example = regexp.MustCompile("(?s)<!-- example(?:: ([^\n]*))? -->\n```console\n(.*?)```\n")

// withExamples runs the commands of the examples, all with one log, and fills in
// what they write.
func withExamples(t *testing.T, text string) string {
	t.Helper()
	log := filepath.Join(t.TempDir(), "log.db")
	return example.ReplaceAllStringFunc(text, func(s string) string {
		m := example.FindStringSubmatch(s)
		var out strings.Builder
		status := 0
		for line := range strings.Lines(m[2]) {
			command, ok := strings.CutPrefix(line, "$ ")
			if !ok {
				continue
			}
			out.WriteString(line)
			if strings.TrimSpace(command) == "echo $?" {
				fmt.Fprintln(&out, status)
				continue
			}
			var written string
			written, status = typed(t, strings.TrimSpace(command), log)
			out.WriteString(narrowed(t, m[1], written))
		}
		head, _, _ := strings.Cut(s, "```console\n")
		return head + fenced("console", out.String())
	})
}

// typed runs a command as a person would type it and returns what a terminal
// shows, without what differs from run to run.
func typed(t *testing.T, command, log string) (string, int) {
	t.Helper()
	args, ok := arguments(command)
	if !ok {
		t.Fatalf("%q is not a call of the program", command)
	}
	if !slices.Contains(args, "--log") {
		args = append(args, "--log", log)
	}
	var out bytes.Buffer
	status := bounded(args, streams{strings.NewReader(""), &out, &out})
	if status >= exitUsage && status != exitInput {
		t.Fatalf("%s: exit status %d\n%s", command, status, &out)
	}
	s := strings.ReplaceAll(out.String(), "\r\n", "\n")
	s = strings.ReplaceAll(s, log, "~/.local/share/makebreak/log.db")
	for _, v := range varying {
		s = v.pattern.ReplaceAllString(s, v.instead)
	}
	return s, status
}

// varying is what differs from run to run, and what stands there instead.
var varying = []struct {
	pattern *regexp.Regexp
	instead string
}{
	{regexp.MustCompile(`\b20\d\d-\d\d-\d\d\.(\d+)`), "2026-01-31.$1"},
	{regexp.MustCompile(`\b20\d\d-\d\d-\d\d \d\d:\d\d:\d\d`), "2026-01-31 09:30:00"},
}

// arguments splits a command into the program's arguments; false: it calls
// something else.
func arguments(command string) ([]string, bool) {
	rest, ok := strings.CutPrefix(command, "go run ./cmd/makebreak ")
	if !ok {
		if rest, ok = strings.CutPrefix(command, "makebreak "); !ok {
			return nil, false
		}
	}
	var args []string
	for _, m := range regexp.MustCompile(`"([^"]*)"|(\S+)`).FindAllStringSubmatch(rest, -1) {
		args = append(args, m[1]+m[2])
	}
	return args, true
}

// narrowed keeps the lines that an example shows.
func narrowed(t *testing.T, options, text string) string {
	t.Helper()
	lines := slices.Collect(strings.Lines(text))
	for option := range strings.SplitSeq(options, "; ") {
		word, arg, _ := strings.Cut(option, " ")
		switch word {
		case "":
		case "without":
			lines = slices.DeleteFunc(lines, func(l string) bool { return strings.Contains(l, arg) })
		case "from":
			i := slices.IndexFunc(lines, func(l string) bool { return strings.HasPrefix(l, arg) })
			if i < 0 {
				t.Fatalf("no line starts with %q:\n%s", arg, text)
			}
			lines = append([]string{"…\n"}, lines[i:]...)
		case "first":
			n, err := strconv.Atoi(arg)
			if err != nil || n > len(lines) {
				t.Fatalf("example: first %s of %d lines", arg, len(lines))
			}
			lines = append(lines[:n], "…\n")
		default:
			t.Fatalf("an example has no option %q", word)
		}
	}
	return strings.Join(lines, "")
}

// TestReadme_Commands parses every call of the program in the fenced blocks, those
// too that are not run, since they need hardware, a person or more time.
func TestReadme_Commands(t *testing.T) {
	for _, path := range []string{"README.md", "DEVELOPERS.md"} {
		n := 0
		for _, m := range regexp.MustCompile("(?s)```(?:sh|console)\n(.*?)```").FindAllStringSubmatch(documentText(t, filepath.Join("..", "..", path)), -1) {
			for line := range strings.Lines(m[1]) {
				line, _, _ = strings.Cut(line, "  #")
				args, ok := arguments(strings.TrimSpace(strings.TrimPrefix(line, "$ ")))
				if !ok {
					continue
				}
				n++
				if err := parses(args); err != nil {
					t.Errorf("%s: %s: %v", path, strings.TrimSpace(line), err)
				}
			}
		}
		if n == 0 {
			t.Errorf("%s calls the program nowhere", path)
		}
	}
}

// parses says whether the program would take these arguments.
func parses(args []string) error {
	c, rest, err := (&app{}).root().Find(args)
	if err != nil {
		return err
	}
	if err := c.ParseFlags(rest); err != nil {
		return err
	}
	if c.HasSubCommands() && c.Flags().NArg() > 0 {
		return fmt.Errorf("%s has no command %s", c.CommandPath(), c.Flags().Arg(0))
	}
	return c.ValidateArgs(c.Flags().Args())
}

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
	_, list, _ := strings.Cut(cautions, "\n")
	return strings.ReplaceAll(strings.ReplaceAll(list, "\n    ", "\n  "), "  - ", "- ")
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
	for _, r := range wiring.Builtin() {
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
	b.WriteString("| fault | value | usually | what it does |\n| --- | --- | --- | --- |\n")
	for _, f := range sim.Faults() {
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s |\n", f.Name, f.Value, f.Usual, f.About)
	}
	return b.String()
}

// terminalVolts is the voltage of the README's worked divider: a 12 V battery on
// float.
const terminalVolts = 13.8

// madeDivider works the README's divider through the code that a rig uses.
func madeDivider(t *testing.T) string {
	t.Helper()
	rig := wiring.Builtin()[0]
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
	n := samplesIn(t, wiring.Builtin()[0], seconds*time.Second)
	var b strings.Builder
	b.WriteString("| one ADS1115 at 860 conversions/s | samples/s of each output | one sample every |\n| --- | --- | --- |\n")
	for _, r := range []struct{ what, output string }{{"follows one output", "OUT3"}, {"sweeps three outputs", "OUT6"}, {"sweeps four outputs", "OUT1"}} {
		rate := float64(n[r.output]) / seconds
		fmt.Fprintf(&b, "| %s | %.0f | %.2f ms |\n", r.what, rate, 1e3/rate)
	}
	world, err := sim.NewWorld(wiring.Builtin()[0], sim.Opts{})
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

// firstCells returns the code words in the first cells of the table below a
// heading of the README, with their rows.
func firstCells(t *testing.T, heading string) (cells []string, rows [][]string) {
	t.Helper()
	_, text, found := strings.Cut(documentText(t, filepath.Join("..", "..", "README.md")), "\n"+heading+"\n")
	if !found {
		t.Fatalf("README.md has no heading %q", heading)
	}
	text, _, _ = strings.Cut(text, "\n#")
	for line := range strings.Lines(text) {
		if strings.HasPrefix(line, "<!-- made") {
			break // the rest is made, not written
		}
		row := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), " | ")
		if first := strings.TrimSpace(row[0]); len(row) > 1 && strings.HasPrefix(first, "`") {
			cells = append(cells, strings.Trim(first, "`"))
			rows = append(rows, row)
		}
	}
	return cells, rows
}

func TestReadme_Quantities(t *testing.T) {
	cells, rows := firstCells(t, "### What is measured")
	var want []string
	for _, q := range analyze.Quantities() {
		want = append(want, string(q))
	}
	if !slices.Equal(cells, want) {
		t.Fatalf("the README's quantities are\n%v, the program's\n%v", cells, want)
	}
	for i, q := range analyze.Quantities() {
		if got := strings.TrimSpace(rows[i][1]); got != q.Unit() {
			t.Errorf("%s: unit %s, want %s", q, got, q.Unit())
		}
	}
}

func TestReadme_Columns(t *testing.T) {
	cells, _ := firstCells(t, "### Results as CSV and JSON")
	if want := columns(t); !slices.Equal(cells, want) {
		t.Errorf("the README's columns are\n%v, the program's\n%v", cells, want)
	}
}

// columns are the results' columns: the header of a report of no record.
func columns(t *testing.T) []string {
	t.Helper()
	var b strings.Builder
	if err := report.CSV(&b); err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSpace(b.String()), ",")
}

func TestReadme_ExitStatuses(t *testing.T) {
	cells, _ := firstCells(t, "### Exit statuses")
	var want []string
	for _, s := range []int{exitPass, exitFail, exitUndecided, exitUsage, exitInput, exitRig, exitInternal, exitLog, exitInterrupted} {
		want = append(want, strconv.Itoa(s))
	}
	if !slices.Equal(cells, want) {
		t.Errorf("the README's exit statuses are %v, the program's %v", cells, want)
	}
}

// TestReadme_Expectations reads every expectation in the README's table as a
// sequence would.
func TestReadme_Expectations(t *testing.T) {
	cells, _ := firstCells(t, "### Expectations")
	n := 0
	for _, cell := range cells {
		for word := range strings.SplitSeq(cell, "`, `") {
			n++
			src := "name: x\nsteps:\n  - {event: a, hold: 40 s}\noutputs:\n  OUT1:\n    expect: {a: " + word + "}\n"
			if _, err := sequences.Parse("readme.yaml", []byte(src)); err != nil {
				t.Errorf("%s: %v", word, err)
			}
		}
	}
	if n < 6 {
		t.Errorf("the README shows %d expectations, there are six kinds", n)
	}
}

// TestReadme_Pins looks for every line of the rigs shown in the table of header pins.
func TestReadme_Pins(t *testing.T) {
	cells, _ := firstCells(t, "### Which pin")
	full, err := wiring.Load(filepath.Join("..", "..", "testdata", "rigs", "full.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	for _, rig := range append(wiring.Builtin(), full) {
		for _, r := range bench.Requests(rig) {
			name := r.Line.LineName
			if name == "" {
				name = fmt.Sprintf("GPIO%d", r.Line.Number)
			}
			if !slices.Contains(cells, name) {
				t.Errorf("rig %s uses %s for %s, which is not in the table", rig.Name, name, r.Line.Name)
			}
		}
	}
}

// TestReadme_ShortestBounce: the README names the figure that the program names.
func TestReadme_ShortestBounce(t *testing.T) {
	text := shortestBounce(bench.EdgeLatency)
	figure := regexp.MustCompile(`[0-9.]+ [µm]?s`).FindString(text)
	if readme := documentText(t, filepath.Join("..", "..", "README.md")); figure == "" || !strings.Contains(readme, "shorter than about "+figure) {
		t.Errorf("the README does not say that a bounce shorter than about %q cannot be seen, as the program does: %s", figure, text)
	}
}

// TestReadme_Capture reads the capture that the README shows: by hand, the event
// stands at 20 ms, the output crosses half way between 40 and 45 ms, K1_NC opens at
// 49.6 ms, K1_NO closes first at 52.5 ms and for good at 53.4 ms.
func TestReadme_Capture(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "testdata", "readme", "capture.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r, err := capture.NewReader(f, "capture.csv", 0)
	if err != nil {
		t.Fatal(err)
	}
	m, err := newMeasuring(r, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := m.all(); err != nil {
		t.Fatal(err)
	}
	want := map[analyze.Quantity]float64{analyze.SwitchingDelay: 22.5e-3, analyze.OperateTime: 10e-3,
		analyze.TransferTime: 2.9e-3, analyze.BounceTime: 0.9e-3, analyze.BounceCount: 1}
	for _, x := range m.result.Measurements {
		w, ok := want[x.Quantity]
		if !ok {
			continue
		}
		delete(want, x.Quantity)
		if d := x.Value - w; !(d < 1e-5 && d > -1e-5) {
			t.Errorf("%s of %s is %g, want %g", x.Quantity, x.Signal, x.Value, w)
		}
	}
	for q := range want {
		t.Errorf("%s was not measured", q)
	}
}

// namedTest finds the tests and benchmarks that a document names, as in
// `rig/sim.TestFaults_ShowThemselves`.
var namedTest = regexp.MustCompile("`([a-z0-9/]+)\\.((?:Test|Fuzz|Benchmark|Example)[A-Za-z0-9_]*)`")

// TestDevelopers_NamesTests looks for every test and benchmark that the documents name.
func TestDevelopers_NamesTests(t *testing.T) {
	have := map[string][]string{}
	for _, path := range []string{"README.md", "DEVELOPERS.md"} {
		all := namedTest.FindAllStringSubmatch(documentText(t, filepath.Join("..", "..", path)), -1)
		if len(all) == 0 {
			t.Errorf("%s names no test", path)
		}
		for _, m := range all {
			if _, ok := have[m[1]]; !ok {
				have[m[1]] = functionsOfTests(t, m[1])
			}
			if !slices.Contains(have[m[1]], m[2]) {
				t.Errorf("%s names %s of %s, which is not there", path, m[2], m[1])
			}
		}
	}
}

// outside is a source that a test names where it checks against something outside the
// project.
var outside = regexp.MustCompile(`NIST|SBAS\d|DS\d{5}|JCGM \d|GUM [\dA-Z]|\bIEC \d|ISO \d|RFC \d|MIL-R|SciPy|\bR \d\.|StRD`)

// TestDevelopers_OutsideChecks holds the table of checks complete: a test whose own
// text names a source stands in it.
func TestDevelopers_OutsideChecks(t *testing.T) {
	table := documentText(t, filepath.Join("..", "..", "DEVELOPERS.md"))
	n := 0
	for name, text := range testsWithText(t) {
		if !outside.MatchString(text) {
			continue
		}
		n++
		if !strings.Contains(table, "`"+name+"`") {
			t.Errorf("%s names %s; DEVELOPERS.md does not list it among the checks against something outside", name, outside.FindString(text))
		}
	}
	if n < 30 {
		t.Errorf("only %d tests name a source", n)
	}
}

// testsWithText returns every test of the module, as in analyze.TestRound, with its
// comment and body.
func testsWithText(t *testing.T) map[string]string {
	t.Helper()
	root := filepath.Join("..", "..")
	all := map[string]string{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") || strings.HasSuffix(path, "readme_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		set := token.NewFileSet()
		f, err := parser.ParseFile(set, path, text, parser.ParseComments)
		if err != nil {
			return err
		}
		dir, err := filepath.Rel(root, filepath.Dir(path))
		for _, decl := range f.Decls {
			if fn, ok := decl.(*ast.FuncDecl); ok && fn.Recv == nil && strings.HasPrefix(fn.Name.Name, "Test") {
				from := fn.Pos()
				if fn.Doc != nil {
					from = fn.Doc.Pos()
				}
				all[filepath.ToSlash(dir)+"."+fn.Name.Name] = string(text[set.Position(from).Offset:set.Position(fn.End()).Offset])
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// functionsOfTests lists the functions in a directory's tests, whatever system
// they are for.
func functionsOfTests(t *testing.T, dir string) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", "..", filepath.FromSlash(dir), "*_test.go"))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, path := range files {
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range f.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok && fn.Recv == nil {
				names = append(names, fn.Name.Name)
			}
		}
	}
	return names
}
