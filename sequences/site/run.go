package site

import (
	"bytes"
	"io"
	"mime"
	"net/http"
	"strings"

	"makebreak/analyze/report"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
	"makebreak/sequences/record"
)

// form is a form of a run's record.
type form struct {
	end   string // of the address
	kind  string // Content-Type
	saved bool   // a browser saves it instead of showing it
	write func(w io.Writer, r *report.Record) error
}

// The record's own page may have styles in it, and nothing else.
const recordPolicy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; form-action 'none'; frame-ancestors 'none'; base-uri 'none'"

var forms = []form{
	{".csv", "text/csv; charset=utf-8; header=present", true, func(w io.Writer, r *report.Record) error { return report.CSV(w, r) }},
	{".json", "application/json", false, func(w io.Writer, r *report.Record) error { return report.JSON(w, r) }},
	{"", "text/html; charset=utf-8", false, report.HTML},
}

// run answers with a run's record.
func (s *Site) run(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("run")
	var f form
	for _, f = range forms {
		if rest, is := strings.CutSuffix(name, f.end); is {
			name = rest
			break
		}
	}
	var b bytes.Buffer
	err := s.log.read(func(db *journal.DB) error {
		rec, err := db.Find(name)
		if err != nil {
			return err
		}
		made, err := record.Of(rec, "")
		if err != nil {
			return err
		}
		safe := &words.Writer{W: &b, JSON: f.end == ".json"}
		if err := f.write(safe, made); err != nil {
			return err
		}
		name = rec.ID
		return safe.Flush()
	})
	if err != nil {
		s.failed(w, r, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", f.kind)
	if f.saved {
		h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": words.Safe(name) + f.end}))
	}
	if f.end == "" {
		h.Set("Content-Security-Policy", recordPolicy)
	}
	_, _ = b.WriteTo(w) // a client that has gone is none to tell
}
