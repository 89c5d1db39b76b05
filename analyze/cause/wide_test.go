package cause_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"
)

// wide draws what a bench of drawWide is made of.
type wide struct {
	*rand.Rand
	rig, job strings.Builder
	s        *shop
	rail     float64 // supply, as a multiple of 12 V
}

// often reports true so many times out of a hundred.
func (w *wide) often(percent int) bool { return w.IntN(100) < percent }

// drawWide draws a panel from a range wider than that of drawPanel: up to sixteen outputs on
// converters of mixed models, sweep or follow, key-switches, one contact wired or both, jobs
// that name one output or all, limits of all widths or none, and units of 24 V.
func drawWide(r *rand.Rand) *shop {
	for {
		if s := drawAnyWide(r); s.fits() {
			return s
		}
	}
}

func drawAnyWide(r *rand.Rand) *shop {
	w := &wide{Rand: r, rail: 1}
	w.s = &shop{cycles: 3 + r.IntN(4), seed: r.Uint64N(1 << 40), relays: map[string]string{}, pulses: map[string]bool{}}
	if w.often(15) {
		return drawCoils(r)
	}
	if w.often(10) {
		w.rail = 2
		w.s.volts = around(r, 25, 28)
	}
	fmt.Fprintf(&w.rig, "name: wide\nbus: simulated\n")
	names := w.converters(1 + r.IntN(16))
	w.s.all = names
	named := slices.Clone(names)
	r.Shuffle(len(named), func(i, j int) { named[i], named[j] = named[j], named[i] })
	w.s.outputs = named[:min(len(named), pick(r, 1, 1, 2, 3, 5, 8, 16))]
	wired := w.relays()
	keys := w.drives()
	w.sequence(keys, wired)
	w.s.rig, w.s.job = w.rig.String(), w.job.String()
	return w.s
}

// converters writes four converters at most and n outputs on them.
func (w *wide) converters(n int) []string {
	chips := min(4, max((n+3)/4, 1+w.IntN(4)))
	fmt.Fprintf(&w.rig, "chips:\n")
	sweep := w.often(60)
	for i := range chips {
		model, rate := "ADS1115", pick(w.Rand, 860, 860, 475, 250)
		if w.often(40) {
			model, rate = "ADS1015", pick(w.Rand, 1600, 2400, 3300)
		}
		mode := "sweep"
		if !sweep {
			mode = pick(w.Rand, "sweep", "follow")
		}
		ready := ""
		if w.often(60) {
			ready = fmt.Sprintf(", ready: {chip: gpiochip0, line: %d}", 30+i)
		}
		fmt.Fprintf(&w.rig, "  %c: {model: %s, address: 0x%x, range: 4.096 V, rate: %d /s, supply: 3.3 V, sample: %s%s}\n", 'A'+i, model, 0x48+i, rate, mode, ready)
	}
	upper := pick(w.Rand, "39 kohm", "47 kohm", "56 kohm")
	rails := ""
	if w.rail == 2 {
		upper, rails = pick(w.Rand, "91 kohm", "100 kohm"), ", highest: 30 V, nominal: 24 V"
	}
	tolerance := pick(w.Rand, "1 %", "1 %", "0.1 %")
	fmt.Fprintf(&w.rig, "outputs:\n")
	var names []string
	used := make([]int, chips)
	for len(names) < n {
		c := w.IntN(chips)
		if used[c] == 4 {
			continue
		}
		name := fmt.Sprintf("O%d", 1+len(names))
		names = append(names, name)
		fmt.Fprintf(&w.rig, "  %s: {chip: %c, channel: %d, divider: {upper: %s, lower: 10 kohm, tolerance: %s}%s}\n", name, 'A'+c, used[c], upper, tolerance, rails)
		used[c]++
	}
	return names
}

