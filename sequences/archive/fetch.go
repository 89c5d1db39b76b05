package archive

import (
	"context"
	"errors"
	"slices"

	"github.com/jackc/pgx/v5"

	"makebreak/rig/problem"
	"makebreak/sequences/journal"
)

// Wanted says which runs are fetched: those of a unit, those with names and what these are
// compared with, or, where it is empty, all, and of these only what a list of them tells.
type Wanted struct {
	Unit  string
	Names []string // as makebreak runs lists them, UUIDs, a day with a count, or last
	// Brief leaves out all but what is searched for and listed: of each run's cycles there is only
	// the last one, with the gravest verdict. It is for all runs.
	Brief bool
	// Lives leaves out the figures of runs with names: it is for whoever counts their cycles. A
	// name may then be the mark of soaks of several units at one rig.
	Lives bool
}

// list reports whether figures are left out.
func (w *Wanted) list() bool { return w.Unit == "" && len(w.Names) == 0 }

// ErrNoRun says that the archive holds no run that is wanted.
var ErrNoRun error = problem.New(problem.Usage, "the archive holds no such run")

// Fetch copies runs into a log of its own in a folder for temporary files, which can be read as
// any, and is removed when it is closed. The folder must have room for it. Captures that the
// rig's log has pruned are in it, if they were pushed before.
func (db *DB) Fetch(ctx context.Context, w Wanted) (*journal.DB, error) {
	tx, err := db.conn.BeginTx(ctx, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly})
	if err != nil {
		return nil, db.fail("fetch", err)
	}
	defer func() { _ = tx.Rollback(context.WithoutCancel(ctx)) }() // nothing was written
	g := &fetching{db: db, ctx: ctx, tx: tx, brief: w.Brief}
	if err := g.choose(&w); err != nil {
		return nil, db.fail("fetch", err)
	}
	if len(g.ids) == 0 && len(w.Names) > 0 && !w.Lives {
		return nil, db.fail("fetch", ErrNoRun)
	}
	return journal.Fetch(db.place, func(to *journal.Fetched) error {
		g.to = to
		return g.all(w.list())
	})
}

// fetching copies runs out of the archive.
type fetching struct {
	db       *DB
	ctx      context.Context
	tx       querier
	to       *journal.Fetched
	ids      []int64
	judged   []int64 // those that come with figures
	others   []int64 // soaks that come with nothing but how far they came
	brief    bool
	own      map[int64]int64    // numbers of runs in the log, by those in the archive
	captures map[[2]int64]int64 // numbers of captures, by run and cycle
}

// choose lists the runs that are fetched, and those of them that come with figures.
func (g *fetching) choose(w *Wanted) (err error) {
	if g.ids, err = g.find(w); err != nil || w.list() || w.Lives {
		return err
	}
	g.judged = g.ids
	return g.addLives()
}

// find lists the runs that are wanted by their numbers. With a run come those of its unit, and
// those of its sequence that are references, as reports are made with them.
func (g *fetching) find(w *Wanted) ([]int64, error) {
	if w.list() {
		return g.numbers("SELECT id FROM makebreak.shown")
	}
	if len(w.Names) == 0 {
		return g.numbers("SELECT id FROM makebreak.shown WHERE unit = $1", w.Unit)
	}
	return g.numbers(`WITH named AS (
			SELECT * FROM makebreak.shown s WHERE s.run = ANY($1) OR s.uuid = ANY($1) OR regexp_replace(s.run, '^(\d{4}-\d\d-\d\d)-[^.]*', '\1') = ANY($1)
				OR 'last' = ANY($1) AND s.id = (SELECT id FROM makebreak.shown WHERE $2 IN ('', unit) ORDER BY started DESC, uuid DESC LIMIT 1)
				OR $3 AND EXISTS (SELECT 1 FROM makebreak.field f WHERE f.run = s.id AND f.push = s.push AND lower(f.name) = $4 AND f.value = ANY($1))
		) SELECT s.id FROM makebreak.shown s WHERE EXISTS (SELECT 1 FROM named n WHERE n.id = s.id OR n.unit <> '' AND n.unit = s.unit
			OR n.sequence = s.sequence AND EXISTS (SELECT 1 FROM makebreak.reference f WHERE f.run = s.id AND f.push = s.push))`, w.Names, w.Unit, w.Lives, journal.TogetherField)
}

