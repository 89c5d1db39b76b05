package rigfile

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"makebreak/rig/wiring"
	"makebreak/rig/words"
)

// A unit's sequence sees its own signals under its own names, and what all units share.
func TestParse_Units(t *testing.T) {
	r, err := Load(t.Context(), "../../../testdata/rigs/two-panels.yaml")
	if err != nil {
		t.Fatal(err)
	}
	panel := Builtin()[0]
	for i, want := range []struct{ unit, output, reference, drive, event string }{
		{"left", "L3", "L_REF", "L_AWAY", "left/arm-away"}, {"right", "R3", "R_REF", "R_AWAY", "right/arm-away"},
	} {
		u := &r.Units[i]
		view := r.For(u)
		if u.Name != want.unit || u.OwnOf("OUT3") != want.output || u.AsOf(want.output) != "OUT3" {
			t.Errorf("%s: %+v", want.unit, u)
		}
		names := func(r *wiring.Rig) []string {
			all := words.Texts(r.Outputs, func(o wiring.Output) string { return o.Name })
			for _, l := range append(r.Contacts, r.References...) {
				all = append(all, l.Name)
			}
			for _, d := range r.Drives {
				all = append(all, d.Name)
			}
			return append(all, words.Texts(r.Causes, func(k wiring.Cause) string { return k.Event })...)
		}
		// The view is named as the built-in panel, whose sequences run on it.
		seen := map[string]bool{}
		for _, n := range names(view) {
			seen[n] = true
		}
		for _, n := range names(panel) {
			if !seen[n] {
				t.Errorf("%s: there is no %s in %q", want.unit, n, names(view))
			}
		}
		if len(view.Outputs) != 8 || len(view.Chips) != 2 || len(view.Drives) != 5 {
			t.Errorf("%s: %d outputs, %d chips, %d drives", want.unit, len(view.Outputs), len(view.Chips), len(view.Drives))
		}
		own := r.CauseOf(u, "arm-away")
		if d := cmp.Diff(&wiring.Cause{Event: want.event, Unit: want.unit, As: "arm-away", Drive: want.drive, Pulse: 300e6, Reference: want.reference}, own); d != "" {
			t.Error(d)
		}
		if d := cmp.Diff(panel.Cause("arm-away"), view.Cause("arm-away")); d != "" {
			t.Error(d)
		}
		if k := r.CauseOf(u, "chime"); k == nil || k.Unit != "" || view.Drive("CHIME") == nil {
			t.Errorf("%s: the shared chime is %+v", want.unit, k)
		}
	}
}

// The short forms say the same as the long one.
func TestParse_UnitForms(t *testing.T) {
	const head = `
name: forms
bus: simulated
chips: {A: {model: ADS1115, address: 0x48, supply: 3.3 V}}
outputs: {L_OUT1: {chip: A, channel: 0, divider: none, highest: 3 V}, R_OUT1: {chip: A, channel: 1, divider: none, highest: 3 V}}
drives: {L_KEY: {chip: gpiochip0, line: 5, longest_on: 5 s}, R_KEY: {chip: gpiochip0, line: 6, longest_on: 5 s}}
events: {arm-away: {drive: KEY, pulse: 300 ms}}
`
	read := func(units string) *wiring.Rig {
		r, err := Parse("forms.yaml", []byte(head+units))
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	long := read("units: {L: {outputs: {OUT1: L_OUT1}, drives: {KEY: L_KEY}}, R: {outputs: {OUT1: R_OUT1}, drives: {KEY: R_KEY}}}")
	for _, units := range []string{"units: [L, R]", "units: {L: {prefix: L_}, R: {prefix: R_}}", "units: {L: {prefix: L_, outputs: {OUT1: L_OUT1}}, R: {prefix: R_}}"} {
		if d := cmp.Diff(long, read(units)); d != "" {
			t.Errorf("%s: %s", units, d)
		}
	}
	mixed := read("units: {L: {prefix: L_, events: {arm-away: {drive: KEY, set: on}}}, R: {prefix: R_}}")
	if l, r := mixed.Cause("L/arm-away"), mixed.Cause("R/arm-away"); !l.On || r.Pulse == 0 || mixed.Cause("arm-away") != nil {
		t.Errorf("causes: %+v", mixed.Causes)
	}
}

// A mode asked for by a sequence must not have two units follow on one converter.
func TestFollowed(t *testing.T) {
	r, err := Load(t.Context(), "../../../testdata/rigs/sixteen-relays.yaml")
	if err != nil {
		t.Fatal(err)
	}
	all := []*wiring.Unit{}
	for i := range r.Units {
		all = append(all, &r.Units[i])
	}
	if got := r.Followed(wiring.Follow, all); len(got) != 4 {
		t.Errorf("all: %q", got)
	}
	if got := r.Followed("", all); got != nil {
		t.Errorf("as the file says: %q", got)
	}
	if got := r.Followed(wiring.Follow, []*wiring.Unit{all[0], all[4], all[8]}); got != nil {
		t.Errorf("one on each: %q", got)
	}
}