// relays hangs up to four relays on the outputs named, each with one contact wired or both.
func (w *wide) relays() (sides map[string]string) {
	sides = map[string]string{}
	chance := pick(w.Rand, 0, 40, 70, 100)
	var lines strings.Builder
	for _, o := range w.s.outputs {
		if len(sides) == 4 || !w.often(chance) {
			continue
		}
		k := fmt.Sprintf("K%d", 1+len(sides))
		w.s.relays[o] = k
		sides[k] = pick(w.Rand, "both", "both", "both", "make", "break")
		if sides[k] != "break" {
			fmt.Fprintf(&lines, "  %s_NO: {chip: gpiochip0, line: %d}\n", k, 2*len(sides)+8)
		}
		if sides[k] != "make" {
			fmt.Fprintf(&lines, "  %s_NC: {chip: gpiochip0, line: %d}\n", k, 2*len(sides)+9)
		}
	}
	if len(sides) > 0 {
		fmt.Fprintf(&w.rig, "contacts:\n%s", lines.String())
	}
	return sides
}

// drives writes how the unit is armed: by keys of its own, with a reference or without, or by
// a key-switch that stays as it is set.
func (w *wide) drives() (events []string) {
	if w.often(20) {
		by := ""
		if w.often(40) {
			by = ", reference: REF"
			fmt.Fprintf(&w.rig, "references:\n  REF: {chip: gpiochip0, line: 25}\n")
		}
		fmt.Fprintf(&w.rig, "drives:\n  D0: {chip: gpiochip0, line: 5, longest_on: 10 min}\nevents:\n  arm-away: {drive: D0, set: on%s}\n  disarm: {drive: D0, set: off%s}\n", by, by)
		return []string{"arm-away", "disarm"}
	}
	ref := w.often(50)
	if ref {
		fmt.Fprintf(&w.rig, "references:\n  REF: {chip: gpiochip0, line: 25}\n")
	}
	events = []string{"arm-away", "disarm", "arm-stay", "alarm"}
	fmt.Fprintf(&w.rig, "drives:\n")
	for i := range events {
		fmt.Fprintf(&w.rig, "  D%d: {chip: gpiochip0, line: %d, longest_on: 5 s}\n", i, 4+i)
	}
	fmt.Fprintf(&w.rig, "events:\n")
	for i, e := range events {
		by := ""
		if ref && (e != "alarm" || w.often(50)) {
			by = ", reference: REF"
		}
		fmt.Fprintf(&w.rig, "  %s: {drive: D%d, pulse: %d ms%s}\n", e, i, 150+50*w.IntN(6), by)
	}
	return events
}

// sequence writes a job.
func (w *wide) sequence(events []string, sides map[string]string) {
	steps := []string{"arm-away", "disarm"}
	if len(events) > 2 {
		steps = pick(w.Rand,
			[]string{"arm-away", "disarm", "arm-stay", "disarm"},
			[]string{"arm-stay", "disarm", "arm-away", "disarm"},
			[]string{"arm-away", "disarm"},
			[]string{"arm-away", "alarm", "disarm"},
			[]string{"arm-away", "alarm", "disarm", "arm-stay", "disarm"})
	}
	hold := time.Duration(1600+100*w.IntN(22)) * time.Millisecond
	fmt.Fprintf(&w.job, "name: job\ncycles: 5\nsteps:\n")
	for _, e := range steps {
		fmt.Fprintf(&w.job, "  - {event: %s, hold: %d ms}\n", e, hold.Milliseconds())
	}
	fmt.Fprintf(&w.job, "outputs:\n")
	shared := "" // several outputs often do the same
	if w.often(40) {
		shared = w.expectation(steps, hold)
	}
	for _, o := range w.s.outputs {
		expect := shared
		if expect == "" || w.often(25) {
			expect = w.expectation(steps, hold)
		}
		relay := ""
		if k := w.s.relays[o]; k != "" {
			relay = ", relay: " + k
		}
		fmt.Fprintf(&w.job, "  %s: {expect: {%s}, limits: out%s}\n", o, expect, relay)
	}
	if w.often(60) {
		fmt.Fprintf(&w.job, "others: unmoved\n")
	}
	if w.often(30) {
		fmt.Fprintf(&w.job, "sample: sweep\n")
	}
	w.relayPlans(sides)
	w.limits(len(sides) > 0)
}

