package sheet

import (
	_ "embed"
	"errors"
	"html/template"
	"io"

	"makebreak/analyze/look"
	"makebreak/analyze/picture"
	"makebreak/rig/words"
	"makebreak/sequences"
)

//go:embed sheet.html
var pageSource string

var sheetPage = look.NewPage(pageSource)

// page is what the page shows.
type page struct {
	Title, Simulated string
	Wiring, Card     template.HTML
	Sentences        []string
	Lines            []Line
}

// HTML writes a bench's wiring and, where a sequence is given, its job card as one page that
// stands alone.
func HTML(w io.Writer, b *picture.Bench, seq *sequences.Sequence, simulated bool) error {
	p := page{Title: "Bench sheet: " + words.Safe(b.Name), Sentences: words.Texts(Sentences(b), words.Safe)}
	if simulated {
		p.Simulated = "A simulated bench: nothing of it is real."
	}
	var err, cardErr error
	p.Wiring, err = look.Drawn(picture.NewWiring(b).Inline)
	if seq != nil {
		p.Card, cardErr = look.Drawn(Card(seq).Inline)
		for _, l := range Lines(seq) {
			p.Lines = append(p.Lines, Line{words.Safe(l.Signal), words.Safe(l.Demanded), words.Safe(l.Limits)})
		}
	}
	if err := errors.Join(err, cardErr); err != nil {
		return err
	}
	return sheetPage.Write(w, p)
}
