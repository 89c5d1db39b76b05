package look

import (
	"bytes"
	_ "embed"
	"html/template"
	"io"
	"sync"

	"makebreak/analyze"
)

//go:embed frame.html
var frame string

//go:embed file.css
var file string

// Page is a page that stands alone, as a file that can be printed: no script, nothing fetched.
type Page struct{ template func() *template.Template }

// NewPage returns the page of which sources define the parts "title", "main", and "style", which
// is what it adds to the rules of all such pages. They are parsed when the page is first made.
//
// A part has the data of Execute, and the function mark, which gives the mark of a verdict's
// name. Within "style", the part "cards" shows all tables as cards on a phone.
func NewPage(sources ...string) *Page {
	return &Page{sync.OnceValue(func() *template.Template {
		t := template.New("page").Funcs(template.FuncMap{
			"mark":  func(verdict string) string { return analyze.Verdict(verdict).Mark() },
			"rules": func() template.CSS { return template.CSS(Style() + file) },
		})
		for _, s := range append([]string{frame}, sources...) {
			template.Must(t.Parse(s))
		}
		return t
	})}
}

// Execute makes the page. Texts in data are plain: they are escaped.
func (p *Page) Execute(data any) (*bytes.Buffer, error) {
	var b bytes.Buffer
	return &b, p.template().Execute(&b, data)
}

// Write makes the page and writes it. Nothing is written where it cannot be made.
func (p *Page) Write(w io.Writer, data any) error {
	b, err := p.Execute(data)
	if err != nil {
		return err
	}
	_, err = b.WriteTo(w)
	return err
}

// Drawn is a drawing as a part of a page, which holds the drawings' style. Drawings escape what
// they hold.
func Drawn(write func(io.Writer) error) (template.HTML, error) {
	var b bytes.Buffer
	err := write(&b)
	return template.HTML(b.String()), err
}
