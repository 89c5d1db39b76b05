package runner_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
)

// twoPanels is a rig with two panels, and its units.
func twoPanels(t *testing.T) (*wiring.Rig, []*wiring.Unit) {
	t.Helper()
	return rigOf(t, "two-panels")
}

func rigOf(t *testing.T, name string) (*wiring.Rig, []*wiring.Unit) {
	t.Helper()
	rig, err := rigfile.Load(t.Context(), "../../testdata/rigs/"+name+".yaml")
	if err != nil {
		t.Fatal(err)
	}
	var units []*wiring.Unit
	for i := range rig.Units {
		units = append(units, &rig.Units[i])
	}
	return rig, units
}

func load(t *testing.T, name string) *sequences.Sequence {
	t.Helper()
	seq, err := sequences.Load(t.Context(), name)
	if err != nil {
		t.Fatal(err)
	}
	return seq
}

// shelves store the cycles of several units, all of a call or none.
type shelves struct {
	of   []shelf
	fail error
	left int // calls until it fails; 0: it does not
}

func (s *shelves) store(cycles [][]*journal.Cycle) error {
	if s.left > 0 {
		if s.left--; s.left == 0 {
			return s.fail
		}
	}
	for i := range cycles {
		s.of[i].cycles = append(s.of[i].cycles, cycles[i]...)
	}
	return nil
}

