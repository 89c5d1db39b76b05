package sim

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"makebreak/rig/circuit"
	"makebreak/rig/meter"
	"makebreak/rig/wiring/rigfile"
)

// armed programmes the panel of the built-in rig, with a second output and a pulse.
var armed = []Rule{
	{Output: "OUT3", Event: "arm-away", Do: GoHigh}, {Output: "OUT3", Event: "arm-stay", Do: GoHigh}, {Output: "OUT3", Event: "disarm", Do: GoLow},
	{Output: "OUT5", Event: "arm-away", Do: PulseHigh, For: 20 * time.Second},
}

func panelWorld(t testing.TB, faults, changes string) (*World, error) {
	t.Helper()
	o := Opts{Seed: 5, Programme: armed}
	for text := range strings.SplitSeq(faults, ",") {
		if text == "" {
			continue
		}
		f, err := ParseFault(text)
		if err != nil {
			t.Fatal(err)
		}
		o.Faults = append(o.Faults, f)
	}
	for text := range strings.SplitSeq(changes, ",") {
		if text == "" {
			continue
		}
		c, err := ParseChange(strings.TrimSpace(text))
		if err != nil {
			return nil, err
		}
		o.Changes = append(o.Changes, c)
	}
	return NewWorld(rigfile.Builtin()[0], o)
}

// course is all that a rig sees of a bench over two ways of arming, and all that a meter could.
func course(t *testing.T, faults, changes string) string {
	t.Helper()
	w, err := panelWorld(t, faults, changes)
	if err != nil {
		t.Fatalf("%s, %s: %v", faults, changes, err)
	}
	var b strings.Builder
	for _, e := range []string{"", "arm-away", "disarm", "arm-stay", "disarm", "arm-away"} {
		if e != "" {
			if err := w.Bring(e, 3*time.Second); err != nil {
				t.Fatal(err)
			}
		}
		l := w.Look()
		for _, o := range l.Outputs {
			fmt.Fprintf(&b, "%s %s %.4f %v\n", e, o.Name, float64(o.Volts), o.High)
		}
		fmt.Fprintln(&b, e, l.Contacts, l.References)
		for _, power := range []Power{SupplyOn, SupplyOff} {
			s, err := w.Network(power).Solve()
			if err != nil {
				t.Fatal(err)
			}
			for _, p := range w.Layout().Points {
				v, err := s.Volts(p.Name, "panel.0V")
				fmt.Fprintf(&b, "%s %v %s %.4f %v\n", e, power, p.Name, v, err)
			}
		}
	}
	for _, x := range w.Truth().Events {
		for _, c := range x.Changes {
			fmt.Fprintf(&b, "%s %+v\n", x.Name, c)
		}
	}
	return b.String()
}

// The change that takes a fault's cause away makes a healthy bench; one that has nothing to do
// with it leaves it as it was.
func TestChange_Cures(t *testing.T) {
	healthy := course(t, "", "")
	for _, c := range []struct{ fault, cure, other string }{
		{"wrong-address=OUT4", "address OUT3 3", "address OUT5 5"},
		{"wrong-address=OUT4", "programme OUT3", "programme OUT5"},
		{"inverted", "programme OUT3", "board K1"},
		{"one-arming", "programme OUT3", "supply 13.8 V"},
		{"wrong-pulse=1s@OUT5", "programme OUT5", "programme OUT3"},
		{"weak-supply", "supply 13.8 V", "programme OUT3"},
		{"weak-battery", "supply 13.8 V", "board K1"},
		{"hum", "supply 13.8 V", "join 0V"},
		{"droop", "supply 13.8 V", "part OUT3 OUT4"},
		{"loose-wire@OUT3", "replace panel.OUT3 rig.OUT3", "replace panel.OUT4 rig.OUT4"},
		{"swapped-contacts", "swap K1.NO K1.NC", "board K1"},
		{"swapped-contacts", "swap NC NO", "replace K1.NO rig.K1_NO"},
		{"common-open", "replace K1.COM rig.0V", "board K1"},
		{"ground-open", "join 0V", "replace K1.COM rig.0V"},
		{"ground-open", "replace rig.0V panel.0V", "board K1"},
		{"coil-joint", "replace panel.OUT3 K1.A1", "replace panel.OUT3 rig.OUT3"},
		{"joined-outputs=OUT6", "part OUT3 OUT6", "part OUT3 OUT4"},
		{"reversed-flyback", "swap K1.A1 K1.A2", "swap OUT1 OUT2"},
		{"reference-inverted", "polarity REF low", "polarity REF high"},
	} {
		ill, cured := course(t, c.fault, ""), course(t, c.fault, c.cure)
		want := healthy
		switch {
		case strings.HasPrefix(c.cure, "supply"): // is not to the millivolt what the panel's was
			want = course(t, "", c.cure)
		case strings.HasPrefix(c.cure, "polarity"): // the line stays inverted, and is read so
			want, cured = looks(want), looks(cured)
		case strings.HasPrefix(c.cure, "swap K1.A1"): // the coil's ends stay changed
			want, cured = looks(want), looks(cured)
		}
		if cured != want {
			t.Errorf("%s: %s does not cure it: %s", c.fault, c.cure, firstDifference(want, cured))
		}
		if ill == healthy {
			t.Errorf("%s: nothing shows it", c.fault)
		}
		// Another board is another relay, and a change may show by itself: what must stay is the
		// fault, as it is there with the change and no fault beforehand.
		if course(t, c.fault, c.other) == course(t, "", c.other) {
			t.Errorf("%s: %s cures it", c.fault, c.other)
		}
	}
}

