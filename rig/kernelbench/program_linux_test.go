package kernelbench_test

import (
	"encoding/json"
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
	"makebreak/rig/kernelbench"
	"makebreak/sequences/journal"
)

// followRate is how many conversions a second the followed converter makes.
const followRate = 860

// slack is how far a time of the program may lie from the panel's own notes beyond the
// stated uncertainty: the panel reads the clock before and after it writes a pin, which
// takes it 0.1 ms, and the guest's processor may be taken away from it in between.
const slack = time.Millisecond

// result is what makebreak run --as json gives.
type result struct {
	Verdict      string
	Measurements []measurement
}

type measurement struct {
	Cycle                            int
	Event, Signal, Quantity, Verdict string
}

// rows are the measurements apart from their figures.
func (r *result) rows() []string {
	var all []string
	for _, m := range r.Measurements {
		all = append(all, fmt.Sprintf("cycle %d, %s: %s %s %s", m.Cycle, m.Event, m.Signal, m.Quantity, m.Verdict))
	}
	slices.Sort(all)
	return all
}

// runAs runs the sequence on a rig's file and returns its results.
func (s *site) runAs(rig string, more ...string) *result {
	s.t.Helper()
	r := s.start(nil, append([]string{"run", s.sequence, "--rig", rig, "--yes", "--as", "json"}, more...)...)
	status := r.wait()
	var res result
	if err := json.Unmarshal(r.out.Bytes(), &res); err != nil {
		s.t.Fatalf("exit %d, %v\n%s%s", status, err, r.out.String(), r.err.String())
	}
	if status != 0 || res.Verdict != "pass" {
		s.t.Errorf("exit %d, verdict %s\n%s%s", status, res.Verdict, r.out.String(), r.err.String())
	}
	return &res
}

// The program arms and disarms the panel over the kernel's own interfaces, and what
// it measures is what the panel did. The same file on the simulated bench gives the
// same rows with the same verdicts.
func TestKernel_Program(t *testing.T) {
	s := newSite(t, followRate, "100 ms", "600 ms")
	panel := s.startPanel()
	kernel := s.runAs(s.rig)
	bench := s.runAs(s.writeRig("simulated.yaml", "simulated"), "--seed", "7")
	if k, b := kernel.rows(), bench.rows(); !slices.Equal(k, b) {
		t.Errorf("rows on the kernel's interface:\n%s\nrows on the simulated bench:\n%s", strings.Join(k, "\n"), strings.Join(b, "\n"))
	}
	rec := s.logged()
	s.compareLevels(rec.Measurements())
	s.compareTimes(rec.Measurements(), panel)
	s.compareClocks(s.capture(rec, 3), panel)
	t.Logf("counts of the run: %+v", rec.Counts)
	s.fewMissed(rec.Counts)
}

// fewMissed holds the acquisition's troubles to none, but for the few conversions that a
// short run may miss. The ready edges are stamped on time, so nothing may be taken for
// doubled.
func (s *site) fewMissed(n capture.Counts) {
	s.t.Helper()
	missed := n.MissedConversions
	n.MissedConversions = 0
	if missed > mostMissed || n != (capture.Counts{}) {
		s.t.Errorf("%d conversions missed, at most %d are to be expected; else %+v, want nothing", missed, mostMissed, n)
	}
}

// figures are the measurements of a run in the log, which holds all their digits.
type figures = iter.Seq2[analyze.Measurement, error]

func name(m *analyze.Measurement) string {
	return fmt.Sprintf("cycle %d, %s: %s %s", m.Cycle, m.Event, m.Signal, m.Quantity)
}

// compareLevels holds the levels against the voltages that stood at the pins. The
// divider's tolerance does not come in, since the pins are what is set: one step of
// the converter at the terminal is allowed, 125 µV × 4.9 (SBAS444).
func (s *site) compareLevels(all figures) {
	s.t.Helper()
	const step = 125e-6 * 4.9
	levels := map[string]float64{"arm-away OUT1 high_level": onVolts, "disarm OUT1 low_level": offVolts, " OUT1 low_level": offVolts}
	compared, worst := 0, 0.0
	for m, err := range all {
		if err != nil {
			s.t.Fatal(err)
		}
		pin, ok := levels[fmt.Sprintf("%s %s %s", m.Event, m.Signal, m.Quantity)]
		if !ok {
			continue
		}
		compared++
		want := s.terminal(m.Signal, pin)
		off := math.Abs(m.Value - want)
		worst = max(worst, off)
		if !(off <= step && off <= m.Expanded) {
			s.t.Errorf("%s: %.5f V ± %.3f V, at the terminal were %.5f V", name(&m), m.Value, m.Expanded, want)
		}
	}
	if compared != 7 {
		s.t.Errorf("%d levels compared; 3 cycles and the state before them have 7", compared)
	}
	s.t.Logf("%d levels, worst off by %.2f mV", compared, worst*1e3)
}

