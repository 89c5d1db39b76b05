package site

import (
	"fmt"
	"html/template"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"makebreak/analyze/look"
	"makebreak/analyze/picture"
	"makebreak/rig/prompt"
	"makebreak/rig/words"
	"makebreak/sequences/exercise"
	benchsheet "makebreak/sequences/sheet"
)

// leads are where the meter's leads are held; empty: not chosen yet.
type leads struct{ Red, Black string }

// query is the leads as the end of an address.
func (l leads) query() string {
	v := url.Values{}
	for key, at := range map[string]string{"red": l.Red, "black": l.Black} {
		if at != "" {
			v.Set(key, at)
		}
	}
	return v.Encode()
}

// with are the leads once another point is chosen: the red one first, then the black one, then
// again from the beginning.
func (l leads) with(point string) leads {
	if l.Red == "" || l.Black != "" {
		return leads{Red: point}
	}
	return leads{l.Red, point}
}

// benchPage is a trainee's bench.
type benchPage struct {
	page
	Definition *exercise.Definition
	Trainee    string
	Tag        string // by which a form says of which exercise it is
	Spent      string
	Dangers    string // how often something dangerous was done; empty: never
	Doing      string // what is being done; empty: nothing
	Wrong      string
	Latest     *sight
	Earlier    []sight // newest first
	Over       bool
	Read       bool
	Leads      leads
	Wiring     template.HTML
	Told       []string
	Card       template.HTML
	Lines      []benchsheet.Line
	Cautions   []string
	may        map[exercise.Kind]*may // what may be done now
}

// may is something that a trainee may do, with what it costs.
type may struct {
	exercise.Allowed
	Cost string
}

// May is something that the trainee may do now; nil: not now.
func (b *benchPage) May(k exercise.Kind) *may { return b.may[k] }

// again is after how many seconds a page on which something is being done is asked for again.
const again = "2"

// bench answers with a trainee's bench.
func (p *practice) bench(w http.ResponseWriter, r *http.Request) {
	s := p.seatOf(r)
	if s == nil {
		http.Redirect(w, r, "/exercises", http.StatusSeeOther)
		return
	}
	b := s.page()
	if b.Doing != "" {
		w.Header().Set("Refresh", again)
	}
	q := r.URL.Query()
	b.Leads = leads{s.known(q.Get("red")), s.known(q.Get("black"))}
	var err error
	if b.Read {
		b.Wiring, err = s.drawing(b.Leads, b.May(exercise.Probe) != nil && b.Doing == "")
	}
	if err != nil {
		p.site.failed(w, r, err)
		return
	}
	p.write(w, http.StatusOK, "bench", b)
}

// page is the bench as the trainee has it now.
func (s *seat) page() *benchPage {
	d := s.session.Definition()
	b := &benchPage{page: s.of.site.page(d.Title), Definition: d, Trainee: s.session.Trainee(), Tag: s.session.Tag(), Told: s.told, Card: s.card, Lines: s.lines, Cautions: cautions(), may: map[exercise.Kind]*may{}}
	s.mu.Lock()
	defer s.mu.Unlock()
	b.Doing, b.Wrong, b.Over, b.Read = doingWords(s.doing), s.wrong, s.over, s.read
	b.Spent = exercise.BenchTime(s.spent)
	if s.danger > 0 {
		b.Dangers = words.Count(s.danger, "time", "times")
	}
	if n := len(s.seen); n > 0 {
		latest := s.seen[n-1]
		b.Latest, b.Earlier = &latest, slices.Clone(s.seen[:n-1])
		slices.Reverse(b.Earlier)
	}
	for _, a := range s.may {
		m := &may{a, ""}
		if a.Cost > 0 {
			m.Cost = exercise.BenchTime(a.Cost)
		}
		b.may[a.Kind] = m
	}
	return b
}

// doingWords say what is being done.
func doingWords(k exercise.Kind) string {
	switch k {
	case "":
		return ""
	case exercise.Give:
		return "Your answer is being marked: each other answer is simulated as well, which can take a minute, and longer when many have answered."
	}
	return "It is being done."
}

