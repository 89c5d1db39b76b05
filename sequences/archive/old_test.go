package archive

import (
	"context"
	"testing"

	"github.com/google/go-cmp/cmp"

	"makebreak/sequences/journal"
	"makebreak/testdata/logs"
)

// An archive that an earlier program made is brought up to date by the next push of its owner:
// its figures stay as they are in the rig's log, its partitions and rights as they were made, and
// what it has is not pushed again. testdata/logs has the log and what was pushed of it.
func TestOpen_Older(t *testing.T) {
	t.Parallel()
	connection := database(t)
	makeOlder(t, connection)
	do(t, connection, `CREATE ROLE rig_older; CREATE TABLE makebreak.measurement_2026_12 PARTITION OF makebreak.measurement FOR VALUES FROM ('2026-12-01') TO ('2027-01-01');
		GRANT USAGE ON SCHEMA makebreak TO rig_older; GRANT INSERT ON makebreak.measurement TO rig_older; GRANT SELECT ON makebreak.figures TO PUBLIC`)
	log, err := journal.Open(logs.Unpack(t, "../../testdata/logs/schema-8.db.gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	done := push(t, &Pusher{Log: log, Archive: opened(t, connection)})
	if len(done.There) < 20 || len(done.New) != 0 {
		t.Errorf("pushed %+v", done)
	}
	for _, view := range []string{"cycles", "figures"} { // the log shows a run that it has half removed, the archive does not
		if d := cmp.Diff(inLog(t, log, view), inArchive(t, connection, view)); d != "" {
			t.Errorf("%s: %.4000s", view, d)
		}
	}
	for query, want := range map[string]int64{
		"SELECT count(*) FROM pg_inherits WHERE inhparent = 'makebreak.measurement'::regclass":                                                          2,
		"SELECT count(*) FROM pg_class WHERE relname LIKE 'old_%'":                                                                                      0,
		"SELECT has_table_privilege('rig_older', 'makebreak.measurement', 'INSERT')::int":                                                               1,
		"SELECT has_table_privilege('rig_older', 'makebreak.measurement', 'SELECT')::int":                                                               0,
		"SELECT has_table_privilege('rig_older', 'makebreak.figures', 'SELECT')::int":                                                                   1,
		"SELECT count(*) FROM pg_attribute WHERE attrelid = 'makebreak.measurement_2026_12'::regclass AND attname = 'value_list' AND attstorage <> 'e'": 0,
	} {
		if n := number(t, connection, query); n != want {
			t.Errorf("%s: %d, want %d", query, n, want)
		}
	}
}

// makeOlder makes the archive as it was with its first schema.
func makeOlder(t *testing.T, connection string) {
	t.Helper()
	rows := logs.Read(t, "../../testdata/logs/archive-1.sql.gz")
	first, err := migrations.ReadFile("migration/0001_archive.sql")
	if err != nil {
		t.Fatal(err)
	}
	db, err := connect(t.Context(), connection)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, statements := range []string{"CREATE SCHEMA makebreak; CREATE TABLE makebreak.migration (number integer PRIMARY KEY, at timestamp with time zone NOT NULL DEFAULT now()); ALTER ROLE postgres IN DATABASE " + db.conn.Config().Database + " SET search_path = public, makebreak",
		string(first), string(rows)} {
		if _, err := db.conn.PgConn().Exec(context.Background(), statements).ReadAll(); err != nil {
			t.Fatal(err)
		}
	}
}
