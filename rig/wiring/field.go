package wiring

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"makebreak/rig/words"
)

// Field is what the workshop wants noted with each run on the rig, as a job's number.
type Field struct {
	Name string
	// Required says that no run begins without it; else it is only asked for.
	Required bool
}

// MostFieldName is how many characters the name of a field may have, and MostFields how many
// fields a run.
const (
	MostFieldName = 40
	MostFields    = 20
)

// FieldFault says what is wrong with the name of a field; empty: nothing is. It is a name
// from outside as a unit's serial is, and short. A = would part it from its value.
func FieldFault(name string) string {
	if fault := words.NameFault(name); fault != "" {
		return fault
	}
	if n := utf8.RuneCountInString(name); n > MostFieldName {
		return fmt.Sprintf("it has %d characters; must be at most %d", n, MostFieldName)
	}
	if strings.Contains(name, "=") {
		return "it must not hold a ="
	}
	return ""
}
