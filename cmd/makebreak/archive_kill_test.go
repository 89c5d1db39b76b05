package main

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"makebreak/testdata/postgres"
)

// archiveSize is how much a test of the archive pushes, as runs, cycles of a soak and kills;
// MAKEBREAK_ARCHIVE=10000,1000000,50 sets it.
func archiveSize(t testing.TB) (runs, cycles, kills int) {
	runs, cycles, kills = 60, 2_000, 5
	if testing.Short() {
		runs, cycles = 30, 500
	}
	if asked := os.Getenv("MAKEBREAK_ARCHIVE"); asked != "" {
		if _, err := fmt.Sscanf(asked, "%d,%d,%d", &runs, &cycles, &kills); err != nil {
			t.Fatalf("MAKEBREAK_ARCHIVE: %v", err)
		}
	}
	return runs, cycles, kills
}

// multipliedLog is a log of runs and one soak, each a copy of what the program has measured but
// for names, numbers and times.
func multipliedLog(t *testing.T, runs, cycles int) string {
	t.Helper()
	const measured = 10 // cycles of the soak
	log := filepath.Join(t.TempDir(), "log.db")
	for _, args := range []string{
		"run armed-high --seed 1 --cycles 1 --unit U-1 --fault weak-supply --field job=1234",
		"soak relay-only --seed 2 --cycles 10 --unit RB-017 --keep-every 5 --keep-first 1 --keep-last 1 --quiet",
	} {
		if status, _, errs := run(t, append([]string{"--log", log}, strings.Fields(args)...)...); status > exitUndecided {
			t.Fatal(errs)
		}
	}
	db, err := sql.Open("sqlite", log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	numbers := "WITH RECURSIVE k(k) AS (SELECT 1 UNION ALL SELECT k + 1 FROM k WHERE k < %d) "
	statements := []string{"PRAGMA synchronous = OFF", "BEGIN"}
	columns := func(table string) (all []string) {
		rows, err := db.Query("SELECT name FROM pragma_table_info(?)", table)
		if err != nil {
			t.Fatal(err)
		}
		defer rows.Close()
		for rows.Next() {
			var name string
			if err := rows.Scan(&name); err != nil {
				t.Fatal(err)
			}
			all = append(all, name)
		}
		return all
	}
	multiply := func(table string, count int, from string, instead map[string]string) {
		names := columns(table)
		values := slices.Clone(names)
		for i, name := range names {
			if v, there := instead[name]; there {
				values[i] = v
			}
		}
		statements = append(statements, fmt.Sprintf(numbers, count)+"INSERT INTO "+table+" ("+strings.Join(names, ", ")+") SELECT "+strings.Join(values, ", ")+" FROM "+table+", k WHERE "+from)
	}
	if runs > 1 {
		multiply("run", runs-1, "id = 1", map[string]string{"id": "id + 2 + k", "count": "count + 10 + k", "uuid": "substr(uuid, 1, 24) || format('%012x', k)"})
		multiply("capture", runs-1, "id = 1", map[string]string{"id": "1000000000 + k"})
		for _, table := range []string{"point", "doubts", "doubt", "sign", "field", "calibration", "cycle", "measurement", "symptom"} {
			multiply(table, runs-1, "run = 1", map[string]string{"run": "run + 2 + k", "capture": "1000000000 + k"})
		}
	}
	if more := cycles/measured - 1; more > 0 {
		multiply("cycle", more, "run = 2", map[string]string{"n": "n + 10 * k", "started": "started + 1000000000 * k", "capture": "NULL"})
		multiply("measurement", more, "run = 2", map[string]string{"cycle": "cycle + 10 * k", "value": "value + k * 1e-9"})
		multiply("symptom", more, "run = 2", map[string]string{"cycle": "cycle + 10 * k"})
	}
	for _, s := range append(statements, "COMMIT", "PRAGMA wal_checkpoint(TRUNCATE)") {
		if _, err := db.Exec(s); err != nil {
			t.Fatalf("%s: %v", s, err)
		}
	}
	return log
}

// archiveProgram is the program with an archive, not started yet.
func archiveProgram(t testing.TB, env []string, log string, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(self)
	c.Args = append([]string{"makebreak", "--log", log}, args...)
	c.Env = append(append(os.Environ(), "GORACE=atexit_sleep_ms=0"), env...)
	return c
}

// A push that is killed at any instant, again and again, is gone on with by the next one: at the
// end every figure is there, once, and as the log has it.
func TestArchive_Killed(t *testing.T) {
	t.Parallel()
	runs, cycles, kills := archiveSize(t)
	env := postgres.Database(t)
	log := multipliedLog(t, runs, cycles)
	rng := rand.New(rand.NewPCG(1, 2))

	whole := 3 * time.Second // about what a push takes
	cut, before := 0, 0      // kills that left more there than was there before, and not all; rows then
	for range kills {
		c := archiveProgram(t, env, log, "archive", "push")
		began := time.Now()
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		after := time.AfterFunc(time.Duration(rng.Int64N(int64(whole))), func() { _ = c.Process.Kill() })
		done := c.Wait() == nil
		after.Stop()
		there := archived(t, env, "makebreak.push")
		rows := there + archived(t, env, "makebreak.cycle")
		switch {
		case rows > before && there <= runs:
			cut++
		case !done:
			whole = whole * 5 / 4 // so busy a machine needs longer to come to anything
		}
		before = rows
		if done || there > runs { // the next one begins anew, so that it has something to do
			if done {
				whole = max(100*time.Millisecond, time.Since(began))
			}
			before = 0
			conn := connected(t, env)
			if _, err := conn.Exec(t.Context(), "DROP SCHEMA makebreak CASCADE"); err != nil {
				t.Fatal(err)
			}
			_ = conn.Close(t.Context())
		}
	}
	t.Logf("%d kills, %d of which left more than was there, and not all; there by then: %d runs, %d cycles", kills, cut, archived(t, env, "makebreak.push"), archived(t, env, "makebreak.cycle"))
	began := time.Now()
	for range 2 {
		if out, err := archiveProgram(t, env, log, "archive", "push").CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		} else {
			t.Logf("%.1f s: %s", time.Since(began).Seconds(), out)
			began = time.Now()
		}
	}
	compareFigures(t, env, log)
	t.Logf("compared in %.1f s", time.Since(began).Seconds())
	out, err := archiveProgram(t, env, log, "archive", "status", "--as", "csv").Output()
	if n := strings.Count(string(out), ",archived,"); err != nil || n != runs+1 {
		t.Errorf("status: %d runs are archived, not %d: %v", n, runs+1, err)
	}
}

