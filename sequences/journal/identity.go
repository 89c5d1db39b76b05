package journal

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"regexp"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// A run's name is its series and a count, as in 2026-11-25-lumora.1. The series is the day
// on which it began and a word that belongs to the log on this machine, which can be said
// aloud. Two logs of 10 have the same word once in 3,700 times; the UUID tells their runs
// apart even then.

// nameForm is how a name is made, for its day and its count alone.
var nameForm = regexp.MustCompile(`^(\d{4}-\d\d-\d\d)\.(\d+)$`)

// A consonant and a vowel in turn are read alike in most languages.
const (
	consonants = "bdflmnrstvz"
	vowels     = "aeiou"
)

// wordOf makes a word of three syllables of a text, one of 55³ = 166,375.
func wordOf(text string) string {
	sum := sha256.Sum256([]byte("makebreak word\n" + text))
	n := binary.BigEndian.Uint64(sum[:])
	var w strings.Builder
	for range 3 {
		w.WriteByte(consonants[n%uint64(len(consonants))])
		n /= uint64(len(consonants))
		w.WriteByte(vowels[n%uint64(len(vowels))])
		n /= uint64(len(vowels))
	}
	return w.String()
}

// machineFiles hold what tells one machine from others. A card that was copied has the
// first one twice, but no two boards have the second.
var machineFiles = []string{"/etc/machine-id", "/proc/device-tree/serial-number"}

// word is this log's word on this machine: a copy of the log has another one elsewhere. It
// runs in a transaction.
func (db *DB) word() (string, error) {
	var identity string
	if err := db.queryRow("SELECT identity FROM log", nil, &identity); err != nil {
		return "", err
	}
	for _, name := range machineFiles {
		b, _ := os.ReadFile(name) // where there is none, the log's own identity must do
		identity += "\n" + string(b)
	}
	return wordOf(identity), nil
}

// newUUID makes the UUID of a run that begins now.
func newUUID() (string, error) {
	u, err := uuid.NewV7()
	return u.String(), err
}

// earlierUUID makes the UUID of a run from before runs had one. It is the same in each log
// that holds the run.
func earlierUUID(series string, count int, started int64, unit string) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "makebreak run\n%s\n%d\n%d\n%s", series, count, started, unit))
	u := uuid.UUID(sum[:16])
	u[6] = u[6]&0x0f | 0x80 // version 8: of the program's own making, RFC 9562, 5.8
	u[8] = u[8]&0x3f | 0x80 // the RFC's variant
	return u.String()
}

// identifyRuns gives the runs that a log holds or held their UUIDs. It runs inside the
// transaction of a migration.
func identifyRuns(conn *sql.Conn) error {
	for _, table := range []string{"run", "name"} {
		if err := identifyIn(conn, table); err != nil {
			return err
		}
	}
	return nil
}

func identifyIn(conn *sql.Conn, table string) error {
	ctx := context.Background()
	type row struct {
		series  string
		count   int
		started int64
		unit    string
	}
	var all []row
	rows, err := conn.QueryContext(ctx, "SELECT series, count, started, unit FROM "+table)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var r row
		if err := scanRow(rows, table, &r.series, &r.count, &r.started, &r.unit); err != nil {
			return err
		}
		all = append(all, r)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return err
	}
	for _, r := range all {
		if _, err := conn.ExecContext(ctx, "UPDATE "+table+" SET uuid = ? WHERE series = ? AND count = ?",
			earlierUUID(r.series, r.count, r.started, r.unit), r.series, r.count); err != nil {
			return err
		}
	}
	return nil
}

// ErrAmbiguous says that a day and a count are those of several runs.
var ErrAmbiguous error = problem.New(problem.Usage, "several runs of that day have that number")

// nameOf returns the name of the run that is called by its UUID, or by its day and its
// count without the word between. It is empty where there is none.
func (db *DB) nameOf(called string) (string, error) {
	where, args := "uuid = ? AND uuid <> ''", []any{strings.ToLower(called)}
	if m := nameForm.FindStringSubmatch(called); m != nil {
		where, args = "substr(series, 1, 10) = ? AND count = CAST(? AS INTEGER)", []any{m[1], m[2]}
	}
	found, err := db.listNames("WHERE "+where+" ORDER BY id", args...)
	switch {
	case err != nil:
		return "", err
	case len(found) > 1:
		return "", fmt.Errorf("%w: %s; give the whole name of one", ErrAmbiguous, words.List(found))
	case len(found) == 1:
		return found[0], nil
	}
	return "", nil
}

// listNames returns the names of the runs that a condition picks.
func (db *DB) listNames(condition string, args ...any) (names []string, err error) {
	rows, err := db.read.Query("SELECT "+itsName+" FROM run "+condition, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := scanRow(rows, "run", &name); err != nil {
			return nil, err
		}
		names = append(names, name)
	}
	return names, rows.Err()
}

// series returns the two parts of the run's name.
func (rec *RunRecord) series() (series string, count int) {
	at := strings.LastIndexByte(rec.ID, '.')
	count, _ = strconv.Atoi(rec.ID[at+1:]) // the log put it there as a number
	return rec.ID[:at], count
}

// LogWord is the word in the run's name, which belongs to the log that it was written to on the
// machine that wrote it; empty in the name of a run from before names had one.
func (rec *RunRecord) LogWord() string {
	series, _ := rec.series()
	parts := strings.Split(series, "-") // a copy may have got a second word
	if len(parts) < 4 {
		return ""
	}
	return parts[3]
}
