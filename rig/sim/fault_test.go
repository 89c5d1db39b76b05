package sim

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/problem"
	"makebreak/rig/wiring"
)

// seen is what a run of four cycles with faults planted shows, cycle by cycle.
type seen struct {
	*station
	armed, disarmed []capture.Instant
	end             capture.Instant
}

func look(t *testing.T, cycles int, faults ...Fault) *seen {
	t.Helper()
	s := &seen{station: newStation(t, Opts{Seed: 42, Faults: faults})}
	s.run(500 * time.Millisecond)
	for range cycles {
		s.armed = append(s.armed, s.pulse(lineAway, 2*time.Second))
		s.disarmed = append(s.disarmed, s.pulse(lineOff, 2*time.Second))
	}
	s.end = s.w.Now()
	return s
}

// on returns the mean of an output while armed in a cycle, once settled, and off
// while disarmed.
func (s *seen) on(out string, cycle int) float64 {
	return s.volts(out, s.armed[cycle].Add(400*time.Millisecond), s.disarmed[cycle])
}

func (s *seen) off(out string, cycle int) float64 {
	end := s.end
	if cycle+1 < len(s.armed) {
		end = s.armed[cycle+1]
	}
	return s.volts(out, s.disarmed[cycle].Add(400*time.Millisecond), end)
}

// contact returns the edges of a contact line from one instant to another.
func (s *seen) contact(index int, from, to capture.Instant) []line.Edge {
	var all []line.Edge
	for _, e := range s.edges {
		if e.Line == index && e.At >= from && e.At < to {
			all = append(all, e)
		}
	}
	return all
}

// change returns the relay's travel at an event's index, 1 for the first.
func (s *seen) change(event int) Travel {
	s.t.Helper()
	e := s.w.Truth().Events[event]
	if len(e.Changes) != 1 {
		s.t.Fatalf("event %d: %+v", event, e.Changes)
	}
	return e.Changes[0]
}

// spread returns the lowest and the highest sample of an output in a time.
func (s *seen) spread(out string, from, to capture.Instant) (low, high float64) {
	low, high = 1e9, -1e9
	for _, x := range s.samples[out] {
		if x.at >= from && x.at < to {
			low, high = min(low, x.volts), max(high, x.volts)
		}
	}
	return low, high
}

func (s *seen) want(ok bool, format string, args ...any) {
	s.t.Helper()
	if !ok {
		s.t.Errorf(format, args...)
	}
}

func mustParse(t *testing.T, texts ...string) []Fault {
	t.Helper()
	var all []Fault
	for _, x := range texts {
		f, err := ParseFault(x)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, f)
	}
	return all
}

