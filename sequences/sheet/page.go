package sheet

import (
	"bytes"
	_ "embed"
	"errors"
	"html/template"
	"io"
	"strings"
	"sync"

	"makebreak/analyze/look"
	"makebreak/analyze/picture"
	"makebreak/rig/words"
	"makebreak/sequences"
)

//go:embed sheet.html
var pageSource string

var pageTemplate = sync.OnceValue(func() *template.Template { return template.Must(template.New("sheet").Parse(pageSource)) })

// page is what the template shows. All texts are plain; the template escapes.
type page struct {
	Title, Simulated string
	Wiring, Card     template.HTML
	Sentences        []string
	Lines            []Line
	Style            template.CSS
}

// HTML writes a bench's wiring and, where a sequence is given, its job card as one page that
// stands alone.
func HTML(w io.Writer, b *picture.Bench, seq *sequences.Sequence, simulated bool) error {
	p := page{Title: "Bench sheet: " + words.Safe(b.Name), Style: look.FileStyle(), Sentences: words.Texts(Sentences(b), words.Safe)}
	if simulated {
		p.Simulated = "A simulated bench: nothing of it is real."
	}
	var err, cardErr error
	p.Wiring, err = drawn(picture.NewWiring(b).Inline)
	if seq != nil {
		p.Card, cardErr = drawn(Card(seq).Inline)
		for _, l := range Lines(seq) {
			p.Lines = append(p.Lines, Line{words.Safe(l.Signal), words.Safe(l.Demanded), words.Safe(l.Limits)})
		}
	}
	if err := errors.Join(err, cardErr); err != nil {
		return err
	}
	return pageTemplate().Execute(w, p)
}

// drawn is a drawing as a part of a page. Drawings escape what they hold.
func drawn(write func(io.Writer) error) (template.HTML, error) {
	var b bytes.Buffer
	err := write(&b)
	return template.HTML(strings.TrimSpace(b.String())), err
}
