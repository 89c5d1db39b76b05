package report

import (
	_ "embed"
	"io"
)

//go:embed schema.json
var schema []byte

// Schema writes the JSON Schema (draft 2020-12) of all that is written as JSON about runs:
// records, the list of runs and uncertainty budgets.
func Schema(w io.Writer) error {
	_, err := w.Write(schema)
	return writingFailed("JSON Schema", err)
}
