package archive

import (
	"database/sql"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// notPushed are the log's columns that the archive does without, and its tables as "table.*".
var notPushed = strings.Fields(`
	run.id run.state cycle.capture capture.id
	checkpoint.* name.* log.* exercise.* exercise_step.*`)

// madeHere are the archive's columns that the log makes of others.
var madeHere = []string{"capture.cycle", "doubts.reason", "doubts.bound"}

// Each column of the log is in the archive, or is named above as one that is not: what a later
// schema adds is not forgotten.
func TestRelations_Complete(t *testing.T) {
	t.Parallel()
	pool, err := sql.Open("sqlite", newLog(t).Path())
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	rows, err := pool.Query(`SELECT m.name, p.name FROM sqlite_schema m JOIN pragma_table_info(m.name) p WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite%'`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var in []string
	for rows.Next() {
		var table, column string
		if err := rows.Scan(&table, &column); err != nil {
			t.Fatal(err)
		}
		name := table + "." + column
		if column != "run" && !slices.Contains(notPushed, name) && !slices.Contains(notPushed, table+".*") { // run is the archive's own number
			in = append(in, name)
		}
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	pushed := []relation{{name: "run", columns: slices.Concat(runColumns, endColumns)}}
	var there []string
	for _, r := range slices.Concat(pushed, cycleTables, wordTables, setTables) {
		for _, c := range r.columns {
			if name := r.name + "." + strings.Trim(c.name, `"`); !slices.Contains(madeHere, name) {
				there = append(there, name)
			}
		}
	}
	slices.Sort(in)
	slices.Sort(there)
	if d := cmp.Diff(in, there); d != "" {
		t.Errorf("the log's columns and the archive's: %s", d)
	}
}
