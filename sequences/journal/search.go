package journal

import (
	"database/sql"
	"errors"
	"math"
	"path/filepath"
	"strings"
	"time"

	"makebreak/analyze"
)

// A Search picks runs. What is empty or zero is not asked for.
type Search struct {
	Unit     string          // a part of the serial, small and capital letters alike
	Sequence string          // its name
	Field    string          // NAME=PART of its value, or a part of any value, small and capital letters alike
	Verdict  analyze.Verdict // by analyze.RunVerdict
	From     time.Time       // begun then or later
	Until    time.Time       // begun before then
	Older    int64           // runs that entered the log before this place, see Found.Older
	Most     int             // runs that are returned, 1 or more
}

// Found is a part of the runs that a search picks, the newest first.
type Found struct {
	Runs  []RunSummary
	Older int64 // place after which the search goes on; 0: there are no more
}

// The verdict of a run that has not ended is that of its cycles so far, as in RunSummary. It
// counts only whether one failed: the run is incomplete.
const doubtfulOf = `CASE WHEN ended IS NULL THEN coalesce((SELECT max(verdict) FROM cycle WHERE cycle.run = run.id AND verdict >= 2), 0) ELSE verdict END`

// foundColumns are those of a summary, read without going through a run's cycles. Of a run that
// is not complete all cycles that are stored count, one that was cut off included.
var foundColumns = summaryWith("iif(complete AND planned > 0, planned, coalesce((SELECT max(n) FROM cycle WHERE cycle.run = run.id), 0))", doubtfulOf)

// every is the condition that all runs meet.
const every = "1"

// condition returns what a search asks of a run, and the values in it.
func (s *Search) condition() (string, []any) {
	all, values := []string{every}, []any(nil)
	ask := func(text string, value ...any) {
		all, values = append(all, text), append(values, value...)
	}
	if s.Unit != "" {
		ask(`unit LIKE ? ESCAPE '\'`, containing(s.Unit))
	}
	if name, part, named := strings.Cut(s.Field, "="); named {
		ask(`EXISTS (SELECT 1 FROM field WHERE field.run = run.id AND name = ? COLLATE NOCASE AND value <> '' AND value LIKE ? ESCAPE '\')`,
			strings.TrimSpace(name), containing(strings.TrimSpace(part)))
	} else if s.Field != "" {
		ask(`EXISTS (SELECT 1 FROM field WHERE field.run = run.id AND value <> '' AND value LIKE ? ESCAPE '\')`, containing(s.Field))
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
		ask(doubtfulOf+" = ?", analyze.Fail.Gravity())
	case analyze.Incomplete:
		ask("NOT complete AND "+doubtfulOf+" <> ?", analyze.Fail.Gravity())
	default:
		ask("complete AND verdict = ?", s.Verdict.Gravity())
	}
	return strings.Join(all, " AND "), values
}

// containing is a pattern of LIKE for texts with a part.
func containing(part string) string {
	return "%" + strings.NewReplacer(`\`, `\\`, "%", `\%`, "_", `\_`).Replace(part) + "%"
}

// query returns the condition by which runs are read, and the values in it. They are found in
// an index that holds all that is asked for (+id: not in the runs themselves), and only those
// that are shown are read.
func (s *Search) query() (string, []any) {
	where, values := s.condition()
	older := s.Older
	if older <= 0 {
		older = math.MaxInt64
	}
	if where == every {
		return "id < ?", []any{older}
	}
	return "id IN (SELECT id FROM run WHERE " + where + " AND +id < ? ORDER BY +id DESC LIMIT ?)", append(values, older, s.Most+1)
}

// Search returns the runs that are searched for, the newest first. Cycles of a run that is not
// complete are all that are stored.
func (db *DB) Search(s Search) (found Found, err error) {
	query, values := s.query()
	rows, err := db.read.Query("SELECT "+foundColumns+" FROM run WHERE "+query+" ORDER BY id DESC LIMIT ?", append(values, s.Most+1)...)
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
	return found, db.fail("search the runs", errors.Join(rows.Err(), db.noteFields(found.Runs)))
}

// noteFields reads the fields of runs.
func (db *DB) noteFields(runs []RunSummary) error {
	if len(runs) == 0 {
		return nil
	}
	rows := make([]any, len(runs))
	for i := range runs {
		rows[i] = runs[i].row
	}
	fields, err := db.fieldsWhere("run IN (?"+strings.Repeat(",?", len(runs)-1)+")", rows...)
	for i := range runs {
		runs[i].Fields = fields[runs[i].row]
	}
	return err
}

// Sequences returns the names of the sequences of which there are runs, rising.
func (db *DB) Sequences() (names []string, err error) {
	// From each name to the next in the index: reading all of it would take as long as a search.
	rows, err := db.read.Query(`WITH RECURSIVE each (name) AS (SELECT min(sequence) FROM run
		UNION ALL SELECT (SELECT min(sequence) FROM run WHERE sequence > each.name) FROM each WHERE each.name IS NOT NULL)
		SELECT name FROM each WHERE name IS NOT NULL`)
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

// Outcome is what a run came to, in short.
type Outcome struct {
	Unit, Sequence string
	Started        time.Time
	Verdict        analyze.Verdict // by analyze.RunVerdict
	Simulated      bool
	Running        bool // a program is at it now
}

// Outcomes returns those of all runs.
func (db *DB) Outcomes() (all []Outcome, err error) {
	under, err := db.UnderWay(nil)
	if err != nil {
		return nil, err
	}
	running := map[int64]bool{}
	for _, r := range under {
		running[r.row] = true
	}
	rows, err := db.read.Query("SELECT id, unit, sequence, started, complete, seed IS NOT NULL, " + doubtfulOf + " FROM run")
	if err != nil {
		return nil, db.fail("count the runs", err)
	}
	defer rows.Close()
	for rows.Next() {
		var o Outcome
		var row int64
		var started sql.NullInt64
		var complete bool
		var gravity int
		if err := scanRow(rows, "run", &row, &o.Unit, &o.Sequence, &started, &complete, &o.Simulated, &gravity); err != nil {
			return nil, db.fail("count the runs", err)
		}
		gravest, err := verdictOf(gravity)
		if err != nil {
			return nil, db.fail("count the runs", err)
		}
		o.Started, o.Verdict, o.Running = timeOf(started), analyze.RunVerdict(complete, gravest), running[row]
		all = append(all, o)
	}
	return all, db.fail("count the runs", rows.Err())
}

// Room returns the log's size with what belongs to it, and what is left on its disk, both in
// bytes; negative: not known.
func (db *DB) Room() (size, left int64) {
	full, err := realPath(db.path)
	if err != nil {
		return -1, -1
	}
	if size = fileSize(full); size > 0 {
		size += fileSize(full + "-wal")
	}
	left, known := freeSpace(filepath.Dir(full))
	if !known {
		left = -1
	}
	return size, left
}
