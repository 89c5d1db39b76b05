package journal

import (
	"context"
	"database/sql"
	"errors"
)

// Snapshot is the log as it is at one instant, for whoever copies its rows to somewhere else.
// While it is open, what is written ahead cannot be brought into the main file, so it must
// not stay open for long.
type Snapshot struct {
	db *DB
	tx *sql.Tx
}

// Snapshot begins one. Only one goroutine may use it, and it must be closed.
func (db *DB) Snapshot(ctx context.Context) (*Snapshot, error) {
	tx, err := db.read.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return nil, db.fail("read", err)
	}
	return &Snapshot{db, tx}, nil
}

// Close ends it.
func (s *Snapshot) Close() error {
	if err := s.tx.Rollback(); err != nil && !errors.Is(err, sql.ErrTxDone) {
		return s.db.fail("read", err)
	}
	return nil
}

// Each calls f with each row of a query, its values as SQLite has them: int64, float64, string,
// []byte or nil. F must copy what it keeps. The query is one of the log's own tables.
func (s *Snapshot) Each(ctx context.Context, f func(values []any) error, query string, args ...any) error {
	rows, err := s.Rows(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := f(rows.Values); err != nil {
			return err
		}
	}
	return rows.Err()
}

// Rows are those of a query, one after the other.
type Rows struct {
	Values []any // of the row that Next has read

	snapshot *Snapshot
	rows     *sql.Rows
	into     []any
	err      error
}

// Rows begins a query as Each does.
func (s *Snapshot) Rows(ctx context.Context, query string, args ...any) (*Rows, error) {
	rows, err := s.tx.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, s.db.fail("read", err)
	}
	names, err := rows.Columns()
	if err != nil {
		return nil, s.db.fail("read", errors.Join(err, rows.Close()))
	}
	r := &Rows{Values: make([]any, len(names)), snapshot: s, rows: rows, into: make([]any, len(names))}
	for i := range r.into {
		r.into[i] = &r.Values[i]
	}
	return r, nil
}

// Next reads a row; false: there is none any more, or Err says what is wrong.
func (r *Rows) Next() bool {
	if r.err != nil || !r.rows.Next() {
		return false
	}
	r.err = r.rows.Scan(r.into...)
	return r.err == nil
}

// Err says why the rows ended; nil: there are no more.
func (r *Rows) Err() error { return r.snapshot.db.fail("read", errors.Join(r.err, r.rows.Err())) }

// Close ends the query.
func (r *Rows) Close() { _ = r.rows.Close() } // Err says what was wrong