// compareTimes holds delays, operate and release times and bounce against the panel's
// own notes.
func (s *site) compareTimes(all figures, p *panelProcess) {
	s.t.Helper()
	compared, worst := 0, time.Duration(0)
	for m, err := range all {
		if err != nil {
			s.t.Fatal(err)
		}
		want, ok := p.truth(&m)
		if !ok {
			continue
		}
		compared++
		got := time.Duration(m.Value * 1e9)
		off := (got - want).Abs()
		worst = max(worst, off)
		if math.IsNaN(m.Value) || off > time.Duration(m.Expanded*1e9)+slack {
			s.t.Errorf("%s: %v, the panel's own notes say %v", name(&m), got, want)
		}
		if m.Cycle == 1 {
			s.t.Logf("%s: %v ± %v, the panel's own notes say %v", name(&m), got, time.Duration(m.Expanded*1e9), want)
		}
	}
	if compared != 3*2*4 {
		s.t.Errorf("%d times compared; 3 cycles with 2 events with 4 times each have 24", compared)
	}
	s.t.Logf("%d times at %d conversions/s, worst off by %v", compared, followRate, worst)
}

// truth is how long by the panel's notes something took that the program measured.
func (p *panelProcess) truth(m *analyze.Measurement) (time.Duration, bool) {
	if m.Event == "" {
		return 0, false
	}
	output, closes, opens := kernelbench.OutputOn, kernelbench.MakeCloses, kernelbench.BreakOpens
	closing, first := "K1_NO", 2*(m.Cycle-1) // two closings a change, and one as the panel starts
	crossing := m.Cycle - 1
	if m.Event == "disarm" {
		output, closes, opens = kernelbench.OutputOff, kernelbench.BreakCloses, kernelbench.MakeOpens
		closing, first, crossing = "K1_NC", 2*(m.Cycle-1)+1, m.Cycle
	}
	out, event, made, broken := p.all(output)[crossing], p.all(m.Event)[m.Cycle-1], p.all(closes)[first:], p.all(opens)
	switch {
	case m.Quantity == "switching_delay" && m.Signal == "OUT1":
		return out.At().Sub(event.At()), true
	case m.Quantity == "operate_time", m.Quantity == "release_time":
		return made[0].At().Sub(out.At()), true
	case m.Quantity == "bounce_time" && m.Signal == closing:
		return made[1].At().Sub(made[0].At()), true
	case m.Quantity == "transfer_time":
		// The opening before the closing, of all that the panel did.
		i := slices.IndexFunc(broken, func(d kernelbench.Deed) bool { return d.From > made[0].From })
		if i < 0 {
			i = len(broken)
		}
		return made[0].At().Sub(broken[i-1].At()), true
	}
	return 0, false
}

// bracket is how far a delay by the panel's notes may be off: half the times between the
// readings of the clock around its event and around the output's switching.
func (p *panelProcess) bracket(m *analyze.Measurement) time.Duration {
	output, crossing := kernelbench.OutputOn, m.Cycle-1
	if m.Event == "disarm" {
		output, crossing = kernelbench.OutputOff, m.Cycle
	}
	out, event := p.all(output)[crossing], p.all(m.Event)[m.Cycle-1]
	return (out.To.Sub(out.From) + event.To.Sub(event.From)) / 2
}

// compareClocks holds the raw stamps of the last capture against the panel's notes,
// which were made by reading CLOCK_MONOTONIC: events and edges, stamped by the kernel,
// and samples, stamped by the edges of the ready line, are on that clock.
func (s *site) compareClocks(c *capture.Capture, p *panelProcess) {
	s.t.Helper()
	e := c.Events[0]
	told := p.all("arm-away")[2]
	if d := e.At.Sub(told.At()); d.Abs() > slack {
		s.t.Errorf("event at %d, the panel raised the reference at %d", e.At, told.At())
	}
	switched := p.all(kernelbench.OutputOn)[2]
	before, after := crossing(c.Trace("OUT1"), s.terminal("OUT1", (onVolts+offVolts)/2), switched.From.Add(-50*time.Millisecond))
	if d := switched.At(); d < before.Add(-slack) || d > after.Add(slack) {
		s.t.Errorf("the output crossed between the samples at %d and %d, the panel switched it at %d", before, after, d)
	}
	s.t.Logf("CLOCK_MONOTONIC in s: reference raised at %.6f, event stamped %.6f; output switched at %.6f, between the samples at %.6f and %.6f",
		told.At().Seconds(), e.At.Seconds(), switched.At().Seconds(), before.Seconds(), after.Seconds())
}

// crossing returns the stamps of the last sample below a level and the first above
// it, from an instant on.
func crossing(t *capture.Trace, level float64, from capture.Instant) (before, after capture.Instant) {
	for times, volts := range t.Blocks(from, math.MaxInt64) {
		for i, at := range times {
			switch {
			case capture.Instant(at) < from:
			case float64(volts[i]) < level:
				before = capture.Instant(at)
			default:
				return before, capture.Instant(at)
			}
		}
	}
	return before, math.MaxInt64
}

// logged finds the first run in the log.
func (s *site) logged() *journal.RunRecord {
	s.t.Helper()
	db, err := journal.Open(s.log)
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { db.Close() })
	runs, err := db.Runs()
	if err != nil || len(runs) == 0 {
		s.t.Fatal(err, len(runs))
	}
	rec, err := db.Find(runs[len(runs)-1].Run)
	if err != nil {
		s.t.Fatal(err)
	}
	return rec
}

// capture reads the capture of a run's cycle.
func (s *site) capture(rec *journal.RunRecord, cycle int) *capture.Capture {
	s.t.Helper()
	b, err := rec.Capture(cycle)
	if err != nil || b == nil {
		s.t.Fatalf("no capture is kept of cycle %d: %v", cycle, err)
	}
	var c capture.Capture
	if err := c.UnmarshalBinary(b); err != nil {
		s.t.Fatal(err)
	}
	return &c
}
