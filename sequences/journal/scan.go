package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strconv"

	"makebreak/rig/words"
)

// What is in a log may have been put there by hand, or a byte of it may be another. So rows
// are read by scanRow, whose errors say what stands where.

// scanRow reads the row of a table. A value that the column cannot have is damage: the error
// names table, column and what was read.
func scanRow(rows *sql.Rows, table string, into ...any) error {
	err := rows.Scan(into...)
	if err == nil {
		return nil
	}
	if found := foreignIn(rows, table, into); found != nil {
		return found
	}
	return fmt.Errorf("%w: %w", ErrCorrupt, err)
}

// foreignIn finds the first column of a row that cannot be read; nil: it can.
func foreignIn(rows *sql.Rows, table string, into []any) error {
	names, err := rows.Columns()
	if err != nil || len(names) != len(into) {
		return nil
	}
	for i := range into {
		some := make([]any, len(into))
		for k := range some {
			some[k] = new(any)
		}
		some[i] = into[i]
		if rows.Scan(some...) == nil {
			continue
		}
		var value any
		some[i] = &value
		if err := rows.Scan(some...); err != nil {
			return nil
		}
		return fmt.Errorf("%w: table %s, column %s: it holds %s, where %s must be", ErrCorrupt, table, columnName(names[i]), shown(value), wanted(into[i]))
	}
	return nil
}

// columnName is a column as a message names it; a column that is worked out has no name.
func columnName(name string) string { return strconv.Quote(words.Short(name, 40)) }

// shown is a value as a message shows it.
func shown(value any) string {
	switch v := value.(type) {
	case nil:
		return "nothing"
	case string:
		return "the text " + strconv.Quote(words.Short(v, 40))
	case []byte:
		return words.Count(len(v), "byte")
	}
	return fmt.Sprintf("the number %v", value)
}

// wanted says what a variable can take.
func wanted(into any) string {
	switch into.(type) {
	case *bool:
		return "0 or 1"
	case *int, *int64, *sql.NullInt64, *State, *uint64, *Kept:
		return "a whole number"
	case *float64, *sql.NullFloat64:
		return "a number"
	case *[]byte, *sql.RawBytes:
		return "bytes"
	}
	return "a text"
}

// one is the only row of a query.
type one struct {
	rows *sql.Rows
	err  error
}

func oneOf(rows *sql.Rows, err error) one { return one{rows, err} }

// row asks for a single row.
func (db *DB) row(text string, args ...any) one {
	return oneOf(db.read.QueryContext(context.Background(), text, args...))
}

// scan reads the row as scanRow does; sql.ErrNoRows: there is none.
func (o one) scan(table string, into ...any) error {
	if o.err != nil {
		return o.err
	}
	defer o.rows.Close()
	if !o.rows.Next() {
		if err := o.rows.Err(); err != nil {
			return err
		}
		return sql.ErrNoRows
	}
	return errors.Join(scanRow(o.rows, table, into...), o.rows.Close())
}

// inRange reports a number in a table that is less than it can be.
func inRange(table, column string, n, least int64) error {
	if n < least {
		return fmt.Errorf("%w: table %s, column %q: it holds %d, where %d or more must be", ErrCorrupt, table, column, n, least)
	}
	return nil
}
