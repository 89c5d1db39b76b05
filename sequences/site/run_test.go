package site

import (
	"bytes"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"testing"

	"makebreak/analyze/report"
	"makebreak/rig/web"
	"makebreak/sequences/journal"
	"makebreak/sequences/record"
)

// What is sent in pieces is what the command writes, also beside a run.
func TestRun_Whole(t *testing.T) {
	t.Parallel()
	log := oldLog(t)
	s := newSite(t, Opts{Log: log, Beside: true})
	s.parts = parts{cycles: 4, bytes: 5000}
	db, err := journal.OpenRead(log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	longest := ""
	most := 0
	for _, r := range runsIn(t, log) {
		if r.Cycles > most {
			longest, most = r.Run, r.Cycles
		}
	}
	if most <= 2*s.parts.cycles {
		t.Fatalf("the longest run has %d cycles", most)
	}
	rec, err := db.Find(longest)
	if err != nil {
		t.Fatal(err)
	}
	made, err := record.Of(rec, "")
	if err != nil {
		t.Fatal(err)
	}
	for end, write := range map[string]func(io.Writer, *report.Record) error{
		".csv":  func(w io.Writer, r *report.Record) error { return report.CSV(w, r) },
		".json": func(w io.Writer, r *report.Record) error { return report.JSON(w, r) },
		"":      report.HTML,
	} {
		var want bytes.Buffer
		if err := write(&want, made); err != nil {
			t.Fatal(err)
		}
		if got := get(s, "/runs/"+longest+end).Body.Bytes(); !bytes.Equal(got, want.Bytes()) {
			t.Errorf("%q: %d bytes, want %d that are the same", end, len(got), want.Len())
		}
	}
}

// Who asks for the header alone gets no record made.
func TestRun_Head(t *testing.T) {
	t.Parallel()
	s := newSite(t, Opts{Log: oldLog(t)})
	w := httptest.NewRecorder()
	s.ServeHTTP(w, httptest.NewRequest("HEAD", "http://localhost/runs/last.csv", nil))
	if w.Code != http.StatusOK || w.Body.Len() > 0 || w.Header().Get("Content-Disposition") == "" {
		t.Errorf("%d, %d bytes, %v", w.Code, w.Body.Len(), w.Header())
	}
}

// An answer that does not come to its end is cut off, and the next one has its turn.
func TestRun_CutOff(t *testing.T) {
	t.Parallel()
	s := newSite(t, Opts{Log: oldLog(t)})
	for range 3 {
		func() {
			defer func() {
				if p := recover(); p != http.ErrAbortHandler {
					t.Errorf("it ended with %v", p)
				}
			}()
			s.ServeHTTP(&gone{httptest.NewRecorder()}, httptest.NewRequest("GET", "http://localhost/runs/last.csv", nil))
		}()
	}
	if w := get(s, "/runs/last"); w.Code != http.StatusOK {
		t.Errorf("the next one: %d", w.Code)
	}
}

// gone is a client that takes nothing.
type gone struct{ *httptest.ResponseRecorder }

func (*gone) Write([]byte) (int, error) { return 0, errors.New("it has gone") }

// Where too many wait for a record, that is told; the log is shown all the same.
func TestRun_Busy(t *testing.T) {
	t.Parallel()
	s := newSite(t, Opts{Log: oldLog(t)})
	s.share = web.NewShare(1, 0)
	for _, address := range []string{"/runs/last", "/runs/last.csv", "/?unit=R"} {
		w := get(s, address)
		if w.Code != http.StatusServiceUnavailable || w.Header().Get("Retry-After") == "" || w.Header().Get("Content-Disposition") != "" {
			t.Errorf("%s: %d, %v", address, w.Code, w.Header())
		}
	}
	if w := get(s, "/"); w.Code != http.StatusOK {
		t.Errorf("the first page: %d", w.Code)
	}
}
