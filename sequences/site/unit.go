package site

import (
	"bytes"
	"net/http"
	"net/url"

	"makebreak/rig/web"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
	"makebreak/sequences/record"
)

// mostLife is how many runs of a unit one page has: each is read whole to make it.
const mostLife = 100

// historyAt is the address of a unit's history; empty: it can have none. A browser takes dots
// alone for folders.
func historyAt(unit string) string {
	if unit == "" || unit == "." || unit == ".." {
		return ""
	}
	return "/units/" + url.PathEscape(unit)
}

// unit answers with the history of a unit.
func (s *Site) unit(w http.ResponseWriter, r *http.Request) {
	var made bytes.Buffer
	err := s.source.Unit(r.Context(), r.PathValue("unit"), func(db *journal.DB) error {
		if !s.share.Begin(r.Context()) {
			return errBusy
		}
		defer s.share.End()
		h, err := record.History(db, r.PathValue("unit"), mostLife)
		if err != nil {
			return err
		}
		safe := &words.Writer{W: &made}
		if err := h.HTML(safe); err != nil {
			return err
		}
		return safe.Flush()
	})
	web.Ready(w)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	w.Header().Set("Content-Security-Policy", recordPolicy)
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = made.WriteTo(w) // it fails only where the client has gone
}
