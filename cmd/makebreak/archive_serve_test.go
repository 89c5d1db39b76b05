package main

import (
	"context"
	"database/sql"
	"fmt"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"makebreak/sequences/archive"
	"makebreak/sequences/journal"
	"makebreak/sequences/site"
	"makebreak/testdata/postgres"
)

// answerOf is what a site answers.
func answerOf(s http.Handler, address string) (status int, said string) {
	w := httptest.NewRecorder()
	s.ServeHTTP(w, httptest.NewRequest("GET", "http://localhost"+address, nil))
	return w.Code, w.Body.String()
}

// servedArchive serves the archive of a log.
func servedArchive(t *testing.T, env []string, log string, failed func(string, ...any)) *site.Site {
	t.Helper()
	if out, err := archiveProgram(t, env, log, "archive", "push").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	db, err := archive.Serve(t.Context(), connectionOf(env))
	if err != nil {
		t.Fatal(err)
	}
	s, err := site.New(site.Opts{Archive: db, Program: "test", Failed: failed})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return s
}

// Each page says what it says of the rig's log.
func TestArchive_Served(t *testing.T) {
	t.Parallel()
	env, log := postgres.Database(t), multipliedLog(t, 5, 20)
	inOrder(t, log)
	there := servedArchive(t, env, log, t.Errorf)
	here, err := site.New(site.Opts{Log: log, Program: "test", Failed: t.Errorf})
	if err != nil {
		t.Fatal(err)
	}
	defer here.Close()
	db, err := journal.OpenRead(log)
	if err != nil {
		t.Fatal(err)
	}
	runs, err := db.Runs()
	_ = db.Close()
	if err != nil || len(runs) != 6 {
		t.Fatalf("%d runs: %v", len(runs), err)
	}
	first, last := "/runs/"+runs[len(runs)-1].Run, "/runs/"+runs[0].Run
	for _, address := range []string{"/", "/?unit=u-1", "/?verdict=fail", "/?field=job%3D1234", "/?sequence=relay-only&from=2020-01-01", "/units/U-1", "/units/RB-017",
		first, first + ".csv", first + ".json", last, "/runs/none", "/units/none", "/metrics", "/now", "/exercises"} {
		wanted, want := answerOf(here, address)
		status, got := answerOf(there, address)
		got = strings.NewReplacer("archive", "log", "Archive", "Log").Replace(archivePlace.ReplaceAllString(got, "LOG"))
		if d := cmp.Diff(ofLog.ReplaceAllString(strings.ReplaceAll(want, log, "LOG"), ""), got); status != wanted || d != "" {
			t.Errorf("%s: %d, of the log %d: %.3000s", address, status, wanted, d)
		}
	}
}

// inOrder has no two runs of a log begin at the same instant.
func inOrder(t *testing.T, log string) {
	t.Helper()
	db, err := sql.Open("sqlite", log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec("UPDATE run SET started = started + 60000000000 * id"); err != nil {
		t.Fatal(err)
	}
}

// ofLog are figures that only a log has: those of its disk.
var ofLog = regexp.MustCompile(`(?m)^(# (HELP|TYPE) )?makebreak_log_(size|free)_bytes.*\n`)

// While the archive is away each page says so, and once it is back each is as before; what goes
// wrong is told once.
func TestArchive_ServedAway(t *testing.T) {
	t.Parallel()
	env, log := postgres.Database(t), multipliedLog(t, 1, 10)
	var told []string
	s := servedArchive(t, env, log, func(format string, args ...any) { told = append(told, fmt.Sprintf(format, args...)) })
	conn := connected(t, slices.Concat(env, []string{"PGDATABASE=postgres"}))
	defer conn.Close(context.Background())
	name := regexp.MustCompile(`workshop\d+`).FindString(strings.Join(env, " "))
	do := func(statement string) {
		t.Helper()
		if _, err := conn.Exec(t.Context(), statement); err != nil {
			t.Fatal(err)
		}
	}
	cut := "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '" + name + "'"
	until := func(address string, wanted int) {
		t.Helper()
		for end := time.Now().Add(time.Minute); ; time.Sleep(100 * time.Millisecond) { // what is known is taken for true for some seconds
			status, said := answerOf(s, address)
			if status == wanted && (wanted == http.StatusOK || strings.Contains(said, "archive cannot be read now")) {
				return
			}
			if time.Now().After(end) {
				t.Fatalf("%s: %d, must be %d: %s", address, status, wanted, said)
			}
		}
	}
	until("/", http.StatusOK)
	do(cut)
	until("/units/RB-017", http.StatusOK) // it connects again
	if len(told) > 0 {
		t.Errorf("it was told %q", told)
	}
	do("ALTER DATABASE " + name + " ALLOW_CONNECTIONS false")
	do(cut)
	for _, address := range []string{"/", "/units/RB-017", "/runs/last"} {
		until(address, http.StatusServiceUnavailable)
	}
	if _, said := answerOf(s, "/metrics"); !strings.Contains(said, "makebreak_log_readable 0") {
		t.Errorf("/metrics says %.300s", said)
	}
	do("ALTER DATABASE " + name + " ALLOW_CONNECTIONS true")
	for _, address := range []string{"/runs/last", "/"} {
		until(address, http.StatusOK)
	}
	if len(told) != 2 || !strings.Contains(told[0], name) || !strings.Contains(told[1], "again") {
		t.Errorf("it was told %q", told)
	}
}
