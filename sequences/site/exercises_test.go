package site

import (
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"makebreak/rig/problem"
	"makebreak/sequences/exercise"
	"makebreak/sequences/journal"
)

// classroom is a site with exercises and a log of its own.
func classroom(t testing.TB) (s *Site, log string) {
	t.Helper()
	log = filepath.Join(t.TempDir(), "log.db")
	s = newSite(t, Opts{Log: log, Program: "test", Exercises: &Exercises{Definitions: []*exercise.Definition{short(t)},
		Open: func() (*journal.DB, error) { return journal.Open(log) }, Now: time.Now}})
	return s, log
}

// short is an exercise with few answers, so that marking takes little time.
func short(t testing.TB) *exercise.Definition {
	t.Helper()
	d, err := exercise.Parse(t.Context(), "short.yaml", []byte(`name: short
title: The relay that stays in
story: When the panel is disarmed, a lamp behind relay K1 stays on. Find out what is wrong, if anything is.
grade: 1
sequence: armed-high
cycles: 1
allow: [try, look, probe, change]
changes: [board]
states:
  - {weight: 1}
  - {weight: 1, faults: [{fault: welded, place: K1}]}
answers: [dead-relay]
`))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// trainee is a trainee's browser, which keeps its cookie.
type trainee struct {
	site   *Site
	cookie *http.Cookie
}

// ask sends a request; with a form it is posted.
func (b *trainee) ask(address string, form url.Values) *httptest.ResponseRecorder {
	method, body := http.MethodGet, ""
	if form != nil {
		method, body = http.MethodPost, form.Encode()
	}
	r := httptest.NewRequest(method, "http://localhost"+address, strings.NewReader(body))
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	if b.cookie != nil {
		r.AddCookie(b.cookie)
	}
	w := httptest.NewRecorder()
	b.site.ServeHTTP(w, r)
	for _, c := range w.Result().Cookies() {
		b.cookie = c
	}
	return w
}

// begin begins an exercise and fails the test where that cannot be done.
func (b *trainee) begin(t testing.TB, name, word, of string) {
	t.Helper()
	if w := b.ask("/exercises", url.Values{"name": {name}, "word": {word}, "exercise": {of}}); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/exercises/bench" || b.cookie == nil {
		t.Fatalf("%s does not begin: %d, %s", name, w.Code, w.Body)
	}
}

// does acts at the bench and returns the bench's page.
func (b *trainee) does(t testing.TB, action string, form url.Values) string {
	t.Helper()
	if form == nil {
		form = url.Values{"go": {"on"}}
	}
	w := b.ask("/exercises/bench/"+action, form)
	if w.Code != http.StatusSeeOther || !strings.HasPrefix(w.Header().Get("Location"), "/exercises/bench") {
		t.Fatalf("%s: %d, %s", action, w.Code, w.Body)
	}
	for end := time.Now().Add(time.Minute); ; time.Sleep(20 * time.Millisecond) {
		w := b.ask("/exercises/bench", nil)
		if w.Header().Get("Refresh") == "" || time.Now().After(end) {
			return w.Body.String()
		}
	}
}

