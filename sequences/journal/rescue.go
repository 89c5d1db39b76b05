package journal

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"makebreak/rig/capture"
	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// lookAtFiles looks whether somebody else has written into the log's files. Callers have the
// mutex.
func (db *DB) lookAtFiles() error {
	if db.files[0] == nil {
		return nil
	}
	if db.watch == nil {
		w, err := newWatch(db.full)
		if err != nil {
			return nil // what cannot be opened now cannot be compared
		}
		db.watch, w.patience = w, cmp.Or(db.patience, lookPatience)
	}
	var wrong *overwritten
	if err := db.watch.look(); errors.As(err, &wrong) {
		return wrong
	}
	return nil
}

// lookClosely reads all of the log by a connection of its own, after a look that could not
// tell what other programs have written.
func (db *DB) lookClosely() error {
	w := db.watch
	if w == nil || !w.doubtful {
		return nil
	}
	pool, err := sql.Open("sqlite", dsn(db.full, "query_only(ON)")+existing)
	if err != nil {
		return nil
	}
	defer pool.Close()
	pool.SetMaxOpenConns(1)
	fresh := &DB{read: pool}
	err = fresh.check(context.Background(), "PRAGMA quick_check(1)")
	for _, r := range db.runs {
		if err == nil {
			err = r.isIn(pool)
		}
	}
	if errors.Is(err, ErrCorrupt) || sentinelOf(err) == ErrCorrupt || sentinelOf(err) == ErrNotLog {
		return w.wrong("", "%v", err)
	}
	if err == nil {
		w.looked = looked{} // what it holds is learnt anew
	}
	return nil
}

// isIn reports ErrCorrupt where a log lacks the run or its last cycle.
func (r *Run) isIn(pool *sql.DB) error {
	var there bool
	if err := pool.QueryRow("SELECT EXISTS (SELECT 1 FROM run WHERE id = ? AND uuid = ?)", r.row, r.info.UUID).Scan(&there); err != nil {
		return err
	}
	if n := len(r.held.cycles); there && n > 0 {
		if err := pool.QueryRow("SELECT EXISTS (SELECT 1 FROM cycle WHERE run = ? AND n = ?)", r.row, r.held.cycles[n-1].N).Scan(&there); err != nil {
			return err
		}
	}
	if !there {
		return fmt.Errorf("%w: what was stored last is not in it", ErrCorrupt)
	}
	return nil
}

// checkpoint brings what was written ahead into the main file, once that is enough. What
// fails now is tried again with a later commit. It is done here and not by SQLite, so that
// it is known when the main file changes.
func (db *DB) checkpoint() error {
	w := db.watch
	if w == nil || w.doubtful || w.index.frames < walPages {
		return nil
	}
	// Where somebody reads what was written ahead, it grows, and is tried with each commit.
	if w.index.frames >= db.nextCheck {
		if err := w.checkAhead(); errors.Is(err, errLater) {
			return nil
		} else if err != nil {
			return err
		}
	}
	_, err := db.write.ExecContext(context.Background(), "PRAGMA wal_checkpoint(PASSIVE)")
	if err == nil {
		err = w.tookIn()
	}
	var wrong *overwritten
	if errors.As(err, &wrong) {
		return wrong
	}
	db.nextCheck = 0
	if w.index.backfilled < w.index.frames {
		db.nextCheck = w.index.frames + max(walPages/4, w.index.frames/16)
	}
	return nil
}

// spoilt turns an error of SQLite's into what led to it, where somebody has written into the
// log's files. Callers have the mutex, and no transaction is open.
func (db *DB) spoilt(err error) error {
	var wrong *overwritten
	if errors.As(err, &wrong) {
		return db.leave(wrong)
	}
	switch sentinelOf(err) {
	case ErrCorrupt, ErrNotLog, ErrAccess:
		if errors.As(db.lookAtFiles(), &wrong) {
			return db.leave(wrong)
		}
	}
	return err
}

