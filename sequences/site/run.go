package site

import (
	"bytes"
	"context"
	"errors"
	"io"
	"mime"
	"net/http"
	"strings"

	"makebreak/analyze/report"
	"makebreak/rig/web"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
	"makebreak/sequences/record"
)

// form is a form of a run's record.
type form struct {
	end    string // of the address
	kind   string // Content-Type
	policy string // Content-Security-Policy
	// table says that it has a row for each figure: it may be long, and is sent while it is made.
	table bool
	json  bool
	write func(w io.Writer, r *report.Record) error
}

// The record's own page has its styles in it, and nothing else.
const recordPolicy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; form-action 'none'; frame-ancestors 'none'; base-uri 'none'"

var forms = []form{
	{end: ".csv", kind: "text/csv; charset=utf-8; header=present", table: true, write: func(w io.Writer, r *report.Record) error { return report.CSV(w, r) }},
	{end: ".json", kind: "application/json", table: true, json: true, write: func(w io.Writer, r *report.Record) error { return report.JSON(w, r) }},
	{kind: "text/html; charset=utf-8", policy: recordPolicy, write: report.HTML},
}

// formOf parts an address's last part into a run's name and a form.
func formOf(address string) (name string, f form) {
	for _, f := range forms {
		if name, is := strings.CutSuffix(address, f.end); is {
			return name, f
		}
	}
	return address, form{} // not reached: the last form has no end
}

// run answers with a run's record. Making it waits for its turn, sending it keeps nobody from theirs.
func (s *Site) run(w http.ResponseWriter, r *http.Request) {
	name, f := formOf(r.PathValue("run"))
	var made bytes.Buffer
	err := s.source.Run(r.Context(), name, func(db *journal.DB, name string) error {
		if !s.share.Begin(r.Context()) {
			return errBusy
		}
		if f.table {
			return s.sendTable(w, r, f, db, name)
		}
		defer s.share.End()
		rec, err := recordIn(db, name)
		if err != nil {
			return err
		}
		return f.make(&made, rec)
	})
	web.Ready(w)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	if f.table {
		return
	}
	w.Header().Set("Content-Security-Policy", f.policy)
	w.Header().Set("Content-Type", f.kind)
	_, _ = made.WriteTo(w) // it fails only where the client has gone
}

func recordIn(db *journal.DB, name string) (*report.Record, error) {
	rec, err := db.Find(name)
	if err != nil {
		return nil, err
	}
	return record.Of(rec, "")
}

// sendTable sends a long form, and ends the turn in which that begins.
func (s *Site) sendTable(w http.ResponseWriter, r *http.Request, f form, db *journal.DB, name string) error {
	turn := &turn{share: s.share, has: true}
	defer turn.end()
	rec, err := db.Find(name)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": words.Safe(rec.ID) + f.end}))
	w.Header().Set("Content-Type", f.kind)
	if r.Method != http.MethodHead {
		s.send(w, r, f, rec, turn)
	}
	return nil
}

var errBusy = errors.New("too many records are being made")

// make makes the form of a record, in which nothing is obeyed by what shows it.
func (f *form) make(w io.Writer, r *report.Record) error {
	safe := &words.Writer{W: w, JSON: f.json}
	if err := f.write(safe, r); err != nil {
		return err
	}
	return safe.Flush()
}

// send makes a long form and sends it meanwhile. One that does not come to its end is cut
// off, so that the client does not take it for whole.
func (s *Site) send(w http.ResponseWriter, r *http.Request, f form, rec *journal.RunRecord, t *turn) {
	web.Stream(w, r, func(ctx context.Context, more func() error) {
		err := sendRecord(&sender{w: w, ctx: ctx, more: more, turn: t, most: s.parts.bytes}, f, rec, s.parts.cycles)
		if err == nil {
			return
		}
		if ctx.Err() == nil && !errors.Is(err, errClient) {
			s.opts.Failed("log: %v", err)
		}
		panic(http.ErrAbortHandler)
	})
}

func sendRecord(out *sender, f form, rec *journal.RunRecord, cycles int) error {
	made, err := record.Of(rec, "")
	if err != nil {
		return err
	}
	made.Measurements = inParts(rec, cycles)
	if err := f.make(out, made); err != nil {
		return err
	}
	return out.flush()
}
