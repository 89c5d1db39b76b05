package report

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"time"

	"makebreak/analyze"
)

// numeric names the columns that JSON writes as numbers.
var numeric = map[string]bool{
	"cycle": true, "value": true, "expanded_uncertainty": true,
	"lower_limit": true, "upper_limit": true,
}

// JSON writes one object: run, unit, started (RFC 3339), verdict, measurements
// (the columns of CSV by name, one measurement a line), findings and, where there are
// any, planted_faults. Numbers are
// numbers with the digits that CSV has. What is missing is null. It streams.
// Several records make an array of such objects.
func JSON(w io.Writer, records ...*Record) error {
	bw := bufio.NewWriter(w)
	if err := writeAllJSON(bw, records); err != nil {
		return fmt.Errorf("report: json: %w", err)
	}
	if err := bw.Flush(); err != nil {
		return fmt.Errorf("report: json: %w", err)
	}
	return nil
}

func writeAllJSON(w *bufio.Writer, records []*Record) error {
	if len(records) == 1 {
		return writeJSON(w, records[0])
	}
	w.WriteString("[\n")
	for i, r := range records {
		if i > 0 {
			w.WriteString(",\n")
		}
		if err := writeJSON(w, r); err != nil {
			return err
		}
	}
	_, err := w.WriteString("]\n")
	return err
}

func writeJSON(w *bufio.Writer, r *Record) error {
	fmt.Fprintf(w, "{\n\"run\":%s,\n\"unit\":%s,\n\"started\":%s,\n\"verdict\":%s,\n\"measurements\":[",
		quoted(r.Run), quoted(r.Unit), quoted(MachineTime(r.Started)), quoted(string(r.Verdict)))
	comma := "\n"
	for m, err := range r.measurements() {
		if err != nil {
			return fmt.Errorf("reading the measurements: %w", err)
		}
		w.WriteString(comma)
		if _, err := w.Write(object(r, m)); err != nil {
			return err
		}
		comma = ",\n"
	}
	w.WriteString("\n],\n\"findings\":[")
	comma = "\n"
	for _, f := range findingsOf(r) {
		fmt.Fprintf(w, "%s{\"signal\":%s,\"verdict\":%s,\"text\":%s}",
			comma, quoted(f.Signal), quoted(string(f.Verdict)), quoted(f.Text))
		comma = ",\n"
	}
	w.WriteString("\n]")
	if len(r.Faults) > 0 {
		w.WriteString(",\n\"planted_faults\":")
		w.Write(list(r.Faults))
	}
	if r.Tally != nil {
		b, err := json.Marshal(soakObjectOf(r))
		if err != nil {
			return err
		}
		w.WriteString(",\n\"soak\":")
		w.Write(b)
	}
	_, err := w.WriteString("\n}\n") // a writer that failed once fails again here
	return err
}

// list returns texts as a JSON array.
func list(texts []string) []byte {
	b := []byte{'['}
	for i, s := range texts {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(b, quoted(s)...)
	}
	return append(b, ']')
}

// MachineTime is an instant as machines read it, by RFC 3339 to the second; empty where it
// is not known.
func MachineTime(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.RFC3339)
}

// object returns the measurement as a JSON object on one line.
func object(r *Record, m analyze.Measurement) []byte {
	b := make([]byte, 0, 512)
	for i, cell := range cells(r, m) {
		b = append(b, "{,"[min(i, 1)], '"')
		b = append(b, columns[i]...)
		b = append(b, '"', ':')
		if cell != "" && numeric[columns[i]] {
			b = append(b, cell...)
		} else {
			b = append(b, quoted(cell)...)
		}
	}
	return append(b, '}')
}

// quoted returns s as a JSON string, or null where there is nothing to say.
func quoted(s string) string {
	if s == "" {
		return "null"
	}
	if !strings.ContainsFunc(s, needsCare) { // nearly all; sparing the encoder makes a record three times faster
		return `"` + s + `"`
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(plainText(s)); err != nil { // a string always encodes
		return "null"
	}
	return string(bytes.TrimRight(b.Bytes(), "\n"))
}

// needsCare reports whether r cannot stand in a JSON string just as it is.
func needsCare(r rune) bool { return r < ' ' || r > '~' || r == '"' || r == '\\' }
