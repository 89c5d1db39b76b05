package table

import (
	"encoding/json"
	"io"
)

// JSON writes a value as JSON that a person can read as well: indented, with <, > and & as they are.
func JSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}
