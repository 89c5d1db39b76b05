package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"makebreak/analyze"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/service"
)

// completer gives the words that may stand where somebody types one, for a shell that asks
// __complete. It only reads, and is silent about what cannot be read.
type completer = cobra.CompletionFunc

// Files by what they hold, for flags and words that take one.
var (
	yamlEndings    = []string{".yaml", ".yml"}
	logEndings     = []string{".db"}
	captureEndings = []string{".csv"}
	plotEndings    = []string{".svg", ".png"}
	metricsEndings = []string{".prom"}
	formEndings    = map[string][]string{"csv": {".csv"}, "json": {".json"}, "html": {".html", ".htm"}, "svg": {".svg"}, "png": {".png"}, "pdf": {".pdf"}, "text": {".txt", ".yaml", ".html", ".csv", ".json"}}
)

// completeWords says for the commands that take words what these may be.
func (a *app) completeWords(c *cobra.Command) completer {
	switch c.CommandPath() {
	case "makebreak run", "makebreak soak":
		return once(a.sequenceNames)
	case "makebreak analyze":
		return a.files(captureEndings)
	case "makebreak report":
		return once(a.runNames(nil, "last"))
	case "makebreak soak reliability":
		return a.runNames(func(g *journal.Glimpse) bool { return g.Soak }, "last")
	case "makebreak runs":
		return a.fieldsToSet
	case "makebreak rig calibrate":
		return once(a.outputNames)
	}
	return cobra.NoFileCompletions
}

// completeFlag says what may follow a flag: by the command and the flag where these are
// special, else by the word that its help has for the value.
func (a *app) completeFlag(c *cobra.Command, f *pflag.Flag) completer {
	word, _ := pflag.UnquoteUsage(f)
	switch f.Name {
	case "as":
		return a.formNames(f)
	case "rig":
		return a.rigNames
	case "log", "into":
		return a.files(logEndings)
	case "output":
		return a.resultFiles
	case "unit":
		return a.fromLog(func(g *journal.Glimpse) string { return g.Unit })
	case "by":
		return a.fromLog(func(g *journal.Glimpse) string { return g.By })
	case "resume":
		return a.runNames(func(g *journal.Glimpse) bool { return g.Soak && !g.Complete }, "last")
	case "against":
		return a.runNames(nil, "first", "previous", "reference")
	case "metrics-file":
		return a.files(metricsEndings)
	case "plot":
		return a.files(plotEndings)
	case "points", "web-config":
		return a.files(yamlEndings)
	case "field":
		return a.fieldValues
	case "ask-field", "require-field":
		return a.fieldNames("")
	case "budget":
		return a.figureNames
	case "diagram":
		return a.diagramNames
	case "loop-back":
		return a.loopBacks
	case "prefix":
		return fixed(service.Prefixes...)
	case "model":
		return fixed("ADS1115", "ADS1015")
	case "paper":
		return fixed("a4", "letter")
	case "series":
		return fixed("E24", "E96")
	}
	switch word {
	case "run":
		return a.runNames(nil, "last")
	case "sequence":
		return a.sequenceNames
	case "NAME[=VALUE]":
		return a.faultNames
	case "folder":
		return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return nil, cobra.ShellCompDirectiveFilterDirs
		}
	case "file":
		return a.files(nil)
	}
	return cobra.NoFileCompletions
}

// completions sets what a shell may complete for all commands and all of their flags.
func (a *app) completions(c *cobra.Command) {
	if c.ValidArgsFunction == nil && len(c.ValidArgs) == 0 {
		c.ValidArgsFunction = a.completeWords(c)
	}
	set := func(f *pflag.Flag) {
		if _, has := c.GetFlagCompletionFunc(f.Name); !has && f.Value.Type() != "bool" {
			_ = c.RegisterFlagCompletionFunc(f.Name, a.completeFlag(c, f)) // it has none yet
		}
	}
	c.PersistentFlags().VisitAll(set)
	c.LocalNonPersistentFlags().VisitAll(set)
	for _, sub := range c.Commands() {
		a.completions(sub)
	}
}

// once completes the first word only.
func once(of completer) completer {
	return func(c *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
		if len(args) > 0 {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return of(c, args, typed)
	}
}

func fixed(all ...string) completer {
	return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return all, cobra.ShellCompDirectiveNoFileComp
	}
}

// choices are words of which some begin with what was typed, each with what it means. Words
// that a shell might take for more than a word are left out: a name from a log or a file may
// hold anything.
type choices struct {
	typed string
	all   []string
}

