package site

import (
	"encoding/csv"
	"encoding/json"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"makebreak/analyze"
	"makebreak/rig/capture"
	"makebreak/sequences/journal"
)

// hostileTexts do harm where they come out as they went in.
var hostileTexts = []string{
	"\x1b[2J\x1b]0;title\a", "\u009b31m\u0085", "a\u202eb\u2066\u200b\ufeff\u00ad", "\u2028\u2029\r\n", "\xff\xe2\x80", "\x00\x7f\b",
	"<script>alert(1)</script>", `"><img src=x onerror=alert(1)>`, `' onfocus='alert(1)`, "</title><script>", "</style><script>", "javascript:alert(1)", "{{.}}", "&#x202e;&lt;",
	"=1+1", "@SUM(A1)", ",;\"", strings.Repeat("x", 10_000),
}

// hostileLog is a log whose every text is hostile, and its runs' names.
func hostileLog(t *testing.T) (path string, runs []string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "log.db")
	db, err := journal.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	seed := uint64(1)
	for i, text := range hostileTexts {
		info := journal.RunInfo{Unit: text, By: text, Sequence: text, SequenceSource: text, Rig: text, RigSource: text, Program: text, Notes: text,
			Started: time.Unix(1_900_000_000, 0), Planned: 2, Fields: []journal.Field{{Name: text, Value: text}}}
		if i%2 == 0 {
			info.Seed, info.Faults = &seed, []string{strings.ReplaceAll(text, "\n", "")}
		}
		run, err := db.Begin(info)
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		runs = append(runs, run.Info().ID)
		if err := run.Append(&journal.Cycle{N: 1, Verdict: analyze.Fail, Complete: true, Measurements: []analyze.Measurement{{
			Cycle: 1, Event: text, Signal: text, Quantity: analyze.HighLevel, Value: 12.3, Expanded: 0.1,
			Limit: analyze.Limit{Lower: 12, Upper: math.NaN()}, Verdict: analyze.Pass, Doubts: analyze.InWords(text)}}}); err != nil {
			t.Fatal(err)
		}
		if err := run.Finish(journal.RunEnd{Ended: time.Unix(1_900_000_010, 0), Gravest: analyze.Fail, Reason: text, Machine: []capture.MachineFact{}}); err != nil {
			t.Fatal(err)
		}
	}
	return path, runs
}

var (
	loading = regexp.MustCompile(`(?i)^<(script|img|iframe|object|base|link|meta)\b|^[^"']*\son[a-z]+=`)
	own     = regexp.MustCompile(`^<(script src="/assets/htmx-[a-z0-9.-]+\.js" defer|link rel="(icon" href="data:,|stylesheet" href="/assets/style-[0-9a-f]{12}\.css)"|meta (charset|name|http-equiv)="[^<>]*)`)
	formula = regexp.MustCompile(`^\s*[=+\-@]`)
	figure  = regexp.MustCompile(`^-?[\d.]+(e[+-]?\d+)?$`)
	quoted  = regexp.MustCompile(`"[^"]*"|'[^']*'`)
	tag     = regexp.MustCompile(`<[^>]*>`)
)

// obeyed says what in an answer would be obeyed by what shows it; empty: nothing.
func obeyed(kind, text string) string {
	for i, r := range text {
		if r == utf8.RuneError && !strings.HasPrefix(text[i:], "\ufffd") || r != '\n' && r != '\r' && r != '\t' && (unicode.IsControl(r) || unicode.Is(unicode.Cf, r)) || r == '\u2028' || r == '\u2029' {
			return "has " + string(r) + " in " + text[max(0, i-60):min(len(text), i+20)]
		}
	}
	switch {
	case strings.HasPrefix(kind, "text/html"):
		for _, e := range tag.FindAllString(text, -1) {
			bare := quoted.ReplaceAllString(e, "")
			if loading.MatchString(bare) && !own.MatchString(e) || strings.Contains(bare, "alert") || strings.Contains(e, `href="javascript:`) {
				return "has " + e
			}
		}
	case kind == "application/json":
		if !json.Valid([]byte(text)) {
			return "is no JSON"
		}
	case strings.HasPrefix(kind, "text/csv"):
		rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
		if err != nil {
			return err.Error()
		}
		for _, row := range rows {
			for _, cell := range row {
				if formula.MatchString(cell) && !figure.MatchString(cell) {
					return "has the formula " + cell
				}
			}
		}
	}
	return ""
}