// An exercise from its beginning to its marks, as a browser without scripts does it.
func TestExercise_Whole(t *testing.T) {
	t.Parallel()
	s, log := classroom(t)
	b := &trainee{site: s}
	if got := b.ask("/exercises/bench", nil); got.Code != http.StatusSeeOther || got.Header().Get("Location") != "/exercises" {
		t.Errorf("without an exercise: %d %v", got.Code, got.Header())
	}
	list := b.ask("/exercises", nil).Body.String()
	for _, d := range []*exercise.Definition{short(t)} {
		if !strings.Contains(list, `value="`+d.Name+`"`) || !strings.Contains(list, d.Title) {
			t.Errorf("%s is not on the list", d.Name)
		}
	}
	const word = "hedgehog-4711"
	b.begin(t, "Zoë Fitter", word, "short")
	if c := b.cookie; !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/exercises" || len(c.Value) < 40 {
		t.Errorf("the cookie is %+v", c)
	}
	page := b.ask("/exercises/bench", nil).Body.String()
	if strings.Contains(page, `id="wiring"`) || !strings.Contains(page, "Nothing yet.") {
		t.Error("the wiring is there before it has been read, or something has been seen")
	}
	page = b.does(t, "card", nil)
	for _, want := range []string{`id="wiring"`, "panel.OUT3", "licensed persons", "high at arm-away", "Time at the bench: <b>1 min</b>"} {
		if !strings.Contains(page, want) {
			t.Errorf("after reading the card there is no %s", want)
		}
	}
	page = b.does(t, "try", url.Values{"cycles": {"1"}})
	if !strings.Contains(page, "Run the sequence") || !strings.Contains(page, `href="/runs/`) || !strings.Contains(page, "Verdict: <b") {
		t.Errorf("a run shows\n%s", page)
	}
	page = b.does(t, "look", url.Values{"after": {"arm-away"}})
	if !strings.Contains(page, `<th scope="row">OUT3</th>`) || !strings.Contains(page, `<th scope="row">K1_NO</th>`) {
		t.Errorf("looking shows\n%s", page)
	}
	page = b.does(t, "probe", url.Values{"red": {"panel.+"}, "black": {"panel.0V"}, "meter": {"volts"}, "after": {"disarm"}})
	if !strings.Contains(page, `<th scope="row">panel.&#43; to panel.0V`) || !strings.Contains(page, " V</td>") {
		t.Errorf("measuring shows\n%s", page)
	}
	if page = b.does(t, "probe", url.Values{"red": {"panel.+"}, "black": {"panel.0V"}, "meter": {"ohms"}}); !strings.Contains(page, `class="danger"`) || !strings.Contains(page, "Something dangerous was done 1 time") {
		t.Errorf("measuring ohms of a live circuit shows\n%s", page)
	}
	if page = b.does(t, "probe", url.Values{"red": {"K1.A1"}, "black": {"K1.A2"}, "meter": {"ohms"}, "after": {supplyOff}}); !strings.Contains(page, "supply off") || strings.Contains(page, "dangerous was done 2 times") {
		t.Errorf("measuring ohms with the supply off shows\n%s", page)
	}
	if page = b.does(t, "change", url.Values{"change": {"board K1"}}); !strings.Contains(page, "Change: board K1") {
		t.Errorf("changing the board shows\n%s", page)
	}
	page = b.does(t, "answer", url.Values{"first": {"nothing"}})
	if !strings.Contains(page, "points</p>") || !strings.Contains(page, "It was:") || strings.Contains(page, `class="acts"`) {
		t.Errorf("an answer shows\n%s", page)
	}
	if page = b.does(t, "look", nil); !strings.Contains(page, "has been answered") {
		t.Error("something can be done after the answer")
	}
	for _, text := range []string{page, list} {
		if strings.Contains(text, word) || strings.Contains(text, b.cookie.Value) {
			t.Error("the class word or the cookie stands on a page")
		}
	}
	stored := contents(t, log)
	if strings.Contains(stored, word) || strings.Contains(stored, b.cookie.Value) {
		t.Error("the class word or the cookie stands in the log")
	}
}

// contents is all that is in a log's files.
func contents(t testing.TB, log string) string {
	t.Helper()
	files, err := filepath.Glob(log + "*")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	var all strings.Builder
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			continue // of a program that has ended
		}
		all.Write(b)
	}
	return all.String()
}

// Trainees who work at the same time see their own benches and nothing of each other's.
func TestExercise_Together(t *testing.T) {
	t.Parallel()
	s, _ := classroom(t)
	var wg sync.WaitGroup
	for i := range 4 {
		wg.Go(func() {
			b := &trainee{site: s}
			name := fmt.Sprintf("Trainee-%c", 'A'+rune(i))
			b.begin(t, name, "word", "short")
			b.does(t, "card", nil)
			for n := range i + 1 {
				b.does(t, "look", url.Values{"after": {[]string{"arm-away", "disarm", "arm-stay", ""}[n]}})
			}
			page := b.ask("/exercises/bench", nil).Body.String()
			for k := range 4 {
				if other := fmt.Sprintf("Trainee-%c", 'A'+rune(k)); strings.Contains(page, other) != (k == i) {
					t.Errorf("%s sees %s", name, other)
				}
			}
			if n := strings.Count(page, ". Look "); n != i+1 {
				t.Errorf("%s sees %d looks, and made %d", name, n, i+1)
			}
		})
	}
	wg.Wait()
	stranger := &trainee{site: s, cookie: &http.Cookie{Name: cookieName, Value: strings.Repeat("A", 43)}}
	for _, action := range []string{"card", "answer"} {
		if w := stranger.ask("/exercises/bench/"+action, url.Values{"first": {"nothing"}}); w.Header().Get("Location") != "/exercises" {
			t.Errorf("who guesses a cookie: %d %v", w.Code, w.Header())
		}
	}
}