func (x *choices) add(word, about string) {
	if word == "" || !strings.HasPrefix(word, x.typed) || !harmless(word) {
		return
	}
	if about = strings.Join(strings.Fields(words.Safe(about)), " "); about != "" {
		word += "\t" + words.Short(about, 60)
	}
	if !slices.Contains(x.all, word) {
		x.all = append(x.all, word)
	}
}

// harmless reports whether a word means no more than itself to any shell: it consists of
// letters, digits, single blanks within it, and of signs that no shell acts on.
func harmless(word string) bool {
	for _, r := range word {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) && !strings.ContainsRune("-_.,:=+@%/ ", r) {
			return false
		}
	}
	return words.Safe(word) == word && strings.TrimSpace(word) == word && !strings.HasPrefix(word, "-") && !strings.Contains(word, "  ")
}

// mostFiles is how many entries of a folder are looked at.
const mostFiles = 2000

// addFiles adds the files of a kind, and folders, that the typed path can go on to.
func (x *choices) addFiles(endings []string) cobra.ShellCompDirective {
	dir, _ := filepath.Split(x.typed)
	read := dir
	if read == "" {
		read = "."
	}
	f, err := os.Open(read)
	if err != nil {
		return cobra.ShellCompDirectiveNoFileComp
	}
	defer f.Close()
	entries, _ := f.ReadDir(mostFiles) // what could be read
	slices.SortFunc(entries, func(a, b os.DirEntry) int { return strings.Compare(a.Name(), b.Name()) })
	files := len(x.all)
	for _, e := range entries {
		hidden := strings.HasPrefix(e.Name(), ".") && !strings.HasPrefix(filepath.Base("x"+x.typed), "x.")
		if !hidden && !e.IsDir() && slices.Contains(endings, strings.ToLower(filepath.Ext(e.Name()))) {
			x.add(dir+e.Name(), "")
		}
	}
	files = len(x.all) - files
	folders := 0
	for _, e := range entries {
		if e.IsDir() && !strings.HasPrefix(e.Name(), ".") {
			before := len(x.all)
			x.add(dir+e.Name()+"/", "")
			folders += len(x.all) - before
		}
	}
	if folders == 1 && len(x.all) == 1 {
		return cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveNoSpace
	}
	return cobra.ShellCompDirectiveNoFileComp
}

// files completes files with these endings; without any, all files, as the shell does it.
func (a *app) files(endings []string) completer {
	if len(endings) == 0 {
		return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return nil, cobra.ShellCompDirectiveDefault
		}
	}
	return func(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
		x := choices{typed: typed}
		directive := x.addFiles(endings)
		return x.all, directive
	}
}

// resultFiles completes files for results of the form asked for.
func (a *app) resultFiles(c *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
	return a.files(formEndings[a.as])(c, args, typed)
}

func (a *app) formNames(f *pflag.Flag) completer {
	return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		if may := f.Annotations[formsKey]; may != nil {
			return may, cobra.ShellCompDirectiveNoFileComp
		}
		return allForms, cobra.ShellCompDirectiveNoFileComp
	}
}

func (a *app) sequenceNames(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	x := choices{typed: typed}
	for _, s := range sequences.Builtin() {
		x.add(s.Name, s.About)
	}
	directive := x.addFiles(yamlEndings)
	return x.all, directive
}

func (a *app) rigNames(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	x := choices{typed: typed}
	for _, r := range rigfile.Builtin() {
		x.add(r.Name, r.About)
	}
	directive := x.addFiles(yamlEndings)
	return x.all, directive
}

// rigTyped is the rig that was named so far, or the simulated bench.
func (a *app) rigTyped() *wiring.Rig {
	if a.rig == "" {
		return rigfile.Builtin()[0]
	}
	r, err := rigfile.Load(a.ctx, a.rig)
	if err != nil {
		return &wiring.Rig{}
	}
	return r
}

func (a *app) outputNames(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	x := choices{typed: typed}
	for _, o := range a.rigTyped().Outputs {
		x.add(o.Name, "")
	}
	return x.all, cobra.ShellCompDirectiveNoFileComp
}

// loopBacks completes DRIVE,LINE[,OUTPUT], one part after the other.
func (a *app) loopBacks(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	r, x := a.rigTyped(), choices{typed: typed}
	before, directive := typed[:strings.LastIndex(typed, ",")+1], cobra.ShellCompDirectiveNoFileComp
	switch strings.Count(before, ",") {
	case 0:
		for _, d := range r.Drives {
			x.add(d.Name+",", "")
		}
		directive |= cobra.ShellCompDirectiveNoSpace
	case 1:
		for _, l := range append(slices.Clone(r.Contacts), r.References...) {
			x.add(before+l.Name, "")
		}
	case 2:
		for _, o := range r.Outputs {
			x.add(before+o.Name, "")
		}
	}
	return x.all, directive
}

