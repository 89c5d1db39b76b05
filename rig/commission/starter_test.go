package commission

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"makebreak/rig/ads1x15"
	"makebreak/rig/gpioline"
	"makebreak/rig/line"
	"makebreak/rig/problem"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// started is the starter of what a scan found, its text, and the rig that it is. Nothing in it
// may be wrong before anything is filled in.
func started(t *testing.T, found *Found) (*Starter, string, *wiring.Rig) {
	t.Helper()
	s, err := NewStarter(found)
	if err != nil {
		t.Fatal(err)
	}
	return s, textOf(t, s), parsed(t, s)
}

func textOf(t *testing.T, s *Starter) string {
	t.Helper()
	var w strings.Builder
	if err := s.Text(&w); err != nil {
		t.Fatal(err)
	}
	return w.String()
}

func parsed(t *testing.T, s *Starter) *wiring.Rig {
	t.Helper()
	rig, err := rigfile.Parse("rig.yaml", []byte(textOf(t, s)))
	if err != nil {
		t.Fatalf("%v\n%s", err, textOf(t, s))
	}
	if p := rig.Check(); len(p) > 0 {
		t.Errorf("it is doubtful: %v\n%s", p, textOf(t, s))
	}
	return rig
}

// A first rig file takes what answers, and lines that nobody and nothing uses.
func TestStarter(t *testing.T) {
	found := &Found{busIsThere: true, chipIsThere: true, Buses: []FoundBus{scanBus(crowded(t), heldByKernel)}}
	found.Buses[0].Bus = "/dev/i2c-1"
	hz := 100_000
	found.Buses[0].TreeHz = &hz
	chip := mainlinePi4()
	chip.Lines[22].Used = true
	chip.Lines[23].Output = true
	found.take([]gpioline.ChipInfo{chip})
	s, text, rig := started(t, found)
	if rig.Bus != "/dev/i2c-1" || rig.BusHz != hz || len(rig.Chips) != 2 || rig.Chips[0].Address != 0x48 || rig.Chips[1].Model != ads1x15.ADS1115 || len(rig.Outputs) != 8 {
		t.Errorf("%s", text)
	}
	for _, want := range []string{"it may be ADS1015 as well", "# supply: {model: MCP4725, address: 0x62,", "# FILL IN: ready: {line: GPIO17}"} {
		if !strings.Contains(text, want) {
			t.Errorf("it does not say %q:\n%s", want, text)
		}
	}
	var free []string
	for _, l := range s.Free {
		free = append(free, l.LineName)
	}
	want := strings.Fields("GPIO4 GPIO5 GPIO6 GPIO7 GPIO8 GPIO9 GPIO10 GPIO11 GPIO12 GPIO13 GPIO16 GPIO17 GPIO18 GPIO19 GPIO20 GPIO21 GPIO24 GPIO25 GPIO26")
	if !slices.Equal(free, want) {
		t.Errorf("free: %v", free)
	}
	for _, l := range rig.Contacts {
		if !slices.Contains(free, l.LineName) || slices.Contains(usual, l.LineName) {
			t.Errorf("contact at %s", l.LineName)
		}
	}
	s.TakeReady(map[uint16]int{0x48: slices.Index(free, "GPIO17"), 0x49: -1})
	rig = parsed(t, s)
	if r := rig.Chips[0].Ready; r == nil || r.LineName != "GPIO17" || rig.Chips[1].Ready != nil || len(s.Free) != len(want)-1 {
		t.Errorf("%s", textOf(t, s))
	}
}

// Another board's lines are named by their chips, and no line at all is no hindrance.
func TestStarter_OtherBoards(t *testing.T) {
	buses := []FoundBus{{Bus: "/dev/i2c-3", Answers: []Answer{{Address: "0x4A", Converter: true, Models: []string{"ADS1015"}}}},
		{Bus: "/dev/i2c-5", Answers: []Answer{{Address: "0x48", Converter: true, Models: []string{"ADS1115"}}, {Address: "0x49", Converter: true, Models: []string{"ADS1115"}}}}}
	found := &Found{busIsThere: true, chipIsThere: true, Buses: buses}
	found.take([]gpioline.ChipInfo{{Name: "gpiochip1", Label: "soc", Lines: []gpioline.LineInfo{{Offset: 0, Name: "HDR 7: x"}, {Offset: 1, Name: "HDR_11"}, {Offset: 2}}}})
	_, text, rig := started(t, found)
	if rig.Bus != "/dev/i2c-5" || len(rig.Chips) != 2 || len(rig.Contacts) != 2 || rig.Contacts[0].Chip != "gpiochip1" || rig.Contacts[0].LineName != "HDR 7: x" ||
		!strings.Contains(text, "On /dev/i2c-3 there are converters as well") {
		t.Errorf("%s", text)
	}
	found = &Found{busIsThere: true, Buses: buses[:1]}
	if _, text, rig := started(t, found); len(rig.Contacts) != 0 || !strings.Contains(text, "no two lines are free") {
		t.Errorf("%s", text)
	}
}

