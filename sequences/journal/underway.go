package journal

import (
	"path/filepath"
	"strings"
)

// socketEnd begins the end of the name of a socket beside a log at which a program tells what
// happens in a run of it now. The run's UUID follows.
const socketEnd = "-now-"

// Socket is where a program tells what happens now in the run of a UUID.
func Socket(path, uuid string) (string, error) {
	full, err := realPath(path)
	return full + socketEnd + uuid, err
}

// Sockets are those that stand beside a log, also what programs left that did not end as they
// should.
func Sockets(path string) []string {
	full, err := realPath(path)
	if err != nil {
		return nil
	}
	all, _ := filepath.Glob(globbed(full) + socketEnd + "*") // the pattern is one
	return all
}

// NamesSocket reports whether a path is one that a socket beside a log may have.
func NamesSocket(log, path string) bool {
	full, err := realPath(log)
	if err != nil {
		return false
	}
	named, err := realPath(path)
	return err == nil && strings.HasPrefix(named, full+socketEnd)
}

// globbed is a path as a pattern that only it matches.
func globbed(path string) string {
	return strings.NewReplacer(`\`, `\\`, "*", `\*`, "?", `\?`, "[", `\[`).Replace(path)
}

// UUIDOfSocket is the UUID of the run that a socket beside a log is of.
func UUIDOfSocket(path string) string {
	name := filepath.Base(path)
	return name[strings.LastIndex(name, socketEnd)+len(socketEnd):]
}

// UnderWay returns the runs that programs are at now, by their locks, the oldest first. It looks
// at the runs that have not ended, and at those with the UUIDs: a soak that is resumed stands
// as ended in the log until its next cycle is stored. Cycles are as in Search.
func (db *DB) UnderWay(uuids []string) ([]RunSummary, error) {
	rows, err := db.read.Query("SELECT "+foundColumns+" FROM run WHERE id IN (SELECT id FROM run WHERE ended IS NULL UNION SELECT id FROM run WHERE uuid <> '' AND uuid IN ("+
		strings.TrimSuffix(strings.Repeat("?,", len(uuids)), ",")+")) ORDER BY id", anys(uuids)...)
	if err != nil {
		return nil, db.fail("find the runs under way", err)
	}
	defer rows.Close()
	var all []Holding
	for rows.Next() {
		s, err := scanSummary(func(into ...any) error { return scanRow(rows, "run", into...) })
		if err != nil {
			return nil, db.fail("find the runs under way", err)
		}
		all = append(all, Holding{RunSummary: s})
	}
	if err := rows.Err(); err != nil {
		return nil, db.fail("find the runs under way", err)
	}
	db.markBusy(all)
	var busy []RunSummary
	for _, h := range all {
		if h.Busy {
			busy = append(busy, h.RunSummary)
		}
	}
	return busy, db.fail("find the runs under way", db.noteFields(busy))
}

func anys(texts []string) []any {
	all := make([]any, len(texts))
	for i, t := range texts {
		all[i] = t
	}
	return all
}
