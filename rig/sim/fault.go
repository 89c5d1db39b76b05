package sim

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"makebreak/rig/capture"
	"makebreak/rig/problem"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// Fault is one fault to plant. A zero Value stands for the fault's usual one, an
// empty Output for the first output that is programmed.
type Fault struct {
	Name   string
	Value  float64 // base units, as FaultInfo says
	Output string  // for the faults whose value is an output
}

// FaultInfo describes a fault that can be planted.
type FaultInfo struct {
	Name  string
	About string // one plain line
	// Value says what may be given as NAME=VALUE, as in "a voltage"; empty:
	// nothing.
	Value string
	// Usual is the value where none is given, as it is written; empty where Value
	// is.
	Usual string
}

// valueKind is how a fault's value is written.
type valueKind int

const (
	noValue valueKind = iota
	volts
	slope // volts a second
	seconds
	share
	count
	outputName
)

func (v valueKind) word() string {
	return [...]string{"", "a voltage", "volts a second", "a time", "a share", "a whole number from 1", "an output"}[v]
}

// parse reads a value of the kind.
func (v valueKind) parse(s string) (float64, error) {
	switch v {
	case volts:
		return unit.Voltage.Parse(s)
	case seconds:
		return unit.Time.Parse(s)
	case share:
		return unit.Share.Parse(s)
	case slope:
		per, ok := strings.CutSuffix(strings.TrimSpace(s), "/s")
		if !ok {
			return 0, fmt.Errorf("%q is not in volts a second: write it as in 0.3 V/s", s)
		}
		return unit.Voltage.Parse(per)
	}
	n, err := strconv.Atoi(strings.TrimSpace(s))
	if err != nil || n < 1 {
		return 0, fmt.Errorf("%q must be a whole number, 1 or more", s)
	}
	return float64(n), nil
}

