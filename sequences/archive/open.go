package archive

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgpassfile"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// answerWait is how long a server may take to answer, where PGCONNECT_TIMEOUT says nothing.
const answerWait = 15 * time.Second

// DB is an open archive. Only one goroutine may use it.
type DB struct {
	conn    *pgx.Conn
	place   string // of the archive, for messages
	version int    // of its schema
	reads   bool   // it was opened to read from
}

// Open connects to the archive that PostgreSQL's own variables and service file name, or the
// connection string, where that is not empty: a URI or words as in "host=db dbname=workshop".
// What names none gives an error of usage, what cannot be reached or refuses one of storage. Its
// tables are made, or brought up to date, where there is need.
func Open(ctx context.Context, connection string) (*DB, error) {
	db, err := connect(ctx, connection)
	if err != nil {
		return nil, err
	}
	if err := db.migrate(ctx); err != nil {
		return nil, errors.Join(db.fail("open", err), db.Close())
	}
	return db, nil
}

// OpenRead is Open for whoever only reads: nothing is made there.
func OpenRead(ctx context.Context, connection string) (*DB, error) {
	db, err := connect(ctx, connection)
	if err != nil {
		return nil, err
	}
	db.reads = true
	known, err := known()
	if err == nil {
		err = db.readVersion(ctx)
	}
	switch {
	case err != nil:
	case db.version == 0:
		err = fmt.Errorf("%w: makebreak archive push makes it", ErrNone)
	default:
		err = db.checkVersion(len(known))
	}
	if err != nil {
		return nil, errors.Join(db.fail("open", err), db.Close())
	}
	return db, nil
}

// Close ends the connection.
func (db *DB) Close() error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	_ = db.conn.Close(ctx) // all that was to be kept is
	return nil
}

// Place names the archive, for messages: never with a password.
func (db *DB) Place() string { return db.place }

func connect(ctx context.Context, connection string) (*DB, error) {
	config, err := pgx.ParseConfig(connection)
	if err != nil {
		return nil, &problem.Error{Kind: problem.Usage, Op: "read where the archive is", Err: parsing(err)}
	}
	if err := checkPasswordFile(config); err != nil {
		return nil, err
	}
	if config.ConnectTimeout == 0 {
		config.ConnectTimeout = answerWait
	}
	if config.RuntimeParams["application_name"] == "" {
		config.RuntimeParams["application_name"] = "makebreak"
	}
	db := &DB{place: placeOf(config)}
	if db.conn, err = pgx.ConnectConfig(ctx, config); err != nil {
		return nil, db.fail("connect", err)
	}
	if encoding := db.conn.PgConn().ParameterStatus("server_encoding"); encoding != "UTF8" {
		return nil, errors.Join(db.fail("open", fmt.Errorf("%w, not %s", ErrNotUTF, encoding)), db.Close())
	}
	return db, nil
}

// parsing is an error of pgx's without what it was given, which may hold a password.
func parsing(err error) error {
	var parse *pgconn.ParseConfigError
	if !errors.As(err, &parse) {
		return errors.New("must be PostgreSQL's variables, as in PGHOST, PGDATABASE and PGSERVICE")
	}
	text := parse.Error()
	_, said, found := strings.Cut(text, "`: ")
	if text = "it cannot be read"; found && !strings.Contains(parse.ConnString, "`") {
		text, _, _ = strings.Cut(said, " (") // the rest may repeat what was read
	}
	if strings.Contains(text, "TLS") {
		text = "PGSSLMODE must be one of disable, allow, prefer, require, verify-ca and verify-full, and PGSSLROOTCERT, PGSSLCERT and PGSSLKEY must name files in PEM"
	}
	if strings.Contains(text, "service") {
		file := os.Getenv("PGSERVICEFILE")
		if file == "" {
			file = "~/.pg_service.conf"
		}
		if name := os.Getenv("PGSERVICE"); name != "" {
			text += fmt.Sprintf(" %q", name)
		}
		text += " in " + file
	}
	return problem.Instead(err, text+"; PostgreSQL's variables, as PGHOST and PGSERVICE, say where the archive is")
}

// checkPasswordFile refuses a password of a file that others can read, which PostgreSQL's own
// programs leave alone.
func checkPasswordFile(c *pgx.ConnConfig) error {
	path := os.Getenv("PGPASSFILE")
	if home, err := os.UserHomeDir(); path == "" && err == nil {
		path = filepath.Join(home, ".pgpass")
	}
	info, err := os.Stat(path)
	if err != nil || !info.Mode().IsRegular() || info.Mode().Perm()&0o077 == 0 {
		return nil // pgx says what is wrong with others
	}
	file, err := pgpassfile.ReadPassfile(path)
	if err != nil {
		return nil
	}
	host := c.Host
	if strings.HasPrefix(host, "/") {
		host = "localhost"
	}
	if p := file.FindPassword(host, strconv.Itoa(int(c.Port)), c.Database, c.User); p == "" || p != c.Password {
		return nil
	}
	return problem.New(problem.Usage, words.Safe(path)+": others can read this password file, so that it is not used: chmod 600")
}