func (g *fetching) numbers(query string, args ...any) ([]int64, error) {
	rows, err := g.tx.Query(g.ctx, query, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[int64])
}

// all copies the runs, and what belongs to them.
func (g *fetching) all(list bool) error {
	if err := g.runs(); err != nil {
		return err
	}
	if g.brief {
		return g.lastCycles()
	}
	if err := g.tables(setTables); err != nil {
		return err
	}
	if len(g.judged) > 0 {
		return g.figures()
	}
	if list {
		if err := g.keptCaptures(list); err != nil {
			return err
		}
	}
	return g.tables(cycleTables[:1])
}

// figures copies the cycles, figures and captures of the runs that come with them, and how far the
// other soaks came.
func (g *fetching) figures() error {
	g.ids = g.judged
	if err := g.keptCaptures(false); err != nil {
		return err
	}
	if err := g.tables(slices.Concat(wordTables, cycleTables[:3])); err != nil { // figures refer to words
		return err
	}
	g.ids = g.others
	return g.lives()
}

// lives copies how far those soaks came whose cycles are only counted.
func (g *fetching) lives() error {
	if len(g.ids) == 0 {
		return nil
	}
	return g.each(`SELECT f.id, count(c.n) FILTER (WHERE c.n <= coalesce(f.first, c.n)), f.first IS NOT NULL, coalesce(max(c.verdict), 0) > 0
		FROM (SELECT s.id, s.month, s.last, min(c.n) FILTER (WHERE c.verdict = 3) AS first
			FROM makebreak.shown s JOIN makebreak.cycle c ON c.run = s.id AND c.month = s.month AND c.n <= s.last AND c.complete <> 0
			WHERE s.id = ANY($1) GROUP BY s.id, s.month, s.last) f
		JOIN makebreak.cycle c ON c.run = f.id AND c.month = f.month AND c.n <= f.last AND c.complete <> 0
		GROUP BY f.id, f.first`, func(v []any) error {
		g.to.Life(g.own[v[0].(int64)], int(v[1].(int64)), v[2].(bool), v[3].(bool))
		return nil
	})
}

// tables copies the rows of tables.
func (g *fetching) tables(all []relation) error {
	for i := range all {
		copied := g.rows
		if all[i].packed {
			copied = g.stretches
		}
		if err := copied(&all[i]); err != nil {
			return err
		}
	}
	return nil
}

// addLives adds other units' soaks by the same sequence to those runs that are fetched: the
// record of a soak counts their cycles.
func (g *fetching) addLives() (err error) {
	g.others, err = g.numbers(`SELECT r.id FROM makebreak.run r JOIN makebreak.shown s ON s.id = r.id WHERE r.id <> ALL($1) AND EXISTS (SELECT 1 FROM makebreak.soak k WHERE k.run = r.id)
		AND (r.sequence, r.sequence_source) IN (SELECT n.sequence, n.sequence_source FROM makebreak.run n JOIN makebreak.soak k ON k.run = n.id WHERE n.id = ANY($1))`, g.ids)
	g.ids = slices.Concat(g.ids, g.others)
	return err
}

// each calls f with each row of a query that takes the runs.
func (g *fetching) each(query string, f func(values []any) error) error {
	rows, err := g.tx.Query(g.ctx, query, g.ids)
	if err != nil {
		return g.db.fail("fetch", err)
	}
	defer rows.Close()
	for rows.Next() {
		values, err := rows.Values()
		if err != nil {
			return g.db.fail("fetch", err)
		}
		if err := f(values); err != nil {
			return err
		}
	}
	return g.db.fail("fetch", rows.Err())
}

// lastCycles copies of each run one cycle that stands for all, and what a list tells of it.
func (g *fetching) lastCycles() error {
	columns := append([]string{"run"}, columnNames(cycleTables[0].columns)...)
	err := g.each(`SELECT s.id, s.last, CASE WHEN s.ended IS NOT NULL THEN 0 ELSE
			coalesce((SELECT max(c.verdict) FROM makebreak.cycle c WHERE c.run = s.id AND c.month = s.month AND c.n <= s.last), 0) END
		FROM makebreak.shown s WHERE s.id = ANY($1) AND s.last > 0`, func(v []any) error {
		return g.to.Add("cycle", columns, []any{g.own[v[0].(int64)], v[1], nil, v[2], 1, 0, 0, 0, 0, 0, 0})
	})
	for _, t := range setTables {
		if err == nil && slices.Contains([]string{"soak", "field", "reference"}, t.name) {
			err = g.rows(&t)
		}
	}
	return err
}