// What stands in the log or in an address is shown and never obeyed.
func TestHostile(t *testing.T) {
	t.Parallel()
	log, runs := hostileLog(t)
	s := newSite(t, Opts{Log: log})
	ask := func(address string, statuses ...int) {
		t.Helper()
		w := get(s, address)
		kind := w.Header().Get("Content-Type")
		fine := len(statuses) == 0 && w.Code == http.StatusOK
		for _, status := range statuses {
			fine = fine || w.Code == status
		}
		if bad := obeyed(kind, w.Body.String()); bad != "" || !fine {
			t.Errorf("%.200q: %d, %s", address, w.Code, bad)
		}
		for name, values := range w.Header() {
			for _, v := range values {
				if bad := obeyed("", v); bad != "" || strings.ContainsAny(v, "\r\n") {
					t.Errorf("%.200q: %s: %q", address, name, v)
				}
			}
		}
	}
	ask("/")
	ask("/metrics")
	for _, run := range runs {
		ask("/runs/" + run)
		ask("/runs/" + run + ".csv")
		ask("/runs/" + run + ".json")
	}
	for _, text := range hostileTexts {
		q := url.QueryEscape(text)
		ask("/?unit=" + q + "&sequence=" + q + "&field=" + q)
		ask("/?verdict=" + q + "&from=" + q + "&until=" + q + "&older=" + q)
		ask("/runs/"+url.PathEscape(text), http.StatusNotFound)
		ask("/assets/"+url.PathEscape(text), http.StatusNotFound)
		ask("/"+url.PathEscape(text), http.StatusNotFound)
	}
	for bad, kind := range map[string]string{"<script>alert(1)</script>": "text/html", "<p class=\"a\" onclick=\"x()\">": "text/html", "<a href=\"javascript:alert(1)\">": "text/html",
		"\x1b": "text/html", "\u202e": "text/csv", "a,=1": "text/csv", "{": "application/json"} {
		if obeyed(kind, bad) == "" {
			t.Errorf("the test takes %q for harmless", bad)
		}
	}
}

// What an address asks for is searched for as typed, or told to be wrong, and the address
// made of it asks for the same.
func FuzzReadQuery(f *testing.F) {
	f.Add("field=job%3D1234&unit=R-1&verdict=fail&from=2026-01-31&until=2026-02-01&older=7")
	f.Add("unit=%00%ff&sequence=%3Cscript%3E")
	f.Add("older=-1&older=2&from=2026-02-30&until=99999-01-01")
	f.Add("older=9223372036854775808&verdict=PASS&unit=a;b")
	f.Add("from=0000-01-01&until=9999-12-31")
	for _, text := range hostileTexts {
		f.Add("unit=" + url.QueryEscape(text))
	}
	f.Fuzz(func(t *testing.T, text string) {
		v, _ := url.ParseQuery(text) // as a request does: what can be read holds
		q, wrong := readQuery(v)
		for _, w := range wrong {
			if w != template.HTMLEscapeString(w) || !strings.HasSuffix(w, ".") {
				t.Errorf("told %q", w)
			}
		}
		if s := q.search(); s.Verdict != "" && string(s.Verdict) != v.Get("verdict") || s.Older < 0 || s.Most != pageRuns || utf8.RuneCountInString(s.Unit) > mostTyped {
			t.Errorf("searched for %+v", s)
		}
		link, err := url.Parse(q.link())
		if err != nil {
			t.Fatal(err)
		}
		again, wrong := readQuery(link.Query())
		if again != q || len(wrong) > 0 {
			t.Errorf("%+v became %+v by %s, %q", q, again, link, wrong)
		}
	})
}
