package main

import (
	"database/sql"
	"encoding/csv"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/sequences/journal"
	"makebreak/testdata/logs"
)

// TestViews_AreCSV: the log's views, as another program reads them, say cell by cell what CSV
// and the list of runs say, of each schema's log and of runs of today. A reason is in words in
// CSV alone.
func TestViews_AreCSV(t *testing.T) {
	all, err := filepath.Glob(filepath.Join("..", "..", "testdata", "logs", "schema-*.db.gz"))
	if err != nil || len(all) < 6 {
		t.Fatalf("%d logs: %v", len(all), err)
	}
	for _, packed := range all {
		name := strings.TrimSuffix(filepath.Base(packed), ".db.gz")
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			log := logs.Unpack(t, packed)
			compareViews(t, log)
		})
	}
	t.Run("today", func(t *testing.T) {
		log := filepath.Join(t.TempDir(), "log.db")
		for _, args := range [][]string{
			{"run", "armed-high", "--seed", "5", "--cycles", "2", "--unit", "4711", "--by", "A. Fitter"},
			{"run", "armed-high", "--seed", "5", "--cycles", "2", "--fault", "welded", "--fault", "adc-lost=2 s"},
			{"run", "relay-only", "--seed", "6", "--cycles", "3", "--fault", "merged-edges=1.5ms", "--fault", "long-bounce=6ms"},
			{"run", "relay-only", "--seed", "7", "--cycles", "5", "--stop-on-fail", "--fault", "weak-contact"},
			{"soak", "relay-only", "--seed", "8", "--cycles", "20", "--unit", "RB-1"},
		} {
			run(t, append(args, "--log", log, "--quiet")...)
		}
		goneOn(t, log)
		compareViews(t, log)
	})
}

