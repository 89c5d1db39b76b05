package journal

import (
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"os"
	"syscall"

	"golang.org/x/sys/unix"
)

// Programs that write one log keep out of each other's runs by locks on a file beside it,
// which stays empty: each run has a byte of its own there. The kernel releases a lock
// when its program ends, however that ends, so that none is ever left over.

func locksOf(path string) string { return path + "-lock" }

// Lock finds a run as Find does and locks it for this program, until the log is closed or
// the program ends. A run that another program has locked gives ErrTaken, and nothing is
// changed.
func (db *DB) Lock(id string) (*RunRecord, error) {
	rec, err := db.Find(id)
	if err != nil {
		return nil, err
	}
	if err := db.lock(runKey(rec.UUID)); err != nil {
		return nil, db.fail("lock run "+rec.ID, err)
	}
	return db.Find(rec.ID) // it may have gone on before it was locked
}

// LockUnit locks a unit's soaks by a sequence, those that are yet to begin included.
func (db *DB) LockUnit(unit, sequence string) error {
	err := db.lock(fmt.Sprintf("unit %q %q", unit, sequence))
	return db.fail(fmt.Sprintf("go on with the soak of unit %q by %s", unit, sequence), err)
}

// runKey names a run, also where the log has been replaced by another.
func runKey(uuid string) string { return "run " + uuid }

// lock takes the lock of a key. One that this log has already it keeps.
func (db *DB) lock(key string) error {
	db.locking.Lock()
	defer db.locking.Unlock()
	if db.copy != "" || db.full == "" {
		return ErrReadOnly
	}
	if db.locks == nil {
		f, err := openLocks(db.full)
		if err != nil {
			return err
		}
		db.locks, db.locked = f, map[int64]struct{}{}
	}
	if err := db.renewLocksHeld(); err != nil {
		return err
	}
	at := placeOf(key)
	if err := lockByte(db.locks, at); err != nil {
		return err
	}
	db.locked[at] = struct{}{}
	return nil
}

// placeOf is the byte that stands for a key.
func placeOf(key string) int64 {
	h := fnv.New64a()
	_, _ = io.WriteString(h, key) // never fails
	return int64(h.Sum64() >> 2)
}

// markBusy looks which runs another opening of the log has locked, and takes no lock. Where
// that cannot be seen none is marked: whoever removes a run locks it first.
func (db *DB) markBusy(runs []Holding) {
	full := db.full
	if full == "" || db.copy != "" { // it is read in another place than programs write it
		var err error
		if full, err = realPath(db.path); err != nil {
			return
		}
	}
	db.locking.Lock()
	defer db.locking.Unlock()
	f := db.locks
	if f == nil {
		var err error
		if f, err = os.OpenFile(locksOf(full), os.O_RDONLY|unix.O_NONBLOCK, 0); err != nil {
			return
		}
		defer f.Close()
	}
	for i := range runs {
		at := placeOf(runKey(runs[i].UUID))
		_, own := db.locked[at]
		runs[i].Busy = !own && lockedByte(f, at)
	}
}

// lockedByte reports whether another opening of the file has locked a byte.
func lockedByte(f *os.File, at int64) bool {
	lock := unix.Flock_t{Type: unix.F_WRLCK, Whence: io.SeekStart, Start: at, Len: 1}
	err := unix.FcntlFlock(f.Fd(), getLock, &lock)
	return err == nil && lock.Type != unix.F_UNLCK
}

func lockByte(f *os.File, at int64) error {
	lock := unix.Flock_t{Type: unix.F_WRLCK, Whence: io.SeekStart, Start: at, Len: 1}
	err := unix.FcntlFlock(f.Fd(), setLock, &lock)
	if errors.Is(err, syscall.EAGAIN) || errors.Is(err, syscall.EACCES) {
		return ErrTaken
	}
	if err != nil {
		return fmt.Errorf("%w: its file system cannot lock files: %w", ErrAccess, err)
	}
	return nil
}

// renewLocks makes the file for the locks again where somebody has removed it, and takes
// this log's locks again. ErrTaken: another program was faster.
func (db *DB) renewLocks() error {
	db.locking.Lock()
	defer db.locking.Unlock()
	if db.locks == nil {
		return nil
	}
	return db.renewLocksHeld()
}

// renewLocksHeld is renewLocks for a caller that has the mutex.
func (db *DB) renewLocksHeld() error {
	open, err := db.locks.Stat()
	if err != nil || !replaced(open, locksOf(db.full)) {
		return nil
	}
	f, err := openLocks(db.full)
	if err != nil {
		return nil // the next commit tries again
	}
	for at := range db.locked {
		if err := lockByte(f, at); err != nil {
			return errors.Join(err, f.Close())
		}
	}
	was := db.locks
	db.locks = f
	return was.Close()
}

// openLocks opens the file for the locks. A new one gets the log's rights, where this user
// may give them.
func openLocks(path string) (*os.File, error) {
	name := locksOf(path)
	f, err := os.OpenFile(name, os.O_RDWR, 0)
	made := errors.Is(err, os.ErrNotExist)
	if made {
		f, err = os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o600)
	}
	if err != nil {
		return nil, fileError(err)
	}
	if made {
		matchLog(f, path)
	}
	return f, nil
}

// matchLog gives a file beside the log the log's owner and rights, where it may: a file that
// root has made must not keep the log's own user from it.
func matchLog(f *os.File, log string) {
	if info, err := os.Stat(log); err == nil {
		matchRights(f, info)
	}
}

func matchRights(f *os.File, log os.FileInfo) {
	_ = f.Chmod(log.Mode().Perm())
	if s, ok := log.Sys().(*syscall.Stat_t); ok && os.Geteuid() == 0 {
		_ = f.Chown(int(s.Uid), int(s.Gid))
	}
}

// unlock releases all locks.
func (db *DB) unlock() error {
	db.locking.Lock()
	defer db.locking.Unlock()
	if db.locks == nil {
		return nil
	}
	// A process that is just being started has a copy of the descriptor until it has become
	// another program; closing it here alone would leave the locks to that one.
	all := unix.Flock_t{Type: unix.F_UNLCK, Whence: io.SeekStart}
	err := unix.FcntlFlock(db.locks.Fd(), setLock, &all)
	err = errors.Join(err, db.locks.Close())
	db.locks, db.locked = nil, nil
	return err
}
