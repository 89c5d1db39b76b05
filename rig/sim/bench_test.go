package sim

import (
	"context"
	"testing"
	"time"

	"makebreak/rig/ads1x15"
	"makebreak/rig/line"
	"makebreak/rig/meter"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// panelRig is an invented rig: three converters, six outputs, one relay.
func panelRig() *wiring.Rig {
	divider := wiring.Divider{Upper: 39e3, Lower: 10e3, Tolerance: 0.01}
	r := &wiring.Rig{Name: "test", Simulated: true, BusHz: 400_000}
	for i, name := range []string{"A", "B", "C"} {
		r.Chips = append(r.Chips, wiring.Chip{
			Name: name, Model: ads1x15.ADS1115, Address: 0x48 + uint16(i), Range: 4.096, Rate: 860, Supply: 3.3,
			Mode: wiring.Follow, Ready: &line.Line{Chip: "gpiochip0", Number: 4 + i, ActiveLow: true},
		})
	}
	for i, name := range []string{"OUT1", "OUT2", "OUT3", "OUT4", "OUT5", "OUT6"} {
		r.Outputs = append(r.Outputs, wiring.Output{
			Name: name, Chip: []string{"A", "B", "C"}[i%3], Channel: i / 3, Divider: divider, Highest: 15, Nominal: 12,
		})
	}
	l := func(name string, n int) line.Line { return line.Line{Name: name, Chip: "gpiochip0", Number: n} }
	r.Contacts = []line.Line{l("K1_NO", 22), l("K1_NC", 23)}
	r.References = []line.Line{l("REF", 24)}
	r.Drives = []wiring.Drive{
		{Line: l("KEY_AWAY", 10), LongestOn: 5 * time.Second},
		{Line: l("KEY_OFF", 11), LongestOn: 5 * time.Second},
	}
	r.Causes = []wiring.Cause{
		{Event: "arm-away", Drive: "KEY_AWAY", Pulse: 300 * time.Millisecond, Reference: "REF"},
		{Event: "disarm", Drive: "KEY_OFF", Pulse: 300 * time.Millisecond, Reference: "REF"},
		{Event: "arm-stay", Prompt: "Arm in stay mode.", Reference: "REF"},
	}
	return r
}

// Lines of panelRig as testLines asks for them.
const (
	lineNO = iota
	lineNC
	lineREF
	lineAway
	lineOff
	lineReady // the first of three
)

func testLines(r *wiring.Rig) []Request {
	var reqs []Request
	for _, c := range r.Contacts {
		reqs = append(reqs, Request{Line: c, Role: line.Contact})
	}
	for _, c := range r.References {
		reqs = append(reqs, Request{Line: c, Role: line.Reference})
	}
	for _, d := range r.Drives {
		reqs = append(reqs, Request{Line: d.Line, Role: line.Drive})
	}
	for _, c := range r.Chips {
		if c.Ready != nil {
			reqs = append(reqs, Request{Line: *c.Ready, Role: line.Ready})
		}
	}
	return reqs
}

// armedHigh programmes OUT3 as most panels have one.
var armedHigh = []Rule{
	{Output: "OUT3", Event: "arm-away", Do: GoHigh},
	{Output: "OUT3", Event: "arm-stay", Do: GoHigh},
	{Output: "OUT3", Event: "disarm", Do: GoLow},
}

func onOUT3() []Relay { return []Relay{{Name: "K1", Output: "OUT3", Make: "K1_NO", Break: "K1_NC"}} }

func BenchmarkWorld_Follow(b *testing.B) {
	rig := panelRig()
	w, err := NewWorld(rig, Opts{Seed: 1, Programme: armedHigh, Relays: onOUT3()})
	if err != nil {
		b.Fatal(err)
	}
	set, err := w.Lines(testLines(rig))
	if err != nil {
		b.Fatal(err)
	}
	var devs []*ads1x15.Dev
	for _, c := range rig.Chips {
		d, err := ads1x15.New(w.Bus(), c.Address, &ads1x15.Opts{Model: c.Model, Range: c.Range, Rate: c.Rate, Ready: true, Retries: 3})
		if err != nil {
			b.Fatal(err)
		}
		if err := d.Setup(); err != nil {
			b.Fatal(err)
		}
		if err := d.Follow(0); err != nil {
			b.Fatal(err)
		}
		devs = append(devs, d)
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var buf []line.Edge
	b.ReportAllocs()
	begin := w.Now()
	n := 0
	var sum float64
	armed := false
	next := w.Now().Add(time.Second)
	for b.Loop() {
		for got := false; !got; {
			if w.Now() >= next {
				armed = !armed
				at := lineOff
				if armed {
					at = lineAway
				}
				set.Drive(at, true)
				set.Drive(at, false)
				next = next.Add(3 * time.Second)
			}
			if err := set.Wait(ctx, next); err != nil {
				b.Fatal(err)
			}
			buf, err = set.Edges(buf[:0])
			if err != nil {
				b.Fatal(err)
			}
			for _, e := range buf {
				if e.Line < lineReady {
					continue
				}
				code, err := devs[e.Line-lineReady].Read()
				if err != nil {
					b.Fatal(err)
				}
				sum += devs[e.Line-lineReady].Volts(code)
				n++
				got = true
			}
		}
	}
	b.ReportMetric(float64(n)/w.Now().Sub(begin).Seconds(), "conv/sim-s")
	b.ReportMetric(w.Now().Sub(begin).Seconds()/b.Elapsed().Seconds(), "sim-s/s")
	if n == 0 || sum == 0 {
		b.Fatal("nothing was read")
	}
}

// One reading of ohms, at worst through all ranges, on the built-in panel.
func BenchmarkNetwork_Ohms(b *testing.B) {
	rig := rigfile.Builtin()[0]
	w, err := NewWorld(rig, programmed(rig, Opts{Seed: 1}))
	if err != nil {
		b.Fatal(err)
	}
	m := meter.New(1)
	for b.Loop() {
		if _, err := m.Read(solved(b, w, SupplyOff), meter.Ohms, "panel.OUT3", "rig.3V3"); err != nil {
			b.Fatal(err)
		}
	}
}