func placeOf(c *pgx.ConnConfig) string {
	host := c.Host
	if !strings.HasPrefix(host, "/") {
		host = net.JoinHostPort(host, strconv.Itoa(int(c.Port)))
	}
	database := c.Database
	if database == "" {
		database = c.User // as the server has it
	}
	return fmt.Sprintf("archive %s at %s, user %s", database, host, c.User)
}

//go:embed migration/*.sql
var migrations embed.FS

// migrationLock keeps programs from making the tables at the same time.
const migrationLock = 0x6d6b626b // "mkbk"

func known() ([]string, error) {
	names, err := fs.Glob(migrations, "migration/*.sql")
	slices.Sort(names)
	return names, err
}

// readVersion reads how many migrations the archive has had; 0: there is none.
func (db *DB) readVersion(ctx context.Context) error {
	err := db.conn.QueryRow(ctx, "SELECT coalesce(max(number), 0) FROM makebreak.migration").Scan(&db.version)
	if code := codeOf(err); code == noSuchTable || code == "3F000" { // no such schema
		db.version, err = 0, nil
	}
	return err
}

func (db *DB) checkVersion(known int) error {
	switch {
	case db.version > known:
		return fmt.Errorf("%w: its schema has the number %d, this program knows up to %d; use the newer program", ErrNewer, db.version, known)
	case db.version < known:
		return fmt.Errorf("%w: its schema has the number %d, this program needs %d; its owner must run makebreak archive push once", ErrOlder, db.version, known)
	}
	return nil
}

// migrate makes the archive's tables, or brings them up to date, in one transaction. Where there
// is nothing to do it needs no right but to read.
func (db *DB) migrate(ctx context.Context) error {
	all, err := known()
	if err != nil {
		return err
	}
	if err := db.readVersion(ctx); err != nil {
		return err
	}
	if db.version >= len(all) {
		return db.checkVersion(len(all))
	}
	before := db.version
	err = pgx.BeginFunc(ctx, db.conn, func(tx pgx.Tx) error { return db.migrateIn(ctx, tx, all) })
	if codeOf(err) == mayNot {
		if before == 0 {
			return fmt.Errorf("%w, and this user may not make it; its owner must run makebreak archive push once", ErrNone)
		}
		return fmt.Errorf("%w: its owner must run makebreak archive push once", ErrOlder)
	}
	return err
}

func (db *DB) migrateIn(ctx context.Context, tx pgx.Tx, all []string) error {
	if _, err := tx.Exec(ctx, "SELECT pg_advisory_xact_lock($1)", int64(migrationLock)); err != nil {
		return err
	}
	if db.version == 0 {
		if err := makeSchema(ctx, tx); err != nil {
			return err
		}
	}
	if err := tx.QueryRow(ctx, "SELECT coalesce(max(number), 0) FROM makebreak.migration").Scan(&db.version); err != nil {
		return err
	}
	for ; db.version < len(all); db.version++ { // another program may have done it meanwhile
		name := all[db.version]
		b, err := fs.ReadFile(migrations, name)
		if err != nil {
			return err
		}
		if _, err := tx.Conn().PgConn().Exec(ctx, string(b)).ReadAll(); err != nil {
			return fmt.Errorf("migration %s: %w", path.Base(name), err)
		}
		if _, err := tx.Exec(ctx, "INSERT INTO makebreak.migration (number) VALUES ($1)", db.version+1); err != nil {
			return err
		}
	}
	return nil
}

// makeSchema makes the archive's schema, and lets its owner name the views without it, where
// the owner has not said what is to be found so.
func makeSchema(ctx context.Context, tx pgx.Tx) error {
	var path string
	if err := tx.QueryRow(ctx, "SHOW search_path").Scan(&path); err != nil {
		return err
	}
	statements := []string{
		"CREATE SCHEMA IF NOT EXISTS makebreak",
		"CREATE TABLE IF NOT EXISTS makebreak.migration (number integer PRIMARY KEY, at timestamp with time zone NOT NULL DEFAULT now())",
	}
	if path == `"$user", public` {
		statements = append(statements, `DO $$ BEGIN EXECUTE format('ALTER ROLE %I IN DATABASE %I SET search_path = "$user", public, makebreak', current_user, current_database()); END $$`)
	}
	for _, s := range statements {
		if _, err := tx.Exec(ctx, s); err != nil {
			return err
		}
	}
	return nil
}