// leave ends the use of a log that somebody else has written into. What is known to have been
// in it is written into another one. The file itself is not written any more: it may be a
// backup that somebody has just put there.
func (db *DB) leave(wrong *overwritten) error {
	db.moved, db.overwritten = fmt.Errorf("%w: %w", ErrGone, wrong), true
	name, left, err := db.rebuild()
	if err != nil {
		db.moved = fmt.Errorf("%w\nand what it held could not be written into another file: %w", db.moved, err)
		return db.moved
	}
	db.moved = fmt.Errorf("%w\n%s has been written into %s, which is a log now", db.moved, left, name)
	if left != whole {
		db.moved = fmt.Errorf("%w\nwhat else it held is only in what is left of %s", db.moved, db.full)
	}
	// Together with this file what was written ahead would be taken for that file's.
	for _, end := range fileEnds[1:] {
		if db.files[0] == nil || !exists(db.full+end) {
			continue
		}
		to, err := unusedName(db.full + end + "-left")
		if err == nil {
			err = os.Rename(db.full+end, to)
		}
		if err != nil {
			db.moved = fmt.Errorf("%w\n%s belongs to that log, and not to what is in %s now; it could not be renamed: %w", db.moved, db.full+end, db.full, err)
		}
	}
	return db.moved
}

// whole is what is told of a log of which nothing is lost.
const whole = "all that it held"

// rebuild writes what can still be known of the log into a new file where the log
// was, and reads from that then. It says what is in it. With an error there is no such file.
func (db *DB) rebuild() (name, what string, err error) {
	if name, err = unusedName(db.full + "-rescued"); err != nil {
		return "", "", err
	}
	what = whole
	other, err := db.openSound(name)
	if err != nil {
		what = ""
		if err := removeLog(name); err != nil {
			return "", "", err
		}
		if other, err = open(name, name); err != nil {
			return "", "", errors.Join(err, removeLog(name))
		}
		if f, err := os.OpenFile(name, os.O_WRONLY, 0); err == nil {
			matchRights(f, db.files[0])
			_ = f.Close()
		}
	}
	for _, r := range db.runs {
		part, err := r.storeIn(other)
		if err != nil {
			return "", "", errors.Join(err, other.Close(), removeLog(name))
		}
		if what != whole && part != "" {
			what = words.List(append(nonEmpty(what), part))
		}
	}
	if what == "" {
		what = "nothing but a new log"
	}
	if err := other.settle(); err != nil {
		return "", "", errors.Join(err, other.Close(), removeLog(name))
	}
	_ = db.read.Close()
	db.read, db.rescued = other.read, other
	return name, what, nil
}

func nonEmpty(text string) []string {
	if text == "" {
		return nil
	}
	return []string{text}
}

// settle brings all of a log into its main file, and its name to the disk.
func (db *DB) settle() error {
	if _, err := db.write.ExecContext(context.Background(), "PRAGMA wal_checkpoint(TRUNCATE)"); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(db.full))
}

// removeLog removes a log that was just made, and files of it that are there.
func removeLog(name string) error {
	err := os.Remove(name)
	if errors.Is(err, os.ErrNotExist) {
		err = nil
	}
	return errors.Join(err, removeBeside(name))
}

// errUnsound says that the files do not hold a whole log any more.
var errUnsound = errors.New("the files hold no whole log")

// openSound copies the main file, and what is sound of what was written ahead, to a name and
// opens it. With an error the log is not whole.
func (db *DB) openSound(name string) (*DB, error) {
	if db.watch == nil || !db.watch.begun {
		return nil, errUnsound
	}
	if err := db.watch.copySound(name, db.files[0]); err != nil {
		return nil, err
	}
	other, err := open(name, name)
	if err != nil {
		return nil, err
	}
	err = other.Check()
	for _, r := range db.runs {
		if err == nil {
			err = r.wholeIn(other)
		}
	}
	if err != nil {
		return nil, errors.Join(err, other.Close())
	}
	return other, nil
}

// wholeIn reports an error where a log lacks some of the run before the cycles that are held.
func (r *Run) wholeIn(other *DB) error {
	rec, err := other.find(r.info.ID, "uuid = ?", r.info.UUID)
	if err != nil {
		return err
	}
	last, err := rec.Last()
	if err != nil {
		return err
	}
	if len(r.held.cycles) > 0 && last < r.held.cycles[0].N-1 {
		return errUnsound
	}
	for _, rule := range rules {
		if err := rec.checkRule(context.Background(), rule); err != nil {
			return err
		}
	}
	return nil
}

