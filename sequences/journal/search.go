package journal

import (
	"strings"
	"time"

	"makebreak/analyze"
)

// A Search picks runs. What is empty or zero is not asked for.
type Search struct {
	Unit     string          // a part of the serial, small and capital letters alike
	Sequence string          // its name
	Verdict  analyze.Verdict // by analyze.RunVerdict
	From     time.Time       // begun then or later
	Until    time.Time       // begun before then
	Older    int64           // runs that entered the log before this place, see Found.Older
	Most     int             // runs that are returned
}

// Found is a part of the runs that a search picks, the newest first.
type Found struct {
	Runs  []RunSummary
	Older int64 // place after which the search goes on; 0: there are no more
}

// The verdict of a run that has not ended is that of its cycles so far, as in RunSummary.
const gravestOf = `CASE WHEN ended IS NULL THEN coalesce((SELECT max(verdict) FROM cycle WHERE cycle.run = run.id), 0) ELSE verdict END`

// condition returns what a search asks of a run, and the values in it.
func (s *Search) condition() (string, []any) {
	all, values := []string{"1"}, []any(nil)
	ask := func(text string, value ...any) {
		all, values = append(all, text), append(values, value...)
	}
	if s.Older > 0 {
		ask("id < ?", s.Older)
	}
	if s.Unit != "" {
		ask(`unit LIKE ? ESCAPE '\'`, "%"+strings.NewReplacer(`\`, `\\`, "%", `\%`, "_", `\_`).Replace(s.Unit)+"%")
	}
	if s.Sequence != "" {
		ask("sequence = ?", s.Sequence)
	}
	if !s.From.IsZero() {
		ask("started >= ?", s.From.UnixNano())
	}
	if !s.Until.IsZero() {
		ask("started < ?", s.Until.UnixNano())
	}
	switch s.Verdict {
	case "":
	case analyze.Fail:
		ask(gravestOf+" = ?", analyze.Fail.Gravity())
	case analyze.Incomplete:
		ask("NOT complete AND "+gravestOf+" <> ?", analyze.Fail.Gravity())
	default:
		ask("complete AND verdict = ?", s.Verdict.Gravity())
	}
	return strings.Join(all, " AND "), values
}

// Search returns the runs that are searched for, the newest first.
func (db *DB) Search(s Search) (found Found, err error) {
	where, values := s.condition()
	rows, err := db.read.Query("SELECT "+summaryColumns+" FROM run WHERE "+where+" ORDER BY id DESC LIMIT ?", append(values, s.Most+1)...)
	if err != nil {
		return found, db.fail("search the runs", err)
	}
	defer rows.Close()
	for rows.Next() {
		r, err := scanSummary(func(into ...any) error { return scanRow(rows, "run", into...) })
		if err != nil {
			return found, db.fail("search the runs", err)
		}
		if len(found.Runs) == s.Most {
			found.Older = found.Runs[s.Most-1].row
			break
		}
		found.Runs = append(found.Runs, r)
	}
	return found, db.fail("search the runs", rows.Err())
}

// Sequences returns the names of the sequences of which there are runs, rising.
func (db *DB) Sequences() (names []string, err error) {
	rows, err := db.read.Query("SELECT DISTINCT sequence FROM run ORDER BY 1")
	if err != nil {
		return nil, db.fail("list the sequences", err)
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := scanRow(rows, "run", &name); err != nil {
			return nil, db.fail("list the sequences", err)
		}
		names = append(names, name)
	}
	return names, db.fail("list the sequences", rows.Err())
}
