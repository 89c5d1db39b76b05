package sim

import (
	"strings"
	"testing"
	"time"

	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// TwoRelays is the built-in panel with a second relay, behind the second output that is
// programmed.
func TwoRelays() *wiring.Rig {
	r := rigfile.Builtin()[0]
	r.Name = "two relays"
	for i, name := range []string{"K2_NO", "K2_NC"} {
		c := r.Contacts[i]
		c.Name, c.Number = name, []int{16, 12}[i]
		r.Contacts = append(r.Contacts, c)
	}
	return r
}

// A change is about the relay that it names, and takes the faults of that one.
func TestChange_SecondRelay(t *testing.T) {
	rig := TwoRelays()
	for _, c := range []struct {
		faults, changes string
		want            string // which contacts read closed with both outputs on
	}{
		{"", "", "K1_NO K2_NO"},
		{"dead-relay@K2", "", "K1_NO K2_NC"},
		{"dead-relay@K2", "board K1", "K1_NO K2_NC"},
		{"dead-relay@K2", "board K2", "K1_NO K2_NO"},
		{"dead-relay@K1", "board K2", "K1_NC K2_NO"},
		{"dead-relay@K1", "board K1", "K1_NO K2_NO"},
		{"common-open@K2", "replace K1.COM rig.0V", "K1_NO"},
		{"common-open@K2", "replace K2.COM rig.0V", "K1_NO K2_NO"},
		{"", "swap K2.NO K2.NC", "K1_NO K2_NC"},
		{"coil-joint=2kohm@K2", "replace OUT3 K1.A1", "K1_NO K2_NC"},
		{"coil-joint=2kohm@K2", "replace OUT5 K2.A1", "K1_NO K2_NO"},
		{"", "resistor K2 1 ohm 100 W", "K1_NO K2_NC"},
	} {
		opts := Opts{Seed: 6, Programme: []Rule{{Output: "OUT3", Event: "arm-away", Do: GoHigh}, {Output: "OUT5", Event: "arm-away", Do: GoHigh}}}
		if c.faults != "" {
			f, err := ParseFault(c.faults)
			if err != nil {
				t.Fatal(err)
			}
			opts.Faults = []Fault{f}
		}
		if c.changes != "" {
			x, err := ParseChange(c.changes)
			if err != nil {
				t.Fatal(err)
			}
			opts.Changes = []Change{x}
		}
		w, err := NewWorld(rig, opts)
		if err != nil {
			t.Fatal(err)
		}
		if err := w.Bring("arm-away", time.Second); err != nil {
			t.Fatal(err)
		}
		var closed []string
		for _, l := range w.Look().Contacts {
			if l.Active {
				closed = append(closed, l.Name)
			}
		}
		if got := strings.Join(closed, " "); got != c.want {
			t.Errorf("%s, %s: closed are %q, not %q", c.faults, c.changes, got, c.want)
		}
	}
}
