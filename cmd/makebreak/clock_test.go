package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
	_ "time/tzdata" // the changes of daylight saving time are the same everywhere

	"makebreak/sequences/journal"
	"makebreak/sequences/journal/upkeep"
)

// jumpingClock is a wall clock that nobody can trust: it goes on by some time from one look
// to the next, stands still, goes back, or jumps to another century.
type jumpingClock struct {
	mu    sync.Mutex
	rng   *rand.Rand
	now   time.Time
	jumps int
}

// clockInstants are where the clock jumps to: before 1970 and at it, around the ends of 31 and
// 32 bits of seconds, leap days, and both changes of daylight saving time.
func clockInstants(t *testing.T) []time.Time {
	t.Helper()
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	lordHowe, err := time.LoadLocation("Australia/Lord_Howe") // by half an hour
	if err != nil {
		t.Fatal(err)
	}
	return []time.Time{
		time.Date(1868, 2, 29, 23, 59, 59, 0, time.UTC), time.Unix(-1, 999_999_999), time.Unix(0, 0), time.Unix(1, 0),
		time.Date(1999, 12, 31, 23, 59, 59, 0, berlin), time.Date(2026, 3, 29, 1, 59, 59, 900e6, berlin),
		time.Date(2026, 10, 25, 2, 59, 59, 900e6, berlin), time.Date(2026, 10, 25, 1, 59, 59, 0, berlin),
		time.Date(2027, 4, 4, 1, 59, 59, 0, lordHowe), time.Date(2028, 2, 29, 12, 0, 0, 0, berlin),
		time.Unix(1<<31-1, 0), time.Unix(1<<31, 0), time.Date(2037, 12, 31, 23, 59, 59, 0, lordHowe),
		time.Date(2100, 2, 28, 23, 59, 59, 0, time.UTC), time.Unix(1<<32-1, 0), time.Date(2160, 6, 1, 0, 0, 0, 0, berlin),
	}
}

func (c *jumpingClock) look(instants []time.Time) time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	switch c.rng.IntN(6) {
	case 0:
		c.now = instants[c.rng.IntN(len(instants))]
		c.jumps++
	case 1: // stands still
	case 2:
		c.now = c.now.Add(-time.Duration(c.rng.Int64N(int64(40 * time.Hour))))
		c.jumps++
	default:
		c.now = c.now.Add(time.Duration(c.rng.Int64N(int64(2 * time.Second))))
	}
	return c.now
}

// drawsOf is how many cases a test draws, and from which seed: few, always the same, or as many
// new ones as MAKEBREAK_DRAWS asks for.
func drawsOf(t *testing.T, few int) (draws int, seed uint64) {
	t.Helper()
	many := os.Getenv("MAKEBREAK_DRAWS")
	if many == "" {
		return few, 7
	}
	n, err := strconv.Atoi(many)
	if err != nil {
		t.Fatal(err)
	}
	seed = uint64(time.Now().UnixNano())
	t.Logf("%d draws of the seed %d", n, seed)
	return n, seed
}

// setWallClock sets the program's wall clock for a test, which must not run beside others.
func setWallClock(t *testing.T, now func() time.Time) {
	t.Helper()
	was := wallClock
	wallClock = now
	t.Cleanup(func() { wallClock = was })
}

// Runs, soaks that are interrupted and resumed, and a rig that is lost and comes back: with a
// wall clock that jumps to and fro all cycles are in the log, no name comes twice, everything
// can be listed and reported, and prune removes what its rule says.
func TestClock_Jumps(t *testing.T) {
	few := 2
	if testing.Short() {
		few = 1
	}
	draws, seed := drawsOf(t, few)
	instants := clockInstants(t)
	for n := range draws {
		rng := rand.New(rand.NewPCG(seed, uint64(n)))
		clock := &jumpingClock{rng: rng, now: instants[n%len(instants)]}
		setWallClock(t, func() time.Time { return clock.look(instants) })
		log := filepath.Join(t.TempDir(), "log.db")
		planned := runsUnderClock(t, log, rng)
		if clock.jumps < 20 {
			t.Errorf("draw %d of %d: only %d jumps", n, seed, clock.jumps)
		}
		listedUnderClock(t, log, planned)
		prunedUnderClock(t, log, instants[rng.IntN(len(instants))])
	}
}

