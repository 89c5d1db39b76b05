package main

import (
	"strings"

	"github.com/spf13/cobra"

	"makebreak/sequences/exercise"
	"makebreak/sequences/journal"
)

// exerciseNames completes built-in exercises and files.
func (a *app) exerciseNames(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	x := choices{typed: typed}
	for _, d := range exercise.Builtin() {
		x.add(d.Name, d.Title)
	}
	directive := x.addFiles(yamlEndings)
	return x.all, directive
}

// begunExercises completes exercises that stand in the log.
func (a *app) begunExercises(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	x := choices{typed: typed}
	all, _, _ := journal.GlanceExercises(a.ctx, a.log) // none where it cannot be read
	for _, e := range all {
		x.add(e.Name, e.Title)
	}
	return x.all, cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
}

// begun is the exercise that a command is about; nil where it cannot be read.
func (a *app) begun(c *cobra.Command) *exercise.Definition {
	name, _ := c.Flags().GetString("exercise") // empty where the command has no such flag
	all, places, err := journal.GlanceExercises(a.ctx, a.log)
	if err != nil {
		return nil
	}
	for i := range all {
		if name != "" && all[i].Name != name || !exercise.By(&all[i], a.by) {
			continue
		}
		d, err := exercise.Peek(&all[i], places[i])
		if err != nil {
			return nil
		}
		return d
	}
	return nil
}

// ofExercise completes what the exercise that a command is about has to choose from.
func (a *app) ofExercise(c *cobra.Command, typed string, of func(*exercise.Definition) []exercise.Choice) ([]string, cobra.ShellCompDirective) {
	x := choices{typed: typed}
	if d := a.begun(c); d != nil {
		for _, choice := range of(d) {
			if choice.Value != "" {
				x.add(choice.Value, choice.Words)
			}
		}
	}
	return x.all, cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
}

func (a *app) pointNames(c *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
	if len(args) > 1 {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	return a.ofExercise(c, typed, (*exercise.Definition).PointChoices)
}

func (a *app) answerNames(c *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	return a.ofExercise(c, typed, (*exercise.Definition).AnswerChoices)
}

func (a *app) eventNames(c *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	return a.ofExercise(c, typed, (*exercise.Definition).EventChoices)
}

// changeWords completes a change word by word.
func (a *app) changeWords(c *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
	before := strings.Join(args, " ")
	return a.ofExercise(c, typed, func(d *exercise.Definition) (all []exercise.Choice) {
		for _, choice := range d.ChangeChoices() {
			rest, ok := strings.CutPrefix(choice.Value, before)
			if !ok {
				continue
			}
			word, more, _ := strings.Cut(strings.TrimSpace(rest), " ")
			if more != "" {
				choice.Words = ""
			}
			all = append(all, exercise.Choice{Value: word, Words: choice.Words})
		}
		return all
	})
}
