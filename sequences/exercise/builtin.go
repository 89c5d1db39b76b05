package exercise

import (
	"context"
	"embed"

	"makebreak/rig/yamlfile"
)

//go:embed builtin/*.yaml
var files embed.FS

// library has the built-in exercises by grade.
var library = yamlfile.Library[*Definition]{Kind: "exercise", Files: files, Parse: Parse, Names: []string{
	"quiet-siren", "ready-lamp", "other-way-round", "patient-lamp", "short-beep", "half-armed",
	"thin-supply", "clinging-relay", "two-grounds", "dead-line", "missing-diode", "joined-terminals", "light-load",
	"worn-relay", "sour-contact", "unit-or-bench", "two-at-once", "humming-board",
}}

// Builtin returns the built-in exercises.
func Builtin() []*Definition { return library.Builtin() }

// Load reads an exercise: a built-in name first, then a file. Where there is neither, the
// error lists the built-in names and wraps fs.ErrNotExist. Waiting for a pipe ends with the
// context.
func Load(ctx context.Context, nameOrPath string) (*Definition, error) {
	return library.Load(ctx, nameOrPath)
}