// Each fault shows what it says, and the bench without it does not.
var shows = map[string]func(s *seen) (shown bool){
	"wrong-address": func(s *seen) bool {
		return s.on("OUT3", 0) < 1 && len(s.edgesOf(lineNO)) == 0 && crossed(s, "OUT4")
	},
	"wrong-address=OUT1": func(s *seen) bool { return s.on("OUT3", 0) < 1 && s.on("OUT1", 0) > 13 },
	"stuck-low":          func(s *seen) bool { return s.on("OUT3", 0) < 1 && s.off("OUT3", 0) < 1 },
	"stuck-low=OUT3":     func(s *seen) bool { return s.on("OUT3", 1) < 1 },
	"stuck-high":         func(s *seen) bool { return s.on("OUT3", 0) > 13 && s.off("OUT3", 0) > 13 },
	"stuck-high=OUT1":    func(s *seen) bool { return s.off("OUT1", 0) > 13 && s.on("OUT3", 0) > 13 },
	"inverted": func(s *seen) bool {
		return s.volts("OUT3", Start, s.armed[0]) > 13 && s.on("OUT3", 0) < 1 && s.off("OUT3", 0) > 13
	},
	"slow-delay": func(s *seen) bool {
		c := s.change(1)
		return c.Crossed.Sub(s.armed[0]) > 700*time.Millisecond
	},
	"slow-delay=2 s": func(s *seen) bool { return s.on("OUT3", 0) < 1 },
	"missed-cycle": func(s *seen) bool {
		return s.on("OUT3", 0) > 13 && s.on("OUT3", 1) > 13 && s.on("OUT3", 2) < 1 && s.on("OUT3", 3) > 13
	},
	"early-fall": func(s *seen) bool {
		return s.volts("OUT3", s.armed[0].Add(400*time.Millisecond), s.armed[0].Add(time.Second)) > 13 &&
			s.volts("OUT3", s.armed[0].Add(1300*time.Millisecond), s.disarmed[0]) < 1
	},
	"weak-supply": func(s *seen) bool { return s.on("OUT3", 0) > 8.5 && s.on("OUT3", 0) < 9.6 },
	"hum": func(s *seen) bool {
		low, high := s.spread("OUT3", s.armed[0].Add(400*time.Millisecond), s.disarmed[0])
		quiet, loud := s.spread("OUT3", Start, s.armed[0])
		return high-low > 0.85 && high-low < 0.95 && loud-quiet < 0.02
	},
	"droop=0.5 V/s": func(s *seen) bool {
		at := s.armed[0]
		fallen := s.volts("OUT3", at.Add(400*time.Millisecond), at.Add(410*time.Millisecond)) -
			s.volts("OUT3", at.Add(1400*time.Millisecond), at.Add(1410*time.Millisecond))
		return fallen > 0.45 && fallen < 0.53
	},
	"droop=9 V/s": func(s *seen) bool {
		low, _ := s.spread("OUT3", s.armed[0].Add(1500*time.Millisecond), s.disarmed[0])
		return low > 7 && low < 8.5 // the floor
	},
	"holding-in": func(s *seen) bool {
		return s.off("OUT3", 0) > 2.5 && s.off("OUT3", 0) < 2.7 &&
			len(s.edgesOf(lineNO)) > 0 && len(s.contact(lineNC, s.disarmed[0], s.end)) == 0
	},
	"high-off-level": func(s *seen) bool {
		return s.off("OUT3", 0) > 1.6 && s.off("OUT3", 0) < 1.8 && !s.change(2).In
	},
	"loose-wire": func(s *seen) bool {
		gone := 0
		for _, x := range s.samples["OUT3"] {
			if x.volts < 0.1 && x.volts > -0.1 {
				gone++
			}
		}
		return gone > 17 && gone < len(s.samples["OUT3"])/4
	},
	"swapped-contacts": func(s *seen) bool {
		e := s.contact(lineNO, s.armed[0], s.disarmed[0])
		return len(e) > 0 && !e[0].Active
	},
	"dead-relay": func(s *seen) bool { return s.on("OUT3", 0) > 13 && len(s.edgesOf(lineNO))+len(s.edgesOf(lineNC)) == 0 },
	"welded": func(s *seen) bool {
		no := s.contact(lineNO, s.disarmed[0], s.end)
		nc := s.contact(lineNC, s.disarmed[0], s.end)
		return s.off("OUT3", 0) < 1 && len(s.edgesOf(lineNO)) > 0 && len(no)+len(nc) == 0
	},
	"weak-contact": func(s *seen) bool {
		settled := s.armed[0].Add(200 * time.Millisecond)
		var closed time.Duration
		e := s.contact(lineNO, settled, s.disarmed[0])
		for i := range e {
			if i > 0 && !e[i].Active {
				closed += e[i].At.Sub(e[i-1].At)
			}
		}
		share := closed.Seconds() / s.disarmed[0].Sub(settled).Seconds()
		return len(e) > 20 && share > 0.005 && share < 0.2
	},
	"slow-release": func(s *seen) bool {
		c := s.change(2)
		return c.Time > 28*time.Millisecond && c.Time < 32*time.Millisecond
	},
	"long-bounce": func(s *seen) bool {
		b := s.change(1).Closing
		return b.Time > 11*time.Millisecond && b.Time <= 12*time.Millisecond && b.Count > 8
	},
	"chatter": func(s *seen) bool {
		from, to := s.armed[0].Add(250*time.Millisecond), s.disarmed[0]
		return len(s.contact(lineNO, from, to)) > 20 && len(s.contact(lineNC, from, to)) > 20
	},
	"lost-edges": func(s *seen) bool {
		lost := uint64(0)
		for _, i := range []int{lineNO, lineNC} {
			var l line.Ledger
			for _, e := range s.edgesOf(i) {
				lost += uint64(l.Add(e).Edges())
			}
		}
		return lost > 3
	},
	"lost-ready-edges": func(s *seen) bool {
		longer, n := 0, s.samples["OUT3"]
		for i := 1; i < len(n); i++ {
			if n[i].at.Sub(n[i-1].at) > 2*time.Millisecond { // two conversions instead of one
				longer++
			}
		}
		return longer > len(n)/6-2 && longer < len(n)/6+2
	},
	"merged-edges": func(s *seen) bool {
		gap := false
		told, real := 0, 0
		for _, i := range []int{lineNO, lineNC} {
			for n, e := range s.edgesOf(i) {
				gap = gap || e.Seq != uint32(n+1)
				told++
			}
		}
		for _, e := range s.w.Truth().Events {
			real += len(e.Edges)
		}
		return !gap && told < real
	},
	"adc-lost=2 s": func(s *seen) bool {
		n := s.samples["OUT3"]
		return n[len(n)-1].at < Start.Add(2010*time.Millisecond) && s.samples["OUT1"][len(s.samples["OUT1"])-1].at > s.end.Add(-10*time.Millisecond)
	},
	"chip-reset=2 s": func(s *seen) bool {
		n := s.samples["OUT3"]
		return n[len(n)-1].at < Start.Add(2010*time.Millisecond) && s.devs[2].Verify() != nil
	},
	"bus-noise":       func(s *seen) bool { return s.devs[0].Counts() > 100 && s.readErr == nil },
	"slow-oscillator": func(s *seen) bool { return s.rate() > 860/1.1-2 && s.rate() < 860/1.1+2 },
	"one-arming": func(s *seen) bool { // the other way of arming does nothing
		s.w.Act("arm-stay")
		s.run(time.Second)
		return s.on("OUT3", 0) > 13 && !s.w.output("OUT3").high
	},
	"one-arming=arm-stay": func(s *seen) bool {
		s.w.Act("arm-stay")
		s.run(time.Second)
		return s.on("OUT3", 0) < 1 && s.w.output("OUT3").high
	},
	"joined-outputs": func(s *seen) bool {
		// 13.5 V behind 12 ohm, loaded by the coil and by what 1 kohm of the other takes.
		return crossed(s, "OUT4") && s.on("OUT3", 0) < 13.1 && s.off("OUT3", 0) < 1
	},
	"joined-outputs=OUT1@OUT3": func(s *seen) bool { return s.on("OUT1", 0) > 12 && s.off("OUT1", 0) < 1 },
	"coil-joint": func(s *seen) bool { // too little is left for the coil, the output is good
		return s.on("OUT3", 0) > 13.2 && len(s.edgesOf(lineNO)) == 0
	},
	"coil-joint=100 ohm": func(s *seen) bool {
		return s.change(1).In && s.on("OUT3", 0) > 13.2
	},
	"coil-open": func(s *seen) bool { // nothing loads the output: it stands at its open voltages
		return s.on("OUT3", 0) > 13.3 && s.off("OUT3", 0) > 2 && len(s.edgesOf(lineNO))+len(s.edgesOf(lineNC)) == 0
	},
	"shorted-turns": func(s *seen) bool { return s.on("OUT3", 0) < 12.2 && s.off("OUT3", 0) < 0.3 && s.change(1).In },
	"no-flyback": func(s *seen) bool {
		low, _ := s.spread("OUT3", s.disarmed[0], s.disarmed[0].Add(200*time.Millisecond))
		return low < -1.1 && s.change(2).Time < 4*time.Millisecond
	},
	"reversed-flyback": func(s *seen) bool {
		return s.on("OUT3", 0) > 0.7 && s.on("OUT3", 0) < 1.1 && len(s.edgesOf(lineNO)) == 0
	},
	"weak-battery": func(s *seen) bool { return s.on("OUT3", 0) > 11 && s.on("OUT3", 0) < 12 && s.off("OUT3", 0) > 0.5 },
	"ground-open": func(s *seen) bool { // one of six outputs is on: the rig's 0 V is at a sixth of it
		return s.on("OUT3", 0) > 10 && s.on("OUT3", 0) < 11.2 && s.on("OUT1", 0) < -1.4 && math.Abs(s.off("OUT3", 0)) < 0.1
	},
	"common-open": func(s *seen) bool {
		open := len(s.edgesOf(lineNO))+len(s.edgesOf(lineNC)) == 0
		nc, _ := s.set.Active(lineNC)
		return open && !nc && s.on("OUT3", 0) < 13.3
	},
	"oxidised-contact": func(s *seen) bool {
		return s.closedShare(lineNO) < 0.2 && s.change(1).In && len(s.edgesOf(lineNC)) > 0
	},
	"oxidised-contact=30 kohm": func(s *seen) bool { // between the input's two thresholds now and then
		share := s.closedShare(lineNO)
		return share > 0.1 && share < 0.95 && len(s.edgesOf(lineNO)) > 20
	},
	"creeping-operate=5 s": func(s *seen) bool { // 5 ms more each time
		return s.change(3).Time-s.change(1).Time > 4*time.Millisecond && s.change(7).Time-s.change(1).Time > 14*time.Millisecond
	},
	"wearing-bounce=5 s": func(s *seen) bool {
		return s.change(7).Closing.Time-s.change(1).Closing.Time > 10*time.Millisecond
	},
	"sticking=4": func(s *seen) bool {
		first, third := s.change(2).Time, s.change(6).Time
		return third > first+15*time.Millisecond && third < 80*time.Millisecond && len(s.w.Truth().Events[8].Changes) == 0
	},
	"reference-inverted": func(s *seen) bool {
		e := s.contact(lineREF, s.armed[0], s.disarmed[0])
		return len(e) == 2 && !e[0].Active && e[1].Active && e[1].At.Sub(e[0].At) > 200*time.Millisecond
	},
	"fast-oscillator=5 %": func(s *seen) bool {
		return s.rate() > 860/0.95-2 && s.rate() < 860/0.95+2
	},
}

