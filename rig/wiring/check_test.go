package wiring

import (
	"strings"
	"testing"

	"makebreak/rig/line"
)

// What a file cannot say and Go code can.
func TestCheck(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Rig)
		want   string
	}{
		{"no name", func(r *Rig) { r.Name = "" }, `name: the rig has no name: give it one, for example name: bench-1`},
		{"no chips", func(r *Rig) { r.Chips, r.Outputs = nil, nil }, "chips: there are 0 chips: must be one to four, each with its own address"},
		{"model", func(r *Rig) { r.Chips[0].Model = "X" }, `chips.A.model: "X": use one of: ADS1115, ADS1015`},
		{"mode", func(r *Rig) { r.Chips[0].Mode = "" }, `chips.A.sample: use one of: sweep, follow`},
		{"channel", func(r *Rig) { r.Outputs[0].Channel = 4 }, `outputs.OUT3.channel: "4": use one of: 0, 1, 2, 3`},
		{"event twice", func(r *Rig) { r.Causes = []Cause{{Event: "a", Prompt: "a"}, {Event: "a", Prompt: "a"}} },
			`events.a: "a": this event is defined twice; define it once`},
		{"no cause", func(r *Rig) { r.Causes = []Cause{{Event: "a"}} },
			`events.a: the event has neither a drive nor a prompt, or both: give it either a drive or a prompt`},
		{"no line", func(r *Rig) { r.Contacts = []line.Line{{Name: "K1_NO", Number: -1}} },
			`contacts.K1_NO.line: the line is not given: give its number or its name`},
		{"no longest time", func(r *Rig) { r.Drives = []Drive{{Line: line.Line{Name: "KEY", LineName: "GPIO5"}}} },
			`drives.KEY.longest_on: "0s": must be above 0 s`},
		{"long name", func(r *Rig) { r.Outputs[0].Name = strings.Repeat("x", 33) }, "at most 32 characters"},
		{"empty name", func(r *Rig) { r.Outputs[0].Name = "" }, "a name cannot be empty"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := benchRig()
			if p := r.Check(); len(p) > 0 {
				t.Fatalf("before: %v", p)
			}
			c.change(r)
			for _, p := range r.Check() {
				if strings.Contains(p.String(), c.want) {
					return
				}
			}
			t.Errorf("got %v\nwant %s", r.Check(), c.want)
		})
	}
}
