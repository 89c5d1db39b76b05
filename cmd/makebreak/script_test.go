package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"makebreak/testdata/few"
)

// TestMain lets the test binary stand in for the program: started under its name,
// as the scripts and the tests of signals do, it is the program.
func TestMain(m *testing.M) {
	beginAtNoon()
	setClock()
	if os.Getenv("PGHOST") == "" { // no test reaches an archive that it has not made
		if err := os.Setenv("PGHOST", "/nowhere"); err != nil {
			panic(err)
		}
	}
	testscript.Main(m, standIns)
}

// standIns are the programs that the test binary is, by the name that it is started under.
var standIns = map[string]func(){"makebreak": mainOrCrash}

// zoneVariable hands the tests' time zone on to the programs that they start, in hours.
const zoneVariable = "MAKEBREAK_TEST_ZONE"

// beginAtNoon takes the time zone in which it is past noon for that of the tests: a run is
// named by its day and a count, and no midnight must come between two of a test's runs.
func beginAtNoon() {
	hours, err := strconv.Atoi(os.Getenv(zoneVariable))
	if err != nil {
		hours = 12 - time.Now().UTC().Hour()
		if err := os.Setenv(zoneVariable, strconv.Itoa(hours)); err != nil {
			panic(err)
		}
	}
	time.Local = time.FixedZone("noon", hours*3600)
}

// clockVariable sets the wall clock of the programs that scripts start, to a day as in
// 2026-03-31; empty: the system's.
const clockVariable = "MAKEBREAK_TEST_DAY"

// setClock sets the clock to noon of the day that the variable holds.
func setClock() {
	day, err := time.ParseInLocation(time.DateOnly, os.Getenv(clockVariable), time.Local)
	if err == nil {
		wallClock = func() time.Time { return day.Add(12 * time.Hour) }
	}
}

// sharing are scripts of commands that run a bench, or serve, beside what stores and shows.
var sharing = []string{"batch", "calibrate", "exercise", "log", "prompts", "rig-speed", "run", "runs-move", "serve", "severalrigs", "soak", "survey", "terminal", "units", "units-soak"}

// TestScripts runs the scripts in testdata/script: what a person types, and what
// must follow. Beside the commands of testscript they have
//
//	status N command...     the command must exit with the status N
//	samefigures A B         two CSV results hold the same but for run, time and person
//	roundtrips FILE         a CSV file comes back byte for byte from encoding/csv
//	columns FILE NAME...    a CSV file has these columns, in this order
//	fields FILE NAME...     a JSON object, or each of an array of some, has these fields
//	conforms FILE PART      a JSON file is as that part of the published schema says
//	cut FILE TEXT           deletes TEXT from a file, where it must stand
//
// With the race detector only those are run in which a bench, a log and who looks at them are at
// work at the same time.
func TestScripts(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "script", "*.txtar"))
	if err != nil || len(files) < 40 {
		t.Fatalf("%d scripts: %v", len(files), err)
	}
	if few.Race {
		files = slices.DeleteFunc(files, func(f string) bool {
			return !slices.Contains(sharing, strings.TrimSuffix(filepath.Base(f), ".txtar"))
		})
		if len(files) != len(sharing) {
			t.Fatalf("%v are not all there: %v", sharing, files)
		}
	}
	testscript.Run(t, testscript.Params{
		Files:               files,
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		UpdateScripts:       os.Getenv("MAKEBREAK_UPDATE") != "",
		Setup: func(e *testscript.Env) error {
			root, err := filepath.Abs(filepath.Join("..", ".."))
			e.Setenv("XDG_DATA_HOME", filepath.Join(e.WorkDir, "data"))
			e.Setenv("COLUMNS", "400") // so that a sentence stands on one line, to be looked for
			e.Setenv("TESTDATA", filepath.Join(root, "testdata"))
			e.Setenv("GORACE", "atexit_sleep_ms=0") // else each process waits a second
			e.Setenv(zoneVariable, os.Getenv(zoneVariable))
			return err
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"status":      scriptStatus,
			"samefigures": scriptSameFigures,
			"roundtrips":  scriptRoundTrips,
			"columns":     scriptColumns,
			"fields":      scriptFields,
			"conforms":    scriptConforms,
			"cut":         scriptCut,
		},
	})
}

func scriptStatus(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: status N command...")
	}
	err := ts.Exec(args[1], args[2:]...)
	got := 0
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		got = exit.ExitCode()
	} else {
		ts.Check(err)
	}
	if strconv.Itoa(got) != args[0] {
		ts.Fatalf("exit status %d, want %s", got, args[0])
	}
}

// readTable reads a CSV file, of which each row must have as many cells as the first.
func readTable(ts *testscript.TestScript, file string) [][]string {
	rows, err := csv.NewReader(strings.NewReader(ts.ReadFile(file))).ReadAll()
	ts.Check(err)
	if len(rows) < 2 {
		ts.Fatalf("%s holds no rows", file)
	}
	return rows
}

func scriptSameFigures(ts *testscript.TestScript, neg bool, args []string) {
	a, b := readTable(ts, args[0]), readTable(ts, args[1])
	same := len(a) == len(b)
	figures := func(row []string) string {
		row = slices.Clone(row)
		for _, name := range []string{"run", "cycle_started", "by", "run_id"} {
			row[slices.Index(a[0], name)] = ""
		}
		return strings.Join(row, "\n")
	}
	for i := 0; same && i < len(a); i++ {
		same = figures(a[i]) == figures(b[i])
		if !same && !neg {
			ts.Logf("row %d: %q and %q", i, a[i], b[i])
		}
	}
	if same == neg {
		ts.Fatalf("%s and %s hold the same figures: %t", args[0], args[1], same)
	}
}

func scriptRoundTrips(ts *testscript.TestScript, neg bool, args []string) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	ts.Check(w.WriteAll(readTable(ts, args[0])))
	if got := ts.ReadFile(args[0]); neg || got != b.String() {
		ts.Fatalf("%s does not come back as it was", args[0])
	}
}

func scriptColumns(ts *testscript.TestScript, neg bool, args []string) {
	if got := readTable(ts, args[0])[0]; neg || strings.Join(got, " ") != strings.Join(args[1:], " ") {
		ts.Fatalf("columns %q, want %q", got, args[1:])
	}
}

func scriptFields(ts *testscript.TestScript, neg bool, args []string) {
	text := strings.TrimSpace(ts.ReadFile(args[0]))
	if !strings.HasPrefix(text, "[") {
		text = "[" + text + "]"
	}
	var all []map[string]json.RawMessage
	ts.Check(json.Unmarshal([]byte(text), &all))
	if neg || len(all) == 0 {
		ts.Fatalf("%s holds no object", args[0])
	}
	for _, object := range all {
		for _, name := range args[1:] {
			if _, ok := object[name]; !ok {
				ts.Fatalf("an object lacks %q: %v", name, object)
			}
		}
		if len(object) != len(args)-1 {
			ts.Fatalf("an object has %d fields, want %d: %v", len(object), len(args)-1, object)
		}
	}
}

func scriptConforms(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: conforms FILE PART")
	}
	if err := conforms(ts.ReadFile(args[0]), args[1]); err != nil {
		ts.Fatalf("%s: %v", args[0], err)
	}
}

func scriptCut(ts *testscript.TestScript, neg bool, args []string) {
	text := ts.ReadFile(args[0])
	if neg || !strings.Contains(text, args[1]) {
		ts.Fatalf("%s does not hold %q", args[0], args[1])
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(strings.ReplaceAll(text, args[1], "")), 0o644))
}
