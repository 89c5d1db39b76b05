package main

import (
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"makebreak/analyze/report"
	"makebreak/rig/outfile"
	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// diagramForms are the forms of one diagram.
var diagramForms = []string{"svg", "png"}

// diagramForm finds in which form a diagram is written: as asked for, else by the ending of
// the file's name, else as SVG.
func (a *app) diagramForm() (string, error) {
	if a.asked {
		return a.as, a.choice("report --diagram", diagramForms...)
	}
	ending := strings.ToLower(strings.TrimPrefix(filepath.Ext(a.file), "."))
	switch {
	case a.file == "" || a.file == "-" || outfile.Special(a.file):
		return "svg", nil
	case slices.Contains(diagramForms, ending):
		return ending, nil
	}
	return "", badUsage("-o %s: name the form with --as %s, or by the file's ending", words.Safe(a.file), words.Or(diagramForms))
}

// diagram draws one timing diagram of a run.
func (a *app) diagram(r *report.Record, name string) error {
	form, err := a.diagramForm()
	if err != nil {
		return err
	}
	t, err := report.FindDiagram(r, name)
	if err != nil {
		err = fmt.Errorf("--diagram %q: %w", name, err)
		if problem.KindOf(err) != problem.Unknown { // the log cannot be read
			return err
		}
		return problem.Of(problem.Usage, err)
	}
	a.as = form // which --quiet lets through
	if form == "png" {
		if a.file == "" && drawable(a.out) {
			return badUsage("--as png: a terminal cannot show it; name a file with -o")
		}
		return a.deliverBytes(t.PNG)
	}
	return a.deliver(func(w io.Writer) error { return t.SVG(w) })
}
