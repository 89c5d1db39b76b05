package journal

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
)

//go:embed migration/*.sql
var migrations embed.FS

// applicationID marks a SQLite file as a log, in its header: "mkbk" in ASCII.
const applicationID = 0x6d6b626b

// afterwards are the parts of migrations that SQL alone cannot do, by the file that each
// follows.
var afterwards = map[string][]func(*sql.Conn) error{"0006_doubts.sql": {sortReasons}, "0007_identity.sql": {identifyRuns, nameUnits}}

// migrate brings the file's schema up to date: every migration that it lacks, in
// one transaction. The number of migrations done is the file's user_version.
func migrate(conn *sql.Conn, from fs.FS) error {
	names, err := migrationsIn(from)
	if err != nil {
		return err
	}
	ctx := context.Background()
	if version, err := checkSchema(conn, len(names)); err != nil || version == len(names) {
		return err
	}
	if _, err := conn.ExecContext(ctx, "BEGIN IMMEDIATE"); err != nil {
		return err
	}
	if err := migrateIn(conn, from, names); err != nil {
		_, back := conn.ExecContext(ctx, "ROLLBACK")
		return errors.Join(err, back)
	}
	_, err = conn.ExecContext(ctx, "COMMIT")
	return err
}

// migrationsIn returns the files of the migrations in their order.
func migrationsIn(from fs.FS) ([]string, error) {
	names, err := fs.Glob(from, "migration/*.sql")
	slices.Sort(names)
	return names, err
}

// migrateIn runs inside the transaction. The version is read again: another
// program may have migrated in between.
func migrateIn(conn *sql.Conn, from fs.FS, names []string) error {
	version, err := checkSchema(conn, len(names))
	if err != nil {
		return err
	}
	for i, name := range names[version:] {
		text, err := fs.ReadFile(from, name)
		if err != nil {
			return err
		}
		pragmas := fmt.Sprintf("\nPRAGMA user_version = %d; PRAGMA application_id = %d;", version+i+1, applicationID)
		if _, err := conn.ExecContext(context.Background(), string(text)+pragmas); err != nil {
			return fmt.Errorf("migration %s: %w", path.Base(name), err)
		}
		for _, after := range afterwards[path.Base(name)] {
			if err := after(conn); err != nil {
				return fmt.Errorf("migration %s: %w", path.Base(name), err)
			}
		}
	}
	return nil
}

// checkSchema returns how many migrations the file has had, and refuses a file
// that belongs to something else or that has had more than are known.
func checkSchema(conn *sql.Conn, known int) (version int, err error) {
	var id, tables int
	row := conn.QueryRowContext(context.Background(),
		"SELECT (SELECT user_version FROM pragma_user_version), (SELECT application_id FROM pragma_application_id), (SELECT count(*) FROM sqlite_schema)")
	if err := row.Scan(&version, &id, &tables); err != nil {
		return 0, err
	}
	switch {
	case id != applicationID && (id != 0 || version != 0 || tables != 0):
		return 0, fmt.Errorf("%w: it is the database of another program", ErrNotLog)
	case version < 0:
		return 0, fmt.Errorf("%w: its schema has the number %d", ErrCorrupt, version)
	case version > known:
		return 0, fmt.Errorf("%w: its schema has the number %d, this program knows up to %d; use the newer program, or another log", ErrNewer, version, known)
	}
	return version, nil
}