// faultNames completes the name of a fault, and behind it an output that is its value.
func (a *app) faultNames(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	x := choices{typed: typed}
	name, _, hasValue := strings.Cut(typed, "=")
	for _, f := range sim.Faults() {
		switch {
		case !hasValue:
			x.add(f.Name, f.About)
		case f.Name == name && f.Value == "an output":
			for _, o := range a.rigTyped().Outputs {
				x.add(name+"="+o.Name, "")
			}
		}
	}
	return x.all, cobra.ShellCompDirectiveNoFileComp
}

// glimpses are the newest runs of the log.
func (a *app) glimpses() []journal.Glimpse {
	all, err := journal.Glance(a.ctx, a.log)
	if err != nil {
		return nil
	}
	return all
}

// runNames completes runs of the log, those of the unit where one was typed, and words beside.
func (a *app) runNames(wanted func(*journal.Glimpse) bool, more ...string) completer {
	return func(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
		x := choices{typed: typed}
		for _, word := range more {
			x.add(word, "")
		}
		for _, g := range a.glimpses() {
			if (wanted == nil || wanted(&g)) && (a.unit == "" || a.unit == g.Unit) {
				x.add(g.Run, strings.TrimSpace(g.Unit+" "+g.Sequence))
			}
		}
		return x.all, cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
	}
}

// fromLog completes what runs of the log have, the newest first.
func (a *app) fromLog(of func(*journal.Glimpse) string) completer {
	return func(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
		x := choices{typed: typed}
		for _, g := range a.glimpses() {
			x.add(of(&g), "")
		}
		return x.all, cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
	}
}

// usualFields are names that a workshop is likely to want.
var usualFields = []string{"job", "customer", "model", "firmware", "place", "remarks"}

// fieldNames completes names of fields: those in the log, and the usual ones.
func (a *app) fieldNames(behind string) completer {
	return func(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
		x, directive := choices{typed: typed}, cobra.ShellCompDirectiveNoFileComp
		if behind != "" {
			directive |= cobra.ShellCompDirectiveNoSpace
		}
		noted, _ := journal.GlanceFields(a.ctx, a.log) // none where it cannot be read
		for _, f := range noted {
			x.add(f.Name+behind, "")
		}
		for _, name := range usualFields {
			x.add(name+behind, "")
		}
		return x.all, directive
	}
}

// fieldValues completes NAME=VALUE.
func (a *app) fieldValues(c *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
	if !strings.Contains(typed, "=") {
		return a.fieldNames("=")(c, args, typed)
	}
	x := choices{typed: typed}
	noted, _ := journal.GlanceFields(a.ctx, a.log) // none where it cannot be read
	for _, f := range noted {
		x.add(f.Name+"="+f.Value, "")
	}
	return x.all, cobra.ShellCompDirectiveNoFileComp
}

// fieldsToSet completes the words of runs --set-field.
func (a *app) fieldsToSet(c *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
	if !c.Flags().Changed("set-field") {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	return a.fieldValues(c, args, typed)
}

// planOf is what the run that was typed demanded; an empty one where that is not known.
func (a *app) planOf(args []string) *analyze.Plan {
	run := "last"
	if len(args) > 0 {
		run = args[0]
	}
	source, err := journal.GlanceAt(a.ctx, a.log, run)
	if err != nil {
		return &analyze.Plan{}
	}
	seq, err := sequences.Parse("", []byte(source))
	if err != nil {
		return &analyze.Plan{}
	}
	return &seq.Plan
}

// figureNames completes SIGNAL.QUANTITY of what the run's sequence names.
func (a *app) figureNames(_ *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
	x, p := choices{typed: typed}, a.planOf(args)
	signals := map[analyze.Subject][]string{}
	for _, o := range p.Outputs {
		signals[analyze.OfOutput] = append(signals[analyze.OfOutput], o.Signal)
	}
	for _, r := range p.Relays {
		signals[analyze.OfRelay] = append(signals[analyze.OfRelay], r.Signal)
		signals[analyze.OfContact] = append(signals[analyze.OfContact], r.Make, r.Break)
	}
	for _, d := range analyze.Definitions() {
		for _, s := range signals[d.Of] {
			if s != "" {
				x.add(s+"."+string(d.Quantity), "")
			}
		}
	}
	return x.all, cobra.ShellCompDirectiveNoFileComp
}

// diagramNames completes SIGNAL@EVENT of what the run's sequence names.
func (a *app) diagramNames(_ *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
	x, p := choices{typed: typed}, a.planOf(args)
	for _, o := range p.Outputs {
		for _, event := range p.Steps {
			x.add(o.Signal+"@"+event, "")
		}
	}
	return x.all, cobra.ShellCompDirectiveNoFileComp
}