// closedShare is the share of the times armed in which a contact's line reads closed.
func (s *seen) closedShare(index int) float64 {
	var closed, all time.Duration
	for i, at := range s.armed {
		from, to := at.Add(200*time.Millisecond), s.disarmed[i]
		is := false
		last := from
		for _, e := range s.contact(index, at, to) {
			if e.At > from {
				if is {
					closed += e.At.Sub(last)
				}
				last = e.At
			}
			is = e.Active
		}
		if is {
			closed += to.Sub(last)
		}
		all += to.Sub(from)
	}
	return closed.Seconds() / all.Seconds()
}

func (s *seen) edgesOf(index int) []line.Edge { return s.contact(index, 0, s.end+1) }

// rate returns the conversions a second of OUT3's converter.
func (s *seen) rate() float64 {
	n := s.samples["OUT3"]
	return float64(len(n)-1) / n[len(n)-1].at.Sub(n[0].at).Seconds()
}

func crossed(s *seen, out string) bool {
	for _, e := range s.w.Truth().Events {
		for _, c := range e.Crossings {
			if c.Output == out {
				return true
			}
		}
	}
	return false
}

func TestFaults_ShowThemselves(t *testing.T) {
	for text, shown := range shows {
		t.Run(text, func(t *testing.T) {
			s := look(t, 4, mustParse(t, text)...)
			if !shown(s) {
				t.Error("the fault does not show")
			}
			if healthy := look(t, 4); !t.Failed() && shown(healthy) {
				t.Error("the healthy bench shows it too")
			}
		})
	}
}

