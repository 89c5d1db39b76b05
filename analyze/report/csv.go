package report

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"

	"makebreak/analyze"
)

// columns are the columns of the results, in order; JSON uses the same names.
var columns = []string{
	"run", "unit", "cycle", "event", "signal", "quantity", "value", "unit_of_measure",
	"expanded_uncertainty", "lower_limit", "upper_limit", "verdict", "reason",
}

// Columns returns the names of the results' columns, in order.
func Columns() []string { return append([]string(nil), columns...) }

// CSV writes one row a measurement after a header row: RFC 4180 with its CRLF
// line ends, UTF-8 without a byte order mark, a dot as the decimal point. What
// is missing is empty. It streams. Several records stand under one header.
func CSV(w io.Writer, records ...*Record) error {
	cw := csv.NewWriter(w)
	cw.UseCRLF = true
	if err := cw.Write(columns); err != nil {
		return fmt.Errorf("report: csv: %w", err)
	}
	for _, r := range records {
		for m, err := range r.measurements() {
			if err != nil {
				cw.Flush() // the rows before the fault are good; the fault is what is returned
				return fmt.Errorf("report: csv: reading the measurements: %w", err)
			}
			if err := cw.Write(cells(r, m)); err != nil {
				return fmt.Errorf("report: csv: %w", err)
			}
		}
	}
	cw.Flush()
	if err := cw.Error(); err != nil {
		return fmt.Errorf("report: csv: %w", err)
	}
	return nil
}

// cells returns the measurement's row, in the order of the columns; an empty
// cell is a missing one.
func cells(r *Record, m analyze.Measurement) []string {
	value, expanded := Round(m.Quantity, m.Value, m.Expanded)
	cycle := ""
	if m.Cycle > 0 {
		cycle = strconv.Itoa(m.Cycle)
	}
	return []string{
		plainText(r.Run), plainText(r.Unit), cycle, plainText(m.Event), plainText(m.Signal),
		plainText(string(m.Quantity)), value, m.Quantity.Unit(), expanded,
		shortest(m.Limit.Lower), shortest(m.Limit.Upper), string(m.Verdict), plainText(m.Reason),
	}
}