// connectionOf is where an archive is, as pgx takes it.
func connectionOf(env []string) string {
	settings := map[string]string{}
	for _, v := range env {
		name, value, _ := strings.Cut(v, "=")
		settings[name] = value
	}
	return fmt.Sprintf("host=%s port=%s user=%s dbname=%s sslmode=disable", settings["PGHOST"], settings["PGPORT"], settings["PGUSER"], settings["PGDATABASE"])
}

// connected is a connection to the archive itself.
func connected(t testing.TB, env []string) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), connectionOf(env))
	if err != nil {
		t.Fatal(err)
	}
	return conn
}

// archived counts a table's rows; 0: there is no table yet.
func archived(t testing.TB, env []string, table string) (n int) {
	t.Helper()
	conn := connected(t, env)
	defer conn.Close(context.Background())
	_ = conn.QueryRow(t.Context(), "SELECT count(*) FROM "+table).Scan(&n) // it may not be there
	return n
}

// compareFigures goes through the view figures of both, in whatever order each has them: of each
// cycle the sums of what its rows hash to must be the same.
func compareFigures(t testing.TB, env []string, log string) {
	t.Helper()
	conn := connected(t, env)
	defer conn.Close(context.Background())
	db, err := sql.Open("sqlite", log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	want := figureSums{}
	rows, err := db.Query("SELECT * FROM figures")
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
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			t.Fatal(err)
		}
		want.add(names, values, 1)
	}
	if err := rows.Err(); err != nil || len(want) == 0 {
		t.Fatal(len(want), err)
	}
	cycles, count := len(want), 0
	there, err := conn.Query(t.Context(), "SELECT * FROM makebreak.figures")
	if err != nil {
		t.Fatal(err)
	}
	defer there.Close()
	for ; there.Next(); count++ {
		values, err := there.Values()
		if err != nil || len(values) != len(names) {
			t.Fatal(len(values), err)
		}
		want.add(names, values, -1)
	}
	if err := there.Err(); err != nil {
		t.Fatal(err)
	}
	differ := 0
	for at, left := range want {
		if left == [3]uint64{} {
			continue
		}
		if differ++; differ <= 10 {
			t.Errorf("run %s, cycle %d: the archive's figures are others than the log's", at.run, at.cycle)
		}
	}
	t.Logf("%d figures of %d cycles compared, %d cycles differ", count, cycles, differ)
}