// goneOn makes the newest run in a log one that two other versions went on with.
func goneOn(t *testing.T, log string) {
	t.Helper()
	db, err := sql.Open("sqlite", log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for i, c := range []struct {
		after   int
		program string
	}{{4, "v8"}, {6, ""}, {9, "v9"}, {9, ""}} {
		if _, err := db.Exec("INSERT INTO interruption (run, seq, after_cycle, resumed, reason, program) SELECT max(id), ?, ?, started, 'stopped', ? FROM run", i, c.after, c.program); err != nil {
			t.Fatal(err)
		}
	}
	var versions int
	if err := db.QueryRow("SELECT count(DISTINCT program) FROM cycles WHERE run = (SELECT series || '.' || count FROM run ORDER BY id DESC LIMIT 1)").Scan(&versions); err != nil || versions != 3 {
		t.Errorf("%d versions, %v", versions, err)
	}
}

func compareViews(t *testing.T, log string) {
	t.Helper()
	_, list, errs := run(t, "runs", "--log", log, "--as", "csv")
	listed := rowsOf(t, list)
	if len(listed) < 5 {
		t.Fatalf("%d runs: %s", len(listed)-1, errs)
	}
	db, err := sql.Open("sqlite", log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	columns, runs := viewed(t, db, "runs")
	ofList := func(row []string) (some []string) {
		for _, name := range listed[0] {
			at := slices.Index(columns, name)
			if at < 0 {
				t.Fatalf("the view of the runs has no column %s", name)
			}
			some = append(some, row[at])
		}
		return some
	}
	slices.Reverse(runs) // the list has the newest first
	if len(runs) != len(listed)-1 {
		t.Fatalf("the view has %d runs, the list %d", len(runs), len(listed)-1)
	}
	var figures [][]string
	for i, row := range runs {
		compareCells(t, listed[0], ofList(row), listed[i+1])
		_, text, _ := run(t, "report", row[0], "--log", log, "--as", "csv")
		figures = append(rowsOf(t, text)[1:], figures...)
	}
	columns, rows := viewed(t, db, "figures")
	if want := strings.Join(resultColumns(t), " "); strings.Join(columns, " ") != want {
		t.Errorf("columns of figures are %q, of CSV %q", columns, want)
	}
	if len(rows) != len(figures) || len(rows) < 100 {
		t.Fatalf("the view has %d figures, CSV %d", len(rows), len(figures))
	}
	for i, row := range rows {
		compareCells(t, columns, row, figures[i])
	}
	compareCycles(t, log, db)
}

// TestReadme_Views: the page has every column of the views that it has a table of.
func TestReadme_Views(t *testing.T) {
	log := filepath.Join(t.TempDir(), "log.db")
	run(t, "run", "relay-only", "--cycles", "1", "--seed", "1", "--log", log, "--quiet")
	db, err := sql.Open("sqlite", log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, name := range []string{"runs", "cycles"} {
		columns, _ := viewed(t, db, name)
		cells, _ := firstCells(t, "sequences/journal/README.md", "### "+name)
		var told []string
		for _, cell := range cells {
			told = append(told, strings.Split(cell, "`, `")...)
		}
		slices.Sort(columns)
		slices.Sort(told)
		if !slices.Equal(columns, told) {
			t.Errorf("the view %s has the columns\n%q, the page\n%q", name, columns, told)
		}
	}
}

// compareCells compares a row of a view with one of CSV.
func compareCells(t *testing.T, columns, row, want []string) {
	t.Helper()
	row = slices.Clone(row)
	at := func(name string) int { return slices.Index(columns, name) }
	if value := at("value"); value >= 0 {
		u := at("expanded_uncertainty")
		row[value], row[u] = report.Round(analyze.Quantity(row[at("quantity")]), numberIn(t, row[value]), numberIn(t, row[u]))
		if r := at("reason"); (row[r] == "") != (want[r] == "") && want[at("verdict")] != string(analyze.Undecided) { // what would settle that is worked out when it is told
			t.Errorf("the reason is %q in the view, %q in CSV", row[r], want[r])
		}
	}
	for i, name := range columns {
		got := row[i]
		switch name {
		case "reason":
			continue
		case "simulated", "complete", "reference":
			got = map[string]string{"0": "false", "1": "true"}[got]
		case "lower_limit", "upper_limit":
			if x := numberIn(t, got); !math.IsNaN(x) {
				got = strconv.FormatFloat(x, 'f', -1, 64)
			}
		}
		if got != want[i] {
			t.Errorf("%s is %q in the view and %q in CSV, of %q", name, got, want[i], want)
		}
	}
}

// numberIn is the number in a view's cell; NaN: it is NULL.
func numberIn(t *testing.T, cell string) float64 {
	t.Helper()
	if cell == "" {
		return math.NaN()
	}
	x, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		t.Error(err)
	}
	return x
}

// compareCycles compares the view of cycles with what the log's own reader says of them.
func compareCycles(t *testing.T, log string, db *sql.DB) {
	t.Helper()
	columns, rows := viewed(t, db, "cycles")
	j, err := journal.OpenRead(log)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	runs, err := j.Runs()
	if err != nil {
		t.Fatal(err)
	}
	slices.Reverse(runs)
	n := 0
	for _, r := range runs {
		rec, err := j.Find(r.Run)
		if err != nil {
			t.Fatal(err)
		}
		for c, err := range rec.CycleInfos() {
			if err != nil || n >= len(rows) {
				t.Fatalf("%v: cycle %d of run %s is not in the view", err, c.N, r.Run)
			}
			yes := map[bool]string{false: "0", true: "1"}
			started := ""
			if !c.Started.IsZero() {
				started = c.Started.UTC().Truncate(time.Millisecond).Format("2006-01-02T15:04:05.000Z")
			}
			want := map[string]string{"run": r.Run, "unit": r.Unit, "cycle": fmt.Sprint(c.N), "cycle_started": started,
				"verdict": string(analyze.RunVerdict(c.Complete, c.Verdict)), "cycle_complete": yes[c.Complete],
				"missed_conversions": fmt.Sprint(c.Counts.MissedConversions), "doubled_conversions": fmt.Sprint(c.Counts.DoubledConversions),
				"bus_errors": fmt.Sprint(c.Counts.BusErrors), "lost_edges": fmt.Sprint(c.Counts.LostEdges), "chip_resets": fmt.Sprint(c.Counts.ChipResets),
				"lost_ready_edges": fmt.Sprint(c.Counts.LostReadyEdges), "capture": yes[c.HasCapture], "sequence": r.Sequence, "rig": rec.Rig,
				"simulated": yes[rec.Seed != nil], "by": rec.By, "complete": yes[rec.Complete]}
			for i, name := range columns {
				if w, ok := want[name]; ok && rows[n][i] != w {
					t.Errorf("run %s, cycle %d: %s is %q, want %q", r.Run, c.N, name, rows[n][i], w)
				}
			}
			n++
		}
	}
	if n != len(rows) || n < 5 {
		t.Errorf("the view has %d cycles, the log %d", len(rows), n)
	}
}

// viewed reads a view as any program would; NULL comes as an empty text.
func viewed(t *testing.T, db *sql.DB, name string) (columns []string, all [][]string) {
	t.Helper()
	rows, err := db.Query("SELECT * FROM " + name)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	if columns, err = rows.Columns(); err != nil {
		t.Fatal(err)
	}
	for rows.Next() {
		cells := make([]sql.NullString, len(columns))
		into := make([]any, len(columns))
		for i := range cells {
			into[i] = &cells[i]
		}
		if err := rows.Scan(into...); err != nil {
			t.Fatal(err)
		}
		row := make([]string, len(columns))
		for i, c := range cells {
			row[i] = c.String
		}
		all = append(all, row)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return columns, all
}

func rowsOf(t *testing.T, text string) [][]string {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}
