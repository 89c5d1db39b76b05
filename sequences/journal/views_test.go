package journal

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"makebreak/analyze"
)

// The view for other programs shows the figures in words.
func TestFigures(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	fill(t, db, 1)
	rows, err := db.read.Query("SELECT run, unit, cycle, event, signal, quantity, value, unit_of_measure, expanded_uncertainty, lower_limit, upper_limit, verdict, reason, cycle_started, simulated, faults, complete FROM figures")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var got []string
	for rows.Next() {
		line, err := textRow(rows)
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, line)
	}
	id := names(t, db)[0]
	want := []string{
		id + "  1 arm-away OUT3 high_level 13.200999999999999 V 0.02 12 14.5 pass  2026-11-25T08:00:01.123Z 0  0",
		id + "  1  K1_NO bounce_count 4 1      2026-11-25T08:00:01.123Z 0  0",
		id + "  1 disarm K1 release_time  s   0.01 fail still bouncing: 0.0132; K1_NC did not close; K1_NO closed before OUT3 2026-11-25T08:00:01.123Z 0  0",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

// Times before 1970 and between two milliseconds are told as package time tells them, and one
// that is not known is empty.
func TestViews_Times(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	run, err := db.Begin(RunInfo{Started: time.Unix(-1, 5), Seed: new(uint64), Faults: []string{"adc-lost=2 s", "welded"}})
	if err != nil {
		t.Fatal(err)
	}
	times := []time.Time{{}, time.Unix(-1, 999_999_999), time.Unix(-2, 0), time.Unix(0, 0), time.Unix(1_800_000_000, 1_999_999), time.Unix(9_000_000_000, 999_999_999)}
	for i, at := range times {
		if err := run.Append(&Cycle{N: i + 1, Started: at, Complete: i != 2, Verdict: analyze.Verdicts[i%len(analyze.Verdicts)]}); err != nil {
			t.Fatal(err)
		}
	}
	rows, err := db.read.Query("SELECT cycle_started, verdict, simulated, faults FROM cycles")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var got, want []string
	for rows.Next() {
		line, err := textRow(rows)
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, line)
	}
	for i, at := range times {
		text := ""
		if !at.IsZero() {
			text = at.UTC().Format("2006-01-02T15:04:05.000Z07:00")
		}
		want = append(want, text+" "+string(analyze.RunVerdict(i != 2, analyze.Verdicts[i%len(analyze.Verdicts)]))+" 1 adc-lost=2s welded")
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	var started, ended, verdict string
	var planned any
	if err := db.read.QueryRow("SELECT started, ended, verdict, planned FROM runs").Scan(&started, &ended, &verdict, &planned); err != nil {
		t.Fatal(err)
	}
	if started != "1969-12-31T23:59:59Z" || ended != "" || verdict != "fail" || planned != nil {
		t.Errorf("started %s, ended %q, %s, planned %v", started, ended, verdict, planned)
	}
}

// A log may hold a million cycles: the views read nothing but what they show, by primary keys,
// and are in their order without being sorted.
func TestViews_Plan(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	for _, query := range []string{
		"SELECT * FROM runs", "SELECT run, verdict FROM runs WHERE unit = 'A'",
		"SELECT * FROM cycles", "SELECT * FROM cycles WHERE run = '2026-11-25.1' AND cycle > 5",
		"SELECT * FROM figures", "SELECT * FROM figures WHERE run = '2026-11-25.1' LIMIT 10", "SELECT * FROM figures WHERE cycle = 5",
		"SELECT avg(value) FROM figures WHERE signal = 'K1' AND quantity = 'operate_time'", "SELECT count(*) FROM figures WHERE verdict = 'fail'",
	} {
		rows, err := db.read.Query("EXPLAIN QUERY PLAN " + query)
		if err != nil {
			t.Fatal(err)
		}
		searched := 0
		for rows.Next() {
			var id, parent, unused int
			var step string
			if err := rows.Scan(&id, &parent, &unused, &step); err != nil {
				t.Fatal(err)
			}
			words := strings.Fields(step)
			switch {
			case words[0] == "SEARCH" && strings.Contains(step, "USING PRIMARY KEY"):
				searched++
			case strings.Contains(step, "SEARCH r USING INDEX run_by_unit"): // in the order of the runs, too
				searched++
			case words[0] == "SCAN" && (slices.Contains([]string{"r", "figures", "cycles"}, words[1]) || strings.HasPrefix(words[1], "(subquery")): // runs are few
			case strings.HasPrefix(step, "CORRELATED SCALAR SUBQUERY"), strings.HasPrefix(step, "CO-ROUTINE"):
			default:
				t.Errorf("%s: %s", query, step)
			}
		}
		if err := rows.Close(); err != nil || searched == 0 {
			t.Errorf("%s: %d searches, %v", query, searched, err)
		}
	}
}

// TestViews_Units: what is measured is told in the unit that package analyze has for it,
// whichever schema's program measured it.
func TestViews_Units(t *testing.T) {
	t.Parallel()
	statements := []string{oldRun + "'')"}
	for i, q := range analyze.Quantities() {
		statements = append(statements, fmt.Sprintf("INSERT INTO point VALUES (1, %d, '', 'S', '%s', NULL, NULL, '[]', x'')", i, q))
	}
	db := openLog(t, logOfSchema(t, 6, statements...))
	run := fill(t, db, 0)
	c := &Cycle{N: 1}
	for _, q := range analyze.Quantities() {
		c.Measurements = append(c.Measurements, analyze.Measurement{Cycle: 1, Signal: "S", Quantity: q})
	}
	if err := run.Append(c); err != nil {
		t.Fatal(err)
	}
	for _, d := range analyze.Definitions() {
		if n := count(t, db, fmt.Sprintf("point WHERE quantity = '%s' AND unit_of_measure = '%s'", d.Quantity, d.Unit)); n != 2 {
			t.Errorf("%s: %d of 2 have the unit %s", d.Quantity, n, d.Unit)
		}
	}
}
