package site

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"makebreak/sequences/journal"
	"makebreak/testdata/logs"
)

// oldLog unpacks a log that an earlier program wrote: of its runs one failed, one was
// interrupted.
func oldLog(t testing.TB) string {
	t.Helper()
	return logs.Unpack(t, filepath.Join("..", "..", "testdata", "logs", "schema-8.db.gz"))
}

func newSite(t testing.TB, opts Opts) *Site {
	t.Helper()
	opts.Failed = t.Errorf
	s, err := New(opts)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// get asks for a page.
func get(h http.Handler, address string) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", "http://localhost"+address, nil))
	return w
}

// runsIn are the runs of a log, the newest first.
func runsIn(t testing.TB, log string) []journal.RunSummary {
	t.Helper()
	db, err := journal.OpenRead(log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	runs, err := db.Runs()
	if err != nil || len(runs) < 3 {
		t.Fatalf("%d runs: %v", len(runs), err)
	}
	return runs
}

// The first page has the log's units and leads to each run's record.
func TestFirst(t *testing.T) {
	t.Parallel()
	log := oldLog(t)
	s := newSite(t, Opts{Log: log, Program: "v1.2.3"})
	page := get(s, "/").Body.String()
	for _, r := range runsIn(t, log) {
		for _, want := range []string{r.Unit, string(r.Verdict), `href="/runs/` + r.Run + `"`} {
			if !strings.Contains(page, want) {
				t.Errorf("the page has no %q", want)
			}
		}
	}
	if !strings.Contains(page, "v1.2.3") || strings.Contains(page, "<script") {
		t.Error("the page does not say the program's version, or has a script without need")
	}
}

// What is asked for is there, of the right kind, and what is not there is told as a page.
func TestRoutes(t *testing.T) {
	t.Parallel()
	log := oldLog(t)
	run, unit := runsIn(t, log)[0].Run, runsIn(t, log)[0].Unit
	own := prometheus.NewGauge(prometheus.GaugeOpts{Name: "own"})
	s := newSite(t, Opts{Log: log, Metrics: []prometheus.Collector{own}})
	for address, want := range map[string]struct {
		status     int
		kind, text string
	}{
		"/runs/" + run:                       {200, "text/html", run},
		"/runs/" + run + ".csv":              {200, "text/csv", "expanded_uncertainty"},
		"/runs/" + run + ".json":             {200, "application/json", `"run":"` + run + `"`},
		"/runs/last":                         {200, "text/html", run},
		historyAt(unit):                      {200, "text/html", "Unit " + unit},
		"/units/none":                        {404, "text/html", "no run of the unit"},
		"/units/":                            {404, "text/html", "no such page"},
		"/runs/2020-01-01.1":                 {404, "text/html", "last"},
		"/runs/":                             {404, "text/html", "no such page"},
		"/runs/" + run + "/more":             {404, "text/html", "no such page"},
		"/nowhere":                           {404, "text/html", "no such page"},
		"/now":                               {404, "text/html", "no such page"},
		"/metrics":                           {200, "text/plain", "own 0"},
		"/assets/" + s.sheetName():           {200, "text/css", "--ink"},
		"/assets/" + htmxScript:              {200, "text/javascript", "htmx"},
		"/assets/" + sseScript:               {200, "text/javascript", "EventSource"},
		"/assets/htmx-2.0.11.LICENSE":        {200, "text/plain", "Zero-Clause BSD"},
		"/assets/htmx-ext-sse-2.2.4.LICENSE": {200, "text/plain", "BSD Zero Clause"},
		"/assets/style.css":                  {404, "text/html", "no such file"},
		"/assets/..%2fstyle.css":             {404, "text/html", "no such file"},
	} {
		w := get(s, address)
		if w.Code != want.status || !strings.HasPrefix(w.Header().Get("Content-Type"), want.kind) || !strings.Contains(w.Body.String(), want.text) {
			t.Errorf("%s: %d, %s, want %d, %s with %q: %.300s", address, w.Code, w.Header().Get("Content-Type"), want.status, want.kind, want.text, w.Body)
		}
		if strings.Contains(w.Body.String(), filepath.Dir(log)) {
			t.Errorf("%s tells where the log is", address)
		}
	}
}

// The log may come, go and be replaced while it is served.
func TestLog_Replaced(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "log.db")
	s := newSite(t, Opts{Log: path})
	if w := get(s, "/"); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "There is no log yet") {
		t.Errorf("without a log: %d", w.Code)
	}
	if w := get(s, "/runs/last"); w.Code != http.StatusNotFound {
		t.Errorf("a run without a log: %d", w.Code)
	}
	log := oldLog(t)
	run := runsIn(t, log)[0].Run
	if err := os.Rename(log, path); err != nil {
		t.Fatal(err)
	}
	if w := get(s, "/"); !strings.Contains(w.Body.String(), run) {
		t.Error("a log that came is not shown")
	}
	other, err := journal.Open(filepath.Join(t.TempDir(), "other.db"))
	if err != nil {
		t.Fatal(err)
	}
	if err := other.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(other.Path(), path); err != nil {
		t.Fatal(err)
	}
	if w := get(s, "/"); !strings.Contains(w.Body.String(), "The log holds no runs yet.") {
		t.Error("a log that took the place of another is not shown")
	}
}

