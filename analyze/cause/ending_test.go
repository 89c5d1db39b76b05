package cause_test

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"makebreak/analyze/cause"
	"makebreak/rig/capture"
	"makebreak/rig/sim"
)

// keySwitch is a bench that is armed by a key-switch, with a reference at it, and a converter that
// is read beside another.
func keySwitch() *shop {
	s := &shop{cycles: 3, seed: 7, outputs: []string{"O1"}}
	s.rig = `name: key
bus: simulated
chips:
  A: {model: ADS1115, address: 0x48, range: 4.096 V, rate: 860 /s, supply: 3.3 V}
  B: {model: ADS1115, address: 0x49, range: 4.096 V, rate: 860 /s, supply: 3.3 V}
outputs:
  O1: {chip: A, channel: 0, divider: {upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}}
  O2: {chip: B, channel: 0, divider: {upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}}
references:
  REF: {chip: gpiochip0, line: 25}
drives:
  KEY: {chip: gpiochip0, line: 5, longest_on: 10 min}
events:
  arm-away: {drive: KEY, set: on, reference: REF}
  disarm: {drive: KEY, set: off}
`
	s.job = `name: job
cycles: 3
steps:
  - {event: arm-away, hold: 1 s}
  - {event: disarm, hold: 1 s}
outputs:
  O1: {expect: {arm-away: high, disarm: low}, limits: out}
others: unmoved
limits:
  out:
    high_level: {min: 11 V, max: 15 V}
`
	return s
}

// What ends a run is known as data and where it lies, and so is the cause behind it.
func TestRank_Ended(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		fault sim.Fault
		want  capture.Ending
		cause string
	}{
		{sim.Fault{Name: "reference-inverted"}, capture.Ending{Code: capture.ReferenceReversed, Place: "REF", Other: "KEY", Value: 1}, "reference-inverted@"},
		{sim.Fault{Name: "adc-lost", Value: 1.5, Place: "O2"}, capture.Ending{Code: capture.ConverterSilent, Place: "B"}, "adc-lost@B"},
		{sim.Fault{Name: "chip-reset", Value: 1.5, Place: "O2"}, capture.Ending{}, "chip-reset@B"},
	} {
		x, possible := keySwitch().run(t, c.fault)
		if !possible {
			t.Fatal(x.err)
		}
		got := capture.EndingOf(x.err)
		if d := cmp.Diff(c.want, got, cmpopts.IgnoreFields(capture.Ending{}, "Value")); d != "" || c.want.Value > 0 && got.Value != c.want.Value {
			t.Errorf("%s ends by %+v (%v), want %+v", c.fault, got, x.err, c.want)
		}
		if all := cause.Rank(cause.Builtin(), x.evidence()); len(all) == 0 || fmt.Sprintf("%s@%s", all[0].Cause, all[0].Place) != c.cause {
			t.Errorf("%s: %s", c.fault, short(all))
		}
	}
}
