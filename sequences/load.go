package sequences

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"

	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/rig/yamlfile"
)

//go:embed builtin/*.yaml
var files embed.FS

// order is that in which the built-in sequences are listed.
var order = []string{"armed-high", "armed-low", "armed-pulse", "exit-delay", "alarm-latch", "all-quiet", "relay-only", "relay-supply"}

// Builtin returns the built-in sequences.
func Builtin() []*Sequence {
	all := make([]*Sequence, len(order))
	for i, name := range order {
		s, err := builtin(name)
		if err != nil {
			panic(err) // the files are compiled in and a test reads them all
		}
		all[i] = s
	}
	return all
}

func builtin(name string) (*Sequence, error) {
	src, err := files.ReadFile("builtin/" + name + ".yaml")
	if err != nil {
		return nil, err
	}
	return parseNew(name+".yaml", src)
}

// Load reads a sequence: a built-in name first, then a file. Where there is neither,
// the error lists the built-in names and wraps fs.ErrNotExist.
// Waiting for a pipe ends with the context.
func Load(ctx context.Context, nameOrPath string) (*Sequence, error) {
	for _, name := range order {
		if name == nameOrPath {
			return builtin(name)
		}
	}
	src, err := yamlfile.ReadFile(ctx, nameOrPath)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &problem.Error{Kind: problem.Input, Place: "sequence " + nameOrPath,
			Err: problem.Instead(fs.ErrNotExist, "there is no such file or built-in sequence; "+words.UseOneOf(nameOrPath, order))}
	}
	if err != nil {
		return nil, problem.Reading(fmt.Errorf("sequence: %w", err))
	}
	return parseNew(nameOrPath, src)
}

// parseNew reads a sequence that is to judge something from now on.
func parseNew(file string, src []byte) (*Sequence, error) {
	s, err := Parse(file, src)
	if err == nil {
		err = s.judged()
	}
	if err != nil {
		return nil, err
	}
	return s, nil
}