// format writes a value so that parse reads it back.
func (v valueKind) format(x float64) string {
	switch v {
	case volts:
		return unit.Voltage.Format(x)
	case seconds:
		return unit.Time.Format(x)
	case share:
		return unit.Share.Format(x)
	case slope:
		return unit.Voltage.Format(x) + "/s"
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// plantable is a fault with what it does. The victim is the output that the fault
// is about.
type plantable struct {
	name   string
	kind   valueKind
	preset float64
	about  string
	plant  func(w *World, victim *output, f Fault) error
}

// faults in the order in which they are listed.
var faults = []plantable{
	{"wrong-address", outputName, 0, "the panel switches another output instead of the programmed one (the next, or the one named)", plantAddress},
	{"stuck-low", outputName, 0, "an output never switches on (the programmed one, or the one named)", plantStuck(false)},
	{"stuck-high", outputName, 0, "an output is always on (the programmed one, or the one named)", plantStuck(true)},
	{"inverted", noValue, 0, "the programmed output is on when it should be off, and off when it should be on", plantInverted},
	{"slow-delay", seconds, 0.6, "the panel takes this much longer to switch", plantDelay},
	{"missed-cycle", count, 3, "the programmed output misses every N-th switching on", plantMissed},
	{"early-fall", seconds, 1, "the programmed output falls back by itself after this time", plantEarlyFall},
	{"weak-supply", volts, 9.5, "the outputs reach only this voltage", plantSupply},
	{"hum", volts, 0.9, "mains hum of 50 Hz on outputs that are on, peak to peak", plantHum},
	{"droop", slope, 0.3, "outputs that are on sag by this much every second", plantDroop},
	{"holding-in", volts, 2.6, "the programmed output leaks this voltage when off, and its relay stays in", plantLow},
	{"high-off-level", volts, 1.7, "the programmed output leaks this voltage when off, and its relay still drops out", plantLow},
	{"loose-wire", noValue, 0, "the sense wire of the programmed output drops out now and then and reads about 0 V", plantLoose},
	{"swapped-contacts", noValue, 0, "the relay's make and break contacts are wired the wrong way round", plantSwapped},
	{"dead-relay", noValue, 0, "the relay never moves", onRelay(func(k *relay, _ float64) { k.dead = true })},
	{"welded", noValue, 0, "the relay's make contact has welded: once closed it never opens, and the break contact stays open", onRelay(func(k *relay, _ float64) { k.welded = true })},
	{"weak-contact", noValue, 0, "the relay's make contact is worn: it reads open most of the time although the armature is in", onRelay(func(k *relay, _ float64) { k.weak = true })},
	{"slow-release", seconds, 0.025, "the relay's armature sticks and drops out this much later", onRelay(func(k *relay, v float64) { k.slow = nanoseconds(v) })},
	{"long-bounce", seconds, 0.012, "the relay's contacts bounce for this long when they close", onRelay(func(k *relay, v float64) { k.bounceLong = nanoseconds(v) })},
	{"chatter", noValue, 0, "the relay's armature chatters while it should be in", onRelay(func(k *relay, _ float64) { k.chatters = true })},
	{"lost-edges", count, 7, "every N-th edge of the contact lines is lost, with a gap in the numbers", plantLostEdges},
	{"lost-ready-edges", count, 7, "every N-th ready edge of each converter is lost, without a gap in the numbers", plantLostReadyEdges},
	{"merged-edges", seconds, 250e-6, "contact edges closer together than this are seen as one", plantMergedEdges},
	{"adc-lost", seconds, 5, "the programmed output's converter falls silent after this time", plantLost},
	{"chip-reset", seconds, 5, "the programmed output's converter falls back to its reset state after this time", plantReset},
	{"supply-reset", seconds, 5, "the converter that sets the supply, where the rig has one (as for relay-supply), falls back to its power-up setting after this time", plantSupplyReset},
	{"bus-noise", count, 40, "every N-th transfer on the bus fails", plantNoise},
	{"slow-oscillator", share, 0.1, "the converters' oscillators are this much too slow", nil},
	{"fast-oscillator", share, 0.1, "the converters' oscillators are this much too fast", nil},
}

// Faults lists the faults that can be planted.
func Faults() []FaultInfo {
	all := make([]FaultInfo, len(faults))
	for i, f := range faults {
		all[i] = FaultInfo{Name: f.name, About: f.about, Value: f.kind.word()}
		switch f.kind {
		case noValue:
		case outputName:
			all[i].Usual = "the programmed one"
			if f.name == "wrong-address" {
				all[i].Usual = "the next one"
			}
		default:
			all[i].Usual = f.kind.format(f.preset)
		}
	}
	return all
}

func lookUp(name string) *plantable {
	for i := range faults {
		if faults[i].name == name {
			return &faults[i]
		}
	}
	return nil
}

// ParseFault reads NAME or NAME=VALUE.
func ParseFault(s string) (Fault, error) {
	name, value, given := strings.Cut(s, "=")
	name = strings.TrimSpace(name)
	p := lookUp(name)
	if p == nil {
		names := make([]string, len(faults))
		for i, f := range faults {
			names[i] = f.name
		}
		return Fault{}, fmt.Errorf("fault %q is not known: %s", name, words.UseOneOf(name, names))
	}
	f := Fault{Name: name, Value: p.preset}
	switch {
	case !given:
		return f, nil
	case p.kind == noValue:
		return Fault{}, fmt.Errorf("fault %s takes no value, not %q", name, value)
	case p.kind == outputName:
		f.Output = strings.TrimSpace(value)
		if f.Output == "" {
			return Fault{}, fmt.Errorf("fault %s: an output's name is missing after the equals sign", name)
		}
		return f, nil
	}
	v, err := p.kind.parse(value)
	if err != nil {
		return Fault{}, fmt.Errorf("fault %s: %w", name, err)
	}
	f.Value = v
	if err := p.check(f); err != nil {
		return Fault{}, err
	}
	return f, nil
}

// check refuses values that mean nothing.
func (p *plantable) check(f Fault) error {
	low, high := 0.0, math.Inf(1)
	switch p.kind {
	case volts:
		high = 30
	case share:
		high = 0.5
	case seconds:
		high = 1e6
	case slope:
		high = 1000
	}
	if f.Value > low && f.Value <= high && !math.IsInf(f.Value, 0) || p.kind == noValue || p.kind == outputName {
		return nil
	}
	may := "more than 0"
	if !math.IsInf(high, 1) {
		may += " and at most " + p.kind.format(high)
	}
	return fmt.Errorf("fault %s: %s must be %s", f.Name, p.kind.format(f.Value), may)
}

// String writes the fault as ParseFault reads it.
func (f Fault) String() string {
	p := lookUp(f.Name)
	switch {
	case p == nil || p.kind == noValue:
		return f.Name
	case p.kind == outputName:
		if f.Output == "" {
			return f.Name
		}
		return f.Name + "=" + f.Output
	case f.Value == 0:
		return f.Name + "=" + p.kind.format(p.preset)
	}
	return f.Name + "=" + p.kind.format(f.Value)
}

// plant puts the faults into the bench, before anything moves. A fault that the bench
// cannot have is bad usage.
func (w *World) plant(all []Fault) error {
	victim := w.programmed()
	for _, f := range all {
		if err := w.plantOne(victim, f); err != nil {
			return problem.Of(problem.Usage, err)
		}
	}
	return nil
}

func (w *World) plantOne(victim *output, f Fault) error {
	p := lookUp(f.Name)
	if p == nil {
		_, err := ParseFault(f.Name)
		return err
	}
	if f.Value == 0 {
		f.Value = p.preset
	}
	if err := p.check(f); err != nil {
		return err
	}
	if p.plant == nil {
		return nil // the chips were made with it
	}
	if victim == nil {
		return fmt.Errorf("fault %s: the rig has no outputs", f.Name)
	}
	if err := p.plant(w, victim, f); err != nil {
		return fmt.Errorf("fault %s: %w", f.Name, err)
	}
	return nil
}

// programmed returns the output that faults are about: the first one programmed,
// else the first one that a drive switches, else the first one of all.
func (w *World) programmed() *output {
	if w.firstRule != nil {
		return w.firstRule
	}
	for _, d := range w.drives {
		if d.coil != nil {
			return d.coil
		}
	}
	if len(w.outputs) > 0 {
		return w.outputs[0]
	}
	return nil
}

func nanoseconds(seconds float64) int64 { return int64(math.Round(seconds * 1e9)) }

// named returns the output that the fault names, or the victim.
func (w *World) named(f Fault, victim *output) (*output, error) {
	if f.Output == "" {
		return victim, nil
	}
	if o := w.output(f.Output); o != nil {
		return o, nil
	}
	names := make([]string, len(w.outputs))
	for i, o := range w.outputs {
		names[i] = o.name
	}
	return nil, fmt.Errorf("the rig has no output %q: %s", f.Output, words.UseOneOf(f.Output, names))
}

// plantAddress moves what the panel does with the victim to another output.
func plantAddress(w *World, victim *output, f Fault) error {
	if len(w.outputs) < 2 {
		return errors.New("the rig has one output only")
	}
	other := w.outputs[(int(victim.index)+1)%len(w.outputs)]
	if f.Output != "" {
		o, err := w.named(f, victim)
		if err != nil {
			return err
		}
		other = o
	}
	if other == victim {
		return fmt.Errorf("%s is the programmed output itself; name another", other.name)
	}
	if w.driven(victim) {
		return fmt.Errorf("%s is switched by a drive and not by the panel", victim.name)
	}
	for _, rules := range w.panel.rules {
		for i := range rules {
			if rules[i].out == victim {
				rules[i].out = other
			}
		}
	}
	if victim.high {
		other.high, victim.high = true, false
	}
	return nil
}

func plantStuck(high bool) func(*World, *output, Fault) error {
	return func(w *World, victim *output, f Fault) error {
		o, err := w.named(f, victim)
		if err != nil {
			return err
		}
		// Inverting must not turn the state at the start.
		o.stuck, o.high, o.inverted = true, high, false
		return nil
	}
}

func plantInverted(_ *World, victim *output, _ Fault) error {
	victim.inverted = !victim.stuck
	return nil
}

func plantDelay(w *World, _ *output, f Fault) error {
	w.panel.delay += f.Value * 1e9
	return nil
}

func plantMissed(_ *World, victim *output, f Fault) error {
	victim.miss = uint64(f.Value)
	return nil
}

func plantEarlyFall(_ *World, victim *output, f Fault) error {
	victim.falls = nanoseconds(f.Value)
	return nil
}

func plantSupply(w *World, _ *output, f Fault) error {
	for _, o := range w.outputs {
		o.on.volts = f.Value
	}
	return nil
}

func plantHum(w *World, _ *output, f Fault) error {
	for _, o := range w.outputs {
		o.hum = f.Value / 2
	}
	return nil
}

func plantDroop(w *World, _ *output, f Fault) error {
	for _, o := range w.outputs {
		o.droop = f.Value * 1e-9
	}
	return nil
}

func plantLow(_ *World, victim *output, f Fault) error {
	victim.off.volts = f.Value
	return nil
}

func plantLoose(w *World, victim *output, _ Fault) error {
	w.plan(happening{at: w.now + w.wire.between(shortestGap, longestGap), kind: wireChanges, index: victim.index, flag: true})
	return nil
}

// onRelay plants a fault in the relay behind the victim, or in the first relay
// where there is none behind it.
func onRelay(do func(k *relay, value float64)) func(*World, *output, Fault) error {
	return func(w *World, victim *output, f Fault) error {
		k := victim.relay
		if k == nil && len(w.relays) > 0 {
			k = w.relays[0]
		}
		if k == nil {
			return errors.New("there is no relay on the bench")
		}
		do(k, f.Value)
		return nil
	}
}

func plantSwapped(w *World, victim *output, f Fault) error {
	return onRelay(func(k *relay, _ float64) { k.makes, k.breaks = k.breaks, k.makes })(w, victim, f)
}

func plantLostEdges(w *World, _ *output, f Fault) error {
	for _, c := range w.contacts {
		c.loses = uint64(f.Value)
	}
	return nil
}

func plantLostReadyEdges(w *World, _ *output, f Fault) error {
	for _, c := range w.chips {
		c.loses = uint64(f.Value)
	}
	return nil
}

func plantMergedEdges(w *World, _ *output, f Fault) error {
	for _, c := range w.contacts {
		c.latency = nanoseconds(f.Value)
	}
	return nil
}

func (w *World) chipOf(o *output) *chip { return w.chip(w.rig.Outputs[o.index].Chip) }

func plantLost(w *World, victim *output, f Fault) error {
	w.chipOf(victim).LoseAt(Start + capture.Instant(nanoseconds(f.Value)))
	return nil
}

func plantReset(w *World, victim *output, f Fault) error {
	w.chipOf(victim).ResetAt(Start + capture.Instant(nanoseconds(f.Value)))
	return nil
}

func plantSupplyReset(w *World, _ *output, f Fault) error {
	if w.SupplyChip() == nil {
		return errors.New("the rig has no converter that sets its supply")
	}
	w.plan(happening{at: int64(Start) + nanoseconds(f.Value), kind: supplyResets})
	return nil
}

func plantNoise(w *World, _ *output, f Fault) error {
	w.bus.NAKEvery(int(f.Value))
	return nil
}

// plantedOscillator returns the relative error of the conversion period that is
// planted, if one is.
func plantedOscillator(all []Fault) (float64, bool) {
	for _, f := range all {
		v := f.Value
		if v == 0 {
			v = 0.1
		}
		switch f.Name {
		case "slow-oscillator":
			return v, true
		case "fast-oscillator":
			return -v, true
		}
	}
	return 0, false
}
