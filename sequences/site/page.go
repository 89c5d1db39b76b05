package site

import (
	"bytes"
	_ "embed" // the pages
	"html/template"
	"net/http"
	"sync"

	"makebreak/rig/words"
)

//go:embed page.html
var pageSource string

//go:embed exercises.html
var exercisesSource string

var pages = sync.OnceValue(func() *template.Template {
	return template.Must(template.Must(template.New("").Parse(pageSource)).Parse(exercisesSource))
})

// policy is the Content-Security-Policy of the site's pages.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src data:; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"

// page is what all pages have.
type page struct {
	Title   string
	Sheet   string
	Scripts []string
	Program string
	Refresh int // seconds after which a page without scripts is asked for again; 0: never
	// Exercises says that there are some.
	Exercises bool
	// Archive says that an archive is served in place of a log.
	Archive bool
}

// Held is what holds the runs.
func (p page) Held() string {
	if p.Archive {
		return "archive"
	}
	return "log"
}

func (s *Site) page(title string) page {
	return page{Title: title, Sheet: s.sheetName(), Program: s.opts.Program, Exercises: s.practice != nil, Archive: s.opts.Archive != nil}
}

// write answers with a page by the name of its template.
func (s *Site) write(w http.ResponseWriter, status int, name string, data any) {
	var b bytes.Buffer
	if err := pages().ExecuteTemplate(&b, name, data); err != nil {
		panic(err) // the templates are the program's own
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", policy)
	w.WriteHeader(status)
	_, _ = b.WriteTo(w) // it fails only where the client has gone
}

// told is a page that says one thing.
type told struct {
	page
	Text string
}

// tell answers with a sentence.
func (s *Site) tell(w http.ResponseWriter, status int, text string) {
	s.write(w, status, "told", told{s.page(http.StatusText(status)), words.Safe(text)})
}