// figureSums are, of each cycle, how many figures there are and the sums of two hashes of them.
type figureSums map[struct {
	run   string
	cycle int64
}][3]uint64

// add adds a row, or takes one away.
func (f figureSums) add(names []string, values []any, sign int64) {
	var at struct {
		run   string
		cycle int64
	}
	h := fnv.New128a()
	for i, v := range values {
		v = cellOf(v)
		switch names[i] {
		case "run_id":
			at.run, _ = v.(string)
		case "cycle":
			at.cycle, _ = v.(int64)
		}
		_, _ = fmt.Fprintf(h, "%T %v\x00", v, v) // never fails
	}
	sum := h.Sum(nil)
	old := f[at]
	old[0] += uint64(sign)
	old[1] += uint64(sign) * binary.BigEndian.Uint64(sum)
	old[2] += uint64(sign) * binary.BigEndian.Uint64(sum[8:])
	f[at] = old
}

func cellOf(v any) any {
	switch v := v.(type) {
	case int32:
		return int64(v)
	case int16:
		return int64(v)
	}
	return v
}

// A record from the archive says what that from the rig's log says.
func TestArchive_Report(t *testing.T) {
	t.Parallel()
	env := postgres.Database(t)
	log := multipliedLog(t, 1, 10)
	if out, err := archiveProgram(t, env, log, "archive", "push").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	for _, line := range []string{"report last --all", "report last --as csv", "report last --as json", "report last --capture 5", "report last --budget K1.operate_time", "runs --as csv", "runs --as json", "soak reliability last --shape 2 --as json", "unit RB-017 --as csv", "unit U-1 --as html"} {
		var said [2]string
		for i, from := range []string{log, "postgres:"} {
			out, err := archiveProgram(t, env, from, strings.Fields(line)...).Output()
			var exit *exec.ExitError
			if errors.As(err, &exit) && exit.ExitCode() > exitUndecided || len(out) == 0 {
				t.Fatalf("%s from %s: %v: %s", line, from, err, exit.Stderr)
			}
			said[i] = string(out)
		}
		// A text says where its log is.
		if d := cmp.Diff(strings.ReplaceAll(said[0], log, "LOG"), archivePlace.ReplaceAllString(said[1], "LOG")); d != "" {
			t.Errorf("%s: %.3000s", line, d)
		}
	}
}

var archivePlace = regexp.MustCompile(`archive workshop\d+ at\s+\S+ user\s+postgres`)