// runsUnderClock does some runs and soaks, and returns how many cycles each has.
func runsUnderClock(t *testing.T, log string, rng *rand.Rand) (planned []int) {
	t.Helper()
	for range 3 {
		cycles := 1 + rng.IntN(5)
		if status, _, errs := run(t, "--log", log, "run", "relay-only", "--seed", "1", "--cycles", strconv.Itoa(cycles)); status != exitPass {
			t.Fatalf("run: exit status %d: %s", status, errs)
		}
		planned = append(planned, cycles)
	}
	const cycles = 250
	for sitting, stop := range []string{fmt.Sprintf("cycle %d: ", 5+rng.IntN(10)), "cycle ", "never"} {
		ctx, cancel := context.WithCancel(t.Context())
		stops := &stopAt{line: stop, stop: cancel}
		status := execute(ctx, []string{"--log", log, "soak", "relay-only", "--go-on", "--unit", "RB-017", "--seed", "1", "--cycles", strconv.Itoa(cycles), "--tell-every", "1", "--keep-first", "1"},
			streams{strings.NewReader(""), &strings.Builder{}, stops})
		cancel()
		if want := map[bool]int{true: exitPass, false: exitInterrupted}[stop == "never"]; status != want {
			t.Fatalf("sitting %d: exit status %d, want %d: %s", sitting, status, want, stops.text.String())
		}
	}
	planned = append(planned, cycles)
	args := []string{"--log", log, "soak", "relay-only", "--unit", "RB-018", "--seed", "2", "--cycles", "12"}
	if status, _, errs := run(t, append(args, "--fault", "adc-lost=2 s")...); status != exitRig {
		t.Fatalf("a rig that is lost: exit status %d: %s", status, errs)
	}
	if status, _, errs := run(t, "--log", log, "soak", "--resume", "last", "--wait-for-rig", "20s"); status != exitPass {
		t.Fatalf("a rig that comes back: exit status %d: %s", status, errs)
	}
	return append(planned, 12)
}

// listedUnderClock checks that the log holds all cycles of each run, and that it can be listed
// and reported.
func listedUnderClock(t *testing.T, log string, planned []int) {
	t.Helper()
	status, out, errs := run(t, "--log", log, "runs", "--as", "json")
	var runs []journal.RunSummary
	if err := json.Unmarshal([]byte(out), &runs); err != nil || status != exitPass || len(runs) != len(planned) {
		t.Fatalf("%d runs are listed, exit status %d, %v: %s", len(runs), status, err, errs)
	}
	seen := map[string]bool{}
	for i, r := range runs { // the newest first, whatever its date
		if want := planned[len(planned)-1-i]; r.Cycles < want || !r.Complete || seen[r.Run] || r.Started.IsZero() {
			t.Errorf("run %d: %+v, want %d cycles", i, r, want)
		}
		seen[r.Run] = true
		for _, as := range []string{"text", "csv", "json", "html"} {
			if status, _, errs := run(t, "--log", log, "report", r.Run, "--as", as); status != exitPass {
				t.Errorf("report of %s as %s: exit status %d: %s", r.Run, as, status, errs)
			}
		}
	}
	if status, out, errs := run(t, "--log", log, "runs", "check"); status != exitPass {
		t.Errorf("check: exit status %d: %s\n%s", status, errs, out)
	}
}