// runs copies the runs' own rows, the oldest first, as they were begun.
func (g *fetching) runs() error {
	columns := append([]string{"id"}, columnNames(slices.Concat(runColumns, endColumns))...)
	source, rig := slices.Index(columns, "sequence_source"), slices.Index(columns, "rig_source")
	query := "SELECT r.id, " + namesIn("r", runColumns) + ", " + namesIn("p", endColumns) +
		" FROM makebreak.shown s JOIN makebreak.run r ON r.id = s.id JOIN makebreak.push p ON p.run = s.id AND p.seq = s.push WHERE r.id = ANY($1) ORDER BY r.started, r.uuid"
	g.own = map[int64]int64{}
	g.captures = map[[2]int64]int64{}
	return g.each(query, func(v []any) error {
		id, uuid, series, count := v[0].(int64), v[1].(string), v[2].(string), v[3].(int64)
		own, err := g.to.Series(series, count, uuid)
		if err != nil {
			return err
		}
		g.own[id] = int64(len(g.own) + 1)
		v[0], v[2] = g.own[id], own
		if g.brief {
			v[source], v[rig] = "", ""
		}
		return g.to.Add("run", columns, v)
	})
}

// keptCaptures copies the captures, or, for a list, only that they are there.
func (g *fetching) keptCaptures(list bool) error {
	what := "t.bytes"
	if list {
		what = "''::bytea"
	}
	columns := []string{"id", "why", "bytes"}
	return g.each("SELECT t.run, t.cycle, t.why, "+what+" FROM makebreak.capture t JOIN makebreak.shown s ON s.id = t.run WHERE t.run = ANY($1)"+cycleTables[3].isShown(), func(v []any) error {
		id := int64(len(g.captures) + 1)
		g.captures[[2]int64{v[0].(int64), v[1].(int64)}] = id
		return g.to.Add("capture", columns, []any{id, v[2], v[3]})
	})
}

// rows copies a table's rows.
func (g *fetching) rows(t *relation) error {
	if t.name == "doubts" {
		t = &relation{name: t.name, own: t.own, columns: t.columns[:1]} // the words are made again
	}
	columns := append([]string{"run"}, columnNames(t.columns)...)
	ofCycle := t.name == "cycle"
	if ofCycle {
		columns = append(columns, "capture")
	}
	query := "SELECT t.run, " + namesIn("t", t.columns) + " FROM makebreak." + t.name + " t JOIN makebreak.shown s ON s.id = t.run WHERE t.run = ANY($1)" + t.isShown()
	return g.each(query, func(v []any) error {
		run := v[0].(int64)
		if ofCycle {
			var capture any
			if id, kept := g.captures[[2]int64{run, v[1].(int64)}]; kept {
				capture = id
			}
			v = append(v, capture)
		}
		v[0] = g.own[run]
		return g.to.Add(t.name, columns, v)
	})
}

// stretches copies a table's rows that stand together.
func (g *fetching) stretches(t *relation) error {
	columns := append([]string{"run"}, columnNames(t.columns)...)
	query := "SELECT s.last, t.run, t.point, t.seq, t.first, t.last, " + namesIn("t", stretchColumns[4:]) +
		" FROM makebreak." + t.name + " t JOIN makebreak.shown s ON s.id = t.run WHERE t.run = ANY($1) AND t.month = s.month AND t.first <= s.last ORDER BY t.run, t.first"
	rows, err := g.tx.Query(g.ctx, query, g.ids)
	if err != nil {
		return g.db.fail("fetch", err)
	}
	defer rows.Close()
	var last int64
	for rows.Next() {
		var x fetchedStretch
		if err := rows.Scan(append([]any{&last}, x.into()...)...); err != nil {
			return g.db.fail("fetch", err)
		}
		err := x.each(last, func(values []any) error { return g.to.Add(t.name, columns, append([]any{g.own[x.run]}, values...)) })
		if errors.Is(err, errStretch) {
			return g.db.fail("fetch", err)
		}
		if err != nil {
			return err
		}
	}
	return g.db.fail("fetch", rows.Err())
}