func firstDifference(a, b string) string {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range min(len(x), len(y)) {
		if x[i] != y[i] {
			return x[i] + " | " + y[i]
		}
	}
	return "one is longer"
}

// Another relay board takes along all that was wrong with the old one, whatever it was, and
// is another relay.
func TestChange_Board(t *testing.T) {
	want := course(t, "", "board K1")
	if want == course(t, "", "") || want == course(t, "", "board K1,board k1") {
		t.Error("another board has the same relay")
	}
	taken := 0
	for _, f := range Faults() {
		if f.Group != InRelay && f.Group != InContacts {
			continue
		}
		taken++
		if got := course(t, f.Name, "board K1"); got != want {
			t.Errorf("%s: another board does not take it along: %s", f.Name, firstDifference(want, got))
		}
	}
	if taken < 10 {
		t.Errorf("only %d faults of a relay are known", taken)
	}
}

// Changes done twice, or done and done back, leave all as it was.
func TestChange_Back(t *testing.T) {
	for _, c := range [][2]string{
		{"swap OUT3 OUT4,swap OUT3 OUT4", ""}, {"swap OUT3 OUT4,swap OUT4 OUT5,swap OUT3 OUT5,swap OUT3 OUT4", "swap OUT3 OUT4,swap OUT3 OUT5"},
		{"swap K1.COM K1.NO,swap K1.NO K1.COM", ""}, {"swap K1.COM K1.NO,swap K1.NO K1.NC,swap K1.COM K1.NC,swap K1.NO K1.NC", ""},
		{"swap K1.A1 K1.A2,swap A1 A2", ""}, {"address OUT3 7,address OUT3 3", ""}, {"address OUT3 7,programme OUT3", ""},
		{"join OUT1 OUT3,part OUT3 OUT1", ""}, {"polarity REF low,polarity REF low,polarity REF high", ""}, {"polarity REF high", ""},
		{"join panel.0V rig.0V", ""}, {"join OUT1 OUT3,join OUT3 OUT1", "join OUT3 OUT1"},
	} {
		if a, b := course(t, "", c[0]), course(t, "", c[1]); a != b {
			t.Errorf("%s: %s", c[0], firstDifference(a, b))
		}
	}
}

// What a change makes of a healthy bench is the fault that has the same cause.
func TestChange_MakesFault(t *testing.T) {
	for _, c := range [][2]string{
		{"swapped-contacts", "swap K1.NO K1.NC"}, {"reference-inverted", "polarity REF low"},
		{"joined-outputs=OUT6", "join OUT6 OUT3"}, {"wrong-address=OUT6", "address OUT3 6"},
	} {
		a, b := course(t, c[0], ""), course(t, "", c[1])
		if c[0] == "reference-inverted" { // the fault is in the line, the change in what it is read as
			a, b = looks(a), looks(b)
		}
		if a != b {
			t.Errorf("%s and %s: %s", c[0], c[1], firstDifference(a, b))
		}
	}
}

