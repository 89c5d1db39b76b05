// Package batch sums up what was shown of many units one after the other: which passed, at the
// first test or a later one, what the others failed for, and what it took. All of it comes from
// the log: a run belongs to a batch by a field, so that an interruption loses nothing, and a
// batch can be summed up at any time and wherever its runs are.
package batch

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"makebreak/analyze"
	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

// Field is the field of a run that says to which batch it belongs.
const Field = "batch"

// Of returns the batch that a run belongs to; empty: none.
func Of(fields []journal.Field) string {
	for _, f := range fields {
		if strings.EqualFold(f.Name, Field) {
			return f.Value
		}
	}
	return ""
}

// Test is one run of a unit in a batch.
type Test struct {
	Run       string
	Sequence  string
	Started   time.Time
	Lasted    time.Duration // 0: not known
	Verdict   analyze.Verdict
	Complete  bool
	Simulated bool
	Position  string // the unit's name in the rig file, of several; empty: there is one
	Together  string // the same in tests that were made at the same time; empty: it was made alone
	Cause     string // the likeliest of what is wrong; empty: nothing is, or it was not looked for
}

// Done reports whether a test says something of its unit: it came to its end, or the unit
// failed before, as where a run stops at the first failure.
func (t Test) Done() bool { return t.Complete || t.Verdict == analyze.Fail }

// Unit is one unit of a batch with its tests, the oldest first. One that is expected and not
// tested yet has none.
type Unit struct {
	Serial   string
	Expected bool // it is in the list of those expected, or there is no list
	Tests    []Test
}

// done are the tests that say something of the unit.
func (u *Unit) done() []Test {
	return slices.DeleteFunc(slices.Clone(u.Tests), func(t Test) bool { return !t.Done() })
}

// First is the verdict of the first test that was done; NoVerdict: there is none.
func (u *Unit) First() analyze.Verdict {
	if all := u.done(); len(all) > 0 {
		return all[0].Verdict
	}
	return analyze.NoVerdict
}

// Last is the verdict of the last such test; where there is none but a test that was cut off,
// Incomplete.
func (u *Unit) Last() analyze.Verdict {
	if all := u.done(); len(all) > 0 {
		return all[len(all)-1].Verdict
	}
	if len(u.Tests) > 0 {
		return analyze.Incomplete
	}
	return analyze.NoVerdict
}

// Retested reports whether it was tested again after a test that did not pass.
func (u *Unit) Retested() bool {
	all := u.done()
	return len(all) > 1 && all[0].Verdict != analyze.Pass
}

// Cause is what the unit failed for at first; empty: it did not.
func (u *Unit) Cause() string {
	for _, t := range u.done() {
		if t.Verdict == analyze.Fail {
			return t.Cause
		}
	}
	return ""
}

// Step is how long a step of a cycle took, with what a person did in it.
type Step struct {
	Event string
	Mean  time.Duration
}

// Summary is a batch as it stands.
type Summary struct {
	Name      string
	Sequences []string
	Units     []Unit // in the order in which they were tested first; then those expected
	Listed    bool   // there is a list of the units expected
	Steps     []Step // the slowest first; empty: not known
}

// Tested are the units with a test that was done.
func (s *Summary) Tested() (n int) {
	return s.count(func(u *Unit) bool { return u.First() != analyze.NoVerdict })
}

// With counts the units whose last verdict is this one.
func (s *Summary) With(v analyze.Verdict) int {
	return s.count(func(u *Unit) bool { return u.Last() == v && len(u.Tests) > 0 })
}

// FirstPass counts those that passed at the first test.
func (s *Summary) FirstPass() int {
	return s.count(func(u *Unit) bool { return u.First() == analyze.Pass })
}

// Retested counts those that were tested again after a test that did not pass.
func (s *Summary) Retested() int { return s.count((*Unit).Retested) }

// Missing are those expected that have no test that was done.
func (s *Summary) Missing() (serials []string) {
	for i := range s.Units {
		if u := &s.Units[i]; s.Listed && u.Expected && u.First() == analyze.NoVerdict {
			serials = append(serials, u.Serial)
		}
	}
	return serials
}

