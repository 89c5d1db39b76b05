package journal

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"hash"
	"math"
)

// A manifest leaves out what any program may make anew, budgets' numbers among it. A file of
// exported runs is to be as it was written in these as well, so it has a sum of all its rows.

// rowSumTable names the table that has the sum, and rowSumForm makes it.
const (
	rowSumTable = "exported_rows"
	rowSumForm  = "CREATE TABLE " + rowSumTable + " (sum BLOB NOT NULL) STRICT"
)

// noteRowSum writes the sum of all rows into a file, after everything else.
func (db *DB) noteRowSum(ctx context.Context) error {
	sum, err := rowSum(ctx, db.read)
	if err != nil {
		return err
	}
	return db.transact(func() error {
		return errors.Join(db.exec(rowSumForm), db.exec("INSERT INTO "+rowSumTable+" VALUES (?)", sum))
	})
}

// checkRowSum compares the sum that a file has with its rows as they are, before anything brings
// its schema up to date. A file without one was written before there were any.
func checkRowSum(ctx context.Context, full string) error {
	pool, err := sql.Open("sqlite", dsn(full, "query_only(ON)", "trusted_schema(OFF)")+"&mode=ro&immutable=1")
	if err != nil {
		return err
	}
	defer pool.Close()
	var there int
	if err := pool.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema WHERE name = ?", rowSumTable).Scan(&there); err != nil || there == 0 {
		return err
	}
	var noted []byte
	if err := pool.QueryRowContext(ctx, "SELECT sum FROM "+rowSumTable).Scan(&noted); err != nil {
		return err
	}
	now, err := rowSum(ctx, pool)
	if err == nil && string(now) != string(noted) {
		err = errors.New("its rows are others")
	}
	return err
}

// rowSum is the SHA-256 of all rows of all tables, each table's in the order of its key.
func rowSum(ctx context.Context, pool *sql.DB) ([]byte, error) {
	rows, err := pool.QueryContext(ctx, "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite%' AND name <> ? ORDER BY name", rowSumTable)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var tables []string
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return nil, err
		}
		tables = append(tables, name)
	}
	if err := rows.Err(); err != nil {
		return nil, err
	}
	h := sha256.New()
	for _, name := range tables {
		if err := addRows(ctx, h, pool, name); err != nil {
			return nil, err
		}
	}
	return h.Sum(nil), nil
}

// addRows adds a table's rows to a sum.
func addRows(ctx context.Context, h hash.Hash, pool *sql.DB, table string) error {
	rows, err := pool.QueryContext(ctx, `SELECT * FROM "`+table+`"`)
	if err != nil {
		return err
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return err
	}
	values, into := make([]any, len(columns)), make([]any, len(columns))
	for i := range into {
		into[i] = &values[i]
	}
	line := appendTyped(nil, "table "+table)
	_, _ = h.Write(line) // never fails
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		for _, v := range values {
			line = appendTyped(line[:0], v)
			_, _ = h.Write(line) // never fails
		}
	}
	return rows.Err()
}

// appendTyped appends a value with its type and, of texts and bytes, its length.
func appendTyped(b []byte, value any) []byte {
	switch v := value.(type) {
	case int64:
		return binary.BigEndian.AppendUint64(append(b, 'i'), uint64(v))
	case float64:
		return binary.BigEndian.AppendUint64(append(b, 'f'), math.Float64bits(v))
	case string:
		return append(binary.BigEndian.AppendUint64(append(b, 's'), uint64(len(v))), v...)
	case []byte:
		return append(binary.BigEndian.AppendUint64(append(b, 'b'), uint64(len(v))), v...)
	}
	return fmt.Append(append(b, '?'), value) // NULL
}
