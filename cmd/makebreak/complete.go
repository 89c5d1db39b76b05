package main

import (
	"maps"
	"slices"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"makebreak/rig/ads1x15"
	"makebreak/rig/wiring"
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
	case "makebreak run", "makebreak soak", "makebreak batch":
		return once(a.sequenceNames)
	case "makebreak analyze":
		return a.files(captureEndings)
	case "makebreak report":
		return once(a.runNames(nil, "last"))
	case "makebreak unit":
		return once(a.fromLog(func(g *journal.Glimpse) string { return g.Unit }))
	case "makebreak soak reliability":
		return a.runNames(func(g *journal.Glimpse) bool { return g.Soak }, "last")
	case "makebreak runs":
		return a.fieldsToSet
	case "makebreak runs export", "makebreak runs sign":
		return a.runNames(nil, "last")
	case "makebreak runs import":
		return once(a.files(logEndings))
	case "makebreak rig calibrate":
		return once(a.outputNames)
	case "makebreak exercise start", "makebreak exercise check":
		return once(a.exerciseNames)
	case "makebreak exercise card", "makebreak exercise try", "makebreak exercise look", "makebreak exercise marks", "makebreak exercise truth":
		return once(a.begunExercises)
	case "makebreak exercise probe":
		return a.pointNames
	case "makebreak exercise change":
		return a.changeWords
	case "makebreak exercise answer":
		return a.answerNames
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
	case "only":
		return a.unitNames
	case "by":
		return a.fromLog(func(g *journal.Glimpse) string { return g.By })
	case "resume":
		return a.runNames(func(g *journal.Glimpse) bool { return g.Soak && !g.Complete }, "last")
	case "against":
		return a.runNames(nil, slices.Sorted(maps.Keys(relations))...)
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
	case "capture":
		return a.capturedCycles
	case "loop-back":
		return a.loopBacks
	case "prefix":
		return fixed(service.Prefixes...)
	case "model":
		return fixed(string(ads1x15.ADS1115), string(ads1x15.ADS1015))
	case "exercise":
		return a.begunExercises
	case "after":
		return a.eventNames
	case "truth":
		return a.answerNames
	case "paper":
		return fixed(slices.Sorted(maps.Keys(papers))...)
	case "series":
		return fixed(wiring.E24.String(), wiring.E96.String())
	}
	switch word {
	case "run":
		return a.runNames(nil, "last")
	case "sequence":
		return a.sequenceNames
	case "NAME[=VALUE][@PLACE]":
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

// asksToComplete reports whether a shell asks for words. Nothing else needs completions, which
// take as long to set as all of the commands and flags.
func asksToComplete(args []string) bool {
	return slices.Contains(args, cobra.ShellCompRequestCmd) || slices.Contains(args, cobra.ShellCompNoDescRequestCmd)
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

// fixed completes words that are always the same.
func fixed(all ...string) completer {
	return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return all, cobra.ShellCompDirectiveNoFileComp
	}
}

// formNames completes the forms of results that the command has.
func (a *app) formNames(f *pflag.Flag) completer {
	return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		if may := f.Annotations[formsKey]; may != nil {
			return may, cobra.ShellCompDirectiveNoFileComp
		}
		return allForms, cobra.ShellCompDirectiveNoFileComp
	}
}

// sequenceNames completes built-in sequences and files.
func (a *app) sequenceNames(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	x := choices{typed: typed}
	for _, s := range sequences.Builtin() {
		x.add(s.Name, s.About)
	}
	directive := x.addFiles(yamlEndings)
	return x.all, directive
}
