package journal

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"hash"
	"io"
	"math"
	"os"

	"makebreak/rig/infile"
)

// A manifest leaves out what any program may make anew, budgets' numbers among it. A file of
// exported runs is to be as it was written in these as well, so it has a sum of all its rows.

// What stands in no row, as an unused page, is to be as it was written, too: so there is a sum
// of the file's bytes beside, but for those at the place of that sum itself.

// rowSumTable names the table that has both sums, and rowSumForm makes it.
const (
	rowSumTable = "exported_rows"
	rowSumForm  = "CREATE TABLE " + rowSumTable + " (sum BLOB NOT NULL, file BLOB NOT NULL) STRICT"
)

// noteRowSum writes the sum of all rows into a file, after everything else, and takes a place for
// that of its bytes.
func (db *DB) noteRowSum(ctx context.Context) error {
	sum, err := rowSum(ctx, db.read)
	if err != nil {
		return err
	}
	place := make([]byte, sha256.Size)
	_, _ = rand.Read(place) // never fails
	return db.transact(func() error {
		return errors.Join(db.exec(rowSumForm), db.exec("INSERT INTO "+rowSumTable+" VALUES (?, ?)", sum, place))
	})
}

// readAlone opens a database that nobody writes, and leaves it as it is.
func readAlone(full string) (*sql.DB, error) {
	return sql.Open("sqlite", dsn(full, "query_only(ON)", "trusted_schema(OFF)")+"&mode=ro&immutable=1")
}

// noteFileSum writes the sum of a file's bytes to its place. Nobody may have it open.
func noteFileSum(path string) error {
	pool, err := readAlone(path)
	if err != nil {
		return err
	}
	var place []byte
	err = pool.QueryRow("SELECT file FROM " + rowSumTable).Scan(&place)
	if err = errors.Join(err, pool.Close()); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return fileError(err)
	}
	sum, at, err := fileSum(context.Background(), f, place)
	if err == nil {
		_, err = f.WriteAt(sum, at)
	}
	return errors.Join(err, f.Close())
}

// errSums says that a file is not what its sums say.
var errSums = errors.New("its sums are others")

// fileSum is the SHA-256 of a file's bytes with zeros in place of those given, which must be
// there once, and says where they are.
func fileSum(ctx context.Context, f io.ReadSeeker, place []byte) (sum []byte, at int64, err error) {
	if at, err = findOnce(ctx, f, place); err != nil {
		return nil, 0, err
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, 0, err
	}
	h := sha256.New()
	from := infile.Stream(ctx, f)
	if _, err := io.CopyN(h, from, at); err != nil {
		return nil, 0, err
	}
	if _, err := io.ReadFull(from, make([]byte, len(place))); err != nil {
		return nil, 0, err
	}
	_, _ = h.Write(make([]byte, len(place))) // never fails
	_, err = io.Copy(h, from)
	return h.Sum(nil), at, err
}

// findOnce finds bytes in a file in which they are once.
func findOnce(ctx context.Context, f io.ReadSeeker, what []byte) (at int64, err error) {
	if len(what) != sha256.Size {
		return 0, errSums
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return 0, err
	}
	const most = 1 << 20
	at = -1
	b, n := make([]byte, most), 0 // of which n bytes are left from before
	for begin := int64(0); ; {
		read, err := io.ReadFull(infile.Stream(ctx, f), b[n:])
		part := b[:n+read]
		for from := 0; ; {
			i := bytes.Index(part[from:], what)
			if i < 0 {
				break
			}
			if at >= 0 {
				return 0, errSums
			}
			at = begin + int64(from+i)
			from += i + 1
		}
		switch {
		case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
			if at < 0 {
				return 0, errSums
			}
			return at, nil
		case err != nil:
			return 0, err
		}
		n = copy(b, part[len(part)-len(what)+1:])
		begin += int64(len(part) - n)
	}
}

// checkSums compares the sums that a file has with what it holds, before anything brings its
// schema up to date. A file of an earlier program has none of its bytes, or none at all.
func checkSums(ctx context.Context, full string) error {
	pool, err := readAlone(full)
	if err != nil {
		return err
	}
	defer pool.Close()
	column := func(table, name string) (there bool, err error) {
		err = pool.QueryRowContext(ctx, "SELECT count(*) FROM pragma_table_info(?) WHERE name = ?", table, name).Scan(&there)
		return there, err
	}
	summed, err := column(exportedTable, "summed")
	if err != nil {
		return err
	}
	ofFile, err := column(rowSumTable, "file")
	if err != nil {
		return err
	}
	if summed || ofFile {
		return checkFileSum(ctx, pool, full)
	}
	if there, err := column(rowSumTable, "sum"); err != nil || !there {
		return err
	}
	return checkRowSum(ctx, pool)
}

func checkFileSum(ctx context.Context, pool *sql.DB, full string) error {
	var noted []byte
	if err := pool.QueryRowContext(ctx, "SELECT file FROM "+rowSumTable).Scan(&noted); err != nil {
		return err
	}
	f, err := os.Open(full)
	if err != nil {
		return fileError(err)
	}
	defer f.Close()
	now, _, err := fileSum(ctx, f, noted)
	if err == nil && !bytes.Equal(now, noted) {
		err = errSums
	}
	return err
}

func checkRowSum(ctx context.Context, pool *sql.DB) error {
	var noted []byte
	if err := pool.QueryRowContext(ctx, "SELECT sum FROM "+rowSumTable).Scan(&noted); err != nil {
		return err
	}
	now, err := rowSum(ctx, pool)
	if err == nil && !bytes.Equal(now, noted) {
		err = errSums
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