// Unexpected are those tested that are not in the list.
func (s *Summary) Unexpected() (serials []string) {
	for i := range s.Units {
		if u := &s.Units[i]; s.Listed && !u.Expected {
			serials = append(serials, u.Serial)
		}
	}
	return serials
}

func (s *Summary) count(is func(*Unit) bool) (n int) {
	for i := range s.Units {
		if is(&s.Units[i]) {
			n++
		}
	}
	return n
}

// Simulated reports whether any test was of the simulated bench.
func (s *Summary) Simulated() bool {
	return s.count(func(u *Unit) bool { return slices.ContainsFunc(u.Tests, func(t Test) bool { return t.Simulated }) }) > 0
}

// Yield is the share of the units tested that passed at the first test; false: none is tested.
func (s *Summary) Yield() (share float64, known bool) {
	if n := s.Tested(); n > 0 {
		return float64(s.FirstPass()) / float64(n), true
	}
	return 0, false
}

// Failure is what units failed for, with their number.
type Failure struct {
	Cause string
	Units int
}

// Failures are what units failed for at first, the most frequent first.
func (s *Summary) Failures() []Failure {
	n := map[string]int{}
	for i := range s.Units {
		if c := s.Units[i].Cause(); c != "" {
			n[c]++
		}
	}
	var all []Failure
	for _, c := range slices.Sorted(maps.Keys(n)) {
		all = append(all, Failure{c, n[c]})
	}
	slices.SortStableFunc(all, func(a, b Failure) int { return cmp.Compare(b.Units, a.Units) })
	return all
}

// Verdict is that of the batch: the gravest of its units' last ones; a unit that is missing
// leaves it undecided.
func (s *Summary) Verdict() analyze.Verdict {
	switch {
	case s.With(analyze.Fail) > 0:
		return analyze.Fail
	case s.Tested() == 0 || len(s.Missing()) > 0 || s.With(analyze.Pass) < s.count(func(u *Unit) bool { return len(u.Tests) > 0 }):
		return analyze.Undecided
	}
	return analyze.Pass
}

// Times are how long the tests took.
type Times struct {
	Test time.Duration // median of a test
	// Between is the median from the beginning of one unit's test to that of the next; 0: not known.
	// Of units that were tested at the same time each has its share of it.
	Between time.Duration
	Longest time.Duration
	Slowest string // the unit of the longest test
}

// Times of all tests that were done, lengths of those that came to their end.
func (s *Summary) Times() (t Times) {
	var lasted, between []time.Duration
	made := rounds{at: map[string]int{}}
	for i := range s.Units {
		for _, x := range s.Units[i].done() {
			made.add(x)
			if x.Lasted <= 0 {
				continue
			}
			lasted = append(lasted, x.Lasted)
			if x.Lasted > t.Longest {
				t.Longest, t.Slowest = x.Lasted, s.Units[i].Serial
			}
		}
	}
	slices.SortFunc(made.all, func(a, b round) int { return a.started.Compare(b.started) })
	for i := 1; i < len(made.all); i++ {
		before := made.all[i-1]
		for range before.units {
			between = append(between, made.all[i].started.Sub(before.started)/time.Duration(before.units))
		}
	}
	t.Test, t.Between = median(lasted), median(between)
	return t
}

// round is tests that were made at the same time, or one.
type round struct {
	started time.Time // of the first
	units   int
}

// rounds are the rounds that tests were made in.
type rounds struct {
	all []round
	at  map[string]int // by the tests' mark
}

func (r *rounds) add(t Test) {
	if i, there := r.at[t.Together]; there && t.Together != "" {
		x := &r.all[i]
		if x.units++; t.Started.Before(x.started) {
			x.started = t.Started
		}
		return
	}
	r.at[t.Together] = len(r.all)
	r.all = append(r.all, round{t.Started, 1})
}

