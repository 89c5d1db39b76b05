package archive

import (
	"context"
	"errors"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"makebreak/rig/problem"
)

// statements are those that README.md shows, with names that no other test's database has: roles
// belong to the whole server.
func statements(t testing.TB, word string) (all []string) {
	t.Helper()
	page, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range regexp.MustCompile("(?s)```sql\n(.*?)```").FindAllStringSubmatch(string(page), -1) {
		all = append(all, strings.NewReplacer("makebreak_rigs", "rigs_"+word, "bench3", "bench_"+word, "makebreak_readers", "readers_"+word, "'PASSWORD'", "'Grünspan9'").Replace(m[1]))
	}
	if len(all) != 5 {
		t.Fatalf("README.md shows %d blocks of SQL, the test knows five", len(all))
	}
	return all
}

func asRole(connection, user, password string) string {
	return strings.Replace(connection, "user='postgres'", "user='"+user+"' password='"+password+"'", 1)
}

// The role of the README pushes, and can do nothing else; a wrong password is refused, and not
// said.
func TestRole(t *testing.T) {
	t.Parallel()
	connection, log := database(t), newLog(t)
	fill(t, log, 3, 3)
	sql := statements(t, "role")

	db, err := Open(t.Context(), connection)
	if err != nil {
		t.Fatal(err)
	}
	_ = db.Close()
	do(t, connection, sql[0]+sql[1])
	rig := asRole(connection, "bench_role", "Grünspan9")
	p := &Pusher{Log: log, Archive: opened(t, rig), part: 2}
	push(t, p)
	same(t, log, connection)
	if s, err := p.Status(t.Context()); err != nil || s.Whole != 3 {
		t.Errorf("status: %+v, %v", s, err)
	}
	if done := push(t, p); len(done.There) != 3 {
		t.Errorf("again: %+v", done)
	}
	for _, text := range []string{"DELETE FROM makebreak.run", "UPDATE makebreak.push SET verdict = 1", "TRUNCATE makebreak.cycle", "SELECT * FROM makebreak.figures", "SELECT * FROM makebreak.measurement",
		"DROP TABLE makebreak.symptom", "CREATE TABLE makebreak.x (y int)", "SELECT makebreak.remove_before('2100-01-01')", "INSERT INTO makebreak.removed (run) SELECT id FROM makebreak.run", "INSERT INTO makebreak.migration VALUES (99)"} {
		if _, err := p.Archive.conn.Exec(t.Context(), text); codeOf(err) != mayNot {
			t.Errorf("%s: %v", text, err)
		}
	}
	_, err = Open(t.Context(), asRole(connection, "bench_role", "Wrong-Word-7"))
	if err == nil || problem.KindOf(err) != problem.Storage || strings.Contains(err.Error(), "Wrong-Word") || !strings.Contains(err.Error(), "bench_role") {
		t.Errorf("a wrong password: %v", err)
	}
}

// With verify-full a push goes by TLS to a server whose certificate the rig has, and to no other.
func TestOpen_TLS(t *testing.T) {
	t.Parallel()
	connection, log := database(t), newLog(t)
	fill(t, log, 1, 2)
	_ = opened(t, connection)
	do(t, connection, strings.Join(statements(t, "tls")[:2], ""))
	host := regexp.MustCompile(`host='([^']*)'`)
	dir := host.FindStringSubmatch(connection)[1]
	by := strings.Replace(host.ReplaceAllString(asRole(connection, "bench_tls", "Grünspan9"), "host=127.0.0.1"), "sslmode='disable'", "sslmode=verify-full", 1)
	db := opened(t, by+" sslrootcert="+dir+"/server.crt")
	push(t, &Pusher{Log: log, Archive: db})
	var version string
	if err := db.conn.QueryRow(t.Context(), "SELECT version FROM pg_stat_ssl WHERE pid = pg_backend_pid()").Scan(&version); err != nil || !strings.HasPrefix(version, "TLS") {
		t.Errorf("the connection is not by TLS: %q, %v", version, err)
	}
	if _, err := Open(t.Context(), by); err == nil || problem.KindOf(err) != problem.Storage || !strings.Contains(err.Error(), "certificate") {
		t.Errorf("a certificate that nobody knows: %v", err)
	}
}

// A role that may not make the archive says who must.
func TestRole_NoArchive(t *testing.T) {
	t.Parallel()
	connection := database(t)
	do(t, connection, "CREATE ROLE bench_none LOGIN PASSWORD 'x'")
	if _, err := Open(t.Context(), asRole(connection, "bench_none", "x")); err == nil || problem.KindOf(err) != problem.Storage || !strings.Contains(err.Error(), "owner") {
		t.Errorf("%v", err)
	}
	if _, err := OpenRead(t.Context(), connection); !errors.Is(err, ErrNone) {
		t.Errorf("%v", err)
	}
}

