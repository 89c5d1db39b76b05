package report

import (
	"fmt"
	"io"

	"makebreak/rig/problem"
	"makebreak/rig/table"
)

// CSV writes one row a measurement after a header row. The form is RFC 4180 with its CRLF
// line ends, in UTF-8 without a byte order mark, with a dot as the decimal point. What is
// missing is empty. Rows are written as they are read. Several records stand under one
// header.
func CSV(w io.Writer, records ...*Record) error {
	cw := table.NewCSV(w, columnsOf[result]()...)
	var cells []table.Cell
	for _, r := range records {
		var written error
		err := resultsOf(r).all(func(one *result) bool {
			cells = cellsOf(cells[:0], one)
			written = cw.Row(cells...)
			return written == nil
		})
		if err != nil {
			_ = cw.Flush() // the rows before the fault are good; the fault is what is returned
			return readingFailed(err)
		}
		if written != nil {
			return writingFailed("CSV", written)
		}
	}
	return writingFailed("CSV", cw.Flush())
}

// readingFailed is the error of measurements that could not be read to their end.
func readingFailed(err error) error { return fmt.Errorf("read the measurements: %w", err) }

// writingFailed is the error of a record that could not be written in a form; nil stays
// nil.
func writingFailed(form string, err error) error {
	if err == nil {
		return nil
	}
	return &problem.Error{Kind: problem.Storage, Op: "write the record as " + form, Err: err}
}