// known is a point of the bench by its name; empty: there is none of that name.
func (s *seat) known(name string) string {
	if slices.ContainsFunc(s.wiring.Places, func(p picture.PlacedPoint) bool { return p.Name == name }) {
		return name
	}
	return ""
}

// drawing is the wiring with the leads where they are held. The points can be chosen where a
// meter may be used.
func (s *seat) drawing(at leads, choosable bool) (template.HTML, error) {
	if !choosable {
		return look.Drawn(s.wiring.Inline)
	}
	return look.Drawn(func(w io.Writer) error { return s.wiring.Choosable(w, at.choice) })
}

// choice is what choosing a point does: it holds the next lead there.
func (l leads) choice(p picture.TestPoint) picture.Choice {
	next := l.with(p.Name)
	lead, to := "red", "#wiring"
	if next.Black != "" {
		lead, to = "black", "#measure"
	}
	c := picture.Choice{Address: "?" + next.query() + to, Words: fmt.Sprintf("Hold the %s lead to %s: %s", lead, p.Name, p.About)}
	switch p.Name {
	case l.Red:
		c.Mark = "R"
	case l.Black:
		c.Mark = "B"
	}
	return c
}

// cautions are what is read before the rig acts on a unit.
func cautions() []string {
	var all []string
	for _, part := range strings.Split(prompt.Cautions, "\n  - ")[1:] {
		all = append(all, strings.Join(strings.Fields(part), " "))
	}
	return all
}

// marksPage are marks as a page tells them. Methods of it are for the template.
type marksPage struct{ *exercise.Marks }

// MarksTold are the marks of an answer; nil: it was none.
func (s *sight) MarksTold() *marksPage {
	if s.Result == nil || s.Marks == nil {
		return nil
	}
	return &marksPage{s.Marks}
}

// TruthWords say what was right.
func (m *marksPage) TruthWords() string { return answerWords(m.Truth) }

func answerWords(all []exercise.Answer) string {
	return strings.Join(words.Texts(all, exercise.Answer.Words), "; ")
}

// WrongWords say which answers were wrong.
func (m *marksPage) WrongWords() string {
	return strings.Join(words.Texts(m.Wrong, func(s string) string { return exercise.AnswerOf(s).Words() }), "; ")
}

// SpentWords compares the trainee's way with the shortest one.
func (m *marksPage) SpentWords() string {
	text := "Your way: " + words.Count(m.Actions, "action") + ", " + exercise.BenchTime(m.Spent)
	if m.Shortest > 0 {
		text += ". The shortest way found: " + exercise.BenchTime(m.Shortest)
	}
	return text + " of bench time."
}

// ResultWords say what the answer was.
func (m *marksPage) ResultWords() string { return "Your answer is " + m.Result() }

// Steps are the shortest way, which begins with the card; none where no way was found.
func (m *marksPage) Steps() (all []string) {
	if m.Shortest == 0 {
		return nil
	}
	all = append(all, whatOf(exercise.Action{Kind: exercise.ReadCard}))
	for i, a := range m.Way {
		step := whatOf(a)
		if a.Kind == exercise.Change {
			step += ", and run the sequence"
		}
		if i < len(m.Shows) { // the log does not keep it
			step += ". It shows " + m.Shows[i] + "."
		}
		all = append(all, step)
	}
	return all
}

// Tells say what would have told the truth from other answers.
func (m *marksPage) Tells() []string {
	var all []string
	for _, t := range m.Telling {
		all = append(all, fmt.Sprintf("From “%s”: %s. It shows %s.", answerWords(t.From), lowered(whatOf(t.Action)), t.Shows))
	}
	return all
}

func lowered(s string) string { return strings.ToLower(s[:min(1, len(s))]) + s[min(1, len(s)):] }

// PossibleWords are wrong answers that fitted all that was seen.
func (m *marksPage) PossibleWords() string { return answerWords(m.Fitting) }
