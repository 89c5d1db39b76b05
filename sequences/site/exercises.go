package site

import (
	"context"
	"crypto/sha256"
	"errors"
	"net/http"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"makebreak/rig/problem"
	"makebreak/rig/web"
	"makebreak/rig/words"
	"makebreak/sequences/exercise"
	"makebreak/sequences/journal"
)

// Exercises are what trainees can do in their browsers. Each has a simulated bench of their own;
// no request reaches any other bench.
type Exercises struct {
	Definitions []*exercise.Definition
	// Open opens the log to write. It is called when the first exercise begins.
	Open func() (*journal.DB, error)
	Now  func() time.Time
}

// Bounds of what may be begun and kept. The log grows by some kilobytes an exercise, and by what
// a run's captures take for each one.
const (
	mostSeats = 60   // that are kept; who has done nothing for longest gives way
	mostBegun = 1000 // exercises, for as long as this is served
	mostRuns  = 3000 // runs, likewise
	// mostRun is how many cycles they may have together. One takes up to some 20 kB in the log.
	mostRun  = 30_000
	restTime = 4 * time.Hour // after which a seat is not kept
	mostName = 60            // characters of a trainee's name or a class word
)

// practice is the exercises that are served. It is safe for concurrent use.
type practice struct {
	opts Exercises
	site *Site
	// Marking takes a processor for some time. It has a turn of its own, so that others can go on
	// meanwhile.
	share, marking *web.Share
	ctx            context.Context // ends with the site
	cancel         context.CancelFunc

	mu    sync.Mutex // guards what follows
	db    *journal.DB
	seats map[[sha256.Size]byte]*seat // by the sums of their cookies
	begun int
	runs  int
	// cycles are those of the runs, together.
	cycles int
}

func newPractice(s *Site, o *Exercises) *practice {
	p := &practice{opts: *o, site: s, share: web.NewShare(1, mostSeats), marking: web.NewShare(1, mostSeats), seats: map[[sha256.Size]byte]*seat{}}
	p.ctx, p.cancel = context.WithCancel(context.Background())
	return p
}

// Acts reports whether a request to a path may act on a trainee's simulated bench.
func (s *Site) Acts(path string) bool {
	return s.practice != nil && (path == "/exercises" || strings.HasPrefix(path, "/exercises/"))
}

func (p *practice) routes(mux *http.ServeMux) {
	mux.HandleFunc("GET /exercises", p.list)
	mux.HandleFunc("POST /exercises", p.begin)
	mux.HandleFunc("GET /exercises/bench", p.bench)
	mux.HandleFunc("POST /exercises/bench/{action}", p.act)
	mux.HandleFunc("/exercises/", p.nowhere)
}

// nowhere answers what is not there below the exercises.
func (p *practice) nowhere(w http.ResponseWriter, r *http.Request) {
	if r.Method == http.MethodPost {
		w.Header().Set("Allow", "GET, HEAD")
		p.site.tell(w, http.StatusMethodNotAllowed, "Nothing is done at this address.")
		return
	}
	p.site.tell(w, http.StatusNotFound, "There is no such page here.")
}

