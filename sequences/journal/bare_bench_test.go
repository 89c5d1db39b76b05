package journal

import (
	"context"
	"database/sql"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"
)

// BenchmarkAgainstBare stores the same cycles through the log and as bare inserts of
// the same rows, prepared, on a like connection, as many cycles a transaction. "times
// bare" is what the log's own work adds: turning figures into rows and knowing them again.
func BenchmarkAgainstBare(b *testing.B) {
	for _, together := range []int{1, 16} {
		b.Run(map[int]string{1: "single", 16: "sixteen together"}[together], func(b *testing.B) { againstBare(b, together) })
	}
}

func againstBare(b *testing.B, together int) {
	db, err := Open(filepath.Join(b.TempDir(), "log.db"))
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	run, err := db.Begin(RunInfo{Started: time.Unix(1_800_000_000, 0)})
	if err != nil {
		b.Fatal(err)
	}
	bare := newBare(b)
	rng := rand.New(rand.NewPCG(1, 2))
	var through, direct time.Duration
	n := 0
	for b.Loop() {
		var cycles []*Cycle
		for range together {
			n++
			cycles = append(cycles, soakCycle(n, rng))
		}
		start := time.Now()
		if err := run.Append(cycles...); err != nil {
			b.Fatal(err)
		}
		through += time.Since(start)
		rows := bare.rowsOf(b, run, cycles)
		start = time.Now()
		bare.insert(b, rows)
		direct += time.Since(start)
	}
	b.ReportMetric(float64(n)/through.Seconds(), "cycles/s")
	b.ReportMetric(float64(n)/direct.Seconds(), "bare-cycles/s")
	b.ReportMetric(through.Seconds()/direct.Seconds(), "times-bare")
}

// soakCycle is a cycle whose figures' uncertainties differ from time to time, as
// those of a simulated bench do, without a capture.
func soakCycle(n int, rng *rand.Rand) *Cycle {
	c := bare(n, rng)
	for i := range c.Measurements {
		if i%3 == 0 {
			c.Measurements[i].Standard *= 1 + 0.1*rng.Float64()
			c.Measurements[i].Expanded = 2 * c.Measurements[i].Standard
		}
	}
	return c
}

// bareDB is SQLite with the log's tables and nothing else.
type bareDB struct {
	conn               *sql.Conn
	begin, commit      *sql.Stmt
	cycle, measurement *sql.Stmt
}

// bareRows are rows ready to insert.
type bareRows struct{ cycles, measurements [][]any }

func newBare(b *testing.B) *bareDB {
	path := filepath.Join(b.TempDir(), "bare.db")
	db, err := sql.Open("sqlite", dsn(path, "journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(ON)"))
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { db.Close() })
	db.SetMaxOpenConns(1)
	conn, err := db.Conn(context.Background())
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { conn.Close() })
	if err := migrate(conn, migrations); err != nil {
		b.Fatal(err)
	}
	for _, text := range []string{"INSERT INTO run (id, series, count, unit, done_by, sequence, sequence_source, rig, rig_source, started, planned, program, notes) VALUES (1,'2026-01-01',1,'U','','s','','r','',0,1,'','')",
		"WITH RECURSIVE i (x) AS (SELECT 0 UNION ALL SELECT x + 1 FROM i WHERE x < 99) INSERT INTO point SELECT 1, x, '', '', '', NULL, NULL, '[]', x'' FROM i"} {
		if _, err := conn.ExecContext(context.Background(), text); err != nil {
			b.Fatal(err)
		}
	}
	prepare := func(text string) *sql.Stmt {
		s, err := conn.PrepareContext(context.Background(), text)
		if err != nil {
			b.Fatal(err)
		}
		return s
	}
	return &bareDB{conn: conn, begin: prepare("BEGIN IMMEDIATE"), commit: prepare("COMMIT"), cycle: prepare("INSERT INTO cycle VALUES (?,?,?,?,?,?,?,?,?,?,?,?)"),
		measurement: prepare("INSERT INTO measurement VALUES (?,?,?,?,?,?,?,?,?)")}
}

// rowsOf are the rows that the log has made of cycles.
func (d *bareDB) rowsOf(b *testing.B, run *Run, cycles []*Cycle) (rows bareRows) {
	for _, c := range cycles {
		var fresh additions
		p, err := run.pack(c, &fresh)
		if err != nil {
			b.Fatal(err)
		}
		rows.cycles = append(rows.cycles, []any{1, c.N, c.Started.UnixNano(), p.verdict, c.Complete, int64(0), int64(0), int64(0), int64(0), int64(0), nil, int64(0)})
		for i := range c.Measurements {
			m, row := &c.Measurements[i], &p.measurements[i]
			rows.measurements = append(rows.measurements, []any{1, c.N, i, row.point, realOf(m.Value), realOf(m.Expanded), row.verdict, row.doubts, blobOf(row.numbers)})
		}
	}
	return rows
}

func (d *bareDB) insert(b *testing.B, rows bareRows) {
	exec := func(s *sql.Stmt, args ...any) {
		if _, err := s.Exec(args...); err != nil {
			b.Fatal(err)
		}
	}
	exec(d.begin)
	for _, r := range rows.cycles {
		exec(d.cycle, r...)
	}
	for _, r := range rows.measurements {
		exec(d.measurement, r...)
	}
	exec(d.commit)
}
