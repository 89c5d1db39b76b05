package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"makebreak/rig/problem"
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
	j.fields, err = fields.Complete(given, wanted, a.asker(ctx), func(text string) { fmt.Fprintln(a.prompts(), text) })
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

// setFields changes fields of a run in the log.
func (a *app) setFields(c *cobra.Command, run string, texts []string) error {
	if err := a.choice("runs --set-field", "text"); err != nil {
		return err
	}
	if len(texts) == 0 {
		return badUsage("runs --set-field takes the run and then fields, as in runs --set-field last job=1234; job= takes one away")
	}
	set, err := fields.ParseAll(texts, true)
	if err != nil {
		return err
	}
	return a.changeRun(run, func(db *journal.DB, rec *journal.RunRecord) error {
		for _, f := range set {
			if err := db.SetField(rec.ID, f, a.now(), a.by); err != nil {
				return err
			}
			if f.Value == "" {
				a.note("Run %s has no field %s now", rec.ID, f.Name)
				continue
			}
			a.note("Run %s: %s is %s", rec.ID, f.Name, f.Value)
		}
		return nil
	})
}

// changeRun finds a run in the log and lets f change it.
func (a *app) changeRun(run string, f func(*journal.DB, *journal.RunRecord) error) error {
	db, err := a.openLogWith(journal.Open)
	if err != nil {
		return err
	}
	defer db.Close()
	rec, err := a.findRun(db, run)
	if err != nil {
		return err
	}
	if err := f(db, rec); err != nil {
		return problem.Of(problem.Storage, err)
	}
	return nil
}

// markReference marks a run as the reference of its kind.
func (a *app) markReference(run string) error {
	return a.changeRun(run, func(db *journal.DB, rec *journal.RunRecord) error {
		before, err := db.MarkReference(rec.ID, a.now(), a.by)
		switch {
		case err != nil:
			return err
		case before == rec.ID:
			a.note("Run %s is the reference already", rec.ID)
		case before != "":
			a.note("Run %s is the reference now, in place of %s", rec.ID, before)
		default:
			a.note("Run %s is the reference now", rec.ID)
		}
		return nil
	})
}

// unmarkReference takes the mark from a run.
func (a *app) unmarkReference(run string) error {
	return a.changeRun(run, func(db *journal.DB, rec *journal.RunRecord) error {
		had, err := db.UnmarkReference(rec.ID)
		switch {
		case err != nil:
			return err
		case !had:
			a.note("Run %s was no reference", rec.ID)
		default:
			a.note("Run %s is no reference any more", rec.ID)
		}
		return nil
	})
}