func TestFaults_AllAreTested(t *testing.T) {
	tested := map[string]bool{"supply-reset": true, "wrong-pulse": true} // TestFault_SupplyReset, TestFault_WrongPulse
	for text := range shows {
		name, _, _ := strings.Cut(strings.ReplaceAll(text, "@", "="), "=")
		tested[name] = true
	}
	for _, f := range Faults() {
		if !tested[f.Name] {
			t.Errorf("%s is not tested", f.Name)
		}
		if f.About == "" || strings.ContainsAny(f.About, "\n.") || (f.Value == NoValue) != (f.Usual == "") {
			t.Errorf("%s is described badly: %+v", f.Name, f)
		}
	}
}

func TestFaults_Compose(t *testing.T) {
	s := look(t, 4, mustParse(t, "stuck-high=OUT1", "slow-release=40 ms", "missed-cycle=2", "bus-noise=25", "hum")...)
	s.want(s.on("OUT1", 0) > 13, "OUT1 is not stuck")
	c := s.change(2)
	s.want(c.Time > 42*time.Millisecond, "the release takes %v", c.Time)
	s.want(s.on("OUT3", 1) < 1, "no cycle is missed")
	s.want(s.devs[0].Counts() > 100, "the bus is quiet")
}

// A fault in one place leaves what is drawn elsewhere as it was.
func TestFaults_LeaveTheRestAlone(t *testing.T) {
	a, b := look(t, 2), look(t, 2, mustParse(t, "long-bounce", "loose-wire")...)
	for i := range a.armed {
		if a.armed[i] != b.armed[i] {
			t.Errorf("cycle %d begins at another time", i)
		}
	}
	ea, eb := a.w.Truth().Events, b.w.Truth().Events
	for i := range ea {
		for j := range ea[i].Crossings {
			if ea[i].Crossings[j] != eb[i].Crossings[j] {
				t.Errorf("%s: %+v and %+v", ea[i].Name, ea[i].Crossings[j], eb[i].Crossings[j])
			}
		}
	}
}