// close ends what is being done and closes the log.
func (p *practice) close() error {
	p.cancel()
	for _, s := range p.all() {
		s.mu.Lock()
		done := s.done
		s.mu.Unlock()
		if done != nil {
			<-done
		}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.db == nil {
		return nil
	}
	err := p.db.Close()
	p.db = nil
	return err
}

func (p *practice) all() []*seat {
	p.mu.Lock()
	defer p.mu.Unlock()
	var all []*seat
	for _, s := range p.seats {
		all = append(all, s)
	}
	return all
}

func (p *practice) failed(format string, args ...any) { p.site.opts.Failed(format, args...) }

// write answers with a page that may hold forms. The browser must say where they come from.
func (p *practice) write(w http.ResponseWriter, status int, name string, data any) {
	w.Header().Set("Referrer-Policy", "same-origin")
	p.site.write(w, status, name, data)
}

// listPage is the list of exercises.
type listPage struct {
	page
	List   []*exercise.Definition
	Name   string // as typed
	Chosen string
	Wrong  string
	Begun  bool // this browser has one
}

func (p *practice) list(w http.ResponseWriter, r *http.Request) {
	p.write(w, http.StatusOK, "exercises", p.listed(r, ""))
}

func (p *practice) listed(r *http.Request, wrong string) listPage {
	l := listPage{page: p.site.page("Exercises"), List: p.opts.Definitions, Wrong: wrong, Begun: p.seatOf(r) != nil}
	l.Name, l.Chosen = words.Short(r.PostFormValue("name"), mostName), words.Short(r.PostFormValue("exercise"), mostName)
	if l.Chosen == "" && len(l.List) > 0 {
		l.Chosen = l.List[0].Name
	}
	return l
}

// begin begins an exercise.
func (p *practice) begin(w http.ResponseWriter, r *http.Request) {
	name, word := strings.TrimSpace(r.PostFormValue("name")), strings.TrimSpace(r.PostFormValue("word"))
	i := slices.IndexFunc(p.opts.Definitions, func(d *exercise.Definition) bool { return d.Name == r.PostFormValue("exercise") })
	wrong := ""
	switch fault := words.TextFault(name, mostName); {
	case i < 0:
		wrong = "Choose one of the exercises."
	case name == "":
		wrong = "Type your name: the trainer finds your marks by it."
	case fault != "":
		wrong = "Your name: " + fault + "."
	case len([]rune(word)) > mostName:
		wrong = "The class word must have " + strconv.Itoa(mostName) + " characters at most."
	}
	if wrong != "" {
		p.write(w, http.StatusUnprocessableEntity, "exercises", p.listed(r, wrong))
		return
	}
	s, err := p.start(r.Context(), exercise.Begin{Definition: p.opts.Definitions[i], Trainee: name, Word: word, Now: p.opts.Now})
	if err != nil {
		p.write(w, http.StatusServiceUnavailable, "exercises", p.listed(r, p.whyNot(err)))
		return
	}
	ticket, err := s.session.Ticket()
	if err != nil {
		p.site.failed(w, r, err)
		return
	}
	http.SetCookie(w, &http.Cookie{Name: cookieName, Value: ticket, Path: "/exercises", HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteStrictMode})
	p.leave(r)
	p.take(ticket, s)
	http.Redirect(w, r, "/exercises/bench", http.StatusSeeOther)
}

var errFull error = problem.New(problem.Usage, "so many exercises have been begun here that the log may not grow further; the trainer can start makebreak serve anew")

// start begins an exercise in the log, in its turn: making a key of the class word takes a
// processor for some time.
func (p *practice) start(ctx context.Context, b exercise.Begin) (*seat, error) {
	db, err := p.log()
	if err != nil {
		return nil, err
	}
	if !p.share.Begin(ctx) {
		return nil, errBusy
	}
	defer p.share.End()
	session, err := exercise.Start(db, b)
	if err != nil {
		return nil, err
	}
	return newSeat(p, session, p.opts.Now())
}

// log opens the log, and counts what is begun in it.
func (p *practice) log() (*journal.DB, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.begun >= mostBegun {
		return nil, errFull
	}
	db, err := p.opened()
	if err == nil {
		p.begun++
	}
	return db, err
}

// opened opens the log to write, once. The caller holds mu.
func (p *practice) opened() (db *journal.DB, err error) {
	if p.db == nil {
		p.db, err = p.opts.Open()
	}
	return p.db, err
}

// mayTry counts a run of so many cycles, and says whether it may be made.
func (p *practice) mayTry(cycles int) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.runs >= mostRuns || p.cycles+cycles > mostRun {
		return false
	}
	p.runs, p.cycles = p.runs+1, p.cycles+cycles
	return true
}

// cookieName is that of the cookie by which a browser is known: the exercise's ticket. Here its sum
// is kept.
const cookieName = "makebreak-bench"

// leave gives up the place that a browser has. Its exercise stays in the log.
func (p *practice) leave(r *http.Request) {
	ticket, has := ticketOf(r)
	if !has {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.seats, sha256.Sum256([]byte(ticket)))
}

// take gives a seat a place, and returns the one that has it: who came first with the same ticket.
func (p *practice) take(ticket string, s *seat) *seat {
	sum, now := sha256.Sum256([]byte(ticket)), p.opts.Now()
	p.mu.Lock()
	defer p.mu.Unlock()
	if first := p.seats[sum]; first != nil {
		return first
	}
	for sum, other := range p.seats {
		if other.rested(now) > restTime {
			delete(p.seats, sum)
		}
	}
	for len(p.seats) >= mostSeats {
		p.dropLongest(now)
	}
	p.seats[sum] = s
	return s
}

// dropLongest takes the place of who has done nothing for longest.
func (p *practice) dropLongest(now time.Time) {
	var longest [sha256.Size]byte
	most := time.Duration(-1)
	for sum, s := range p.seats {
		if d := s.rested(now); d > most {
			longest, most = sum, d
		}
	}
	delete(p.seats, longest)
}

// rested is for how long nothing has been done there; 0: something is being done.
func (s *seat) rested(now time.Time) time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.doing != "" {
		return 0
	}
	return max(0, now.Sub(s.used))
}

// ticketOf is the ticket that a request shows.
func ticketOf(r *http.Request) (ticket string, has bool) {
	c, err := r.Cookie(cookieName)
	if err != nil {
		return "", false
	}
	return c.Value, true
}

