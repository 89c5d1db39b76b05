package cause_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"makebreak/rig/sim"
)

// drawBroad draws a bench of the widest range: a panel as drawWide does, or a bench for one to
// four relays, some of them on a supply that is moved. What the simulated bench draws by itself
// is drawn wider here, and its converters average in different ways.
func drawBroad(r *rand.Rand) *shop {
	for {
		var s *shop
		if r.IntN(100) < 15 {
			s = drawRelays(r)
		} else if s = drawAnyWide(r); s.coils {
			continue
		}
		s.around(r)
		if s.fits() {
			return s
		}
	}
}

// around draws the unit and the converters of a bench.
func (s *shop) around(r *rand.Rand) {
	rail, ohms := 1.0, around(r, 280, 700)
	if s.volts > 0 {
		rail, ohms = 2, around(r, 1000, 2400)
	}
	s.unit = sim.UnitParams{
		HighVolts: rail * around(r, 13.35, 13.8), LowVolts: rail * around(r, 0.52, 0.78), OnOhms: rail * around(r, 6, 20),
		OffOhms: rail * around(r, 600, 1600), Delay: time.Duration(around(r, 80, 200) * 1e6), CoilOhms: ohms,
	}
	s.weights = pick(r, nil, sim.Sinc(2), sim.Sinc(3), sim.Last(0.6), sim.Fading(0.5))
}

// drawRelays draws a bench of one to four relays whose coils the rig switches.
func drawRelays(r *rand.Rand) *shop {
	w := &wide{Rand: r, rail: 1}
	w.s = &shop{cycles: 3 + r.IntN(8), seed: r.Uint64N(1 << 40), relays: map[string]string{}, pulses: map[string]bool{}, coils: true}
	fmt.Fprintf(&w.rig, "name: relays\nbus: simulated\n")
	n := 1 + r.IntN(4)
	names := w.converters(n)
	w.s.all, w.s.outputs = names, names
	sides := map[string]string{}
	var lines strings.Builder
	for i, o := range names {
		k := fmt.Sprintf("K%d", 1+i)
		w.s.relays[o], sides[k] = k, pick(r, "both", "both", "both", "make", "break")
		if sides[k] != "break" {
			fmt.Fprintf(&lines, "  %s_NO: {chip: gpiochip0, line: %d}\n", k, 2*i+12)
		}
		if sides[k] != "make" {
			fmt.Fprintf(&lines, "  %s_NC: {chip: gpiochip0, line: %d}\n", k, 2*i+13)
		}
	}
	fmt.Fprintf(&w.rig, "contacts:\n%s", lines.String())
	fmt.Fprintf(&w.rig, "drives:\n")
	for i := range names {
		fmt.Fprintf(&w.rig, "  D%d: {chip: gpiochip0, line: %d, coil: true, longest_on: 1 min}\n", i, 2+i)
	}
	supply := pick(r, "", "", "chip", "stage")
	if supply == "stage" {
		fmt.Fprintf(&w.rig, "  STAGE: {chip: gpiochip0, line: 7, longest_on: 10 min}\n")
	}
	fmt.Fprintf(&w.rig, "events:\n")
	for i := range names {
		fmt.Fprintf(&w.rig, "  on%d: {drive: D%d, set: on}\n  off%d: {drive: D%d, set: off}\n", i+1, i, i+1, i)
	}
	switch supply {
	case "chip":
		fmt.Fprintf(&w.rig, "supply: {model: MCP4725, address: 0x60, reference: 3.3 V, gain: 5 V/V, highest: 15 V, usual: 13.8 V, rest: 0 V}\n")
	case "stage":
		fmt.Fprintf(&w.rig, "supply: {drive: STAGE, off: 13.8 V, on: 11.5 V}\n")
	}
	w.relayJob(supply, sides)
	w.s.rig, w.s.job = w.rig.String(), w.job.String()
	return w.s
}

// relayJob writes a job for relays whose coils the rig switches.
func (w *wide) relayJob(supply string, sides map[string]string) {
	fmt.Fprintf(&w.job, "name: job\ncycles: 5\nbaseline: 300 ms\nsteps:\n")
	hold := 150 + 10*w.IntN(30)
	order := w.IntN(2)
	volts := []string{""}
	if supply != "" {
		volts = []string{"13.8 V", pick(w.Rand, "11.5 V", "11.5 V")}
	}
	expect := map[string][]string{}
	for v, level := range volts {
		as := func(e string) string {
			if level == "" {
				return e
			}
			return fmt.Sprintf("%s-%d", e, v)
		}
		if level != "" {
			fmt.Fprintf(&w.job, "  - {supply: %s, as: supply-%d, hold: 250 ms}\n", level, v)
		}
		step := func(i int, on bool) {
			e, d := "off", "low"
			if on {
				e, d = "on", "high"
			}
			e = fmt.Sprintf("%s%d", e, i+1)
			name := ""
			if as(e) != e {
				name = ", as: " + as(e)
			}
			fmt.Fprintf(&w.job, "  - {event: %s%s, hold: %d ms}\n", e, name, hold)
			o := w.s.outputs[i]
			expect[o] = append(expect[o], as(e)+": "+d)
		}
		for i := range w.s.outputs {
			step(i, true)
			if order == 0 {
				step(i, false)
			}
		}
		for i := range w.s.outputs {
			if order == 1 {
				step(i, false)
			}
		}
	}
	fmt.Fprintf(&w.job, "outputs:\n")
	for _, o := range w.s.outputs {
		fmt.Fprintf(&w.job, "  %s: {expect: {%s}, limits: out, relay: %s}\n", o, strings.Join(expect[o], ", "), w.s.relays[o])
	}
	if w.often(60) {
		fmt.Fprintf(&w.job, "others: unmoved\n")
	}
	w.relayPlans(sides)
	w.limits(true)
}

// oddSize draws the size of a fault from hardly there to gross, evenly in its logarithm.
func oddSize(r *rand.Rand, info sim.FaultInfo) float64 {
	low, high := info.Lowest*0.4, info.Highest*1.5
	switch {
	case info.Value == sim.TurnsShare:
		low, high = 0.15, 0.97
	case info.Value == sim.Share:
		high = info.Highest
	case info.Name == "high-off-level":
		low, high = 0.8, 3
	case info.Name == "weak-supply":
		low, high = 4, 12.5
	case info.Name == "early-fall", info.Name == "slow-delay":
		low = 0.05
	}
	v := math.Exp(around(r, math.Log(low), math.Log(high)))
	if info.Value == sim.WholeNumber {
		v = math.Max(2, math.Round(v))
	}
	return v
}

// anyOf draws one of the outputs that can have a fault: those that the job names, or, where the
// panel need not switch it, any that the rig has.
func (s *shop) anyOf(r *rand.Rand, info sim.FaultInfo) string {
	if info.Name == "adc-lost" || info.Name == "chip-reset" || info.Name == "joined-outputs" {
		return pick(r, slices.Concat(s.all, s.outputs)...)
	}
	return pick(r, s.outputs...)
}