// prunedUnderClock prunes the log at an instant: first what is old then, and then all.
func prunedUnderClock(t *testing.T, log string, now time.Time) {
	t.Helper()
	setWallClock(t, func() time.Time { return now })
	left := func() (names []string) {
		db, err := journal.OpenRead(log)
		if err != nil {
			t.Fatal(err)
		}
		defer db.Close()
		all, err := db.Holdings()
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range all {
			if now.Sub(h.Touched) < 90*24*time.Hour {
				names = append(names, h.Run)
			}
		}
		return names
	}
	young := left()
	if status, out, errs := run(t, "--log", log, "runs", "prune", "--older-than", "90d", "--whole-runs", "--yes"); status != exitPass {
		t.Errorf("prune at %v: exit status %d: %s\n%s", now, status, errs, out)
	}
	if after := left(); !slices.Equal(after, young) {
		t.Errorf("at %v %q are left, want %q", now, after, young)
	}
	status, out, errs := run(t, "--log", log, "runs", "prune", "--older-than", "0d", "--whole-runs", "--yes")
	if status != exitPass || len(young) > 0 && !strings.Contains(errs, "Removed: ") || len(left()) > 0 {
		t.Errorf("prune of all at %v: exit status %d, %q are left: %s\n%s", now, status, left(), errs, out)
	}
}

// A clock beyond what the log can hold ends a run with 74 and a clear message. What was
// stored before stays, and can be listed, gone on with and removed.
func TestClock_OutOfRange(t *testing.T) {
	start := time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)
	for _, wrong := range []time.Time{time.Date(1600, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2312, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(9980, 1, 1, 0, 0, 0, 0, time.UTC)} {
		log := filepath.Join(t.TempDir(), "log.db")
		looks := 0
		setWallClock(t, func() time.Time {
			if looks++; looks > 40 {
				return wrong
			}
			return start
		})
		soak := []string{"--log", log, "soak", "relay-only", "--seed", "1", "--unit", "RB-017", "--cycles", "200", "--go-on"}
		for range 3 {
			if status, _, errs := run(t, soak...); status != exitLog || !strings.Contains(errs, "cannot be stored") {
				t.Errorf("%v: exit status %d: %s", wrong, status, errs)
			}
		}
		if r := only(t, log); r.Complete || r.Cycles == 0 {
			t.Errorf("%v: the log has %d cycles, complete %t", wrong, r.Cycles, r.Complete)
		}
		setWallClock(t, func() time.Time { return start })
		if status, _, errs := run(t, soak...); status != exitPass {
			t.Errorf("with the clock put right: exit status %d: %s", status, errs)
		}
		if r := only(t, log); !r.Complete || r.Cycles != 200 {
			t.Errorf("%v: the log has %d cycles, complete %t", wrong, r.Cycles, r.Complete)
		}
		if status, _, errs := run(t, "--log", log, "runs", "prune", "--older-than", "0d", "--whole-runs", "--yes"); status != exitPass || !strings.Contains(errs, "Removed: 1 run") {
			t.Errorf("prune: exit status %d: %s", status, errs)
		}
	}
}

// An age that is longer than any the clock can tell is no reason to remove what is dated
// after the clock's time.
func TestClock_PruneBeforeAll(t *testing.T) {
	log := filepath.Join(t.TempDir(), "log.db")
	setWallClock(t, func() time.Time { return time.Date(2260, 1, 1, 0, 0, 0, 0, time.UTC) })
	if status, _, errs := run(t, "--log", log, "run", "relay-only", "--seed", "1"); status != exitPass {
		t.Fatalf("exit status %d: %s", status, errs)
	}
	setWallClock(t, func() time.Time { return time.Date(1680, 1, 1, 0, 0, 0, 0, time.UTC) })
	age := strconv.Itoa(int(upkeep.OldestAge/time.Hour)) + "h"
	status, out, errs := run(t, "--log", log, "runs", "prune", "--older-than", age, "--whole-runs", "--yes")
	if status != exitPass || !strings.Contains(errs, "dated in the future") || !strings.Contains(errs, "Nothing was removed") {
		t.Errorf("exit status %d: %s\n%s", status, errs, out)
	}
	if only(t, log).Cycles == 0 {
		t.Error("the run has gone")
	}
}