// A page that was left open does nothing in the exercise that its browser has begun since: not that
// of the next trainee at the same computer either.
func TestExercise_StalePage(t *testing.T) {
	t.Parallel()
	s, _ := classroom(t)
	b := &trainee{site: s}
	b.begin(t, "First", "", "short")
	form := func() url.Values {
		_, rest, _ := strings.Cut(b.ask("/exercises/bench", nil).Body.String(), `name="of" value="`)
		tag, _, found := strings.Cut(rest, `"`)
		if !found || len(tag) < 8 || strings.Contains(b.cookie.Value[37:], tag) {
			t.Fatalf("the form is of %q", tag)
		}
		return url.Values{"of": {tag}, "first": {"nothing"}}
	}
	stale := form()
	b.begin(t, "Second", "", "short")
	for _, action := range []string{"card", "look", "answer"} {
		if page := b.does(t, action, stale); !strings.Contains(page, "Nothing was done: that page was of an exercise that this browser has left. Here is that of Second.") || !strings.Contains(page, "Nothing yet.") {
			t.Errorf("%s of a page that was left open: %s", action, page)
		}
	}
	if page := b.does(t, "answer", form()); !strings.Contains(page, "It was:") {
		t.Errorf("its own page: %s", page)
	}
}

// What is typed is checked, told, and never obeyed.
func TestExercise_Refused(t *testing.T) {
	t.Parallel()
	s, log := classroom(t)
	for _, form := range []url.Values{
		{"exercise": {"short"}}, {"name": {"A"}}, {"name": {"A"}, "exercise": {"none"}},
		{"name": {strings.Repeat("x", mostName+1)}, "exercise": {"short"}}, {"name": {"A"}, "exercise": {"short"}, "word": {strings.Repeat("x", mostName+1)}},
	} {
		b := &trainee{site: s}
		if w := b.ask("/exercises", form); w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), `role="alert"`) || b.cookie != nil {
			t.Errorf("%v: %d", form, w.Code)
		}
	}
	if _, err := os.Stat(log); err == nil {
		t.Error("a log was made for nobody")
	}
	for _, text := range hostileTexts {
		b := &trainee{site: s}
		w := b.ask("/exercises", url.Values{"name": {text}, "exercise": {text}, "word": {text}})
		if bad := obeyed(w.Header().Get("Content-Type"), w.Body.String()); bad != "" {
			t.Errorf("%q: %s", text, bad)
		}
	}
	b := &trainee{site: s}
	b.begin(t, "A & <b>B</b>", "", "short")
	b.does(t, "card", nil)
	actions := []string{"try", "look", "probe", "change", "answer", "\u202e<script>"}
	for i, text := range hostileTexts {
		for _, action := range []string{actions[i%len(actions)], actions[(i+1)%len(actions)]} {
			all := url.Values{}
			for _, key := range []string{"cycles", "after", "red", "black", "meter", "change", "first", "second"} {
				all.Set(key, "x"+text)
			}
			b.ask("/exercises/bench/"+url.PathEscape(action), all)
			page := b.ask("/exercises/bench?red="+url.QueryEscape(text)+"&black="+url.QueryEscape(text), nil)
			if bad := obeyed(page.Header().Get("Content-Type"), page.Body.String()); bad != "" {
				t.Errorf("%s with %q: %s", action, text, bad)
			}
		}
	}
	if page := b.ask("/exercises/bench", nil).Body.String(); !strings.Contains(page, "Time at the bench: <b>1 min</b>") {
		t.Error("what was refused took time at the bench")
	}
}

// What browsers can have kept and written is bounded.
func TestExercise_Bounds(t *testing.T) {
	t.Parallel()
	s, _ := classroom(t)
	p := s.practice
	first := &trainee{site: s}
	first.begin(t, "First", "", "short")
	p.mu.Lock()
	for i := range mostSeats - 1 {
		p.seats[[32]byte{byte(i), 1}] = &seat{used: time.Now().Add(time.Minute)}
	}
	p.mu.Unlock()
	second := &trainee{site: s}
	second.begin(t, "Second", "", "short")
	if n := len(p.seats); n != mostSeats {
		t.Errorf("%d seats are kept", n)
	}
	if w := first.ask("/exercises/bench", nil); w.Code != http.StatusOK || len(p.seats) != mostSeats {
		t.Errorf("who has done nothing for longest does not take it up again: %d, %d seats", w.Code, len(p.seats))
	}
	p.mu.Lock()
	p.cycles = mostRun // and so by the number of runs
	p.mu.Unlock()
	if page := second.does(t, "try", nil); !strings.Contains(page, "the log may not grow further") {
		t.Error("the log grows further by runs")
	}
	p.mu.Lock()
	p.begun = mostBegun
	p.mu.Unlock()
	if w := second.ask("/exercises", url.Values{"name": {"B"}, "exercise": {"short"}}); w.Code != http.StatusServiceUnavailable {
		t.Errorf("the log grows further by exercises: %d", w.Code)
	}
	of := p.seatOf(requestOf(second))
	of.mu.Lock()
	for len(of.seen) < mostActions {
		of.seen = append(of.seen, sight{Result: &exercise.Result{}})
	}
	of.mu.Unlock()
	if page := second.does(t, "look", nil); !strings.Contains(page, "only an answer is left") {
		t.Error("the log grows further by one trainee")
	}
}