// together runs a sequence on the units of a simulated rig, with faults.
func together(t *testing.T, ctx context.Context, rig *wiring.Rig, units []*wiring.Unit, seq *sequences.Sequence, faults []string, change func(*runner.Together, *shelves)) ([]runner.Ended, *shelves) {
	t.Helper()
	s := setup.Simulation{Seed: 1}
	if err := s.Plant(faults); err != nil {
		t.Fatal(err)
	}
	b, err := setup.OpenTogether(rig, units, seq, s, bench.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	return runOn(ctx, b, rig, units, seq, change)
}

func runOn(ctx context.Context, b *bench.Bench, rig *wiring.Rig, units []*wiring.Unit, seq *sequences.Sequence, change func(*runner.Together, *shelves)) ([]runner.Ended, *shelves) {
	kept := &shelves{of: make([]shelf, len(units))}
	r := runner.Together{Rig: rig, Sequence: seq, Store: kept.store}
	for range units {
		r.Parts = append(r.Parts, runner.Part{Opts: opts(3, &shelf{})})
	}
	for i, u := range units {
		r.Parts[i].Unit = u
	}
	if change != nil {
		change(&r, kept)
	}
	return runner.RunTogether(ctx, b, r), kept
}

// Each unit's figures are those that its part of the capture gives by itself, and those that the
// unit gives alone, within their uncertainties.
func TestRunTogether_AsAlone(t *testing.T) {
	rig, units := twoPanels(t)
	seq := load(t, "armed-high")
	measured := map[string]int{}
	ended, kept := together(t, t.Context(), rig, units, seq, nil, func(r *runner.Together, _ *shelves) {
		for i := range r.Parts {
			name := units[i].Name
			r.Parts[i].Opts.OnCapture = func(c *journal.Cycle, part *capture.Capture) {
				again, err := diagnose.Examine(&seq.Plan, part)
				if err != nil {
					t.Fatal(err)
				}
				if c.N == 1 && len(again.Measurements) != len(c.Measurements) {
					t.Errorf("%s: %d figures, %d by itself", name, len(c.Measurements), len(again.Measurements))
				}
				for k, m := range again.Measurements {
					if c.N > 1 {
						break // the cycles before are not in this one's capture
					}
					measured[name]++
					if x := c.Measurements[k]; x.Signal != m.Signal || x.Quantity != m.Quantity || x.Verdict != m.Verdict || x.Value != m.Value && !(math.IsNaN(x.Value) && math.IsNaN(m.Value)) {
						t.Errorf("%s: %s %s at %s is %g, by itself %g", name, x.Signal, x.Quantity, x.Event, x.Value, m.Value)
					}
				}
				for _, e := range part.Events {
					if strings.Contains(e.Name, "/") || e.Timed != "reference" {
						t.Errorf("%s: event %+v", name, e)
					}
				}
			}
		}
	})
	for i, u := range units {
		if ended[i].Err != nil || ended[i].Gravest != analyze.Pass || ended[i].Cycles != 3 || measured[u.Name] < 50 {
			t.Errorf("%s: %+v, %d figures compared", u.Name, ended[i], measured[u.Name])
		}
		view := rig.For(u)
		o := setup.Unit(view, seq)
		o.Seed = 1
		alone := &shelf{after: 1000}
		b := simulatedBench(t, view, o)
		if _, err := runner.Run(t.Context(), b, seq, opts(3, alone)); err != nil {
			t.Fatal(err)
		}
		compareFigures(t, u.Name, kept.of[i].cycles, alone.cycles)
	}
}

// compareFigures compares the outputs' figures of two runs: each bench is drawn anew, so they differ
// by what units differ in.
func compareFigures(t *testing.T, unit string, a, b []*journal.Cycle) {
	t.Helper()
	figures := func(all []*journal.Cycle) map[string]analyze.Verdict {
		of := map[string]analyze.Verdict{}
		for _, c := range all {
			for _, m := range c.Measurements {
				if strings.HasPrefix(m.Signal, "OUT") {
					of[fmt.Sprint(c.N, m.Event, m.Signal, m.Quantity)] = m.Verdict
				}
			}
		}
		return of
	}
	if d := cmp.Diff(figures(b), figures(a)); d != "" {
		t.Errorf("%s, alone and together: %s", unit, d)
	}
}

// What happens to all units after one of them was lost is none of that one's.
func TestRunTogether_LostBetween(t *testing.T) {
	rig, units := twoPanels(t)
	events := map[string]int{}
	ended, _ := together(t, t.Context(), rig, units, load(t, "all-quiet"), []string{"adc-lost=4s@left/OUT2"}, func(r *runner.Together, _ *shelves) {
		for i := range r.Parts {
			r.Parts[i].Opts.OnCapture = func(c *journal.Cycle, part *capture.Capture) {
				if c.N == 1 {
					for _, e := range part.Events {
						events[units[i].Name+" "+e.Name]++
					}
				}
			}
		}
	})
	if !errors.Is(ended[0].Err, bench.ErrLost) || ended[1].Err != nil {
		t.Fatalf("ended: %+v", ended)
	}
	if events["left arm-away"] != 1 || events["left chime"] != 0 || events["right chime"] != 1 {
		t.Errorf("events: %v", events)
	}
}

// What is seen of the computer is stored with each unit's run, also when the unit whose store gives
// it has ended.
func TestAppendAll_Machine(t *testing.T) {
	db, err := journal.Open(filepath.Join(t.TempDir(), "log.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var stores []*runner.Store
	for range 3 {
		run, err := db.Begin(journal.RunInfo{Sequence: "s", Rig: "r", Started: time.Now(), Planned: 2})
		if err != nil {
			t.Fatal(err)
		}
		stores = append(stores, &runner.Store{Run: run})
	}
	low := 1.0
	stores[0].Machine = func() []capture.MachineFact {
		low = 1 - low
		return []capture.MachineFact{{Fact: capture.UnderVoltage, Number: low, At: time.Now()}}
	}
	cycle := func(n int) []*journal.Cycle {
		return []*journal.Cycle{{N: n, Started: time.Now(), Complete: true, Verdict: analyze.Pass}}
	}
	for n, cycles := range [][][]*journal.Cycle{{cycle(1), cycle(1), cycle(1)}, {nil, cycle(2), cycle(2)}} {
		if err := runner.AppendAll(stores, cycles); err != nil {
			t.Fatalf("%d: %v", n, err)
		}
	}
	for i, want := range []int{1, 2, 2} {
		rec, err := db.Find(stores[i].Run.ID())
		if err != nil {
			t.Fatal(err)
		}
		if facts, err := rec.Machine(); err != nil || len(facts) != want {
			t.Errorf("run %d: %v, %v; want %d facts", i, facts, err, want)
		}
	}
}

// The units are told at nearly the same time.
func TestRunTogether_Apart(t *testing.T) {
	rig, units := rigOf(t, "sixteen-relays")
	at := map[string][]capture.Instant{}
	_, _ = together(t, t.Context(), rig, units, load(t, "relay-only"), nil, func(r *runner.Together, _ *shelves) {
		for i := range r.Parts {
			r.Parts[i].Opts.OnCapture = func(c *journal.Cycle, part *capture.Capture) {
				for _, e := range part.Events {
					key := fmt.Sprint(c.N, e.Name)
					at[key] = append(at[key], e.At)
				}
			}
		}
	})
	if len(at) != 6 {
		t.Fatalf("events: %v", at)
	}
	for key, all := range at {
		if len(all) != 16 {
			t.Errorf("%s: %d units", key, len(all))
		}
		for _, x := range all {
			if d := x.Sub(all[0]); d < 0 || d > 5*time.Millisecond {
				t.Errorf("%s: %v after the first", key, d)
			}
		}
	}
}

// A unit that fails, whose converter no longer answers or whose reference is unplugged ends by
// itself; the other goes on to its end.
func TestRunTogether_EndsAlone(t *testing.T) {
	seq := load(t, "armed-high")
	for _, c := range []struct {
		name, fault string
		err         error
		cycles      int // of the right one, whole
		stored      int
	}{
		{"stopped", "welded@right/K1", runner.ErrStopped, 1, 1},
		{"converter lost", "adc-lost=20 s@right/OUT3", bench.ErrLost, 1, 2},
		{"lost at the start", "adc-lost=1 s@right/OUT3", bench.ErrLost, 0, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			rig, units := twoPanels(t)
			var told [2][]error
			ended, kept := together(t, t.Context(), rig, units, seq, []string{c.fault}, func(r *runner.Together, s *shelves) {
				for i := range r.Parts {
					r.Parts[i].Opts.StopOnFail = true
					r.Parts[i].OnEnd = func(err error) {
						if told[i] = append(told[i], err); i == 1 && len(s.of[1].cycles) != c.stored {
							t.Errorf("right: told of its end with %d cycles stored", len(s.of[1].cycles))
						}
					}
				}
			})
			if len(told[0]) != 1 || told[0][0] != nil || len(told[1]) != 1 || !errors.Is(told[1][0], c.err) {
				t.Errorf("told of the ends: %v", told)
			}
			if e := ended[0]; e.Err != nil || e.Cycles != 3 || e.Gravest != analyze.Pass {
				t.Errorf("left: %+v", e)
			}
			if e := ended[1]; !errors.Is(e.Err, c.err) || e.Cycles != c.cycles || len(kept.of[1].cycles) != c.stored {
				t.Errorf("right: %+v, %d cycles stored", e, len(kept.of[1].cycles))
			}
		})
	}
}

// A reference that does not report ends its unit's part, as where the unit is unplugged.
func TestRunTogether_Unreported(t *testing.T) {
	src, err := os.ReadFile("../../testdata/rigs/two-panels.yaml")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(string(src), "\nreferences:", "\nreferences:\n  DEAD: {chip: gpiochip0, line: 26}", 1)
	rig, err := rigfile.Parse("dead.yaml", []byte(strings.Replace(text, "[CHIME]", "[CHIME, DEAD]", 1)))
	if err != nil {
		t.Fatal(err)
	}
	units := []*wiring.Unit{&rig.Units[0], &rig.Units[1]}
	seq := load(t, "armed-high")
	w, set := simulated(t, rig, sim.Opts{Seed: 1})
	dead := *rig
	dead.Causes = slices.Clone(rig.Causes)
	for i := range dead.Causes {
		if k := &dead.Causes[i]; k.Unit == "right" && k.Reference != "" {
			k.Reference = "DEAD"
		}
	}
	b, err := bench.Open(&dead, w.Bus(), set, bench.Opts{Mode: wiring.Sweep})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	ended, kept := runOn(t.Context(), b, &dead, units, seq, func(r *runner.Together, _ *shelves) {})
	if ended[0].Err != nil || ended[0].Cycles != 3 {
		t.Errorf("left: %+v", ended[0])
	}
	if !errors.Is(ended[1].Err, bench.ErrLost) || !strings.Contains(ended[1].Err.Error(), "check its wire") || len(kept.of[1].cycles) != 1 || kept.of[1].cycles[0].Complete {
		t.Errorf("right: %+v", ended[1])
	}
}

// Units whose parts have different numbers of cycles end when theirs are done.
func TestRunTogether_Uneven(t *testing.T) {
	rig, units := twoPanels(t)
	ended, kept := together(t, t.Context(), rig, units, load(t, "armed-high"), nil, func(r *runner.Together, _ *shelves) {
		r.Parts[0].Opts.First, r.Parts[0].Opts.Last = 7, 8
		r.Parts[1].Opts.First, r.Parts[1].Opts.Last = 2, 5
	})
	var numbers [2][]int
	for i := range kept.of {
		for _, c := range kept.of[i].cycles {
			numbers[i] = append(numbers[i], c.N)
		}
	}
	if d := cmp.Diff([2][]int{{7, 8}, {2, 3, 4, 5}}, numbers); d != "" || ended[0].Err != nil || ended[1].Err != nil {
		t.Errorf("%s, %+v", d, ended)
	}
}

// A cancellation, a log that is full and a program at fault end all parts, with what was captured.
func TestRunTogether_EndsAll(t *testing.T) {
	seq := load(t, "armed-high")
	full := errors.New("no room")
	for _, c := range []struct {
		name   string
		change func(cancel func(), r *runner.Together, s *shelves)
		err    error
		stored int
	}{
		{"cancelled", func(cancel func(), r *runner.Together, _ *shelves) {
			r.Parts[1].Opts.OnEvent = func(cycle int, event string) {
				if cycle == 2 && event == "disarm" {
					cancel()
				}
			}
		}, context.Canceled, 2},
		{"full", func(_ func(), _ *runner.Together, s *shelves) { s.fail, s.left = full, 1 }, full, 0},
		{"at fault", func(_ func(), r *runner.Together, _ *shelves) {
			r.Parts[1].Opts.OnCapture = func(*journal.Cycle, *capture.Capture) { panic("planted") }
		}, runner.ErrInternal, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			rig, units := twoPanels(t)
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			ended, kept := together(t, ctx, rig, units, seq, nil, func(r *runner.Together, s *shelves) { c.change(cancel, r, s) })
			for i, e := range ended {
				if !errors.Is(e.Err, c.err) || len(kept.of[i].cycles) != c.stored {
					t.Errorf("%s: %+v, %d cycles stored", units[i].Name, e, len(kept.of[i].cycles))
				}
				if n := len(kept.of[i].cycles); n > 0 && kept.of[i].cycles[n-1].Complete {
					t.Errorf("%s: the cycle under way is complete", units[i].Name)
				}
			}
		})
	}
}

// An event by a shared drive happens once, for all units.
func TestRunTogether_Shared(t *testing.T) {
	rig, units := twoPanels(t)
	seq, err := sequences.Parse("chime.yaml", []byte("name: chime\ncycles: 2\nsteps: [{event: chime, hold: 1 s}, {event: disarm, hold: 1 s}]\noutputs: {OUT5: {expect: {chime: high, disarm: low}}}\n"))
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]map[capture.Instant]bool{}
	ended, _ := together(t, t.Context(), rig, units, seq, nil, func(r *runner.Together, _ *shelves) {
		for i := range r.Parts {
			r.Parts[i].Opts.OnCapture = func(_ *journal.Cycle, part *capture.Capture) {
				for _, e := range part.Events {
					if at[e.Name] == nil {
						at[e.Name] = map[capture.Instant]bool{}
					}
					at[e.Name][e.At] = true
				}
			}
		}
	})
	if len(at["chime"]) != 3 || len(at["disarm"]) != 6 {
		t.Errorf("events: %v", at)
	}
	for i, e := range ended {
		if e.Err != nil || e.Cycles != 3 || e.Gravest != analyze.Pass {
			t.Errorf("%s: %+v", units[i].Name, e)
		}
	}
}
