package journal

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/testdata/logs"
)

// manyRuns unpacks a log that an earlier program wrote, with runs of each verdict, one of
// which was cut off.
func manyRuns(t testing.TB) *DB {
	t.Helper()
	path := logs.Unpack(t, filepath.Join("..", "..", "testdata", "logs", "schema-8.db.gz"))
	db, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

// searches are what the tests search for, with what each means.
var searches = map[string]struct {
	search Search
	means  func(r RunSummary) bool
}{
	"all":                 {Search{}, func(RunSummary) bool { return true }},
	"a unit's part":       {Search{Unit: "r"}, func(r RunSummary) bool { return strings.Contains(strings.ToLower(r.Unit), "r") }},
	"a unit with a sign":  {Search{Unit: "_"}, func(r RunSummary) bool { return strings.Contains(r.Unit, "_") }},
	"a unit with another": {Search{Unit: `%\`}, func(r RunSummary) bool { return strings.Contains(r.Unit, `%\`) }},
	"a sequence":          {Search{Sequence: "relay-only"}, func(r RunSummary) bool { return r.Sequence == "relay-only" }},
	"no sequence":         {Search{Sequence: "relay"}, func(RunSummary) bool { return false }},
	"pass":                {Search{Verdict: analyze.Pass}, func(r RunSummary) bool { return r.Verdict == analyze.Pass }},
	"fail":                {Search{Verdict: analyze.Fail}, func(r RunSummary) bool { return r.Verdict == analyze.Fail }},
	"undecided":           {Search{Verdict: analyze.Undecided}, func(r RunSummary) bool { return r.Verdict == analyze.Undecided }},
	"incomplete":          {Search{Verdict: analyze.Incomplete}, func(r RunSummary) bool { return r.Verdict == analyze.Incomplete }},
	"a day": {Search{From: time.Date(2026, 11, 28, 0, 0, 0, 0, time.UTC), Until: time.Date(2026, 11, 29, 0, 0, 0, 0, time.UTC)},
		func(r RunSummary) bool { return r.Started.UTC().Format(time.DateOnly) == "2026-11-28" }},
	"a time before all":   {Search{Until: time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)}, func(RunSummary) bool { return false }},
	"a field's value":     {Search{Field: "Job=7_"}, func(r RunSummary) bool { return hasField(r, "job", "7_") }},
	"a field":             {Search{Field: "place="}, func(r RunSummary) bool { return hasField(r, "place", "") }},
	"a part of any field": {Search{Field: "BENCH"}, func(r RunSummary) bool { return hasField(r, "", "bench") }},
	"a field that is not": {Search{Field: "job=bench"}, func(RunSummary) bool { return false }},
	"a field of one day":  {Search{Field: "job=7", From: time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)}, func(r RunSummary) bool { return hasField(r, "job", "7") }},
	"two of these":        {Search{Sequence: "relay-only", Verdict: analyze.Fail}, func(r RunSummary) bool { return r.Sequence == "relay-only" && r.Verdict == analyze.Fail }},
}

// hasField reports whether a part stands in the value of a field, of any where the name is empty.
func hasField(r RunSummary, name, part string) bool {
	return slices.ContainsFunc(r.Fields, func(f Field) bool {
		return (name == "" || strings.EqualFold(f.Name, name)) && strings.Contains(strings.ToLower(f.Value), part)
	})
}

// A search finds what the list of all runs has, part by part.
func TestSearch(t *testing.T) {
	t.Parallel()
	db := manyRuns(t)
	// One run goes on, of which a cycle failed; another was cut off before any did.
	for _, change := range []string{"UPDATE run SET ended = NULL, complete = 0, verdict = 0 WHERE id IN (1, 2)",
		"UPDATE cycle SET verdict = 3 WHERE run = 1 AND n = 1", "UPDATE cycle SET verdict = 1 WHERE run = 2",
		`UPDATE run SET unit = 'A%\_B' WHERE id = 3`,
		"INSERT INTO field VALUES (3, 7, 'job', '17_4'), (3, 8, 'place', 'bench 2'), (4, 7, 'JOB', '1704'), (5, 7, 'job', ''), (6, 7, 'remarks', 'from Bench 1')"} {
		if err := db.exec(change); err != nil {
			t.Fatal(err)
		}
	}
	all, err := db.Runs()
	if err != nil || len(all) < 6 {
		t.Fatalf("%d runs: %v", len(all), err)
	}
	met := map[string]bool{}
	for name, c := range searches {
		var want, got []string
		for _, r := range all {
			if c.means(r) {
				want, met[name] = append(want, r.Run), true
			}
		}
		s := c.search
		for s.Most = 2; ; {
			found, err := db.Search(s)
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range found.Runs {
				got = append(got, r.Run)
				if i := slices.IndexFunc(all, func(x RunSummary) bool { return x.Run == r.Run }); all[i].Verdict != r.Verdict || all[i].Unit != r.Unit || r.Complete && all[i].Cycles != r.Cycles || !slices.Equal(all[i].Fields, r.Fields) {
					t.Errorf("%s: %+v, want %+v", name, r, all[i])
				}
			}
			if s.Older = found.Older; s.Older == 0 {
				break
			}
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
	for _, name := range []string{"a unit's part", "a unit with a sign", "a unit with another", "pass", "fail", "undecided", "incomplete", "two of these", "a field's value", "a field", "a part of any field", "a field of one day"} {
		if !met[name] {
			t.Errorf("%s: the log has none", name)
		}
	}
}

// What is listed and counted is what the list of all runs has.
func TestOutcomes(t *testing.T) {
	t.Parallel()
	db := manyRuns(t)
	run, err := db.Begin(RunInfo{Unit: "under way", Sequence: "new", Started: time.Now()})
	if err != nil {
		t.Fatal(err)
	}
	defer run.Finish(RunEnd{})
	served, err := OpenServed(db.Path())
	if err != nil {
		t.Fatal(err)
	}
	defer served.Close()
	all, err := served.Runs()
	if err != nil {
		t.Fatal(err)
	}
	outcomes, err := served.Outcomes()
	if err != nil || len(outcomes) != len(all) {
		t.Fatalf("%d outcomes of %d runs: %v", len(outcomes), len(all), err)
	}
	names := map[string]bool{}
	for _, r := range all {
		names[r.Sequence] = true
		want := Outcome{r.Unit, r.Sequence, r.Started, r.Verdict, r.Simulated, r.Unit == "under way"}
		if !slices.Contains(outcomes, want) {
			t.Errorf("there is no %+v in %+v", want, outcomes)
		}
	}
	sequences, err := served.Sequences()
	if err != nil || len(sequences) != len(names) || !slices.IsSorted(sequences) {
		t.Errorf("sequences %q, want those of %v: %v", sequences, names, err)
	}
	if size, left := served.Room(); size <= 0 || left <= 0 {
		t.Errorf("size %d, left %d", size, left)
	}
}

// A search reads an index and not the runs, however many there are.
func TestSearch_ByIndex(t *testing.T) {
	t.Parallel()
	db := manyRuns(t)
	plan := func(query string, values ...any) (all string) {
		rows, err := db.read.Query("EXPLAIN QUERY PLAN "+query, values...)
		if err != nil {
			t.Fatal(err)
		}
		defer rows.Close()
		for rows.Next() {
			var a, b, c int
			var line string
			if err := rows.Scan(&a, &b, &c, &line); err != nil {
				t.Fatal(err)
			}
			all += line + "\n"
		}
		return all
	}
	for name, c := range searches {
		c.search.Most = 50
		where, values := c.search.query()
		got := plan("SELECT id FROM run WHERE "+where+" ORDER BY id DESC LIMIT 51", values...)
		if strings.Contains(got, "SCAN run\n") || strings.Contains(got, "SCAN cycle") || name != "all" && !strings.Contains(got, "USING COVERING INDEX run_") {
			t.Errorf("%s: %s", name, got)
		}
	}
}

// A log that is served cannot be written through it, and is read as others write it.
func TestOpenServed(t *testing.T) {
	t.Parallel()
	db := manyRuns(t)
	served, err := OpenServed(db.Path())
	if err != nil {
		t.Fatal(err)
	}
	defer served.Close()
	if _, err := served.Begin(RunInfo{Started: time.Now()}); err == nil {
		t.Error("a run was begun in a log that is only served")
	}
	for _, change := range []string{"DELETE FROM run", "PRAGMA query_only = OFF; DELETE FROM run", "DROP TABLE cycle"} {
		if _, err := served.read.Exec(change); err == nil {
			t.Errorf("%s: it was done", change)
		}
	}
	run, err := db.Begin(RunInfo{Unit: "new", Sequence: "new", Started: time.Now()})
	if err != nil {
		t.Fatal(err)
	}
	defer run.Finish(RunEnd{})
	found, err := served.Search(Search{Unit: "new", Most: 10})
	if err != nil || len(found.Runs) != 1 {
		t.Errorf("a run that has just begun: %+v, %v", found, err)
	}
	if served.Moved() {
		t.Error("the log is said to have been moved")
	}
	if err := os.Rename(db.Path(), db.Path()+".old"); err != nil {
		t.Fatal(err)
	}
	if !served.Moved() {
		t.Error("the log is not said to have been moved")
	}
}

// What a search costs in a log of 100,000 runs.
func BenchmarkSearch(b *testing.B) {
	db := manyRuns(b)
	err := db.exec(`INSERT INTO run (series, count, unit, done_by, sequence, sequence_source, rig, rig_source, started, planned, program, notes, ended, verdict, complete)
		WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 100000)
		SELECT 'many', i, format('SN-%05d', i % 60000), 'A. Fitter', format('job-%d', i % 12), hex(zeroblob(500)), 'bench', hex(zeroblob(1000)),
		1700000000000000000 + i * 600000000000, 5, 'v1', '', 1700000060000000000 + i * 600000000000, 1 + i % 3, i % 50 > 0 FROM n`)
	if err != nil {
		b.Fatal(err)
	}
	for _, name := range []string{"all", "a unit's part", "a sequence", "fail", "incomplete", "a day", "a time before all"} {
		b.Run(strings.ReplaceAll(name, " ", "-"), func(b *testing.B) {
			s := searches[name].search
			for s.Most = 50; b.Loop(); {
				if _, err := db.Search(s); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	b.Run("outcomes", func(b *testing.B) {
		for b.Loop() {
			if _, err := db.Outcomes(); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("sequences", func(b *testing.B) {
		for b.Loop() {
			if _, err := db.Sequences(); err != nil {
				b.Fatal(err)
			}
		}
	})
}