// When the page is served anew, a browser goes on where it was, with what it has seen; another
// one, or a cookie that was changed, does not.
func TestExercise_ServedAnew(t *testing.T) {
	t.Parallel()
	s, log := classroom(t)
	b := &trainee{site: s}
	b.begin(t, "Zoë Fitter", "", "short")
	b.does(t, "card", nil)
	b.does(t, "try", nil)
	before := b.does(t, "look", url.Values{"after": {"arm-away"}})
	again := func() *Site {
		return newSite(t, Opts{Log: log, Program: "test", Exercises: &Exercises{Definitions: []*exercise.Definition{short(t)},
			Open: func() (*journal.DB, error) { return journal.Open(log) }, Now: time.Now}})
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if s, b.site = again(), again(); b.ask("/exercises/bench", nil).Body.String() != before {
		t.Errorf("served anew the page is\n%s\nand was\n%s", b.ask("/exercises/bench", nil).Body, before)
	}
	if page := b.does(t, "answer", url.Values{"first": {"nothing"}}); !strings.Contains(page, "Your way: 3 actions") {
		t.Errorf("an answer shows\n%s", page)
	}
	over := (&trainee{site: s, cookie: b.cookie}).ask("/exercises/bench", nil).Body.String()
	if !strings.Contains(over, "of 10 points") || strings.Contains(over, "It was:") || strings.Contains(over, `class="acts"`) {
		t.Errorf("what was answered shows, served anew,\n%s", over)
	}
	for _, value := range []string{"", "x", b.cookie.Value[:len(b.cookie.Value)-1] + "_", b.cookie.Value[:37] + strings.Repeat("A", 43), strings.Replace(b.cookie.Value, "-", "0", 1)} {
		w := (&trainee{site: s, cookie: &http.Cookie{Name: cookieName, Value: value}}).ask("/exercises/bench", nil)
		if w.Header().Get("Location") != "/exercises" {
			t.Errorf("the cookie %q: %d", value, w.Code)
		}
	}
}

// A seat at which something is being done is not given to another one, for however long nobody has
// looked at it: a second session of the same exercise would begin beside it.
func TestSeat_Rested(t *testing.T) {
	t.Parallel()
	begun := time.Unix(1_900_000_000, 0)
	s := &seat{used: begun, doing: "try"}
	if d := s.rested(begun.Add(time.Hour)); d != 0 {
		t.Errorf("it has rested for %s while something is being done", d)
	}
	if s.doing = ""; s.rested(begun.Add(time.Hour)) != time.Hour {
		t.Error("it has not rested for an hour")
	}
}

func requestOf(b *trainee) *http.Request {
	r := httptest.NewRequest("GET", "http://localhost/exercises/bench", nil)
	r.AddCookie(b.cookie)
	return r
}

// Without exercises nothing acts, and a trial on a real rig is refused whoever asks for it.
func TestExercise_SimulatedOnly(t *testing.T) {
	t.Parallel()
	s := newSite(t, Opts{Log: oldLog(t)})
	if s.Acts("/exercises") || s.Acts("/exercises/bench/try") {
		t.Error("a site without exercises acts")
	}
	if w := get(s, "/exercises"); w.Code != http.StatusNotFound {
		t.Errorf("/exercises: %d", w.Code)
	}
	s, _ = classroom(t)
	for path, acts := range map[string]bool{"/": false, "/exercises": true, "/exercises/bench/try": true, "/exercisesx": false, "/runs/last": false, "/metrics": false} {
		if s.Acts(path) != acts {
			t.Errorf("%s acts: %t", path, !acts)
		}
	}
	rig := *short(t).Rig
	rig.Simulated = false
	began := func(string) error { return errors.New("it runs on a real rig") }
	if err := s.practice.try(t.Context(), &exercise.Trial{Sequence: short(t).Sequence, Rig: &rig, Began: began}); problem.KindOf(err) != problem.Internal {
		t.Error(err)
	}
}

// The shortest way begins with the card, whose time it counts, and has the run after a change.
// What tells only some of the answers is no way.
func TestMarksPage_Steps(t *testing.T) {
	m := &marksPage{&exercise.Marks{Way: []exercise.Action{{Kind: exercise.Look, After: "release"}, {Kind: exercise.Change, Change: "board K1"}}, Shows: []string{"K1_NO open, but closed with welded@K1", "K1 release time at release 4 ms, but 20 ms to 80 ms with slow-release@K1"}, Shortest: time.Minute}}
	if got, want := m.Steps(), []string{"Read the card", "Look after release. It shows K1_NO open, but closed with welded@K1.",
		"Change: board K1, and run the sequence. It shows K1 release time at release 4 ms, but 20 ms to 80 ms with slow-release@K1."}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	if m.Shortest = 0; m.Steps() != nil {
		t.Errorf("%q, want none", m.Steps())
	}
}