func TestFaults_Initial(t *testing.T) {
	rules := []Rule{{Output: "OUT3", Event: "arm-away", Do: GoLow}, {Output: "OUT3", Event: "disarm", Do: GoHigh}}
	for text, want := range map[string]bool{"weak-contact": true, "chatter": true, "inverted": false, "stuck-low": false, "wrong-address": false, "welded": true} {
		s := newStation(t, Opts{Seed: 5, Programme: rules, Initial: map[string]bool{"OUT3": true}, Faults: mustParse(t, text)})
		s.run(500 * time.Millisecond)
		if high := s.volts("OUT3", Start, s.w.Now()) > 6; high != want {
			t.Errorf("%s: OUT3 begins high %v", text, high)
		}
		if text == "weak-contact" || text == "chatter" {
			if len(s.edges) < 5 {
				t.Errorf("%s: %d edges before the first event", text, len(s.edges))
			}
		}
	}
}

func TestParseFault(t *testing.T) {
	for _, c := range []struct {
		text string
		want Fault
	}{
		{"stuck-low", Fault{Name: "stuck-low"}},
		{"stuck-low=OUT5", Fault{Name: "stuck-low", Output: "OUT5"}},
		{"slow-release", Fault{Name: "slow-release", Value: 0.025}},
		{"slow-release=40 ms", Fault{Name: "slow-release", Value: 0.04}},
		{" weak-supply = 9 V", Fault{Name: "weak-supply", Value: 9}},
		{"droop=200 mV/s", Fault{Name: "droop", Value: 0.2}},
		{"missed-cycle=4", Fault{Name: "missed-cycle", Value: 4}},
		{"slow-oscillator=3 %", Fault{Name: "slow-oscillator", Value: 0.03}},
		{"stuck-low@OUT5", Fault{Name: "stuck-low", Place: "OUT5"}},
		{"wrong-address=OUT1@OUT5", Fault{Name: "wrong-address", Output: "OUT1", Place: "OUT5"}},
		{" slow-release = 40 ms @ K2 ", Fault{Name: "slow-release", Value: 0.04, Place: "K2"}},
	} {
		got, err := ParseFault(c.text)
		if err != nil || got != c.want {
			t.Errorf("%q: %+v (%v), want %+v", c.text, got, err, c.want)
		}
	}
	for text, want := range map[string]string{
		"":                      "wrong-address, inverted",
		"rust":                  `fault "rust" is not known: use one of: wrong-address`,
		"chatter=3":             `fault chatter takes no value, not "3"`,
		"stuck-low=":            "an output's name is missing after the equals sign",
		"weak-supply=9":         "has no unit: write 9 V",
		"weak-supply=-9 V":      "more than 0 and at most 30 V",
		"weak-supply=900V":      "more than 0 and at most 30 V",
		"slow-release=0 s":      "more than 0",
		"missed-cycle=0":        "must be a whole number, 1 or more",
		"missed-cycle=1.5":      "must be a whole number, 1 or more",
		"droop=1 V":             "write it as in 0.3 V/s",
		"droop=x/s":             "is not a voltage",
		"hum@OUT3":              `fault hum: it is of the whole bench and has no place, not "OUT3"`,
		"welded@":               "fault welded: a relay is missing after the @",
		"hum=1 V@":              "has no place",
		"slow-release@K1=40 ms": "the value comes before the place: write slow-release=VALUE@PLACE",
		"stuck-low@OUT 3":       `"OUT 3" must be an output of the rig: a name has no ' '`,
		"stuck-low=OUT3@OUT4":   "the output is named twice: write stuck-low@OUT4",
	} {
		if _, err := ParseFault(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q in it", text, err, want)
		}
	}
}

