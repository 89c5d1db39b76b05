package live

import (
	"bytes"
	"context"
	_ "embed" // the page and its style
	"fmt"
	"hash/fnv"
	"html/template"
	"io"
	"slices"
	"strings"
	"sync"
	"time"

	"makebreak/analyze"
	"makebreak/sequences/site"
)

//go:embed page.html
var pageSource string

//go:embed style.css
var sheet string

var pages = sync.OnceValue(func() *template.Template { return template.Must(template.New("").Parse(pageSource)) })

// A Run is a run as a page shows it.
type Run struct {
	*State
	Plan   *analyze.Plan // what the unit must do; nil: not known
	Record string        // address of its record; empty: there is none yet
	Doubt  string        // why what is shown may not be how it is; empty: nothing is doubtful
}

// A Source has the runs that are shown.
type Source interface {
	// Next returns them once they differ from those of the number since, with a new number, and
	// waits for that; 0: at once. The error is the context's.
	Next(ctx context.Context, since uint64) ([]Run, uint64, error)
}

// A Page shows what happens now. It is a site.Now.
type Page struct {
	source Source
	mu     sync.Mutex
	made   map[string]*made // by the unit's key that was asked for; empty: all units
}

var _ site.Now = (*Page)(nil)

// NewPage returns the page of a source.
func NewPage(s Source) *Page { return &Page{source: s, made: map[string]*made{}} }

// made is what a page was made of last, for all who look at it.
type made struct {
	number   uint64
	keys     []string // of what is shown
	whole    piece
	pieces   []piece
	diagrams map[string]diagram // by run's key
}

// piece is a part of the page that is sent by itself.
type piece struct {
	name, html string
	changed    uint64 // number of the state that changed it last
}

// diagram is a drawing that is kept until another cycle is shown.
type diagram struct {
	results int
	html    template.HTML
}

// Style implements site.Now.
func (p *Page) Style() string { return sheet }

// Show implements site.Now.
func (p *Page) Show(ctx context.Context, w io.Writer, of string) error {
	_, err := fmt.Fprintf(w, `<div class="runs" sse-swap="%s">%s</div>`, wholePiece, p.whole(ctx, of))
	return err
}

// patience is how long a page waits for what happens now.
const patience = 5 * time.Second

// late is in the place of what could not be had in time: the stream brings it.
const late = `<p class="idle">What happens now is not known yet.</p>`

// whole is all of it as it is now.
func (p *Page) whole(ctx context.Context, of string) string {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	runs, number, err := p.source.Next(ctx, 0)
	if err != nil {
		return late
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.make(runs, number, of).whole.html
}

// Changes implements site.Now.
func (p *Page) Changes(ctx context.Context, since uint64, of string) ([]site.Piece, uint64, error) {
	runs, number, err := p.source.Next(ctx, since)
	if err != nil {
		return nil, 0, err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	m := p.make(runs, number, of)
	if m.whole.changed > since {
		return []site.Piece{{Name: wholePiece, HTML: m.whole.html}}, m.number, nil
	}
	var all []site.Piece
	for _, x := range m.pieces {
		if x.changed > since {
			all = append(all, site.Piece{Name: x.name, HTML: x.html})
		}
	}
	return all, m.number, nil
}

// wholePiece is the name of the piece that all others are in.
const wholePiece = "runs"

// shownView is one unit, or several that are tested at the same time.
type shownView struct {
	Group *groupView
	Unit  *view
}

// parts are the templates of a run's pieces, groupParts those of several units'.
var (
	parts      = []string{"say", "top", "step", "rig", "findings", "results", "diagram"}
	groupParts = []string{"groupsay", "grouptop", "groupstep"}
)

// make makes the pieces of a state, unless that has been done: of one unit of several, by its key,
// or of all there is. Callers have the mutex.
func (p *Page) make(runs []Run, number uint64, of string) *made {
	shown := chosen(runs, of)
	if shown == nil {
		shown, of = grouped(runs), "" // it is not there any more, or never was
	}
	p.forget(runs)
	m := p.made[of]
	if m == nil {
		m = &made{}
		p.made[of] = m
	}
	if number <= m.number && m.number > 0 {
		return m
	}
	m.show(shown, number, of != "")
	return m
}

// show makes the pieces of what is shown anew. Alone says that it is one unit of several.
func (m *made) show(shown [][]Run, number uint64, alone bool) {
	next := made{number: number, keys: m.keys, whole: m.whole, diagrams: map[string]diagram{}}
	var keys []string
	var views []shownView
	for _, g := range shown {
		if len(g) > 1 {
			v := groupOf(g)
			keys = append(keys, v.keys()...)
			next.addGroup(v, m)
			views = append(views, shownView{Group: v})
			continue
		}
		v := viewOf(&g[0])
		v.Others = alone
		keys = append(keys, v.Key)
		next.addUnit(&g[0], &v, m)
		views = append(views, shownView{Unit: &v})
	}
	if !slices.Equal(keys, m.keys) || m.whole.html == "" {
		next.keys, next.whole.changed = keys, number
	}
	next.whole.html = executed("runs", views)
	*m = next
}

// addGroup adds the pieces of several units.
func (m *made) addGroup(v *groupView, before *made) {
	for _, part := range groupParts {
		m.add(part, v.Key, v, before)
	}
	for _, row := range v.Rows {
		m.add("row", row.Key, row, before)
	}
}

// addUnit adds the pieces of one unit. Its diagram is drawn where it is another than before.
func (m *made) addUnit(r *Run, v *view, before *made) {
	d := before.diagrams[v.Key]
	if x := r.Results; x != nil && (x.Number != d.results || d.html == "") {
		d = diagram{x.Number, draw(r)}
	}
	m.diagrams[v.Key], v.Diagram = d, d.html
	for _, part := range parts {
		m.add(part, v.Key, v, before)
	}
}

// add adds a piece, which has changed where it is another than before.
func (m *made) add(part, key string, data any, before *made) {
	x := piece{part + "-" + key, executed(part, data), m.number}
	if k := slices.IndexFunc(before.pieces, func(b piece) bool { return b.name == x.name }); k >= 0 && before.pieces[k].html == x.html {
		x.changed = before.pieces[k].changed
	}
	m.pieces = append(m.pieces, x)
}

// forget drops what was made of units that are not shown any more.
func (p *Page) forget(runs []Run) {
	for of := range p.made {
		if of != "" && chosen(runs, of) == nil {
			delete(p.made, of)
		}
	}
}

func executed(name string, data any) string {
	var b bytes.Buffer
	if err := pages().ExecuteTemplate(&b, name, data); err != nil {
		panic(err) // the templates are the program's own
	}
	return strings.TrimSpace(b.String())
}

// keyOf is a name for a run that an element's attributes can hold whatever the run is called.
func keyOf(s *State) string {
	h := fnv.New32a()
	_, _ = io.WriteString(h, s.RunID+" "+s.Run) // never fails
	return fmt.Sprintf("%08x", h.Sum32())
}