// What is wrong with the log is told at the terminal, and not where it is to who looks.
func TestLog_Broken(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "log.db")
	s := newSite(t, Opts{Log: path})
	told := ""
	s.opts.Failed = func(format string, args ...any) { told += fmt.Sprintf(format, args...) }
	if err := os.WriteFile(path, []byte("no log at all"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, address := range []string{"/", "/runs/last", "/runs/last.csv"} {
		told = ""
		w := get(s, address)
		if w.Code != http.StatusInternalServerError || strings.Contains(w.Body.String(), path) || !strings.Contains(told, path) {
			t.Errorf("%s: %d, told %q: %s", address, w.Code, told, w.Body)
		}
	}
}

// shown is what happens now, of a test.
type shown struct{ text string }

func (n shown) Show(_ context.Context, w io.Writer, _ string) error {
	_, err := io.WriteString(w, `<p sse-swap="level">`+n.text+`</p>`)
	return err
}
func (n shown) Style() string { return ".level{}" }
func (n shown) Changes(ctx context.Context, since uint64, _ string) ([]Piece, uint64, error) {
	if since > 0 {
		<-ctx.Done()
		return nil, 0, ctx.Err()
	}
	return []Piece{{"level", n.text}}, 1, nil
}

// What happens now stands above the log, and is sent as it changes.
func TestNow(t *testing.T) {
	t.Parallel()
	s := newSite(t, Opts{Log: oldLog(t), Now: shown{"13.04 V"}})
	page := get(s, "/").Body.String()
	if now, log := strings.Index(page, "13.04 V"), strings.Index(page, `id="log"`); now < 0 || log < now {
		t.Error("what happens now does not stand above the log")
	}
	if !strings.Contains(page, htmxScript) || !strings.Contains(get(s, "/assets/"+s.sheetName()).Body.String(), ".level{}") {
		t.Error("the page lacks the scripts or the style of what happens now")
	}
	ctx, cancel := context.WithCancel(t.Context())
	r, w := io.Pipe()
	done := make(chan struct{})
	go func() {
		defer close(done)
		s.ServeHTTP(&pipeWriter{ResponseRecorder: httptest.NewRecorder(), w: w}, httptest.NewRequest("GET", "http://localhost/now", nil).WithContext(ctx))
	}()
	got := make([]byte, 100)
	n, err := io.ReadAtLeast(r, got, len("event: level\ndata: 13.04 V\n\n"))
	if err != nil || string(got[:n]) != "event: level\ndata: 13.04 V\n\n" {
		t.Errorf("%q, %v", got[:n], err)
	}
	cancel()
	<-done
}

// pipeWriter passes on what is written.
type pipeWriter struct {
	*httptest.ResponseRecorder
	w io.Writer
}

func (p *pipeWriter) Write(b []byte) (int, error) { return p.w.Write(b) }

// The metrics have what the log holds. Without a log they say that it cannot be read.
func TestMetrics(t *testing.T) {
	t.Parallel()
	log := oldLog(t)
	failed := map[string]bool{} // units by the sequence of their runs that failed
	for _, r := range runsIn(t, log) {
		failed[r.Sequence] = failed[r.Sequence] || r.Verdict == "fail"
	}
	s := newSite(t, Opts{Log: log})
	text := get(s, "/metrics").Body.String()
	for sequence, want := range failed {
		none := `makebreak_log_runs{sequence="` + sequence + `",simulated="true",verdict="fail"} 0`
		if !strings.Contains(text, `makebreak_log_runs{sequence="`+sequence+`"`) || strings.Contains(text, none) == want {
			t.Errorf("%s: runs that failed: %t, told in %s", sequence, want, text)
		}
	}
	for _, want := range []string{"makebreak_log_readable 1", "makebreak_log_size_bytes", "makebreak_log_free_bytes", "makebreak_log_last_run_timestamp_seconds"} {
		if !strings.Contains(text, want) {
			t.Errorf("there is no %s in %s", want, text)
		}
	}
	none := newSite(t, Opts{Log: filepath.Join(t.TempDir(), "none.db")})
	if w := get(none, "/metrics"); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "makebreak_log_readable 0") {
		t.Errorf("without a log: %d, %s", w.Code, w.Body)
	}
}

// A log is not counted again at once. What goes on is told as it is now, and has the log counted
// sooner.
func TestCounts_Shared(t *testing.T) {
	t.Parallel()
	log := &logFile{path: oldLog(t)}
	defer log.Close()
	now := time.Unix(1_900_000_000, 0)
	c := &counts{source: log, now: func() time.Time { now = now.Add(time.Second); return now }} // counting takes a second
	want := func(ended, running int) {
		t.Helper()
		h, err := c.holds()
		if err != nil {
			t.Fatal(err)
		}
		sum := 0
		for _, by := range h.Runs {
			for _, n := range by {
				sum += n
			}
		}
		if sum != ended || len(h.Now) != running {
			t.Errorf("%d runs have ended and %d go on, want %d and %d", sum, len(h.Now), ended, running)
		}
	}
	before := len(runsIn(t, log.path))
	want(before, 0)
	db, err := journal.Open(log.path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var runs []*journal.Run
	for range 2 {
		run, err := db.Begin(journal.RunInfo{Started: now})
		if err != nil {
			t.Fatal(err)
		}
		runs = append(runs, run)
	}
	want(before, 2)
	if err := runs[0].Finish(journal.RunEnd{Ended: now}); err != nil {
		t.Fatal(err)
	}
	want(before, 1) // not counted yet
	now = now.Add(changedShare * time.Second)
	want(before+1, 1)
	counted := c.at
	now = now.Add(changedShare * time.Second)
	want(before+1, 1)
	if !c.at.Equal(counted) {
		t.Error("the log was counted again although nothing has begun or ended")
	}
	now = now.Add(countShare * time.Second)
	want(before+1, 1)
	if c.at.Equal(counted) {
		t.Error("the log was not counted again")
	}
	if err := runs[1].Finish(journal.RunEnd{Ended: now}); err != nil {
		t.Fatal(err)
	}
}