func TestFault_StringIsReadBack(t *testing.T) {
	for _, f := range Faults() {
		got, err := ParseFault(f.Name)
		if err != nil {
			t.Fatal(err)
		}
		if f.Place != WholeBench {
			got.Place = "K1"
		}
		again, err := ParseFault(got.String())
		if err != nil || again != got {
			t.Errorf("%s: written %q, read %+v (%v)", f.Name, got, again, err)
		}
	}
}

func FuzzParseFault(f *testing.F) {
	for _, x := range []string{"stuck-low=OUT1", "droop=0.3 V/s", "slow-release=25 ms", "missed-cycle=3", "hum=1e3 V", "slow-oscillator=10 %", "=", "chatter", "stuck-high@OUT2", "wrong-address=OUT1@OUT5", "@"} {
		f.Add(x)
	}
	f.Fuzz(func(t *testing.T, s string) {
		x, err := ParseFault(s)
		if err != nil {
			return
		}
		again, err := ParseFault(x.String())
		if err != nil {
			t.Fatalf("%q is read as %+v, written as %q and not read again: %v", s, x, x.String(), err)
		}
		if again.Name != x.Name || again.Output != x.Output || again.Place != x.Place {
			t.Fatalf("%q: %+v, then %+v", s, x, again)
		}
	})
}

