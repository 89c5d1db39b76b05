package exercise

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"slices"

	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/rig/yamlfile"
)

//go:embed builtin/*.yaml
var files embed.FS

// order is that in which the built-in exercises are listed: by grade.
var order = []string{
	"quiet-siren", "ready-lamp", "other-way-round", "patient-lamp", "short-beep", "half-armed",
	"thin-supply", "clinging-relay", "two-grounds", "dead-line", "missing-diode", "joined-terminals", "light-load",
	"worn-relay", "sour-contact", "unit-or-bench", "two-at-once", "humming-board",
}

// Builtin returns the built-in exercises.
func Builtin() []*Definition {
	all := make([]*Definition, len(order))
	for i, name := range order {
		d, err := builtin(name)
		if err != nil {
			panic(err) // the files are compiled in and a test reads them all
		}
		all[i] = d
	}
	return all
}

func builtin(name string) (*Definition, error) {
	src, err := files.ReadFile("builtin/" + name + ".yaml")
	if err != nil {
		return nil, err
	}
	return Parse(context.Background(), name+".yaml", src)
}

// Names are those of the built-in exercises.
func Names() []string { return slices.Clone(order) }

// Load reads an exercise: a built-in name first, then a file. Where there is neither, the
// error lists the built-in names and wraps fs.ErrNotExist. Waiting for a pipe ends with the
// context.
func Load(ctx context.Context, nameOrPath string) (*Definition, error) {
	if slices.Contains(order, nameOrPath) {
		return builtin(nameOrPath)
	}
	src, err := yamlfile.ReadFile(ctx, nameOrPath)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &problem.Error{Kind: problem.Input, Place: "exercise " + nameOrPath,
			Err: problem.Instead(fs.ErrNotExist, "there is no such file or built-in exercise; "+words.UseOneOf(nameOrPath, order))}
	}
	if err != nil {
		return nil, problem.Reading(fmt.Errorf("exercise: %w", err))
	}
	return Parse(ctx, nameOrPath, src)
}
