package drawnbench

import (
	"math"
	"slices"
	"time"

	"makebreak/rig/sim"
)

// kind is where a kind of fault can be, and how large benches meet it (invented ranges, from
// what is hardly there to what nobody overlooks).
type kind struct {
	// place draws where it is, among what the bench has; false: this bench cannot have it.
	// A fault of the whole bench is nowhere.
	place func(d dice, l *layout) (string, bool)
	// value draws its size in the base unit of what it is. Nil: it has none.
	value func(d dice, b *Bench, place string) float64
	// other draws the output that it names beside its place, event the event. Nil: it names none.
	other func(d dice, b *Bench, place string) (string, bool)
	event func(d dice) string
}

// kinds are the faults of which it matters where they are, or that benches meet in other sizes
// than those that the simulated bench states.
var kinds = map[string]kind{
	"wrong-address":  {place: panelOutput, other: anotherOutput},
	"inverted":       {place: panelOutput},
	"slow-delay":     {place: panelAtAll, value: size(0.02, 3)},
	"missed-cycle":   {place: panelOutput, value: count(2, 8)},
	"early-fall":     {place: anyMoving, value: size(0.05, 6)},
	"weak-supply":    {value: level(5, 13)},
	"hum":            {value: size(0.05, 3)},
	"droop":          {value: size(0.02, 3)},
	"holding-in":     {place: withRelay, value: level(2.6, 6)},
	"high-off-level": {place: anyMoving, value: leak},

	"swapped-contacts": {place: changeOver},
	"welded":           {place: withMake},
	"weak-contact":     {place: withMake},
	"slow-release":     {place: anyRelay, value: size(0.0005, 0.1)},
	"long-bounce":      {place: anyRelay, value: size(0.002, 0.06)},

	"one-arming":         {place: twoWays, event: func(d dice) string { return oneOf(d, "arm-away", "arm-stay") }},
	"wrong-pulse":        {place: pulsing, value: size(0.05, 8)},
	"weak-battery":       {place: relayAtAll, value: ohms(5, 400)},
	"joined-outputs":     {place: anyMoving, other: anotherOutput},
	"coil-joint":         {place: anyRelay, value: ohms(20, 4000)},
	"shorted-turns":      {place: anyRelay, value: turns},
	"oxidised-contact":   {place: withMake, value: size(10e3, 10e6)},
	"creeping-operate":   {place: withMake, value: size(0.01, 0.5)},
	"wearing-bounce":     {place: anyRelay, value: size(0.005, 0.5)},
	"sticking":           {place: anyRelay, value: count(20, 400)},
	"reference-inverted": {place: referenceAtAll},

	"lost-edges":       {place: relayAtAll, value: count(2, 30)},
	"lost-ready-edges": {place: readyAtAll, value: count(2, 30)},
	"merged-edges":     {place: relayAtAll, value: size(20e-6, 1e-3)},
	"adc-lost":         {place: anyMoving, value: instant},
	"chip-reset":       {place: anyMoving, value: instant},
	"supply-reset":     {place: ownConverter, value: instant},
	"bus-noise":        {value: count(10, 200)},
}

// worsens reports whether a kind of fault is seen over hundreds of cycles only.
func worsens(name string) bool {
	return slices.Contains([]string{"wearing-bounce", "creeping-operate", "sticking"}, name)
}

// Kinds lists the kinds of faults that the simulated bench has, in its order.
func Kinds() []string {
	var all []string
	for _, f := range sim.Faults() {
		all = append(all, f.Name)
	}
	return all
}

// drawFault draws a fault of a kind; false where this bench cannot have it.
func (b *Bench) drawFault(d dice, name string) (sim.Fault, bool) {
	k := kindOf(name)
	f := sim.Fault{Name: name}
	ok := true
	if k.place != nil {
		if f.Place, ok = k.place(d, b.layout); !ok {
			return f, false
		}
	}
	if k.value != nil {
		f.Value = k.value(d, b, f.Place)
	}
	if k.other != nil {
		f.Output, ok = k.other(d, b, f.Place)
	}
	if k.event != nil {
		f.Event = k.event(d)
	}
	return f, ok
}

// kindOf is what is drawn of a kind of fault: what is not said of it here, as the simulated
// bench says, from half of the lowest to twice the highest value.
func kindOf(name string) kind {
	k := kinds[name]
	i := slices.IndexFunc(sim.Faults(), func(f sim.FaultInfo) bool { return f.Name == name })
	if i < 0 {
		return k
	}
	info := sim.Faults()[i]
	switch {
	case k.place != nil:
	case info.Place == sim.AtOutput:
		k.place = anyMoving
	case info.Place == sim.AtRelay:
		k.place = anyRelay
	}
	if k.value == nil && info.Value.Measured() {
		k.value = size(info.Lowest/2, info.Highest*2)
		if info.Value == sim.WholeNumber {
			k.value = count(info.Lowest, info.Highest)
		}
		if info.Value == sim.Share {
			k.value = size(info.Lowest, info.Highest)
		}
	}
	return k
}

