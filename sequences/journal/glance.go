package journal

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"time"

	"makebreak/analyze"
)

// A Glimpse is what completing a word needs to know of a run.
type Glimpse struct {
	Run, Unit, By, Sequence string
	Complete                bool
	Soak                    bool
}

// mostGlimpses is how many runs are looked at, the newest first.
const mostGlimpses = 300

// glanceFor is how long a glance at a log may take.
const glanceFor = 300 * time.Millisecond

// Glance returns the newest runs of a log, the newest first. It is for a person who types: it
// makes, changes and locks nothing, is done soon, and returns an error for a log that another
// version wrote, that is busy, or that is none.
func Glance(ctx context.Context, path string) ([]Glimpse, error) {
	var all []Glimpse
	err := glance(ctx, path, fmt.Sprintf("SELECT %s, unit, done_by, sequence, complete, EXISTS (SELECT 1 FROM soak WHERE soak.run = run.id) FROM run ORDER BY id DESC LIMIT %d", itsName, mostGlimpses),
		func(rows *sql.Rows) error {
			var g Glimpse
			err := rows.Scan(&g.Run, &g.Unit, &g.By, &g.Sequence, &g.Complete, &g.Soak)
			all = append(all, g)
			return err
		})
	return all, err
}

// GlanceFields returns the names and values that are noted with the newest runs, each once.
func GlanceFields(ctx context.Context, path string) ([]Field, error) {
	var all []Field
	err := glance(ctx, path, fmt.Sprintf("SELECT name, value FROM field WHERE value <> '' GROUP BY name, value ORDER BY max(run) DESC LIMIT %d", mostGlimpses),
		func(rows *sql.Rows) error {
			var f Field
			err := rows.Scan(&f.Name, &f.Value)
			all = append(all, f)
			return err
		})
	return all, err
}

// GlanceAt returns the source of a run's sequence, as Glance does; last is the newest.
func GlanceAt(ctx context.Context, path, run string) (source string, err error) {
	query, args := "SELECT sequence_source FROM run WHERE "+hasName, []any{run}
	if run == "last" {
		query, args = "SELECT sequence_source FROM run ORDER BY id DESC LIMIT 1", nil
	}
	err = glance(ctx, path, query, func(rows *sql.Rows) error { return rows.Scan(&source) }, args...)
	return source, err
}

// GlanceExercises returns the exercises begun last, the newest first, as Glance does, without
// what was made of them, and what tells each in this log from all others.
func GlanceExercises(ctx context.Context, path string) (all []Exercise, places []string, err error) {
	err = glance(ctx, path, fmt.Sprintf("SELECT uuid, name, title, salt, state, by_word, here, (SELECT identity FROM log) FROM exercise ORDER BY id DESC LIMIT %d", mostGlimpses),
		func(rows *sql.Rows) error {
			var e Exercise
			var identity string
			err := rows.Scan(&e.UUID, &e.Name, &e.Title, &e.Salt, &e.State, &e.ByWord, &e.Here, &identity)
			all, places = append(all, e), append(places, exercisePlace(&e, identity))
			return err
		})
	return all, places, err
}

// A GlimpseOfCycle is what completing a cycle's number needs to know.
type GlimpseOfCycle struct {
	N       int
	Verdict analyze.Verdict
}

// GlanceCaptured returns the cycles of a run of which a capture is kept, the newest first, as
// Glance does; last is the newest run.
func GlanceCaptured(ctx context.Context, path, run string) ([]GlimpseOfCycle, error) {
	which, args := hasName, []any{run}
	if run == "last" {
		which, args = "id = (SELECT max(id) FROM run)", nil
	}
	var all []GlimpseOfCycle
	err := glance(ctx, path, fmt.Sprintf("SELECT n, verdict FROM cycle WHERE run = (SELECT id FROM run WHERE %s) AND capture IS NOT NULL ORDER BY n DESC LIMIT %d", which, mostGlimpses),
		func(rows *sql.Rows) error {
			var g GlimpseOfCycle
			var gravity int
			err := rows.Scan(&g.N, &gravity)
			if err == nil {
				g.Verdict, err = verdictOf(gravity)
			}
			all = append(all, g)
			return err
		}, args...)
	return all, err
}

// glance reads rows of a log without writing a byte beside it.
func glance(ctx context.Context, path, query string, row func(*sql.Rows) error, args ...any) error {
	if err := isDatabase(path); err != nil {
		return err
	}
	full, err := realPath(path)
	if err != nil {
		return err
	}
	way := "mode=ro&immutable=1"
	if info, err := os.Stat(full + "-wal"); err == nil && info.Size() > 0 {
		way = "mode=ro" // somebody writes, and what is beside the log belongs to it
	}
	ctx, cancel := context.WithTimeout(ctx, glanceFor)
	defer cancel()
	pool, err := sql.Open("sqlite", dsn(full, "query_only(ON)", "trusted_schema(OFF)", "busy_timeout(100)")+"&"+way)
	if err != nil {
		return err
	}
	defer pool.Close()
	rows, err := pool.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := row(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}
