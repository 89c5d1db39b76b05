package yamlfile

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"slices"

	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// Library is the files of one kind that are compiled in. A person names one of them, or a
// file of their own.
type Library[T any] struct {
	Kind  string   // what a file is, as in "sequence"
	Files embed.FS // has each as builtin/NAME.yaml
	Names []string // in the order in which they are listed
	Parse func(ctx context.Context, file string, src []byte) (T, error)
}

// Builtin reads all built-in files.
func (l *Library[T]) Builtin() []T {
	all := make([]T, len(l.Names))
	for i, name := range l.Names {
		x, err := l.builtin(context.Background(), name)
		if err != nil {
			panic(err) // the files are compiled in and a test reads them all
		}
		all[i] = x
	}
	return all
}

func (l *Library[T]) builtin(ctx context.Context, name string) (x T, err error) {
	src, err := l.Files.ReadFile("builtin/" + name + ".yaml")
	if err != nil {
		return x, err
	}
	return l.Parse(ctx, name+".yaml", src)
}

// Load reads one: a built-in name first, then a file. Where there is neither, the error lists
// the built-in names and wraps fs.ErrNotExist. Waiting for a pipe ends with the context.
func (l *Library[T]) Load(ctx context.Context, nameOrPath string) (x T, err error) {
	if slices.Contains(l.Names, nameOrPath) {
		return l.builtin(ctx, nameOrPath)
	}
	src, err := ReadFile(ctx, nameOrPath)
	if errors.Is(err, fs.ErrNotExist) {
		return x, &problem.Error{Kind: problem.Input, Place: l.Kind + " " + nameOrPath,
			Err: problem.Instead(fs.ErrNotExist, "there is no such file or built-in "+l.Kind+"; "+words.UseOneOf(nameOrPath, l.Names))}
	}
	if err != nil {
		return x, problem.Reading(fmt.Errorf("%s: %w", l.Kind, err))
	}
	return l.Parse(ctx, nameOrPath, src)
}