// The command line says what it did, and ends as it must where the archive is not to be had.
func TestArchive_CommandLine(t *testing.T) {
	t.Parallel()
	env := postgres.Database(t)
	log := multipliedLog(t, 3, 20)
	const secret = "Geheim-77"
	open := filepath.Join(t.TempDir(), "pgpass")
	if err := os.WriteFile(open, []byte("*:*:*:postgres:"+secret+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args   string
		env    []string
		status int
		said   string
	}{
		{"archive status", env, exitLog, "no archive"},
		{"archive push", env, exitPass, "4 runs pushed"},
		{"archive push", env, exitPass, "4 there already"},
		{"archive status", env, exitPass, "4 of 4 runs"},
		{"archive status --as json", env, exitPass, `"archive": "archived"`},
		{"archive status --as csv", env, exitPass, ",archived,20,"},
		{"report last --as csv --log postgres:", env, exitPass, "relay-only"},
		{"report last --as text --verify --log postgres:", env, exitInput, "not signed"},
		{"report 01a2 --log postgres:", env, exitUsage, "no such run"},
		{"unit RB-017 --log postgres:", env, exitPass, "relay-only"},
		{"unit none --log postgres:", env, exitUsage, "no run of the unit"},
		{"runs --log postgres:", env, exitPass, "armed-high"},
		{"runs --unit U-1 --as json --log postgresql:", env, exitPass, "job"},
		{"runs --set-field last job=2 --log postgres:", env, exitUsage, "only read"},
		{"run relay-only --log postgres:", env, exitUsage, "log file"},
		{"serve --log postgres: --exercises x.yaml", env, exitUsage, "only read"},
		{"runs check --log postgres:", env, exitUsage, "log file"},
		{"runs --log postgres://u:" + secret + "@127.0.0.1:1/d?sslmode=disable", env, exitLog, "connect"},
		{"archive push now", env, exitUsage, "no arguments"},
		{"archive push --as csv", env, exitUsage, "csv"},
		{"archive", env, exitPass, "push"},
		{"archive pusch", env, exitUsage, "push"},
		{"archive push", slices.Concat(env, []string{"PGPORT=x", "PGPASSWORD=" + secret}), exitUsage, "port"},
		{"archive push", slices.Concat(env, []string{"PGSERVICE=none", "PGSERVICEFILE=/nowhere/x", "PGPASSWORD=" + secret}), exitUsage, "/nowhere/x"},
		{"archive push", slices.Concat(env, []string{"PGPORT=1", "PGPASSWORD=" + secret}), exitLog, "connect"},
		{"archive push", slices.Concat(env, []string{"PGUSER=nobody", "PGPASSWORD=" + secret}), exitLog, "nobody"},
		{"archive push", slices.Concat(env, []string{"PGHOST=127.0.0.1", "PGPASSWORD=" + secret}), exitLog, "password"},
		{"archive push", slices.Concat(env, []string{"PGHOST=127.0.0.1", "PGSSLMODE=verify-full", "PGPASSWORD=" + secret}), exitLog, "certificate is not of an authority"},
		{"archive push", slices.Concat(env, []string{"PGHOST=127.0.0.1", "PGSSLMODE=always"}), exitUsage, "PGSSLMODE must be one of"},
		{"archive push", slices.Concat(env, []string{"PGHOST=/nowhere"}), exitLog, "no server listens at this socket"},
		{"archive push", slices.Concat(env, []string{"PGPASSFILE=" + open}), exitUsage, "others can read this password file"},
	} {
		out, err := archiveProgram(t, c.env, log, strings.Fields(c.args)...).CombinedOutput()
		status := 0
		if exit, is := err.(*exec.ExitError); is {
			status = exit.ExitCode()
		}
		if status != c.status || !strings.Contains(string(out), c.said) || strings.Contains(string(out), secret) {
			t.Errorf("%s with %v: exit status %s, must be %d and say %q:\n%s", c.args, c.env[len(env):], strconv.Itoa(status), c.status, c.said, out)
		}
	}
}