// Without a converter there is nothing to make a file of, and it says how the first is wired.
func TestStarter_NoConverter(t *testing.T) {
	for want, found := range map[string]*Found{
		"put dtparam=i2c_arm=on into config.txt":              {},
		"VDD to pin 1 (3.3 V), GND to pin 6, SDA to pin 3":    {busIsThere: true, chipIsThere: true, Buses: []FoundBus{{Bus: "/dev/i2c-1"}}},
		"/dev/i2c-1: this user may not open it; put the":      {busIsThere: true, Closed: []string{"/dev/i2c-1: this user may not open it; put the user into the group i2c"}},
		"nothing to make a rig file of\n  /dev/i2c-1: closed": {busIsThere: true, Closed: []string{"/dev/i2c-1: closed"}},
	} {
		if _, err := NewStarter(found); problem.KindOf(err) != problem.Rig || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}

// some is lines of which only a few are wired to something that a simulated world has.
type some struct {
	line.Set
	at []int // of the world's lines, by their index
}

func (s some) Edges(buf []line.Edge) ([]line.Edge, error) {
	n := len(buf)
	buf, err := s.Set.Edges(buf)
	for i := range buf[n:] {
		buf[n+i].Line = s.at[buf[n+i].Line]
	}
	return buf, err
}

// The line that ticks at a converter's rate is its ready line; the converter is as after
// power-up then. Lines that nothing ticks at, and one at which two converters are, are none.
func TestFindReady(t *testing.T) {
	rig := rigfile.Builtin()[0]
	rig.Chips[1].Ready = nil
	world, err := sim.NewWorld(rig, sim.Opts{Seed: 3, Faults: []sim.Fault{{Name: "fast-oscillator", Value: 0.1}}})
	if err != nil {
		t.Fatal(err)
	}
	lines := []line.Line{{LineName: "GPIO4", Number: -1}, {LineName: "GPIO24", Number: -1}, {LineName: "GPIO5", Number: -1}, {LineName: "GPIO17", Number: -1}}
	opened := 0
	open := func(reqs []line.Request) (line.Set, error) {
		opened++
		for _, r := range reqs {
			if r.Role != line.Ready || r.Line.Pull != line.PullKept || !r.Line.ActiveLow {
				t.Errorf("asked for %+v", r)
			}
		}
		a, c := rig.Chips[0].Ready, rig.Chips[2].Ready
		set, err := world.Lines([]line.Request{{Line: *a, Role: line.Ready}, {Line: *c, Role: line.Ready}})
		return some{set, []int{3, 1}}, err
	}
	var chips []ReadyChip
	for _, c := range rig.Chips {
		chips = append(chips, ReadyChip{c.Address, c.Model})
	}
	found, err := FindReady(t.Context(), world.Bus(), chips, lines, open)
	if err != nil || found[0x48] != 3 || found[0x49] != -1 || found[0x4A] != 1 || opened != 1 {
		t.Errorf("%v, %v; opened %d times", found, err, opened)
	}
	for _, c := range chips {
		if id, err := identityAt(world.Bus(), c.Address); err != nil || !strings.HasSuffix(id.String(), "configuration 8583h, thresholds 8000h and 7FFFh") {
			t.Errorf("%#x is left at %s, %v", c.Address, id, err)
		}
	}
	if _, err := FindReady(t.Context(), world.Bus(), []ReadyChip{{0x4B, ads1x15.ADS1115}}, lines, open); err == nil {
		t.Error("a converter that is not there is no error")
	}
	busy := errors.New("in use")
	if _, err := FindReady(t.Context(), world.Bus(), chips, lines, func([]line.Request) (line.Set, error) { return nil, busy }); !errors.Is(err, busy) {
		t.Errorf("lines in use: %v", err)
	}
}
