package setup_test

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
	"makebreak/testdata/faultrun"
	"makebreak/testdata/few"
)

// benchRun is what came of running a sequence on the simulated bench, unlogged.
type benchRun struct {
	verdict  analyze.Verdict
	findings []analyze.Finding
	symptoms []analyze.Symptom
	rows     []analyze.Measurement
	counts   capture.Counts
	err      error
}

// runSimulated runs a built-in sequence on the simulated bench.
func runSimulated(t testing.TB, sequence string, cycles int, seed uint64, faults ...string) benchRun {
	t.Helper()
	seq, err := sequences.Load(t.Context(), sequence)
	if err != nil {
		t.Fatal(err)
	}
	s := setup.Simulation{Seed: seed}
	for _, f := range faults {
		fault, err := sim.ParseFault(f)
		if err != nil {
			t.Fatal(err)
		}
		s.Faults = append(s.Faults, fault)
	}
	return runOn(t, setup.BenchFor(seq), seq, s, cycles)
}

func runOn(t testing.TB, rig *wiring.Rig, seq *sequences.Sequence, s setup.Simulation, cycles int) benchRun {
	t.Helper()
	b, err := setup.Open(rig, seq, s, bench.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	var r benchRun
	outcome, err := runner.Run(context.Background(), b, seq, runner.Opts{First: 1, Last: cycles, Now: time.Now,
		OnCycle: func(c *journal.Cycle) {
			r.symptoms = append(r.symptoms, c.Symptoms...)
			r.rows = append(r.rows, c.Measurements...)
		}})
	r.verdict, r.counts, r.err = outcome.Gravest, outcome.Counts, err
	r.findings = diagnose.Findings(&seq.Plan, r.symptoms, max(1, outcome.Cycles))
	return r
}

// TestFaults_Named plants each fault of the simulated bench and looks for the
// finding that names it. A fault of the acquisition, not of the unit, must be
// counted or survived instead.
func TestFaults_Named(t *testing.T) {
	t.Parallel()
	const held = "no finding"
	named := map[string]struct{ finding, verdict string }{
		"wrong-address":      {"OUT4 moved instead", "fail"},
		"stuck-low":          {"did not go high", "fail"},
		"stuck-high":         {"did not go low", "fail"},
		"inverted":           {"is inverted", "fail"},
		"slow-delay":         {"switches late", "fail"},
		"missed-cycle":       {"failed to switch in some cycles", "fail"},
		"early-fall":         {"did not keep it", "fail"},
		"weak-supply":        {"is low when on", "fail"},
		"hum":                {"is not steady", "fail"},
		"droop":              {"does not hold its level", "fail"},
		"holding-in":         {"is held in", "fail"},
		"high-off-level":     {"can hold relay K1 in", "fail"},
		"loose-wire":         {"loose wire", "fail"},
		"swapped-contacts":   {"are swapped", "fail"},
		"dead-relay":         {"never moves although OUT3 does", "fail"},
		"welded":             {"is welded", "fail"},
		"weak-contact":       {"does not close steadily", "fail"},
		"slow-release":       {"releases slowly", "fail"},
		"long-bounce":        {"bounces too long", "fail"},
		"chatter":            {"chatters", "fail"},
		"lost-edges":         {"were lost at", "undecided"},
		"lost-ready-edges":   {held, "pass"}, // counted, fetched without
		"merged-edges":       {"were lost at", "undecided"},
		"adc-lost":           {held, "pass"}, // ends the run; see the error
		"chip-reset":         {held, "pass"}, // found by read-back, counted, survived
		"supply-reset":       {"The supply's converter had lost its setting", "undecided"},
		"bus-noise":          {held, "pass"}, // counted, retried
		"one-arming":         {"did not go high at arm-stay, though it does at arm-away", "fail"},
		"wrong-pulse":        {"pulses for", "fail"},
		"weak-battery":       {"sags as the load draws its current", "fail"},
		"joined-outputs":     {"moves together with", "fail"},
		"coil-joint":         {"a joint in its wires is bad", "fail"},
		"ground-open":        {"the 0 V of rig and unit are not joined", "undecided"},
		"common-open":        {"Neither contact of K1 ever reads closed", "fail"},
		"coil-open":          {"very likely the coil or its wire is open", "fail"},
		"shorted-turns":      {"shorted turns lower it", "fail"},
		"no-flyback":         {"no diode across the coil of K1 holds it", "pass"},
		"reversed-flyback":   {"a diode across the coil the wrong way round", "fail"},
		"oxidised-contact":   {"does not close steadily", "fail"},
		"creeping-operate":   {"operates slowly", "fail"},
		"wearing-bounce":     {"bounces too long", "fail"},
		"sticking":           {"is welded", "fail"},
		"reference-inverted": {"Reference REF reads the opposite", "undecided"},
		"slow-oscillator":    {held, "pass"}, // measured, not believed
		"fast-oscillator":    {held, "pass"},
	}
	var rows []string
	for _, f := range sim.Faults() {
		want, ok := named[f.Name]
		if !ok {
			t.Errorf("fault %s is in no table of findings", f.Name)
			continue
		}
		delete(named, f.Name)
		sequence, text := faultrun.Of(f.Name)
		cycles := 8
		if sequence == "relay-supply" {
			cycles = 2
		}
		r := runSimulated(t, sequence, cycles, 7, text)
		got := held
		if len(r.findings) > 0 {
			got = r.findings[0].Text
		}
		rows = append(rows, fmt.Sprintf("%-17s %-10s %.100s", f.Name, r.verdict, got))
		if !strings.Contains(got, want.finding) {
			t.Errorf("fault %s: first finding %q, want %q in it", f.Name, got, want.finding)
		}
		if most := map[string]int{"long-bounce": 2, "wearing-bounce": 2, "sticking": 2}[f.Name]; len(r.findings) > max(1, most) { // both contacts close
			t.Errorf("fault %s: %d findings: %v", f.Name, len(r.findings), r.findings)
		}
		if string(r.verdict) != want.verdict {
			t.Errorf("fault %s: verdict %s, want %s", f.Name, r.verdict, want.verdict)
		}
		checkAcquisition(t, f.Name, r)
	}
	for name := range named {
		t.Errorf("there is no fault %s", name)
	}
	t.Logf("fault x finding\n%s", strings.Join(rows, "\n"))
}

// checkAcquisition checks that faults of the acquisition are counted.
func checkAcquisition(t *testing.T, fault string, r benchRun) {
	t.Helper()
	if (r.err != nil) != (fault == "adc-lost") {
		t.Errorf("fault %s: the run ended with %v", fault, r.err)
	}
	counted := map[string]uint64{"lost-edges": r.counts.LostEdges, "merged-edges": r.counts.LostEdges, "lost-ready-edges": r.counts.LostReadyEdges,
		"bus-noise": r.counts.BusErrors, "chip-reset": r.counts.ChipResets, "supply-reset": r.counts.ChipResets, "adc-lost": r.counts.BusErrors}
	if n, ok := counted[fault]; ok && n == 0 {
		t.Errorf("fault %s was not counted: %+v", fault, r.counts)
	}
}

// TestHealthy_NoFinding runs 1,000 cycles of healthy benches drawn from different
// seeds: not one may raise a finding or a verdict other than pass.
func TestHealthy_NoFinding(t *testing.T) {
	seeds, cycles := 100, 10
	if few.Race || testing.Short() {
		seeds = 10
	}
	var mu sync.Mutex
	ran := map[string]int{}
	t.Run("seeds", func(t *testing.T) {
		for i := range seeds {
			seed := uint64(i + 1)
			all := sequences.Builtin()
			name := "armed-high"
			if i%4 == 3 { // a quarter of the benches takes the other sequences in turn
				name = all[(i/4)%len(all)].Name
			}
			t.Run(fmt.Sprintf("%s/%d", name, seed), func(t *testing.T) {
				t.Parallel()
				r := runSimulated(t, name, cycles, seed)
				if r.err != nil || r.verdict != analyze.Pass || len(r.findings) > 0 {
					t.Errorf("verdict %s, error %v, findings %v", r.verdict, r.err, r.findings)
				}
				if r.counts != (capture.Counts{}) {
					t.Errorf("acquisition troubles on a healthy bench: %+v", r.counts)
				}
				mu.Lock()
				ran[name] += cycles
				mu.Unlock()
			})
		}
	})
	t.Logf("healthy cycles without a finding: %v", ran)
}