// looks leaves of a course what the rig sees.
func looks(course string) string {
	var kept []string
	for line := range strings.SplitSeq(course, "\n") {
		if !strings.Contains(line, "true ") && !strings.Contains(line, "false ") || strings.Contains(line, "[{") {
			kept = append(kept, line)
		}
	}
	return strings.Join(kept, "\n")
}

// Wires that change places at the panel: what hung on OUT3 hangs on OUT4.
func TestChange_SwapOutputs(t *testing.T) {
	w, err := panelWorld(t, "", "swap OUT3 OUT4")
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Bring("arm-away", time.Second); err != nil {
		t.Fatal(err)
	}
	l := w.Look()
	if l.Outputs[2].High || !l.Outputs[3].High || l.Contacts[0].Active || !l.Contacts[1].Active {
		t.Errorf("OUT4's wire must be on and the relay out: %+v", l)
	}
	s, err := w.Network(SupplyOn).Solve()
	if err != nil {
		t.Fatal(err)
	}
	at := func(p string) float64 { v, _ := s.Volts(p, "panel.0V"); return v }
	if at("panel.OUT3") < 13 || at("rig.OUT4") < 13 || at("panel.OUT4") > 1 || at("K1.A1") > 1 {
		t.Errorf("OUT3 at %g V, its wire at %g V; OUT4 at %g V, the coil at %g V", at("panel.OUT3"), at("rig.OUT3"), at("panel.OUT4"), at("K1.A1"))
	}
}

// Contacts with their wires moved by one: a line is closed where its contact leads to the common
// wire.
func TestChange_SwapContacts(t *testing.T) {
	for _, c := range []struct {
		change            string
		makeOff, makeOn   bool
		breakOff, breakOn bool
	}{
		{"", false, true, true, false},
		{"swap NO NC", true, false, false, true},
		{"swap COM NO", false, true, false, false},
		{"swap COM NC", false, false, true, false},
		{"swap COM NO,swap NO NC", true, false, false, false},
		{"swap COM NC,swap NO NC", false, false, false, true},
	} {
		w, err := panelWorld(t, "", c.change)
		if err != nil {
			t.Fatal(err)
		}
		off := w.Look()
		if err := w.Bring("arm-away", time.Second); err != nil {
			t.Fatal(err)
		}
		on := w.Look()
		got := [...]bool{off.Contacts[0].Active, on.Contacts[0].Active, off.Contacts[1].Active, on.Contacts[1].Active}
		if got != [...]bool{c.makeOff, c.makeOn, c.breakOff, c.breakOn} {
			t.Errorf("%q: %v", c.change, got)
		}
	}
}

// A resistor drains a leakage, by the divider rule, so that the relay lets go; the power that it
// takes is what it takes when the output is on.
func TestChange_Resistor(t *testing.T) {
	const r = 220.0
	w, err := panelWorld(t, "holding-in", "resistor K1 220 ohm 1 W")
	if err != nil {
		t.Fatal(err)
	}
	if w.Dangers(0) != nil {
		t.Errorf("a resistor of 1 W is in danger: %v", w.Dangers(0))
	}
	coil := w.relays[0].coil.ohms
	open := 2.6 * (1 + w.outputs[2].off.ohms/coil)
	both := parallel(coil, r)
	near(t, "off level", w.Truth().Output("OUT3").Low, open*both/(both+w.outputs[2].off.ohms), 1e-9)
	for _, e := range []string{"arm-away", "disarm"} {
		if err := w.Bring(e, time.Second); err != nil {
			t.Fatal(err)
		}
		if l := w.Look(); l.Contacts[0].Active != (e == "arm-away") {
			t.Errorf("after %s: %+v", e, l.Contacts)
		}
	}
	if w, err = panelWorld(t, "", "resistor K1 220 ohm"); err != nil {
		t.Fatal(err)
	}
	high := w.Truth().Output("OUT3").High
	d := w.Dangers(0)
	if len(d) != 1 || d[0].Code != circuit.Burns || d[0].Limit != 0.25 || math.Abs(d[0].Value-high*high/r) > 1e-9 {
		t.Errorf("220 ohm of 0.25 W at %g V: %+v", high, d)
	}
}

