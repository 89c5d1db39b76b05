package journal

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"makebreak/rig/infile"
	"makebreak/rig/problem"
)

// Runs are moved between logs in one file: a log that holds them, with a table that says what
// they hold, so that one which was cut or has changed on its way is refused.

// ErrNotWhole says that a file of exported runs is not as it was written.
var ErrNotWhole error = problem.New(problem.Input, "the file is not as it was exported; export the runs again")

// ErrExported says that a file of exported runs was to be written as a log.
var ErrExported error = problem.New(problem.Storage, "it is a file of exported runs, which stays as it is; runs import takes them into a log")

// exportedTable names the table, exportedForm makes it. The column summed says that the file
// has a sum of its bytes.
const (
	exportedTable = "exported"
	exportedForm  = "CREATE TABLE " + exportedTable + " (run TEXT NOT NULL PRIMARY KEY, manifest TEXT NOT NULL, summed INT NOT NULL DEFAULT 1) STRICT"
)

// checkNotExported refuses a file of exported runs, before a connection that may write changes it.
func checkNotExported(full string) error {
	f, err := os.Open(full)
	if err != nil {
		return fileError(err)
	}
	defer f.Close()
	const writeAhead = 2 // SQLite's file format, 1.3.3: read version
	var mode [1]byte
	if _, err := f.ReadAt(mode[:], 19); err != nil || mode[0] == writeAhead {
		return nil // new, or in use
	}
	pool, err := readAlone(full)
	if err != nil {
		return err
	}
	defer pool.Close()
	var tables int
	if err := pool.QueryRow("SELECT count(*) FROM sqlite_schema WHERE name = ?", exportedTable).Scan(&tables); err == nil && tables > 0 {
		return ErrExported
	}
	return nil // what is wrong with it is told later
}

// Export writes runs, with all that the log holds of them, into a new file that Import takes.
// A run that another program is writing gives ErrTaken, one of which only a part is here
// ErrPart. A file that is there already gives
// ErrIsThere and stays.
func (db *DB) Export(ctx context.Context, ids []string, path string) error {
	for _, id := range ids {
		rec, err := db.Find(id)
		if err != nil {
			return err
		}
		if rec.State.Partial() {
			return db.fail("export run "+rec.ID, ErrPart)
		}
	}
	err := newFile(path, func(made string) error {
		for _, id := range ids {
			if _, err := db.CopyRun(id, made); err != nil {
				return err
			}
			if err := ctx.Err(); err != nil {
				return err
			}
		}
		if err := noteManifests(ctx, made); err != nil {
			return err
		}
		if err := removeBeside(made); err != nil {
			return err
		}
		if err := oneFile(ctx, made); err != nil {
			return err
		}
		return noteFileSum(made)
	})
	return db.fail("export", err)
}

// noteManifests writes into a file what its runs hold.
func noteManifests(ctx context.Context, path string) error {
	db, err := Open(path)
	if err != nil {
		return err
	}
	all, err := db.manifests(ctx)
	if err == nil {
		err = db.transact(func() error {
			if err := db.exec(exportedForm); err != nil {
				return err
			}
			for _, m := range all {
				if err := db.exec("INSERT INTO "+exportedTable+" (run, manifest) VALUES (?,?)", m.Run, m.String()); err != nil {
					return err
				}
			}
			return nil
		})
	}
	if err == nil {
		err = db.noteRowSum(ctx)
	}
	return errors.Join(err, db.Close())
}

// manifests are those of all runs.
func (db *DB) manifests(ctx context.Context) (all []Manifest, err error) {
	runs, err := db.Runs()
	if err != nil {
		return nil, err
	}
	for _, r := range runs {
		rec, err := db.Find(r.UUID)
		if err != nil {
			return nil, err
		}
		m, err := rec.Manifest(ctx)
		if err != nil {
			return nil, err
		}
		all = append(all, m)
	}
	return all, nil
}

// Imported is a run that has come into the log.
type Imported struct {
	Run  string // its name here
	Was  string // the name that it had
	Unit string
	What Copied
}

