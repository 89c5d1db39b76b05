package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"sync"
)

// tableForms is what a log's tables and triggers are, each as one text by its name. A table that
// was changed by hand need not be what the statements here take it for: it may hold texts in
// place of numbers, or be a view that never ends. A trigger may do anything with a cycle that
// is stored. Tables that somebody has added besides are let be.
type tableForms map[string]string

// The columns of tables alone: to know those of a view, SQLite would have to work it out.
const formQuery = `SELECT t.name, 'table ' || t.name, t.wr || t.strict || ' ' || group_concat(x.name || ' ' || x.type || ' ' || x."notnull" || x.pk || x.hidden, ', ')
	FROM pragma_table_list t, pragma_table_xinfo(t.name) x WHERE t.schema = 'main' AND t.type = 'table' GROUP BY t.name
	UNION ALL SELECT tbl_name, 'trigger ' || name, sql FROM sqlite_schema WHERE type = 'trigger'`

// formOf reads a form. Of tables that are in none of those wanted only the triggers' absence
// is not asked for.
func formOf(conn *sql.Conn, wanted tableForms) (tableForms, error) {
	rows, err := conn.QueryContext(context.Background(), formQuery)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	f := tableForms{}
	for rows.Next() {
		var table, name, text string
		if err := scanRow(rows, "sqlite_schema", &table, &name, &text); err != nil {
			return nil, err
		}
		if _, ours := wanted["table "+table]; ours || wanted == nil {
			f[name] = text
		}
	}
	return f, rows.Err()
}

// formWanted is the form that the migrations make.
var formWanted = sync.OnceValues(func() (t tableForms, err error) {
	pool, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return nil, err
	}
	defer pool.Close()
	conn, err := pool.Conn(context.Background())
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	if err := migrate(conn, migrations); err != nil {
		return nil, err
	}
	return formOf(conn, nil)
})

// checkForm refuses a log whose tables are not those that the migrations make.
func checkForm(conn *sql.Conn, from fs.FS) error {
	if from != fs.FS(migrations) {
		return nil
	}
	wanted, err := formWanted()
	if err != nil {
		return err
	}
	found, err := formOf(conn, wanted)
	if err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(wanted)) {
		if text, there := found[name]; !there {
			return fmt.Errorf("%w: it has no %s", ErrCorrupt, name)
		} else if text != wanted[name] {
			return fmt.Errorf("%w: the %s is not as this program makes it", ErrCorrupt, name)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(found)) {
		if _, known := wanted[name]; !known {
			return fmt.Errorf("%w: it has a %s on a table of the log, which this program has not made", ErrCorrupt, name)
		}
	}
	return nil
}

// checkViews reports views for other programs that are not there. This program does not need
// them.
func (db *DB) checkViews(ctx context.Context) error {
	var missing string
	err := oneOf(db.read.QueryContext(ctx, `SELECT column1 FROM (VALUES ('runs'), ('cycles'), ('figures'))
		WHERE column1 NOT IN (SELECT name FROM sqlite_schema WHERE type = 'view')`)).scan("sqlite_schema", &missing)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil
	case err != nil:
		return err
	}
	return fmt.Errorf("%w: it has no view %s", ErrCorrupt, missing)
}
