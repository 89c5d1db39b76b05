package site

import (
	"bytes"
	"html/template"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"makebreak/analyze"
	"makebreak/rig/web"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

// refresh is after how many seconds the first page is asked for again without scripts.
const refresh = 10

// pageRuns is how many runs a page of the log has.
const pageRuns = 50

// query is what the log is searched for, as typed.
type query struct {
	Unit, Sequence, Verdict, Field, From, Until string
	Older                                       int64
}

// mostNoted is how many characters of a field are shown in the list.
const mostNoted = 40

// The longest text that is searched for.
const mostTyped = 200

// readQuery reads a search from an address. What is wrong in it is said in words and left out.
func readQuery(v url.Values) (q query, wrong []string) {
	text := func(key string) string {
		return words.Short(v.Get(key), mostTyped)
	}
	q = query{Unit: text("unit"), Sequence: text("sequence"), Verdict: text("verdict"), Field: text("field"), From: text("from"), Until: text("until")}
	if q.Verdict != "" && verdictOf(q.Verdict) == "" {
		wrong = append(wrong, "The verdict must be pass, fail, undecided or incomplete.")
		q.Verdict = ""
	}
	for name, day := range map[string]*string{"first": &q.From, "last": &q.Until} {
		if _, err := dayOf(*day); *day != "" && err != nil {
			wrong = append(wrong, "The "+name+" day must be a date, as in 2026-01-31.")
			*day = ""
		}
	}
	if older := v.Get("older"); older != "" {
		n, err := strconv.ParseInt(older, 10, 64)
		if err != nil || n < 1 {
			wrong = append(wrong, "The place in the log must be a whole number, 1 or more.")
		} else {
			q.Older = n
		}
	}
	return q, wrong
}

// verdictOf is a run's verdict by its name; empty: there is none of that name.
func verdictOf(name string) analyze.Verdict {
	for _, v := range runVerdicts {
		if string(v) == name {
			return v
		}
	}
	return ""
}

var runVerdicts = []analyze.Verdict{analyze.Pass, analyze.Fail, analyze.Undecided, analyze.Incomplete}

// dayOf is the beginning of a day in local time.
func dayOf(text string) (time.Time, error) {
	return time.ParseInLocation(time.DateOnly, text, time.Local)
}

// search is what the log is asked.
func (q *query) search() journal.Search {
	s := journal.Search{Unit: q.Unit, Sequence: q.Sequence, Field: q.Field, Verdict: verdictOf(q.Verdict), Older: q.Older, Most: pageRuns}
	if day, err := dayOf(q.From); err == nil {
		s.From = day
	}
	if day, err := dayOf(q.Until); err == nil {
		s.Until = day.AddDate(0, 0, 1)
	}
	return s
}

// link is the address of a search.
func (q query) link() string {
	v := url.Values{}
	for key, text := range map[string]string{"unit": q.Unit, "sequence": q.Sequence, "verdict": q.Verdict, "field": q.Field, "from": q.From, "until": q.Until} {
		if text != "" {
			v.Set(key, text)
		}
	}
	if q.Older > 0 {
		v.Set("older", strconv.FormatInt(q.Older, 10))
	}
	if len(v) == 0 {
		return "/"
	}
	return "/?" + v.Encode()
}

// firstPage is what happens now, and the log.
type firstPage struct {
	page
	Now       template.HTML // empty: nothing is said of it
	Stream    string        // in the address of what changes of it: which unit is shown
	Query     query
	Wrong     []string
	Sequences []string
	Verdicts  []analyze.Verdict
	Searched  bool // something is searched for
	Runs      []runLine
	Nothing   string // in place of runs
	Older     string // address of the runs before; empty: there are none
	Newest    string // address of the newest, where these are not
}

// runLine is a run in the log.
type runLine struct {
	Run, Unit, Sequence, Started, Day string
	Fields                            string // "job 1234, place bench 2"
	Cycles                            string
	Verdict                           string
	Simulated                         bool
	Link                              string // of its record
	History                           string // of its unit; empty: there is none
}

// RecordAt is the address of a run's record.
func RecordAt(run string) string { return "/runs/" + url.PathEscape(run) }

func lineOf(r journal.RunSummary) runLine {
	l := runLine{Run: words.Safe(r.Run), Unit: words.Short(r.Unit, words.MostName), Sequence: words.Short(r.Sequence, words.MostName),
		Verdict: r.Verdict.Name(), Simulated: r.Simulated, Link: RecordAt(r.Run), History: historyAt(r.Unit), Cycles: strconv.Itoa(r.Cycles)}
	if !r.Complete && r.Planned > 0 {
		l.Cycles += " of " + strconv.Itoa(r.Planned)
	}
	var noted []string
	for _, f := range r.Fields {
		noted = append(noted, words.Short(f.Name+" "+f.Value, mostNoted))
	}
	l.Fields = strings.Join(noted, ", ")
	if t := r.Started.Local(); !r.Started.IsZero() {
		l.Started, l.Day = t.Format("15:04"), t.Format(time.DateOnly)
	}
	return l
}

// first answers with the first page.
func (s *Site) first(w http.ResponseWriter, r *http.Request) {
	q, wrong := readQuery(r.URL.Query())
	p := firstPage{page: s.page("makebreak"), Query: q, Wrong: wrong, Verdicts: runVerdicts,
		Searched: q != query{} && q != query{Older: q.Older}}
	if !p.Searched && q.Older == 0 {
		p.Refresh = refresh
	}
	if s.opts.Now != nil {
		var b bytes.Buffer
		if err := s.opts.Now.Show(r.Context(), &b, unitAt(r)); err != nil {
			s.failed(w, r, err)
			return
		}
		if of := unitAt(r); of != "" {
			p.Stream = "?" + nowKey + "=" + of
		}
		p.Now, p.Scripts = template.HTML(b.String()), []string{htmxScript, sseScript, ownScriptName()}
	}
	fill := p.fill
	if p.Searched {
		fill = s.inTurn(r, fill)
	}
	err := s.source.All(r.Context(), fill)
	web.Ready(w)
	if absent(err) {
		p.Nothing = "There is no log yet: the first run makes it."
	} else if err != nil {
		s.failed(w, r, err)
		return
	}
	s.write(w, http.StatusOK, "first", p)
}

// nowKey is what says in an address which of several units is shown.
const nowKey = "now"

// unitAt is the key of the unit that is asked for; empty: all are. Keys have letters and digits.
func unitAt(r *http.Request) string {
	key := r.URL.Query().Get(nowKey)
	if len(key) > mostKey || strings.IndexFunc(key, func(c rune) bool { return (c < '0' || c > '9') && (c < 'a' || c > 'z') }) >= 0 {
		return ""
	}
	return key
}

// mostKey is how long a unit's key can be.
const mostKey = 16

// inTurn has what reads much of the log wait for its turn.
func (s *Site) inTurn(r *http.Request, f func(*journal.DB) error) func(*journal.DB) error {
	return func(db *journal.DB) error {
		if !s.share.Begin(r.Context()) {
			return errBusy
		}
		defer s.share.End()
		return f(db)
	}
}

// fill fills the page from the log.
func (p *firstPage) fill(db *journal.DB) error {
	search := p.Query.search()
	found, err := db.Search(search)
	if err != nil {
		return err
	}
	all, err := db.Sequences()
	if err != nil {
		return err
	}
	for _, name := range all {
		if words.Short(name, mostTyped) == name { // another cannot be typed either
			p.Sequences = append(p.Sequences, name)
		}
	}
	for _, r := range found.Runs {
		p.Runs = append(p.Runs, lineOf(r))
	}
	switch {
	case len(p.Runs) == 0 && p.Searched:
		p.Nothing = "The " + p.Held() + " has no such runs."
	case len(p.Runs) == 0:
		p.Nothing = "The " + p.Held() + " holds no runs yet."
	}
	if found.Older > 0 {
		q := p.Query
		q.Older = found.Older
		p.Older = q.link()
	}
	if p.Query.Older > 0 {
		q := p.Query
		q.Older = 0
		p.Newest = q.link()
	}
	return nil
}