func among(d dice, l *layout, fits func(o *output) bool) (string, bool) {
	var all []string
	for i := range l.outputs {
		if fits(&l.outputs[i]) {
			all = append(all, l.outputs[i].name)
		}
	}
	if len(all) == 0 {
		return "", false
	}
	return oneOf(d, all...), true
}

// anyMoving is an output that is told to move.
func anyMoving(d dice, l *layout) (string, bool) {
	return among(d, l, func(o *output) bool { return o.role.moves() })
}

// panelOutput is one that the panel moves.
func panelOutput(d dice, l *layout) (string, bool) {
	return among(d, l, func(o *output) bool { return o.role.moves() && o.role != driven })
}

// twoWays is an output that does the same at either way of arming, both of which come.
func twoWays(d dice, l *layout) (string, bool) {
	return among(d, l, func(o *output) bool {
		return (o.role == bothWays || o.role == armedLow || o.role == armPulse) && slices.Contains(l.events(), "arm-stay")
	})
}

// pulsing is an output that pulses.
func pulsing(d dice, l *layout) (string, bool) {
	return among(d, l, func(o *output) bool { return o.role == armPulse || o.role == alarmPulse || o.role == chimePulse })
}

// withRelay is an output with a relay behind it.
func withRelay(d dice, l *layout) (string, bool) {
	return among(d, l, func(o *output) bool { return o.relay != "" })
}

func amongRelays(d dice, l *layout, fits func(k *relay) bool) (string, bool) {
	var all []string
	for i := range l.relays {
		if fits(&l.relays[i]) {
			all = append(all, l.relays[i].name)
		}
	}
	if len(all) == 0 {
		return "", false
	}
	return oneOf(d, all...), true
}

func anyRelay(d dice, l *layout) (string, bool) {
	return amongRelays(d, l, func(*relay) bool { return true })
}

func withMake(d dice, l *layout) (string, bool) {
	return amongRelays(d, l, func(k *relay) bool { return k.makes != "" })
}

func changeOver(d dice, l *layout) (string, bool) {
	return amongRelays(d, l, func(k *relay) bool { return k.makes != "" && k.breaks != "" })
}

// panelAtAll, relayAtAll, referenceAtAll, readyAtAll and ownConverter are conditions of faults that have no place.
func panelAtAll(_ dice, l *layout) (string, bool)     { return "", !l.relayBench }
func relayAtAll(_ dice, l *layout) (string, bool)     { return "", len(l.relays) > 0 }
func referenceAtAll(_ dice, l *layout) (string, bool) { return "", l.references }
func readyAtAll(_ dice, l *layout) (string, bool) {
	return "", slices.ContainsFunc(l.chips, func(c chip) bool { return c.ready })
}
func ownConverter(_ dice, l *layout) (string, bool) { return "", l.supply == converterSupply }

func size(low, high float64) func(dice, *Bench, string) float64 {
	return func(d dice, _ *Bench, _ string) float64 { return d.spread(low, high) }
}

// level is a voltage of a unit of 12 V, or twice that of one of 24 V.
func level(low, high float64) func(dice, *Bench, string) float64 {
	return func(d dice, b *Bench, _ string) float64 { return b.layout.volts * d.spread(low, high) }
}

// ohms is a resistance beside a coil of 12 V, or four times that beside one of 24 V.
func ohms(low, high float64) func(dice, *Bench, string) float64 {
	return func(d dice, b *Bench, _ string) float64 { return b.layout.volts * b.layout.volts * d.spread(low, high) }
}

func count(low, high float64) func(dice, *Bench, string) float64 {
	return func(d dice, _ *Bench, _ string) float64 { return math.Round(d.spread(low, high)) }
}

// turns is the share of a coil's turns that is shorted: what is left is drawn.
func turns(d dice, _ *Bench, _ string) float64 { return 1 - d.spread(0.03, 0.7) }

// anotherOutput is one of the rig's outputs that the place's programming may have gone to.
func anotherOutput(d dice, b *Bench, place string) (string, bool) {
	return among(d, b.layout, func(o *output) bool { return o.name != place })
}

// leak is what an output that is off leaks; where there is a relay, it drops out all the same.
func leak(d dice, b *Bench, place string) float64 {
	high := 6.0
	if b.output(place).relay != "" {
		high = 1.9
	}
	return b.layout.volts * d.spread(0.8, high)
}

func (b *Bench) output(name string) *output {
	for i := range b.layout.outputs {
		if b.layout.outputs[i].name == name {
			return &b.layout.outputs[i]
		}
	}
	return &output{}
}

// instant is a time within the run, from its beginning.
func instant(d dice, b *Bench, _ string) float64 {
	all := time.Duration(b.Cycles) * b.Seq.Duration()
	return d.between(0.1, 0.9) * all.Seconds()
}
