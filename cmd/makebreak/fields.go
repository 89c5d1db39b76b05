package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"makebreak/rig/prompt"
	"makebreak/rig/wiring"
	"makebreak/sequences/fields"
	"makebreak/sequences/journal"
)

// noteFields takes in what the workshop notes with a run: from flags, and from the person at a
// terminal for what the rig file and flags want.
func (a *app) noteFields(ctx context.Context, j *job, o *runOpts) error {
	given, err := fields.ParseAll(o.fields, false)
	if err != nil {
		return badUsage("--field: %w", err)
	}
	wanted, err := o.wantedFields(j.rig)
	if err != nil {
		return err
	}
	if len(j.units) > 0 || a.place != nil {
		for _, name := range []string{positionField, togetherField} {
			if fields.Has(given, name) || slices.ContainsFunc(wanted, func(f wiring.Field) bool { return strings.EqualFold(f.Name, name) }) {
				return badUsage("the field %s is noted by itself with each run on this rig; use another name", name)
			}
		}
	}
	j.fields, err = fields.Complete(given, wanted, a.asker(ctx), func(text string) { fmt.Fprintln(a.prompts(), text) })
	if err == nil && a.place != nil {
		j.fields = append(j.fields, journal.Field{Name: positionField, Value: a.place.Name})
	}
	return err
}

// wantedFields are those of the rig file and of the flags. What a flag requires is required.
func (o *runOpts) wantedFields(rig *wiring.Rig) ([]wiring.Field, error) {
	var wanted []wiring.Field
	for _, f := range rig.Fields {
		wanted = fields.Want(wanted, f)
	}
	for _, from := range []struct {
		flag     string
		names    []string
		required bool
	}{{"--ask-field", o.ask, false}, {"--require-field", o.require, true}} {
		for _, name := range from.names {
			if fault := wiring.FieldFault(name); fault != "" {
				return nil, badUsage("%s %q is not a usable name of a field: %s", from.flag, name, fault)
			}
			wanted = fields.Want(wanted, wiring.Field{Name: name, Required: from.required})
		}
	}
	return wanted, nil
}

// asker asks the person at the terminal; nil: there is no terminal.
func (a *app) asker(ctx context.Context) fields.Ask {
	_, in := terminal(a.in)
	_, out := terminal(a.err)
	if !in || !out {
		return nil
	}
	return func(question string) (string, error) { return prompt.Answer(ctx, a.in, a.prompts(), question, true) }
}
