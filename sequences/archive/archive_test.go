package archive

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"makebreak/analyze"
	"makebreak/rig/capture"
	"makebreak/sequences/journal"
	"makebreak/testdata/postgres"
)

func TestMain(m *testing.M) {
	status := m.Run()
	postgres.Stop()
	os.Exit(status)
}

// database makes a database and returns its connection string.
func database(t testing.TB) string {
	t.Helper()
	words := map[string]string{"PGHOST": "host", "PGPORT": "port", "PGUSER": "user", "PGDATABASE": "dbname", "PGSSLMODE": "sslmode"}
	var b strings.Builder
	for _, v := range postgres.Database(t) {
		name, value, _ := strings.Cut(v, "=")
		if word := words[name]; word != "" {
			fmt.Fprintf(&b, "%s='%s' ", word, value)
		}
	}
	return b.String()
}

func newLog(t testing.TB) *journal.DB {
	t.Helper()
	db, err := journal.Open(filepath.Join(t.TempDir(), "log.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = db.Close() })
	return db
}

func opened(t testing.TB, connection string) *DB {
	t.Helper()
	db, err := Open(context.Background(), connection)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = db.Close() })
	return db
}

func push(t testing.TB, p *Pusher) Pushed {
	t.Helper()
	done, err := p.Push(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	for _, err := range done.Refused {
		t.Errorf("refused: %v", err)
	}
	return done
}

// hostile holds what a text can hold that JSON, SQL and COPY have a meaning for.
const hostile = "a'b\"c\\d\\N\t\n\r\x01\x1f\x7f/é 'x'; {\"a\": null} \u2028 $$ Ω"

// cycle is the cycle n with figures of all kinds: missing ones, with doubts, with limits; some
// are not in every cycle, so that those after them have another place.
func cycle(n int) *journal.Cycle {
	value := 13.2 + float64(n)/1000
	c := &journal.Cycle{N: n, Started: time.Date(2026, 11, 25, 8, 0, n, 123456789, time.UTC), Verdict: analyze.Verdicts[n%len(analyze.Verdicts)], Complete: n%5 != 4,
		Counts:  capture.Counts{MissedConversions: 1, DoubledConversions: 2, BusErrors: 3, LostEdges: 4, ChipResets: uint64(n), LostReadyEdges: uint64(5 * n)},
		Capture: fmt.Append(nil, "capture of cycle ", n, "\x00\xff"),
		Measurements: []analyze.Measurement{
			{Cycle: n, Event: "arm-away", Signal: "OUT3", Quantity: analyze.HighLevel, Value: value, Expanded: 0.02, Standard: 0.01,
				Coverage: 2, DegreesOfFreedom: math.Inf(1), Limit: analyze.Limit{Lower: 12, Upper: 14.5}, Verdict: analyze.Pass, Conformance: 1},
			{Cycle: n, Signal: "K1_NO", Quantity: analyze.BounceCount, Value: float64(n % 3), Expanded: math.NaN(), Limit: analyze.NoLimit(), Conformance: math.NaN()},
			{Cycle: n, Event: "disarm", Signal: "K1", Quantity: analyze.ReleaseTime, Value: math.NaN(), Expanded: math.NaN(), Verdict: analyze.Fail,
				Limit: analyze.Limit{Lower: math.NaN(), Upper: 0.01}, Doubts: []analyze.Doubt{{Code: analyze.StillBouncing, Value: 0.0132 * float64(n%7)},
					{Code: analyze.AtMost, Value: math.NaN()}, {Code: analyze.ClosedBefore, Value: math.NaN(), Signal: "K1_NO", Other: hostile}}},
		},
		Symptoms: []analyze.Symptom{{Cycle: n, Event: "disarm", Signal: "K1", Kind: "no-release", Other: "OUT3", Value: 1.7, Limit: math.NaN()}},
	}
	if n%3 == 1 {
		c.Measurements = slices.Insert(c.Measurements, 1, analyze.Measurement{Cycle: n, Event: "disarm", Signal: "OUT3", Quantity: analyze.LowLevel, Value: math.Copysign(0, -1),
			Expanded: 0.02 * float64(n%4), Standard: 0.01, Limit: analyze.NoLimit(), Verdict: analyze.Undecided})
	}
	return c
}

// figuresIn is how many figures such cycles have.
func figuresIn(cycles int) int64 { return int64(3*cycles + (cycles+2)/3) }

// begin begins a run that has all that a run can have.
func begin(t testing.TB, db *journal.DB, i int, soak bool) *journal.Run {
	t.Helper()
	info := journal.RunInfo{Started: time.Date(2026, 11, 1+i%40, 8, 0, i%60, 0, time.UTC), Unit: fmt.Sprintf("U-%d %s", i%5, hostile), Sequence: "armed-high", SequenceSource: "name: armed-high\n" + hostile,
		Rig: "bench", RigSource: hostile, By: "A. Fitter", Program: "v1", Planned: i % 4, Notes: "n", Fields: []journal.Field{{Name: "job", Value: hostile}, {Name: "gone", Value: "x"}, {Name: "place", Value: "1"}}}
	if i%2 == 0 {
		seed := math.MaxUint64 - uint64(i)
		info.Seed, info.Faults = &seed, []string{"adc-lost=2 s", "welded"}
	}
	if soak {
		info.Soak = &journal.Retention{First: 2, Last: 3, Every: 10, Bad: 2}
	}
	run, err := db.Begin(info)
	if err != nil {
		t.Fatal(err)
	}
	return run
}

func add(t testing.TB, run *journal.Run, first, last int) {
	t.Helper()
	for n := first; n <= last; n++ {
		if err := run.Append(cycle(n)); err != nil {
			t.Fatal(err)
		}
	}
}

func finish(t testing.TB, run *journal.Run, complete bool) {
	t.Helper()
	end := journal.RunEnd{Ended: time.Date(2026, 11, 25, 9, 0, 0, 5, time.UTC), Gravest: analyze.Fail, Complete: complete}
	if !complete {
		end.Reason = "interrupted: " + hostile
	}
	if err := run.Finish(end); err != nil {
		t.Fatal(err)
	}
}

// fill stores some runs with some cycles.
func fill(t testing.TB, db *journal.DB, runs, cycles int) {
	t.Helper()
	for i := range runs {
		run := begin(t, db, i, i%7 == 3)
		add(t, run, 1, cycles)
		finish(t, run, i%3 != 0)
		if i%2 == 0 {
			if err := db.SetField(run.ID(), journal.Field{Name: "gone"}, time.Unix(1_900_000_000, 0), "B"); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// views are those that must say the same in a log and in an archive.
var views = []string{"runs", "cycles", "figures"}

// inLog reads a view of a log as texts, sorted.
func inLog(t testing.TB, db *journal.DB, view string) []string {
	t.Helper()
	pool, err := sql.Open("sqlite", db.Path())
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	rows, err := pool.Query("SELECT * FROM " + view)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	names, err := rows.Columns()
	if err != nil {
		t.Fatal(err)
	}
	values, into := make([]any, len(names)), make([]any, len(names))
	for i := range into {
		into[i] = &values[i]
	}
	lines := []string{strings.Join(names, "|")}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			t.Fatal(err)
		}
		lines = append(lines, line(t, values))
	}
	slices.Sort(lines[1:])
	return lines
}

// inArchive is inLog for an archive.
func inArchive(t testing.TB, connection, view string) []string {
	t.Helper()
	conn, err := pgx.Connect(context.Background(), connection)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	rows, err := conn.Query(context.Background(), "SELECT * FROM "+view) // of the schema's owner, who need not name it
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var names []string
	for _, f := range rows.FieldDescriptions() {
		names = append(names, f.Name)
	}
	lines := []string{strings.Join(names, "|")}
	for rows.Next() {
		values, err := rows.Values()
		if err != nil {
			t.Fatal(err)
		}
		lines = append(lines, line(t, values))
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	slices.Sort(lines[1:])
	return lines
}

// line is a row as text; whole numbers look alike whatever their size, and nothing else does.
func line(t testing.TB, values []any) string {
	t.Helper()
	cells := make([]string, len(values))
	for i, v := range values {
		switch v := v.(type) {
		case nil:
			cells[i] = "NULL"
		case int64, int32, int16:
			cells[i] = fmt.Sprintf("%d", v)
		case float64:
			cells[i] = fmt.Sprintf("%x", v)
		case string:
			cells[i] = fmt.Sprintf("%q", v)
		default:
			t.Fatalf("a cell is a %T", v)
		}
	}
	return strings.Join(cells, "|")
}

// same compares all views.
func same(t testing.TB, log *journal.DB, connection string) {
	t.Helper()
	for _, view := range views {
		want, got := inLog(t, log, view), inArchive(t, connection, view)
		if len(want) < 2 {
			t.Fatalf("the view %s shows nothing", view)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%s: %.4000s", view, d)
		}
	}
}

// What is pushed is what the log holds, cell by cell; pushing it again changes nothing.
func TestPush(t *testing.T) {
	t.Parallel()
	connection, log := database(t), newLog(t)
	fill(t, log, 12, 9)
	p := &Pusher{Log: log, Archive: opened(t, connection), part: 4}
	if done := push(t, p); len(done.New) != 12 || len(done.There) != 0 {
		t.Errorf("pushed %+v", done)
	}
	same(t, log, connection)
	if done := push(t, p); len(done.New) != 0 || len(done.There) != 12 {
		t.Errorf("the second time, pushed %+v", done)
	}
	same(t, log, connection)
	if n := number(t, connection, "SELECT count(*) FROM makebreak.push"); n != 12 {
		t.Errorf("%d pushes of 12 runs", n)
	}
}

func number(t testing.TB, connection, query string, args ...any) (n int64) {
	t.Helper()
	conn, err := pgx.Connect(context.Background(), connection)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if err := conn.QueryRow(context.Background(), query, args...).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func do(t testing.TB, connection, statements string) {
	t.Helper()
	conn, err := pgx.Connect(context.Background(), connection)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if _, err := conn.PgConn().Exec(context.Background(), statements).ReadAll(); err != nil {
		t.Fatalf("%s: %v", statements, err)
	}
}

// A soak that goes on is pushed up to its last stored cycle, and completed later, also when it
// was interrupted in between; a run that goes on and is no soak waits for its end.
func TestPush_GoesOn(t *testing.T) {
	t.Parallel()
	connection, log := database(t), newLog(t)
	soak, run := begin(t, log, 1, true), begin(t, log, 2, false)
	add(t, soak, 1, 5)
	add(t, run, 1, 2)
	other, err := journal.OpenRead(log.Path()) // as another program does
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	p := &Pusher{Log: other, Archive: opened(t, connection), part: 3}
	done := push(t, p)
	if d := cmp.Diff(Pushed{New: []string{soak.ID()}, GoesOn: []string{run.ID()}}, done); d != "" {
		t.Error(d)
	}
	if n := number(t, connection, "SELECT count(*) FROM makebreak.cycles"); n != 5 {
		t.Errorf("%d cycles are shown, 5 were stored", n)
	}
	add(t, soak, 6, 8)
	finish(t, soak, false)
	finish(t, run, true)
	push(t, p)
	soak, err = log.Resume(soak.ID(), time.Date(2026, 11, 26, 8, 0, 0, 0, time.UTC), "v2")
	if err != nil {
		t.Fatal(err)
	}
	add(t, soak, 9, 20)
	finish(t, soak, true)
	if done := push(t, &Pusher{Log: log, Archive: p.Archive}); len(done.New) != 1 || len(done.There) != 1 {
		t.Errorf("pushed %+v", done)
	}
	// The log has dropped some of the soak's first captures; the archive keeps those it has.
	for _, view := range []string{"runs", "figures"} {
		if d := cmp.Diff(inLog(t, log, view), inArchive(t, connection, view)); d != "" {
			t.Errorf("%s: %.4000s", view, d)
		}
	}
	if in, there := count(inLog(t, log, "cycles")), count(inArchive(t, connection, "cycles")); in != there || in != 22 {
		t.Errorf("the log has %d cycles, the archive %d", in, there)
	}
}

func count(lines []string) int { return len(lines) - 1 }

// What is noted with a run later comes after it; what one that went on in two logs holds in the
// second one does not.
func TestPush_Changed(t *testing.T) {
	t.Parallel()
	connection, log := database(t), newLog(t)
	soak := begin(t, log, 1, true)
	add(t, soak, 1, 5)
	finish(t, soak, false)
	archive := opened(t, connection)
	push(t, &Pusher{Log: log, Archive: archive})
	if err := log.SetField(soak.ID(), journal.Field{Name: "job", Value: "2"}, time.Unix(1_900_000_000, 0), "B"); err != nil {
		t.Fatal(err)
	}
	push(t, &Pusher{Log: log, Archive: archive})
	same(t, log, connection)

	backup := filepath.Join(t.TempDir(), "backup.db")
	if err := log.Backup(t.Context(), backup); err != nil {
		t.Fatal(err)
	}
	other, err := journal.Open(backup)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	for i, db := range []*journal.DB{log, other} {
		run, err := db.Resume(soak.ID(), time.Date(2026, 11, 26, i, 0, 0, 0, time.UTC), "v2")
		if err != nil {
			t.Fatal(err)
		}
		c := cycle(6)
		c.Measurements[0].Value += float64(i)
		if err := run.Append(c); err != nil {
			t.Fatal(err)
		}
		add(t, run, 7, 7+i)
		finish(t, run, true)
	}
	push(t, &Pusher{Log: log, Archive: archive})
	done, err := (&Pusher{Log: other, Archive: archive}).Push(t.Context())
	if err != nil || len(done.Refused) != 1 || !strings.Contains(done.Refused[0].Error(), "other cycles") {
		t.Errorf("the other log's: %+v, %v", done, err)
	}
	for _, view := range []string{"runs", "figures"} {
		if d := cmp.Diff(inLog(t, log, view), inArchive(t, connection, view)); d != "" {
			t.Errorf("%s: %.4000s", view, d)
		}
	}
}
