package report

import (
	"encoding/csv"
	"fmt"
	"io"

	"makebreak/rig/problem"
)

// CSV writes one row a measurement after a header row. The form is RFC 4180 with its CRLF
// line ends, in UTF-8 without a byte order mark, with a dot as the decimal point. What is
// missing is empty. Rows are written as they are read. Several records stand under one
// header.
func CSV(w io.Writer, records ...*Record) error {
	cw := newTable(w, columnsOf[result]())
	var cells []string
	for _, r := range records {
		var written error
		err := resultsOf(r).all(func(one *result) bool {
			cells = cellsOf(cells[:0], one)
			written = cw.Write(cells)
			return written == nil
		})
		if err != nil {
			cw.Flush() // the rows before the fault are good; the fault is what is returned
			return readingFailed(err)
		}
		if written != nil {
			return writingFailed("CSV", written)
		}
	}
	cw.Flush()
	return writingFailed("CSV", cw.Error())
}

// newTable begins a table with a header row. A fault of w shows at the flush.
func newTable(w io.Writer, columns []string) *csv.Writer {
	cw := csv.NewWriter(w)
	cw.UseCRLF = true // RFC 4180
	cw.Write(columns)
	return cw
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
