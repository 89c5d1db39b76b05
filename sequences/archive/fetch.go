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
}

// list reports whether figures are left out.
func (w *Wanted) list() bool { return w.Unit == "" && len(w.Names) == 0 }

// ErrNoRun says that the archive holds no run that is wanted.
var ErrNoRun error = problem.New(problem.Usage, "the archive holds no such run")

// Fetch copies runs into a log of its own in a folder for temporary files, which can be read as
// any, and goes when it is closed. It must have room there. What the log of a rig has pruned is
// in it as far as it was pushed.
func (db *DB) Fetch(ctx context.Context, w Wanted) (*journal.DB, error) {
	tx, err := db.conn.BeginTx(ctx, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly})
	if err != nil {
		return nil, db.fail("fetch", err)
	}
	defer func() { _ = tx.Rollback(context.WithoutCancel(ctx)) }() // nothing was written
	g := &fetching{db: db, ctx: ctx, tx: tx}
	if g.ids, err = g.find(&w); err != nil {
		return nil, db.failPush(err)
	}
	if len(g.ids) == 0 && len(w.Names) > 0 {
		return nil, db.fail("fetch", ErrNoRun)
	}
	return journal.Fetch(db.place, func(to *journal.Fetched) error {
		g.to = to
		return g.all(!w.list())
	})
}

// fetching copies runs out of the archive.
type fetching struct {
	db       *DB
	ctx      context.Context
	tx       pgx.Tx
	to       *journal.Fetched
	ids      []int64
	own      map[int64]int64    // numbers of runs in the log, by those in the archive
	captures map[[2]int64]int64 // numbers of captures, by run and cycle
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
		) SELECT s.id FROM makebreak.shown s WHERE EXISTS (SELECT 1 FROM named n WHERE n.id = s.id OR n.unit <> '' AND n.unit = s.unit
			OR n.sequence = s.sequence AND EXISTS (SELECT 1 FROM makebreak.reference f WHERE f.run = s.id AND f.push = s.push))`, w.Names, w.Unit)
}

func (g *fetching) numbers(query string, args ...any) ([]int64, error) {
	rows, err := g.tx.Query(g.ctx, query, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[int64])
}

// all copies the runs, and what belongs to them.
func (g *fetching) all(figures bool) error {
	if err := g.runs(); err != nil {
		return err
	}
	if err := g.keptCaptures(figures); err != nil {
		return err
	}
	tables := cycleTables[:1]
	if figures {
		tables = slices.Concat(tables, wordTables, cycleTables[1:3]) // figures refer to words
	}
	for _, t := range slices.Concat(tables, setTables) {
		copied := g.rows
		if t.packed {
			copied = g.stretches
		}
		if err := copied(&t); err != nil {
			return err
		}
	}
	return nil
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

// runs copies the runs' own rows, the oldest first, as they were begun.
func (g *fetching) runs() error {
	columns := append([]string{"id"}, columnNames(slices.Concat(runColumns, endColumns))...)
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
		return g.to.Add("run", columns, v)
	})
}

// keptCaptures copies the captures, or only that they are there.
func (g *fetching) keptCaptures(bytes bool) error {
	what := "t.bytes"
	if !bytes {
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