// The README's partitions take what is pushed, and what it says of keeping runs for a time holds.
func TestMonths(t *testing.T) {
	t.Parallel()
	connection, log := database(t), newLog(t)
	fill(t, log, 2, 4)
	run := begin(t, log, 70, false) // begun on the 31st after the first of November
	add(t, run, 1, 4)
	finish(t, run, true)
	archive := opened(t, connection)
	sql := statements(t, "months")
	do(t, connection, sql[2]+strings.NewReplacer("2027-01-01", "2026-12-01", "2027-02-01", "2027-01-01", "2027_01", "2026_12").Replace(sql[3]))
	p := &Pusher{Log: log, Archive: archive}
	push(t, p)
	same(t, log, connection)
	for query, want := range map[string]int64{"SELECT count(DISTINCT run) FROM makebreak.measurement_2026_12": 1, "SELECT count(DISTINCT run) FROM makebreak.measurement_other": 2, "SELECT count(*) FROM makebreak.capture_2026_12": 4} {
		if n := number(t, connection, query); n != want {
			t.Errorf("%s: %d, want %d", query, n, want)
		}
	}
	if n := number(t, connection, strings.NewReplacer("2026-01-01", "2026-12-01", ";", "").Replace(sql[4])); n != 2 {
		t.Errorf("%d runs were removed, 2 began before December", n)
	}
	done := push(t, p)
	if len(done.Removed) != 2 || len(done.There) != 1 || len(done.New) != 0 {
		t.Errorf("after the removal: %+v", done)
	}
	if n := number(t, connection, "SELECT count(*) FROM makebreak.figures"); n != figuresIn(4) {
		t.Errorf("%d figures are left, %d are of the run in December", n, figuresIn(4))
	}
	if n := number(t, connection, "SELECT count(*) FROM makebreak.run"); n != 3 {
		t.Errorf("%d runs are known", n)
	}
}

// What names no archive is an error of usage, one that does not answer one of storage; no
// password is ever said.
func TestOpen_Errors(t *testing.T) {
	t.Parallel()
	const secret = "Geheim-77"
	for connection, kind := range map[string]problem.Kind{
		"host=127.0.0.1 port=1 user=u dbname=d sslmode=disable password=" + secret:                          problem.Storage,
		"host=/nowhere user=u dbname=d password=" + secret:                                                  problem.Storage,
		"postgres://u:" + secret + "@127.0.0.1:1/d?sslmode=disable":                                         problem.Storage,
		"postgres://u:" + secret + "@127.0.0.1:x/d":                                                         problem.Usage,
		"postgres://u:" + secret + " @%zz/d":                                                                problem.Usage,
		"host=h port=70000 password=" + secret:                                                              problem.Usage,
		"host=h sslmode=sometimes password='" + secret + "'":                                                problem.Usage,
		"host=h password='" + secret:                                                                        problem.Usage,
		"host=h sslmode=verify-full sslrootcert=/nowhere/ca.pem password=" + secret:                         problem.Usage,
		"service=none servicefile=/nowhere/service password=" + secret:                                      problem.Usage,
		"host=h connect_timeout=`: " + secret + " password=" + secret:                                       problem.Usage,
		"password=" + secret + " nonsense":                                                                  problem.Usage,
		"host=127.0.0.1 port=1 user=u dbname=d sslmode=require connect_timeout=2 password='" + secret + "'": problem.Storage,
	} {
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
		db, err := Open(ctx, connection)
		cancel()
		if err == nil {
			t.Errorf("%s: no error", connection)
			_ = db.Close()
			continue
		}
		if problem.KindOf(err) != kind || strings.Contains(err.Error(), secret) {
			t.Errorf("%s: %v: %v", connection, problem.KindOf(err), err)
		}
	}
}

// An archive of a newer program is left as it is.
func TestOpen_Newer(t *testing.T) {
	t.Parallel()
	connection := database(t)
	_ = opened(t, connection)
	do(t, connection, "INSERT INTO makebreak.migration (number) VALUES (99)")
	for _, open := range []func(context.Context, string) (*DB, error){Open, OpenRead} {
		if _, err := open(t.Context(), connection); !errors.Is(err, ErrNewer) {
			t.Errorf("%v", err)
		}
	}
}

// Two programs that make the archive at the same time make one; several rigs push at once.
func TestPush_AtOnce(t *testing.T) {
	t.Parallel()
	connection := database(t)
	const rigs = 3
	logs := make([]string, rigs)
	errs := make(chan error)
	for i := range rigs {
		log := newLog(t)
		fill(t, log, 6, 5)
		logs[i] = log.Path()
		for range 2 { // and each log by two programs
			go func() {
				db, err := Open(context.Background(), connection)
				if err == nil {
					_, err = (&Pusher{Log: log, Archive: db, part: 3}).Push(context.Background())
					_ = db.Close()
				}
				errs <- err
			}()
		}
	}
	for range 2 * rigs {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
	if n := number(t, connection, "SELECT count(*) FROM makebreak.runs"); n != 6*rigs {
		t.Errorf("%d runs", n)
	}
	if n := number(t, connection, "SELECT count(*) FROM makebreak.figures"); n != 6*rigs*figuresIn(5) {
		t.Errorf("%d figures", n)
	}
}