// The wires at a coil's ends that change places are found at the other ends.
func TestChange_TurnCoil(t *testing.T) {
	for change, end := range map[string]string{"": "K1.A1", "swap K1.A1 K1.A2": "K1.A2", "swap A2 A1,swap A1 A2": "K1.A1"} {
		w, err := panelWorld(t, "", change)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range []string{"K1.A1", "K1.A2"} {
			r, err := meter.New(3).Read(solved(t, w, SupplyOff), meter.Continuity, "panel.OUT3", p)
			if err != nil || r.Beeps != (p == end) {
				t.Errorf("%q: OUT3 to %s: %v, %v", change, p, r, err)
			}
		}
	}
}

// A bench supply stands at its voltage, and the outputs as far below it as before, whatever was
// on when it was put in.
func TestChange_Supply(t *testing.T) {
	for _, rig := range rigfile.Builtin()[:2] {
		for _, high := range []bool{false, true} {
			opts := programmed(rig, Opts{Seed: 4, Initial: map[string]bool{rig.Outputs[0].Name: high}})
			before, err := NewWorld(rig, opts)
			if err != nil {
				t.Fatal(err)
			}
			opts.Changes = []Change{{Kind: SetSupply, Value: 11}}
			w, err := NewWorld(rig, opts)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "supply", w.ownSupply(), 11, 1e-9)
			for i, o := range w.outputs {
				near(t, o.name, 11-o.on.volts, before.ownSupply()-before.outputs[i].on.volts, 1e-9)
				near(t, o.name+" when off", o.off.volts/before.outputs[i].off.volts, 11/before.ownSupply(), 1e-9)
			}
		}
	}
}

// What breaks something is told as figures.
func TestChange_Dangers(t *testing.T) {
	for _, c := range []struct {
		change string
		codes  []circuit.DangerCode
	}{
		{"supply 24 V", []circuit.DangerCode{circuit.HighSupply}}, {"supply 15 V", nil}, {"supply 5 V", nil},
		{"join OUT1 OUT2", []circuit.DangerCode{circuit.Shorted}}, {"join 0V", nil},
		{"resistor K1 10 ohm 50 W", []circuit.DangerCode{circuit.Shorted}},
		{"resistor K1 10 ohm", []circuit.DangerCode{circuit.Burns, circuit.Shorted}},
		{"swap A1 A2", []circuit.DangerCode{circuit.Shorted}}, {"swap OUT1 OUT2", nil}, {"board K1", nil},
	} {
		w, err := panelWorld(t, "", c.change)
		if err != nil {
			t.Fatal(err)
		}
		var codes []circuit.DangerCode
		for _, d := range w.Dangers(0) {
			codes = append(codes, d.Code)
			if !(d.Value > d.Limit) || d.Place == "" {
				t.Errorf("%s: %+v", c.change, d)
			}
		}
		if !reflect.DeepEqual(codes, c.codes) {
			t.Errorf("%s: %v instead of %v", c.change, codes, c.codes)
		}
		if w.Dangers(1) != nil || w.Dangers(-1) != nil {
			t.Error("changes that were not done are dangerous")
		}
	}
}

// All of a bench that is the unit's goes along with a terminal, and nothing else.
func TestChange_TerminalComplete(t *testing.T) {
	wired := map[string]bool{}
	for _, name := range []string{"name", "index", "relay", "terminal", "turn", "fed", "fedAt", "present", "sense", "loose", "parts", "share", "lift", "edge",
		"swing", "swungAt", "ring", "joined"} {
		wired[name] = true
	}
	x := reflect.TypeFor[output]()
	for i := range x.NumField() {
		if !wired[x.Field(i).Name] {
			t.Errorf("output.%s: say whether it goes along when wires change places", x.Field(i).Name)
		}
	}
}