// Values that are said to be met on a bench can be planted, from the lowest to the highest,
// and groups stand together.
func TestFaults_Ranges(t *testing.T) {
	group := 0
	groups := []FaultGroup{InPanel, InOutput, InSupply, InWiring, InRelay, InContacts, InRig}
	for _, f := range Faults() {
		p := lookUp(f.Name)
		switch usual := p.preset; {
		case !f.Value.Measured():
			if f.Lowest != 0 || f.Highest != 0 {
				t.Errorf("%s has a range and no number", f.Name)
			}
		case !(f.Lowest > 0 && f.Lowest < f.Highest && f.Lowest <= usual && usual <= f.Highest):
			t.Errorf("%s: from %g to %g, usually %g", f.Name, f.Lowest, f.Highest, usual)
		case f.Value.check(f.Name, f.Highest, p.most) != nil:
			t.Errorf("%s: %v", f.Name, f.Value.check(f.Name, f.Highest, p.most))
		}
		at := slices.Index(groups, f.Group)
		if at < group {
			t.Errorf("%s is in group %q, not where that is listed", f.Name, f.Group)
		}
		group = at
	}
}

// A fault sits where it is said to, and nowhere else. Of a place that the bench does not
// have, or that cannot have the fault, it is said what would be right.
func TestFaults_Places(t *testing.T) {
	rig := panelRig()
	rig.Contacts = append(rig.Contacts, line.Line{Name: "K2_NO"}, line.Line{Name: "K2_NC"})
	opts := func(texts ...string) Opts {
		two := []Rule{{Output: "OUT5", Event: "arm-away", Do: GoHigh}, {Output: "OUT5", Event: "disarm", Do: GoLow}}
		return Opts{Seed: 1, Programme: append(slices.Clone(armedHigh), two...), Faults: mustParse(t, texts...)}
	}
	for text, at := range map[string]func(w *World) bool{
		"stuck-high@OUT5":         func(w *World) bool { return w.output("OUT5").stuck && !w.output("OUT3").stuck },
		"inverted@OUT6":           func(w *World) bool { return w.output("OUT6").inverted && !w.output("OUT3").inverted },
		"missed-cycle@OUT5":       func(w *World) bool { return w.output("OUT5").miss == 3 && w.output("OUT3").miss == 0 },
		"wrong-address=OUT1@OUT5": func(w *World) bool { return moved(w, "OUT1") && moved(w, "OUT3") && !moved(w, "OUT5") },
		"welded@K2":               func(w *World) bool { return w.relays[1].welded && !w.relays[0].welded },
		"welded":                  func(w *World) bool { return w.relays[0].welded && !w.relays[1].welded },
		"swapped-contacts@K2":     func(w *World) bool { return w.relays[1].makes.name == "K2_NC" && w.relays[0].makes.name == "K1_NO" },
		"high-off-level@OUT5":     func(w *World) bool { return w.output("OUT5").level(false) > 1.6 && w.output("OUT3").level(false) < 1 },
	} {
		w, err := NewWorld(rig, opts(text))
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		if w.relays[1].name != "K2" || w.relays[1].out.name != "OUT5" {
			t.Fatal("K2 is not behind OUT5")
		}
		w.Act("arm-away")
		w.listen()
		w.AdvanceTo(w.Now().Add(2 * time.Second))
		if !at(w) {
			t.Errorf("%s is elsewhere", text)
		}
	}
	for text, want := range map[string]string{
		"stuck-low@OUT9":    `fault stuck-low: the rig has no output "OUT9": use one of: OUT1, OUT2`,
		"welded@K9":         `fault welded: the bench has no relay "K9": use one of: K1, K2`,
		"chatter@OUT3":      `fault chatter: the bench has no relay "OUT3": use one of: K1, K2`,
		"missed-cycle@OUT6": `fault missed-cycle: OUT6 is not switched by the panel: use one of: OUT3, OUT5`,
	} {
		_, err := NewWorld(rig, opts(text))
		if err == nil || !strings.Contains(err.Error(), want) || problem.KindOf(err) != problem.Usage {
			t.Errorf("%s: %v of kind %v, want %q", text, err, problem.KindOf(err), want)
		}
	}
}

