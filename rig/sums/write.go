package sums

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"makebreak/rig/table"
)

// Text writes a sum as it would be written down by hand.
func (s *Sheet) Text(w io.Writer) error {
	fmt.Fprintln(w, s.Title)
	fmt.Fprintln(w)
	s.draw(w)
	err := table.Write(w, []string{"what", "sum", "result"}, func(row func(...any)) {
		for _, f := range s.Given {
			row(f.What, "given", f.Result())
		}
		for _, f := range s.Steps {
			row(f.What, f.Sum, f.Result())
		}
	})
	if len(s.Answers) > 0 {
		fmt.Fprintln(w)
	}
	for _, a := range s.Answers {
		fmt.Fprintln(w, a.Text)
	}
	for _, l := range []struct {
		head  string
		items []string
	}{{"Warnings", s.Warnings}, {"Cautions", s.Cautions}} {
		if len(l.items) == 0 {
			continue
		}
		fmt.Fprintf(w, "\n%s\n", l.head)
		for _, text := range l.items {
			fmt.Fprintf(w, "  - %s\n", text)
		}
	}
	return err
}

// draw writes the drawing, unless the page is too narrow for it.
func (s *Sheet) draw(w io.Writer) {
	across, lines := 0, s.Drawing()
	for _, line := range lines {
		across = max(across, utf8.RuneCountInString(line)+2)
	}
	if p, is := w.(*table.Page); across == 0 || is && p.Columns > 0 && p.Columns < across {
		return
	}
	for _, line := range lines {
		fmt.Fprintln(w, strings.TrimRight("  "+line, " "))
	}
	fmt.Fprintln(w)
}

// JSON writes a sum's figures as one object: each figure by its name, which ends
// in its base unit, each answer as true or false, and the warnings.
func (s *Sheet) JSON(w io.Writer) error {
	var b strings.Builder
	b.WriteString("{")
	field := func(name string, value any) error {
		v, err := json.Marshal(value)
		if b.Len() > 1 {
			b.WriteString(",")
		}
		fmt.Fprintf(&b, "\n  %q: %s", name, v)
		return err
	}
	for _, f := range slices.Concat(s.Given, s.Steps) {
		if err := field(f.Name, f.Rounded()); err != nil {
			return err
		}
	}
	for _, a := range s.Answers {
		if err := field(a.Name, a.Yes); err != nil {
			return err
		}
	}
	if err := field("warnings", append([]string{}, s.Warnings...)); err != nil {
		return err
	}
	b.WriteString("\n}\n")
	_, err := io.WriteString(w, b.String())
	return err
}
