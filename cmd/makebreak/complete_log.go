package main

import (
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"makebreak/analyze"
	"makebreak/sequences"
	"makebreak/sequences/journal"
)

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

// fieldNames completes names of fields: those in the log, and the usual ones. Behind stands
// after each.
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

// runTyped is the run that was typed, the newest where none was.
func runTyped(args []string) string {
	if len(args) > 0 {
		return args[0]
	}
	return "last"
}

// planOf is what the run that was typed demanded; an empty one where that is not known.
func (a *app) planOf(args []string) *analyze.Plan {
	source, err := journal.GlanceAt(a.ctx, a.log, runTyped(args))
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

// capturedCycles completes cycles of the run of which a capture is kept, the newest first.
func (a *app) capturedCycles(_ *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
	x := choices{typed: typed}
	cycles, _ := journal.GlanceCaptured(a.ctx, a.log, runTyped(args)) // none where it cannot be read
	for _, c := range cycles {
		x.add(strconv.Itoa(c.N), string(c.Verdict))
	}
	return x.all, cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
}
