// Package fields takes in what a workshop notes with a run, as a job's number: from flags, and
// from the person at the terminal for what the rig's file wants.
package fields

import (
	"fmt"
	"slices"
	"strings"

	"makebreak/rig/problem"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

// mostValue is how many characters the value of a field may have.
const mostValue = 200

// Parse reads NAME=VALUE. Blanks around both are left out. The value may be empty only where
// mayBeEmpty says so. The error is of the kind Usage.
func Parse(text string, mayBeEmpty bool) (f journal.Field, err error) {
	name, value, found := strings.Cut(text, "=")
	if !found {
		return f, bad("%q: write NAME=VALUE, for example job=1234", text)
	}
	f = journal.Field{Name: strings.TrimSpace(name), Value: strings.TrimSpace(value)}
	if fault := wiring.FieldFault(f.Name); fault != "" {
		return f, refused(f.Name, "name of a field", fault)
	}
	if f.Value == "" && mayBeEmpty {
		return f, nil
	}
	if fault := words.TextFault(f.Value, mostValue); fault != "" {
		return f, refused(f.Value, "value of the field "+f.Name, fault)
	}
	return f, nil
}

// refused is the error of a name or a value that cannot be taken.
func refused(text, what, fault string) error {
	return problem.Of(problem.Usage, fmt.Errorf("%q is not a usable %s: %s", words.Short(text, words.MostName), what, fault))
}

// bad is an error of what was typed; the texts in it are shortened.
func bad(format string, texts ...string) error {
	short := make([]any, len(texts))
	for i, s := range texts {
		short[i] = words.Short(s, words.MostName)
	}
	return problem.Of(problem.Usage, fmt.Errorf(format, short...))
}

// ParseAll reads several, of which no two may have the same name.
func ParseAll(texts []string, mayBeEmpty bool) ([]journal.Field, error) {
	var all []journal.Field
	for _, text := range texts {
		f, err := Parse(text, mayBeEmpty)
		if err != nil {
			return nil, err
		}
		if Has(all, f.Name) {
			return nil, bad("the field %s is given twice", f.Name)
		}
		all = append(all, f)
	}
	if len(all) > wiring.MostFields {
		return nil, problem.Of(problem.Usage, fmt.Errorf("%d fields are given; must be at most %d", len(all), wiring.MostFields))
	}
	return all, nil
}

// Has reports whether one of the fields has the name, capitals or not.
func Has(all []journal.Field, name string) bool {
	return slices.ContainsFunc(all, func(f journal.Field) bool { return strings.EqualFold(f.Name, name) })
}

// Match reports whether a run has all the fields wanted.
func Match(has, wanted []journal.Field) bool {
	return !slices.ContainsFunc(wanted, func(w journal.Field) bool {
		return !slices.ContainsFunc(has, func(f journal.Field) bool { return strings.EqualFold(f.Name, w.Name) && f.Value == w.Value })
	})
}

// Want adds a field to those wanted. One that is wanted already is required where either
// says so.
func Want(wanted []wiring.Field, f wiring.Field) []wiring.Field {
	for i := range wanted {
		if strings.EqualFold(wanted[i].Name, f.Name) {
			wanted[i].Required = wanted[i].Required || f.Required
			return wanted
		}
	}
	return append(wanted, f)
}

// Ask gets the value of a field from the person at the terminal; empty: none was given.
type Ask func(question string) (string, error)

// Complete adds to the fields given those that are wanted, in the order wanted and then that
// given. Ask may be nil, where nobody can be asked: a required field that is missing is then
// an error of the kind Usage. A name wanted gives the spelling.
func Complete(given []journal.Field, wanted []wiring.Field, ask Ask, note func(string)) ([]journal.Field, error) {
	var all []journal.Field
	for _, w := range wanted {
		if i := slices.IndexFunc(given, func(f journal.Field) bool { return strings.EqualFold(f.Name, w.Name) }); i >= 0 {
			all = append(all, journal.Field{Name: w.Name, Value: given[i].Value})
			continue
		}
		value, err := answer(w, ask, note)
		if err != nil {
			return nil, err
		}
		if value != "" {
			all = append(all, journal.Field{Name: w.Name, Value: value})
		}
	}
	for _, f := range given {
		if !Has(all, f.Name) {
			all = append(all, f)
		}
	}
	if len(all) > wiring.MostFields {
		return nil, problem.Of(problem.Usage, fmt.Errorf("the run would have %d fields; must be at most %d", len(all), wiring.MostFields))
	}
	return all, nil
}

// answer asks for one field until the answer can be taken.
func answer(w wiring.Field, ask Ask, note func(string)) (string, error) {
	if ask == nil {
		if w.Required {
			return "", bad(`the field %s is required: give it, for example --field "%s=…"`, w.Name, w.Name)
		}
		return "", nil
	}
	question := w.Name + " (Enter: none): "
	if w.Required {
		question = w.Name + ": "
	}
	for {
		text, err := ask(question)
		if err != nil {
			return "", err
		}
		f, err := Parse(w.Name+"="+text, !w.Required)
		if err == nil {
			return f.Value, nil
		}
		note(err.Error())
	}
}