// seatOf is the seat of whoever asks, or nil. One that is no longer kept is made again of the log.
func (p *practice) seatOf(r *http.Request) *seat {
	ticket, has := ticketOf(r)
	if !has {
		return nil
	}
	p.mu.Lock()
	s := p.seats[sha256.Sum256([]byte(ticket))]
	p.mu.Unlock()
	if s == nil {
		if s = p.again(r.Context(), ticket); s == nil {
			return nil
		}
	}
	s.mu.Lock()
	s.used = p.opts.Now()
	s.mu.Unlock()
	return s
}

// again takes up an exercise that stands in the log, after this was served anew or its seat was
// needed; nil: the ticket is none, or the log cannot be read.
func (p *practice) again(ctx context.Context, ticket string) *seat {
	if _, err := os.Stat(p.site.opts.Log); err != nil || !exercise.IsTicket(ticket) {
		return nil // no log is made or opened for it
	}
	p.mu.Lock()
	db, err := p.opened()
	p.mu.Unlock()
	if err == nil && !p.share.Begin(ctx) {
		err = errBusy
	}
	if err != nil {
		p.failed("exercise: %v", err)
		return nil
	}
	defer p.share.End()
	session, err := exercise.Redeem(db, ticket, p.opts.Now)
	if errors.Is(err, journal.ErrNoExercise) {
		return nil
	}
	var s *seat
	if err == nil {
		s, err = newSeat(p, session, p.opts.Now())
	}
	if err != nil {
		p.failed("exercise: %v", err)
		return nil
	}
	return p.take(ticket, s)
}

// act does what a form asks for.
func (p *practice) act(w http.ResponseWriter, r *http.Request) {
	s := p.seatOf(r)
	if s == nil {
		http.Redirect(w, r, "/exercises", http.StatusSeeOther)
		return
	}
	a, wrong := actionOf(r)
	if of := r.PostFormValue("of"); of != "" && of != s.session.Tag() {
		wrong = "Nothing was done: that page was of an exercise that this browser has left. Here is that of " + exercise.Named(s.session.Trainee()) + "."
	}
	if wrong == "" {
		if err := s.act(r.Context(), a); err != nil {
			wrong = words.Capital(err.Error()) + "."
		}
	}
	if wrong != "" {
		s.mu.Lock()
		s.wrong = wrong
		s.mu.Unlock()
	}
	to := "/exercises/bench"
	if a.Kind == exercise.Probe {
		to += "?" + leads{a.A, a.B}.query()
	}
	http.Redirect(w, r, to+"#seen", http.StatusSeeOther)
}

// actionOf reads an action from a form. What is chosen in it is checked where it is done.
func actionOf(r *http.Request) (a exercise.Action, wrong string) {
	text := func(key string) string { return words.Short(strings.TrimSpace(r.PostFormValue(key)), mostTyped) }
	a = exercise.Action{Kind: exercise.Kind(r.PathValue("action")), After: text("after")}
	switch a.Kind {
	case exercise.ReadCard, exercise.Look:
	case exercise.Try:
		if n := text("cycles"); n != "" {
			cycles, err := strconv.Atoi(n)
			if err != nil || cycles < 1 || cycles > mostCycles {
				return a, "The number of cycles must be a whole number from 1 to " + strconv.Itoa(mostCycles) + "."
			}
			a.Cycles = cycles
		}
	case exercise.Probe:
		if a.A, a.B, a.Meter = text("red"), text("black"), text("meter"); a.A == "" || a.B == "" {
			return a, "Choose a point for each of the meter's leads."
		}
		if a.After == supplyOff {
			a.After, a.Off = "", true
		}
	case exercise.Change:
		if a.Change = text("change"); a.Change == "" {
			return a, "Choose what is changed."
		}
	case exercise.Give:
		for _, key := range []string{"first", "second"} {
			if v := text(key); v != "" {
				a.Answer = append(a.Answer, exercise.AnswerOf(v))
			}
		}
		if len(a.Answer) == 0 {
			return a, "Choose an answer."
		}
	default:
		return a, "Nothing is done at this address."
	}
	return a, ""
}

// supplyOff is what stands in the place of an event where the supply is switched off first.
const supplyOff = "(off)"

// mostCycles is how many cycles one run at a page may have.
const mostCycles = 200

// runOf reads what a run showed. What it found is not told of one in an exercise.
func (p *practice) runOf(name string) runSeen {
	seen := runSeen{Link: RecordAt(name), Verdict: "incomplete"}
	p.mu.Lock()
	db := p.db
	p.mu.Unlock()
	rec, err := db.Find(name)
	if err != nil {
		p.failed("log: %v", err)
		return seen
	}
	seen.Verdict = rec.Verdict.Name()
	return seen
}