// relayPlans writes what the job says of its relays.
func (w *wide) relayPlans(sides map[string]string) {
	if len(sides) == 0 {
		return
	}
	fmt.Fprintf(&w.job, "relays:\n")
	for _, o := range w.s.outputs {
		k := w.s.relays[o]
		contacts := map[string]string{"both": "make: %[1]s_NO, break: %[1]s_NC", "make": "make: %[1]s_NO", "break": "break: %[1]s_NC"}[sides[k]]
		if contacts != "" {
			fmt.Fprintf(&w.job, "  %s: {%s, must_operate: %.1f V, must_release: %.1f V, limits: relay}\n", k, fmt.Sprintf(contacts, k), w.rail*pick(w.Rand, 8.4, 9, 9.6), w.rail*1.2)
		}
	}
}

// expectation draws what one output must do at the steps.
func (w *wide) expectation(steps []string, hold time.Duration) string {
	var all []string
	add := func(event, demand string) {
		if slices.Contains(steps, event) {
			all = append(all, event+": "+demand)
		}
	}
	both := func(demand string) { add("arm-away", demand); add("arm-stay", demand) }
	switch kind := w.IntN(12); {
	case kind == 0:
		both("low")
		add("disarm", "high")
	case kind <= 2:
		both(fmt.Sprintf("{pulse: %d ms, within: 10 %%}", min(hold.Milliseconds()-700, 400+100*w.Int64N(9))))
		add("disarm", "low")
	case kind == 3:
		both(fmt.Sprintf("{high: true, after: %d ms, within: 25 %%}", 500+100*w.IntN(4)))
		add("disarm", "low")
	case kind == 4 && slices.Contains(steps, "alarm"):
		add("alarm", "high")
		add("disarm", "low")
	case kind == 5 && slices.Contains(steps, "arm-stay"):
		add(pick(w.Rand, "arm-away", "arm-stay"), "high")
		add("disarm", "low")
	case kind == 6:
		both("high")
		add("alarm", "unmoved")
		add("disarm", "low")
	case kind == 7:
		both("high")
		add("alarm", "any")
		add("disarm", "low")
	default:
		both("high")
		add("disarm", "low")
	}
	return strings.Join(all, ", ")
}

// limits writes limits of which each is left out now and then.
func (w *wide) limits(relays bool) {
	line := func(chance int, format string, a ...any) {
		if w.often(chance) {
			fmt.Fprintf(&w.job, "    "+format+"\n", a...)
		}
	}
	v := w.rail
	fmt.Fprintf(&w.job, "limits:\n  out:\n")
	fmt.Fprintf(&w.job, "    high_level: {min: %.1f V, max: %.1f V}\n", v*around(w.Rand, 10, 12.6), v*around(w.Rand, 14.3, 15.5))
	line(85, "low_level: {max: %.2f V}", v*around(w.Rand, 0.9, 2))
	line(80, "switching_delay: {max: %d ms}", 220+w.IntN(600))
	line(70, "ripple: {max: %.2f V}", v*around(w.Rand, 0.3, 1))
	line(70, "hold: {max: 0 s}")
	if !relays {
		return
	}
	fmt.Fprintf(&w.job, "  relay:\n    operate_time: {max: %d ms}\n", 12+w.IntN(14))
	line(85, "release_time: {max: %d ms}", 8+w.IntN(12))
	line(85, "bounce_time: {max: %.1f ms}", around(w.Rand, 4, 9))
	line(70, "transfer_time: {min: 0 s}")
	line(60, "pull_in_margin: {min: %.1f V}", v*around(w.Rand, 0.2, 1.5))
	line(60, "drop_out_margin: {min: %.2f V}", v*around(w.Rand, 0.05, 0.3))
}