// moved reports whether the panel has switched an output on.
func moved(w *World, name string) bool { return w.output(name).high }

// An output that a drive switches cannot be the panel's mistake, and an output that is stuck
// keeps its state though it is inverted as well.
func TestPlant_Conditions(t *testing.T) {
	driven := panelRig()
	driven.Drives = append(driven.Drives, wiring.Drive{Line: line.Line{Name: "COIL"}, Coil: true})
	_, err := NewWorld(driven, Opts{Relays: []Relay{{Name: "K1", Output: "OUT1"}}, Faults: []Fault{{Name: "wrong-address"}}})
	if err == nil || !strings.Contains(err.Error(), "OUT1 is switched by a drive") || problem.KindOf(err) != problem.Usage {
		t.Errorf("the wrong address of an output that a drive switches: %v of kind %v", err, problem.KindOf(err))
	}
	for _, faults := range [][]Fault{{{Name: "inverted"}, {Name: "stuck-high"}}, {{Name: "stuck-high"}, {Name: "inverted"}}} {
		w, err := NewWorld(panelRig(), Opts{Exact: true, Programme: armedHigh, Faults: faults})
		if err != nil {
			t.Fatal(err)
		}
		if o := w.firstRule; math.Abs(o.sense.value(int64(Start))-o.level(true)) > 1e-6 {
			t.Errorf("%v: the output stands at %g V, want it on at %g V", faults, o.sense.value(int64(Start)), o.level(true))
		}
	}
}

// Setting a drive takes 4 µs, and the instant is known to half of that.
func TestLines_DriveWithin(t *testing.T) {
	w, err := NewWorld(panelRig(), Opts{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	reqs := testLines(w.rig)
	set, err := w.Lines(reqs)
	if err != nil {
		t.Fatal(err)
	}
	index := slices.IndexFunc(reqs, func(r Request) bool { return r.Role == line.Drive })
	began := w.Now()
	at, within, err := set.Drive(index, true)
	if err != nil || at != began.Add(2*time.Microsecond) || within != 2000 || w.Now() != began.Add(4*time.Microsecond) {
		t.Errorf("driven at %v ± %d ns by %v (%v), want 2 µs ± 2 µs after %v", at, within, w.Now(), err, began)
	}
}

// A pulse of another length than programmed; what is no pulse cannot have it.
func TestFault_WrongPulse(t *testing.T) {
	pulse := []Rule{{Output: "OUT3", Event: "arm-away", Do: PulseHigh, For: time.Second}}
	s := newStation(t, Opts{Seed: 5, Programme: pulse, Faults: mustParse(t, "wrong-pulse=300 ms")})
	s.run(500 * time.Millisecond)
	s.pulse(lineAway, 2*time.Second)
	c := s.w.Truth().Events[1].Crossings
	if len(c) != 2 || c[1].At.Sub(c[0].At) < 299*time.Millisecond || c[1].At.Sub(c[0].At) > 301*time.Millisecond {
		t.Errorf("%+v", c)
	}
	_, err := NewWorld(panelRig(), Opts{Programme: armedHigh, Faults: mustParse(t, "wrong-pulse")})
	if err == nil || !strings.Contains(err.Error(), "OUT3 is not programmed as a pulse") || problem.KindOf(err) != problem.Usage {
		t.Error(err)
	}
	_, err = NewWorld(panelRig(), Opts{Programme: pulse, Faults: mustParse(t, "one-arming")})
	if err == nil || !strings.Contains(err.Error(), "OUT3 is switched by arm-away only") {
		t.Error(err)
	}
	_, err = NewWorld(panelRig(), Opts{Programme: armedHigh, Faults: mustParse(t, "one-arming=disarm")})
	if err == nil || !strings.Contains(err.Error(), `OUT3 does not follow the event "disarm": use one of: arm-away, arm-stay`) {
		t.Error(err)
	}
}