// Import takes the runs of a file that Export has written into the log, which is made where
// there is none. The file stays as it is. One that is not whole gives ErrNotWhole, and nothing
// of it is taken. Runs that are here already stay; importing again does no harm.
func Import(ctx context.Context, file, log string) ([]Imported, error) {
	if err := checkImported(file); err != nil {
		return nil, err
	}
	full, err := realPath(file)
	if err != nil {
		return nil, err
	}
	if err := checkSums(ctx, full); err != nil {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return nil, importFault(file, ErrNotWhole)
	}
	db, err := openCopy(full, file) // opening a log may change it
	switch {
	case errors.Is(err, ErrCorrupt):
		err = importFault(file, ErrNotWhole)
	case errors.Is(err, ErrNewer):
		err = importFault(file, errors.New("a newer program has written it; import it with that one"))
	}
	if err != nil {
		return nil, asInput(err)
	}
	taken, err := db.handTo(ctx, log)
	return taken, errors.Join(err, db.Close())
}

// checkImported refuses a name that leads to no database.
func checkImported(file string) error {
	if file == "" {
		return problem.New(problem.Usage, "runs import needs the name of a file that runs export has written")
	}
	info, err := os.Stat(file)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return importFault(file, errors.New("there is no such file"))
	case err != nil:
		return importFault(file, problem.Innermost(err))
	case !info.Mode().IsRegular():
		return importFault(file, fmt.Errorf("it is %s, and no file of exported runs; runs export writes one", infile.Kind(info.Mode())))
	case info.Size() == 0:
		return importFault(file, errors.New("it is empty; export the runs again"))
	}
	switch err := isDatabase(file); {
	case errors.Is(err, ErrNotLog):
		return importFault(file, errors.New("it is no file of exported runs; runs export writes one"))
	case err != nil:
		return importFault(file, problem.Innermost(err))
	}
	return nil
}

// importFault is an error of the file that was to be imported.
func importFault(file string, err error) error {
	return &problem.Error{Kind: problem.Input, Op: "import", Place: file, Err: err}
}

// handTo checks all runs of a file, then copies them.
func (db *DB) handTo(ctx context.Context, log string) (taken []Imported, err error) {
	if err := db.checkWhole(ctx); err != nil {
		return nil, importFault(db.path, err)
	}
	runs, err := db.Runs()
	if err != nil {
		return nil, err
	}
	for i := len(runs) - 1; i >= 0; i-- { // the oldest first, as they were
		r := runs[i]
		name, what, err := db.copyRun(r.UUID, log)
		if err != nil {
			return taken, err
		}
		taken = append(taken, Imported{name, r.Run, r.Unit, what})
		if err := ctx.Err(); err != nil {
			return taken, err
		}
	}
	return taken, nil
}

// checkWhole compares what a file holds with what was exported.
func (db *DB) checkWhole(ctx context.Context) error {
	if db.CheckFile(ctx) != nil {
		return errors.Join(ErrNotWhole, ctx.Err())
	}
	noted, err := db.noted()
	if err != nil {
		return err
	}
	now, err := db.manifests(ctx)
	if err != nil {
		return errors.Join(ErrNotWhole, ctx.Err())
	}
	for _, m := range now {
		if noted[m.Run] != m.String() {
			return fmt.Errorf("%w: run %s holds something else", ErrNotWhole, m.Run)
		}
	}
	if len(now) != len(noted) {
		return fmt.Errorf("%w: of %d runs there are %d", ErrNotWhole, len(noted), len(now))
	}
	return nil
}

// noted are the manifests that were exported, by their runs.
func (db *DB) noted() (map[string]string, error) {
	rows, err := db.read.Query("SELECT run, manifest FROM " + exportedTable)
	if err != nil {
		if strings.Contains(err.Error(), "no such table") {
			return nil, problem.Of(problem.Input, errors.New("it is a log, and no file of exported runs; runs export writes one, and --log reads a log"))
		}
		return nil, err
	}
	defer rows.Close()
	all := map[string]string{}
	for rows.Next() {
		var run, text string
		if err := rows.Scan(&run, &text); err != nil {
			return nil, err
		}
		all[run] = text
	}
	return all, rows.Err()
}
