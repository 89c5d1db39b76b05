// Package look holds what all pages of the program have in common to the eye: colours by day
// and by night, type, tables, and what verdicts look like. A page adds its own to it.
package look

import (
	_ "embed"

	"makebreak/analyze/picture"
)

//go:embed look.css
var common string

// Style is the style sheet of all pages, with that of the drawings on them.
func Style() string { return common + picture.Style() + "\n" }