// copySound copies the pages that are what was written. The last look was before the one
// that found something else.
func (w *watch) copySound(name string, rights os.FileInfo) error {
	covered := map[int]bool{}
	upTo, err := w.copyAhead(name+"-wal", rights)
	if err != nil {
		return err
	}
	for _, f := range w.gen.frames[:upTo] {
		covered[int(f.page)-1] = true
	}
	return copyTo(name, rights, func(f *os.File) error {
		now, err := stampOfFile(w.main)
		if err != nil {
			return err
		}
		pages := int(now.size / int64(w.pageSize))
		for i := range max(pages, len(w.sums)) {
			b := w.buf[:w.pageSize]
			if n, err := readFull(w.main, b, int64(i)*int64(w.pageSize)); err != nil || n < len(b) {
				if !covered[i] {
					return errUnsound
				}
				clear(b)
			}
			if !covered[i] && (i >= len(w.sums) || w.sums[i] != 0 && w.sums[i] != sumOf(b)) {
				return errUnsound
			}
			if _, err := f.Write(b); err != nil {
				return err
			}
		}
		return nil
	})
}

// copyAhead copies the frames that are what was written, and returns how many they are. It
// copies none where the main file is beyond them.
func (w *watch) copyAhead(name string, rights os.FileInfo) (upTo int, err error) {
	err = copyTo(name, rights, func(f *os.File) error {
		if _, err := f.Write(w.gen.head[:]); err != nil {
			return err
		}
		upTo, err = w.gen.unchanged(w.ahead, 0, len(w.gen.frames), w.pageSize, w.buf, func(b []byte) error {
			_, err := f.Write(b)
			return err
		})
		if err != nil {
			return err
		}
		for upTo > 0 && !w.gen.frames[upTo-1].commit {
			upTo--
		}
		if begun := max(w.index.backfilled, w.index.attempted); upTo < begun {
			if begun < len(w.gen.frames) {
				return errUnsound
			}
			upTo = 0
		}
		if upTo == 0 {
			return f.Truncate(0)
		}
		return f.Truncate(frameAt(upTo, w.pageSize))
	})
	return upTo, err
}

func copyTo(name string, rights os.FileInfo, write func(*os.File) error) error {
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	matchRights(f, rights)
	err = write(f)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

// heldAtOnce is how many cycles are stored together.
const heldAtOnce = 64

// storeIn stores in another log what that lacks of the run and is held, and says what of the
// run is in it then.
func (r *Run) storeIn(other *DB) (what string, err error) {
	to, err := r.beginIn(other)
	if err != nil {
		return "", err
	}
	last := to.last
	points := r.pointsHeld()
	var batch []*Cycle
	first := 0
	for i := range r.held.cycles {
		h := &r.held.cycles[i]
		if h.N > last {
			c, err := h.cycle(points)
			if err != nil {
				return "", problem.Of(problem.Internal, err)
			}
			if batch = append(batch, c); first == 0 {
				first = c.N
			}
		}
		if len(batch) == heldAtOnce || len(batch) > 0 && i == len(r.held.cycles)-1 {
			if err := to.Append(batch...); err != nil {
				return "", err
			}
			batch = nil
		}
	}
	switch {
	case first == 0:
		return "the beginning of run " + r.info.ID, nil
	case first == 1 || last > 0 && first == last+1:
		return "all of run " + r.info.ID, nil
	}
	return fmt.Sprintf("run %s from cycle %d on", r.info.ID, first), nil
}

// beginIn finds the run in another log, or begins it there under its own name.
func (r *Run) beginIn(other *DB) (to *Run, err error) {
	to = &Run{db: other, info: r.info, dict: newDictionary()}
	rec, err := other.find(r.info.ID, "uuid = ?", r.info.UUID)
	if err == nil {
		return to, to.takeUp(rec)
	}
	if !errors.Is(err, ErrNoRun) {
		return nil, err
	}
	started, err := stampOf(r.info.Started)
	if err != nil {
		return nil, err
	}
	series, count := (&RunRecord{RunInfo: r.info}).series()
	facts := slices.SortedFunc(maps.Values(r.machine.last), func(a, b capture.MachineFact) int { return a.At.Compare(b.At) })
	return to, other.transact(func() error {
		if err := to.insertRun(series, count, started); err != nil {
			return err
		}
		return errors.Join(to.addCalibrations(1, r.calibrations), to.addMachine(0, facts), to.addSoak())
	})
}
