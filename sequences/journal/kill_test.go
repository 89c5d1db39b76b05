package journal

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

// childLog names the log that this binary, started again by a test, writes until
// it is killed.
const childLog = "MAKEBREAK_TEST_CHILD_LOG"

func TestMain(m *testing.M) {
	if path := os.Getenv(childLog); path != "" {
		fmt.Fprintln(os.Stderr, writeUntilKilled(path))
		os.Exit(1)
	}
	os.Exit(m.Run())
}

// writeUntilKilled resumes the log's last run, or begins one, and prints the
// number of each cycle once it is stored.
func writeUntilKilled(path string) error {
	db, err := Open(path)
	if err != nil {
		return err
	}
	var run *Run
	n := 1
	if rec, err := db.Find("last"); err == nil {
		if run, err = db.Resume(rec.ID, time.Unix(1_900_000_000, 0), ""); err != nil {
			return err
		}
		spans, err := rec.Stored()
		if err != nil || len(spans) != 1 {
			return fmt.Errorf("stored %v: %w", spans, err)
		}
		n = spans[0].Last + 1
	} else if run, err = db.Begin(RunInfo{Started: time.Unix(0, 0)}); err != nil {
		return err
	}
	for ; ; n++ {
		if err := run.Append(exampleCycle(n)); err != nil {
			return err
		}
		fmt.Println(n)
	}
}

// A program killed in the middle of its work has lost no cycle that it reported,
// left no half of one, and its run can be resumed. (That a cycle is on the disk
// and not in the system's memory only is SQLite's synchronous=FULL, see
// TestOpen_Settings; a killed process cannot show it.)
func TestAppend_Killed(t *testing.T) {
	t.Parallel()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "log.db")
	for round := range 4 {
		child := exec.Command(self)
		child.Env = append(os.Environ(), childLog+"="+path)
		child.Stderr = os.Stderr
		out, err := child.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := child.Start(); err != nil {
			t.Fatal(err)
		}
		reported := 0
		lines := bufio.NewScanner(out)
		for i := 0; lines.Scan(); i++ {
			if reported, err = strconv.Atoi(lines.Text()); err != nil {
				t.Fatal(err)
			}
			if i == 5+7*round {
				if err := child.Process.Kill(); err != nil { // SIGKILL
					t.Fatal(err)
				}
			}
		}
		if err := child.Wait(); err == nil || child.ProcessState.ExitCode() != -1 {
			t.Fatalf("the child was not killed: %v", child.ProcessState)
		}
		db, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := db.Check(); err != nil {
			t.Error(err)
		}
		stored := len(readCycles(t, db))
		if stored < reported || stored > reported+1 {
			t.Errorf("round %d: %d cycles stored, %d reported", round, stored, reported)
		}
		checkStored(t, db, stored)
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	}
}