func median(all []time.Duration) time.Duration {
	if len(all) == 0 {
		return 0
	}
	all = slices.Sorted(slices.Values(all))
	return (all[(len(all)-1)/2] + all[len(all)/2]) / 2
}

// Diagnose says what is wrong in a run, in a few words, and how long its steps took.
type Diagnose func(run *journal.RunRecord) (cause string, steps []Step, err error)

// Read sums up a batch from the log, with the serials expected, nil: there is no list of them.
// A batch of which there is no run is bad usage where there is no list either.
func Read(db *journal.DB, name string, expected []string, diagnose Diagnose) (*Summary, error) {
	runs, err := db.Runs()
	if err != nil {
		return nil, err
	}
	s := &Summary{Name: name, Listed: expected != nil}
	at, others := map[string]int{}, []string{}
	steps := steps{}
	for _, r := range slices.Backward(runs) {
		if of := Of(r.Fields); of != name {
			others = append(others, of)
			continue
		}
		if err := s.add(db, r, at, &steps, diagnose); err != nil {
			return nil, err
		}
	}
	for _, serial := range expected {
		s.unit(serial, at).Expected = true
	}
	if expected == nil {
		for i := range s.Units {
			s.Units[i].Expected = true
		}
	}
	if len(s.Units) == 0 {
		return nil, noBatch(name, others)
	}
	s.Steps = steps.means()
	return s, nil
}

// unit returns a unit, a new one where there is none of the serial.
func (s *Summary) unit(serial string, at map[string]int) *Unit {
	i, there := at[serial]
	if !there {
		i, at[serial] = len(s.Units), len(s.Units)
		s.Units = append(s.Units, Unit{Serial: serial})
	}
	return &s.Units[i]
}

func (s *Summary) add(db *journal.DB, r journal.RunSummary, at map[string]int, all *steps, diagnose Diagnose) error {
	t := Test{Run: r.Run, Sequence: r.Sequence, Started: r.Started, Verdict: r.Verdict, Complete: r.Complete, Simulated: r.Simulated,
		Position: journal.Noted(r.Fields, journal.PositionField), Together: journal.Noted(r.Fields, journal.TogetherField)}
	if !slices.Contains(s.Sequences, r.Sequence) {
		s.Sequences = append(s.Sequences, r.Sequence)
	}
	rec, err := db.Find(r.Run)
	if err != nil {
		return err
	}
	if r.Complete && !rec.Ended.IsZero() {
		t.Lasted = rec.Ended.Sub(rec.Started)
	}
	if diagnose != nil {
		var of []Step
		if t.Cause, of, err = diagnose(rec); err != nil {
			return err
		}
		all.add(of)
	}
	u := s.unit(r.Unit, at)
	u.Tests = append(u.Tests, t)
	return nil
}

// noBatch says that there is no such batch, and which there are.
func noBatch(name string, others []string) error {
	slices.Sort(others)
	others = slices.DeleteFunc(slices.Compact(others), func(s string) bool { return s == "" })
	text := fmt.Sprintf("the log holds no batch %q", words.Short(name, words.MostName))
	if len(others) > 0 {
		text += ": " + words.UseOneOf(name, others)
	}
	return problem.Of(problem.Usage, errors.New(text))
}

// steps add up how long each step took.
type steps struct {
	order []string
	sum   map[string]time.Duration
	n     map[string]int
}

func (all *steps) add(some []Step) {
	if all.sum == nil {
		all.sum, all.n = map[string]time.Duration{}, map[string]int{}
	}
	for _, s := range some {
		if all.n[s.Event] == 0 {
			all.order = append(all.order, s.Event)
		}
		all.sum[s.Event] += s.Mean
		all.n[s.Event]++
	}
}

// means are the mean times, the slowest first.
func (all *steps) means() []Step {
	var means []Step
	for _, e := range all.order {
		means = append(means, Step{e, all.sum[e] / time.Duration(all.n[e])})
	}
	slices.SortStableFunc(means, func(a, b Step) int { return cmp.Compare(b.Mean, a.Mean) })
	return means
}