func TestChange_Refused(t *testing.T) {
	for _, c := range []struct{ change, says string }{
		{"", ""}, {"sawp OUT3 OUT4", "swap"}, {"swap OUT3", "must name two"}, {"swap OUT3 OUT3", "two terminals"}, {"swap OUT3 OUT9", "no point"},
		{"swap OUT3 K1.NO", "must name two outputs"}, {"swap K1.A1 K1.NO", "must name two outputs"},
		{"address OUT3 9", "8 outputs"}, {"address OUT3 0", "whole number"}, {"address OUT3 x", "whole number"}, {"address OUT4 3", "not programmed"}, {"address OUT3", "number"},
		{"programme OUT9", "OUT"}, {"programme OUT2", "not programmed"}, {"supply 31 V", "30 V"}, {"supply 12", "unit"}, {"supply -1 V", "0 V"},
		{"resistor K1", "resistance"}, {"resistor K1 5", "unit"}, {"resistor K2 1 kohm", "K1"}, {"resistor K1 0.1 ohm", "1 ohm"}, {"resistor K1 1 kohm 1 kW", "W"}, {"resistor K1 1 kohm 1 mW", "W"},
		{"board K2", "K1"}, {"join OUT3 rig.OUT3", "0 V"}, {"join OUT3 OUT3", "different"}, {"part OUT3 0V", "OUT"}, {"replace OUT3 rig.OUT4", "no wire"}, {"replace OUT3 x", "no point"},
		{"polarity REF", "high or low"}, {"polarity REF up", "high or low"}, {"polarity REV high", "REF"}, {"supply " + strings.Repeat("1", 300), "must have a word"},
	} {
		if c.change == "" {
			if _, err := ParseChange(" "); err == nil {
				t.Error("nothing is a change")
			}
			continue
		}
		if w, err := panelWorld(t, "", c.change); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: %v, %v", c.change, w != nil, err)
		}
	}
	if _, err := panelWorld(t, "", "join OUT1 OUT2,join OUT2 OUT3"); err == nil {
		t.Error("three outputs are joined")
	}
	rig := rigfile.Builtin()[2]
	if _, err := NewWorld(rig, Opts{Changes: []Change{{Kind: SetSupply, Value: 12}}}); err == nil {
		t.Error("two set the unit's supply")
	}
	if _, err := NewWorld(rig, Opts{Changes: []Change{{Kind: "paint"}}}); err == nil {
		t.Error("a bench is painted")
	}
}

// What is listed as possible can be done, and is written as it is read.
func TestChanges_Listed(t *testing.T) {
	for _, rig := range rigfile.Builtin() {
		opts := programmed(rig, Opts{Seed: 2})
		kinds := map[ChangeKind]bool{}
		for _, info := range PossibleChanges(rig, opts) {
			kinds[info.Kind] = true
			for _, c := range info.Choices {
				x := opts
				x.Changes = []Change{c}
				if _, err := NewWorld(rig, x); err != nil {
					t.Errorf("%s: %v", rig.Name, err)
				}
				if back, err := ParseChange(c.String()); err != nil || back != c {
					t.Errorf("%s: %q is read as %+v, %v", rig.Name, c, back, err)
				}
			}
		}
		// A bench that switches coils itself has no programme, one output and no reference; one
		// that sets its supply needs nobody to.
		want := map[string]int{"panel": len(changeForms), "relay": len(changeForms) - 4, "supply": len(changeForms) - 5}[rig.Name]
		if len(kinds) != want {
			t.Errorf("%s: %v", rig.Name, kinds)
		}
	}
}

// FuzzParseChange: whatever is read is written so that it is read again, and nothing that a
// bench is given makes it fall over.
func FuzzParseChange(f *testing.F) {
	for _, s := range []string{"swap OUT3 OUT4", "address OUT3 5", "supply 13.8 V", "resistor K1 680 ohm 0.5 W", "resistor K1 4k7", "board K1", "join 0V", "join 0V rig.0V", "polarity REF low", "replace K1.COM rig.0V", "swap NO NC", "supply 13,8 V"} {
		f.Add(s)
	}
	rig := rigfile.Builtin()[0]
	f.Fuzz(func(t *testing.T, s string) {
		c, err := ParseChange(s)
		if err != nil {
			return
		}
		back, err := ParseChange(c.String())
		if err != nil || back.String() != c.String() {
			t.Fatalf("%q is written as %q and read as %+v, %v", s, c, back, err)
		}
		w, err := NewWorld(rig, Opts{Programme: armed, Changes: []Change{c}})
		if err != nil {
			return
		}
		if _, err := w.Network(SupplyOn).Solve(); err != nil {
			t.Fatalf("%q: %v", c, err)
		}
	})
}
