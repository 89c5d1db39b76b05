package sim

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"makebreak/rig/ads1x15"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/wiring"
)

// station runs a world as the bench does: it follows one channel a chip, keeps
// the samples at the terminal and the edges.
type station struct {
	t       testing.TB
	rig     *wiring.Rig
	w       *World
	set     line.Set
	devs    []*ads1x15.Dev
	out     []string // the output that each chip follows
	samples map[string][]sample
	edges   []line.Edge
	events  []TruthEvent
	readErr error
}

type sample struct {
	at    capture.Instant
	volts float64
}

// newStation follows OUT1, OUT2 and OUT3 of panelRig.
func newStation(t testing.TB, opts Opts) *station {
	t.Helper()
	s := &station{t: t, rig: panelRig(), samples: map[string][]sample{}}
	if opts.Programme == nil {
		opts.Programme = armedHigh
	}
	if opts.Relays == nil {
		opts.Relays = onOUT3()
	}
	opts.OnTruth = func(e TruthEvent) { s.events = append(s.events, e) }
	var err error
	if s.w, err = NewWorld(s.rig, opts); err != nil {
		t.Fatal(err)
	}
	if s.set, err = s.w.Lines(testLines(s.rig)); err != nil {
		t.Fatal(err)
	}
	for i, c := range s.rig.Chips {
		d, err := ads1x15.New(s.w.Bus(), c.Address, &ads1x15.Opts{Model: c.Model, Range: c.Range, Rate: c.Rate, Ready: true, Retries: 3})
		if err != nil {
			t.Fatal(err)
		}
		if err := d.Setup(); err != nil {
			t.Fatal(err)
		}
		if err := d.Follow(0); err != nil {
			t.Fatal(err)
		}
		s.devs = append(s.devs, d)
		s.out = append(s.out, s.rig.Outputs[i].Name)
	}
	return s
}

// run lets the time pass and reads what there is.
func (s *station) run(d time.Duration) {
	s.t.Helper()
	end := s.w.Now().Add(d)
	var buf []line.Edge
	for s.w.Now() < end {
		if err := s.set.Wait(context.Background(), end); err != nil {
			s.t.Fatal(err)
		}
		var err error
		if buf, err = s.set.Edges(buf[:0]); err != nil {
			s.t.Fatal(err)
		}
		for _, e := range buf {
			s.take(e)
		}
	}
}

func (s *station) take(e line.Edge) {
	s.t.Helper()
	if e.Line < lineReady {
		s.edges = append(s.edges, e)
		return
	}
	i := e.Line - lineReady
	code, err := s.devs[i].Read()
	if err != nil {
		s.readErr = err
		return
	}
	// Nominal divider of panelRig.
	v := s.devs[i].Volts(code) * 4.9
	s.samples[s.out[i]] = append(s.samples[s.out[i]], sample{e.At, v})
}

// pulse presses a drive for 300 ms and runs on for the rest of the hold.
func (s *station) pulse(index int, hold time.Duration) capture.Instant {
	s.t.Helper()
	at := s.drive(index, true)
	s.run(300 * time.Millisecond)
	s.drive(index, false)
	s.run(hold - 300*time.Millisecond)
	return at
}

func (s *station) drive(index int, active bool) capture.Instant {
	s.t.Helper()
	at, _, err := s.set.Drive(index, active)
	if err != nil {
		s.t.Fatal(err)
	}
	return at
}

// cycles arms and disarms.
func (s *station) cycles(n int) {
	s.t.Helper()
	for range n {
		s.pulse(lineAway, 1500*time.Millisecond)
		s.pulse(lineOff, 1500*time.Millisecond)
	}
}

// volts returns the mean of an output's samples between two instants.
func (s *station) volts(out string, from, to capture.Instant) float64 {
	s.t.Helper()
	var sum float64
	n := 0
	for _, x := range s.samples[out] {
		if x.at >= from && x.at < to {
			sum += x.volts
			n++
		}
	}
	if n == 0 {
		s.t.Fatalf("no samples of %s", out)
	}
	return sum / float64(n)
}

func TestWorld_ReadsWhatTheUnitDoes(t *testing.T) {
	s := newStation(t, Opts{Seed: 7})
	s.run(500 * time.Millisecond)
	at := s.pulse(lineAway, 1500*time.Millisecond)
	truth := s.w.Truth()
	out := truth.Output("OUT3")
	// Two resistors of 1 %, and the chip's own errors.
	low := s.volts("OUT3", Start, at)
	near(t, "low level", low, out.Low, 0.02*out.Low+0.003)
	high := s.volts("OUT3", at.Add(500*time.Millisecond), s.w.Now())
	near(t, "high level", high, out.High, 0.02*out.High)
	// What is usual on such a bench: common practice, no source.
	if low < 0.5 || low > 0.8 || high < 13 || high > 13.5 {
		t.Errorf("levels %.3f V and %.3f V, want some 0.65 V and 13.2 V", low, high)
	}
	unloaded := truth.Output("OUT1").High
	if unloaded < 13.4 || unloaded > 13.7 {
		t.Errorf("an output without load would reach %.3f V, want some 13.5 V", unloaded)
	}
	e := truth.Events[len(truth.Events)-1]
	if e.Name != "arm-away" || len(e.Crossings) != 1 || e.Crossings[0].Output != "OUT3" {
		t.Fatalf("at arming: %+v", e)
	}
	delay := e.Crossings[0].At.Sub(e.At).Seconds()
	near(t, "switching delay", delay, 0.142, 0.004)
}

// The mean of many conversions shows an error of gain that the nominal divider
// leaves; with exact parts nothing is left.
func TestWorld_ExactBench(t *testing.T) {
	s := newStation(t, Opts{Seed: 3, Exact: true})
	s.run(200 * time.Millisecond)
	at := s.pulse(lineAway, time.Second)
	out := s.w.Truth().Output("OUT3")
	// The converter's input loads the nominal divider of 4.9.
	high := s.volts("OUT3", at.Add(400*time.Millisecond), s.w.Now()) / 4.9 / out.PinShare
	near(t, "high level", high, out.High, 0.0004)
	near(t, "pin share with a plain load of 6 Mohm, 0.1325 % less than 10/49", out.PinShare, 10.0/49*(1-0.001325), 1e-6)
	low := s.volts("OUT3", Start, at) / 4.9 / out.PinShare
	near(t, "low level", low, 0.65, 0.0004)
}

func TestWorld_SameSeedSameBench(t *testing.T) {
	trace := func(seed uint64) string {
		s := newStation(t, Opts{Seed: seed, Faults: []Fault{{Name: "chatter"}, {Name: "loose-wire"}, {Name: "bus-noise"}}})
		s.cycles(2)
		var b strings.Builder
		fmt.Fprintln(&b, s.edges, s.events, s.samples, s.w.Truth())
		return b.String()
	}
	a := trace(11)
	if b := trace(11); a != b {
		t.Error("the same seed gave two different runs")
	}
	if b := trace(12); a == b {
		t.Error("two seeds gave the same run")
	}
}

// Another take of a bench has the same parts and faults, and what differs from time to time
// differs: every reading, travel and delay.
func TestWorld_Take(t *testing.T) {
	run := func(take uint64) *station {
		s := newStation(t, Opts{Seed: 11, Take: take, Faults: mustParse(t, "weak-contact", "loose-wire", "wearing-bounce")})
		s.cycles(2)
		return s
	}
	first, again, other := run(0), run(1), run(2)
	for _, s := range []*station{again, other} {
		a, b := first.w.Truth(), s.w.Truth()
		if !cmp.Equal(a.Outputs, b.Outputs) || !cmp.Equal(a.Relays, b.Relays) || !cmp.Equal(a.Chips, b.Chips) {
			t.Errorf("take %d has other parts:\n%s", s.w.opts.Take, cmp.Diff(a.Outputs, b.Outputs))
		}
		for i := range a.Events[1:] {
			x, y := a.Events[i+1], b.Events[i+1]
			if x.Name != y.Name || len(x.Crossings) != len(y.Crossings) || x.Crossings[0].At.Sub(x.At) == y.Crossings[0].At.Sub(y.At) {
				t.Errorf("take %d, %s: %v and %v", s.w.opts.Take, x.Name, x.Crossings, y.Crossings)
			}
		}
	}
	if cmp.Equal(again.edges, other.edges) || cmp.Equal(first.edges, again.edges) {
		t.Error("two takes have the same edges")
	}
	same := 0
	for i, x := range first.samples["OUT1"][:500] {
		if x.volts == again.samples["OUT1"][i].volts {
			same++
		}
	}
	if same > 250 { // codes are few
		t.Errorf("%d readings of 500 are the same in two takes", same)
	}
	if repeated := run(1); !cmp.Equal(again.edges, repeated.edges) {
		t.Error("the same take gave two different runs")
	}
}

func TestWorld_EveryConversionHasItsEdge(t *testing.T) {
	s := newStation(t, Opts{Seed: 5})
	s.run(10 * time.Second)
	for i, c := range s.w.Truth().Chips {
		// 860 /s within what the oscillator is off; the first edge may still lie ahead.
		want := 8600 / (1 + c.Oscillator)
		near(t, c.Name+" conversions", float64(len(s.samples[s.out[i]])), want, 2)
	}
	for name, all := range s.samples {
		for i := range all[1:] {
			if all[i+1].at <= all[i].at {
				t.Fatalf("%s: sample %d at %d, after one at %d", name, i+1, all[i+1].at, all[i].at)
			}
		}
	}
}

func TestWorld_EdgesAreInOrderAndNumbered(t *testing.T) {
	s := newStation(t, Opts{Seed: 9})
	s.cycles(4)
	seq := map[int]uint32{}
	last := map[int]line.Edge{}
	for _, e := range s.edges {
		seq[e.Line]++
		if e.Seq != seq[e.Line] {
			t.Fatalf("line %d: edge number %d, want %d", e.Line, e.Seq, seq[e.Line])
		}
		if p := last[e.Line]; p.At > e.At || p.Seq > 0 && p.Active == e.Active {
			t.Fatalf("line %d: %+v after %+v", e.Line, e, p)
		}
		last[e.Line] = e
	}
	want := map[string][]ContactEdge{}
	for _, e := range s.w.Truth().Events {
		for _, edge := range e.Edges {
			want[edge.Contact] = append(want[edge.Contact], edge)
		}
	}
	n := 0
	for _, e := range s.edges {
		if e.Line > lineNC {
			continue
		}
		name := s.rig.Contacts[e.Line].Name
		if len(want[name]) == 0 {
			t.Fatalf("%s: an edge that did not happen: %+v", name, e)
		}
		truth := want[name][0]
		want[name] = want[name][1:]
		late := e.At.Sub(truth.At)
		if e.Active != truth.Closed || late < latencyLeast || late > latencyMean+4*latencySpread {
			t.Fatalf("%s: reported %v at %d, happened %v at %d", name, e.Active, e.At, truth.Closed, truth.At)
		}
		n++
	}
	for name, left := range want {
		if len(left) > 0 {
			t.Errorf("%s: %d edges were not reported", name, len(left))
		}
	}
	if n < 4*4 {
		t.Errorf("%d edges reported", n)
	}
}

func TestWorld_ReferenceFollowsTheDrive(t *testing.T) {
	s := newStation(t, Opts{Seed: 2})
	set := func(active bool) {
		at, within, err := s.set.Drive(lineAway, active)
		if err != nil {
			t.Fatal(err)
		}
		if on, _ := s.set.Active(lineAway); on != active {
			t.Errorf("the drive is %v, want %v", on, active)
		}
		s.run(10 * time.Millisecond)
		var ref []line.Edge
		for _, e := range s.edges {
			if e.Line == lineREF {
				ref = append(ref, e)
			}
		}
		s.edges = nil
		if len(ref) != 1 || ref[0].Active != active {
			t.Fatalf("reference: %+v, want one edge to %v", ref, active)
		}
		lag := ref[0].At.Sub(at)
		if lag < latencyLeast-time.Duration(within) || lag > latencyMean+4*latencySpread+time.Duration(within) {
			t.Errorf("the reference reports %v after the drive", lag)
		}
	}
	set(true)
	set(false)
	e := s.w.Truth().Events
	if last := e[len(e)-1]; last.Name != "arm-away" {
		t.Errorf("event %q, want arm-away", last.Name)
	}
}

func TestWorld_PersonActs(t *testing.T) {
	s := newStation(t, Opts{Seed: 2})
	s.run(100 * time.Millisecond)
	s.w.Act("arm-stay")
	s.run(time.Second)
	e := s.w.Truth().Events
	last := e[len(e)-1]
	if last.Name != "arm-stay" || len(last.Crossings) != 1 || !last.Crossings[0].High {
		t.Fatalf("after the key: %+v", last)
	}
	var ref int
	for _, e := range s.edges {
		if e.Line == lineREF {
			ref++
		}
	}
	if ref != 2 {
		t.Errorf("%d edges of the reference, want on and off", ref)
	}
}

func TestWorld_ExitDelayAndPulse(t *testing.T) {
	rules := []Rule{
		{Output: "OUT3", Event: "arm-away", Do: GoHigh, After: 3 * time.Second},
		{Output: "OUT3", Event: "disarm", Do: GoLow},
		{Output: "OUT1", Event: "arm-away", Do: PulseHigh, For: 2 * time.Second},
		{Output: "OUT2", Event: "disarm", Do: GoHigh},
		{Output: "OUT2", Event: "arm-away", Do: GoLow},
	}
	s := newStation(t, Opts{Seed: 4, Programme: rules, Initial: map[string]bool{"OUT2": true}, Exact: true})
	if v := s.w.output("OUT2").level(true); v < 13 || !s.w.output("OUT2").high {
		t.Errorf("OUT2 does not begin high (%.2f V)", v)
	}
	s.pulse(lineAway, 5*time.Second)
	s.pulse(lineOff, time.Second)
	got := map[string][]float64{}
	for _, e := range s.w.Truth().Events {
		for _, c := range e.Crossings {
			got[e.Name+" "+c.Output] = append(got[e.Name+" "+c.Output], c.At.Sub(e.At).Seconds())
		}
	}
	want := map[string][]float64{
		"arm-away OUT1": {0.142, 2.142}, "arm-away OUT2": {0.142}, "arm-away OUT3": {3.142},
		"disarm OUT2": {0.142}, "disarm OUT3": {0.142},
	}
	if diff := cmp.Diff(want, got, cmpopts.EquateApprox(0, 0.001)); diff != "" {
		t.Errorf("switching times in seconds (-want +got):\n%s", diff)
	}
}

// An exit delay that is cut short must not switch the output later.
func TestWorld_DisarmedDuringExitDelay(t *testing.T) {
	rules := []Rule{
		{Output: "OUT3", Event: "arm-away", Do: GoHigh, After: 3 * time.Second},
		{Output: "OUT3", Event: "disarm", Do: GoLow},
	}
	s := newStation(t, Opts{Seed: 4, Programme: rules})
	s.pulse(lineAway, time.Second)
	s.pulse(lineOff, 6*time.Second)
	for _, e := range s.w.Truth().Events {
		if len(e.Crossings) > 0 {
			t.Errorf("%s: %+v", e.Name, e.Crossings)
		}
	}
}

// relayRig is an invented relay bench whose drive switches the coil.
func relayRig() *wiring.Rig {
	r := panelRig()
	r.Outputs = r.Outputs[:1]
	r.Outputs[0].Name = "COIL"
	r.References = nil
	r.Drives = r.Drives[:1]
	r.Drives[0].Name, r.Drives[0].Coil = "COIL_DRIVE", true
	r.Causes = []wiring.Cause{
		{Event: "energize", Drive: "COIL_DRIVE", On: true},
		{Event: "release", Drive: "COIL_DRIVE"},
	}
	return r
}

func TestWorld_DriveSwitchesTheCoil(t *testing.T) {
	rig := relayRig()
	w, err := NewWorld(rig, Opts{Seed: 1, Programme: []Rule{{Output: "COIL", Event: "energize", Do: GoHigh}}})
	if err != nil {
		t.Fatal(err)
	}
	set, err := w.Lines([]Request{{Line: rig.Contacts[0], Role: line.Contact}, {Line: rig.Contacts[1], Role: line.Contact}, {Line: rig.Drives[0].Line, Role: line.Drive}})
	if err != nil {
		t.Fatal(err)
	}
	for i, on := range []bool{true, false, true} {
		at, _, err := set.Drive(2, on)
		if err != nil {
			t.Fatal(err)
		}
		w.AdvanceTo(at.Add(150 * time.Millisecond))
		e := w.Truth().Events[i+1]
		if len(e.Crossings) != 1 || len(e.Changes) != 1 || e.Changes[0].In != on {
			t.Fatalf("drive %v: %+v", on, e)
		}
		if lag := e.Crossings[0].At.Sub(at); lag < 0 || lag > 200*time.Microsecond { // half of its edge included
			t.Errorf("the coil follows its drive after %v", lag)
		}
		if closed, _ := set.Active(0); closed != on {
			t.Errorf("drive %v: make contact closed %v", on, closed)
		}
	}
}

// A drive that stands for several events lets them take turns.
func TestWorld_SharedDriveTakesTurns(t *testing.T) {
	rig := panelRig()
	rig.Causes[1].Drive = "KEY_AWAY"
	w, err := NewWorld(rig, Opts{Programme: armedHigh})
	if err != nil {
		t.Fatal(err)
	}
	set, err := w.Lines(testLines(rig))
	if err != nil {
		t.Fatal(err)
	}
	for range 3 {
		set.Drive(lineAway, true)
		set.Drive(lineAway, false)
	}
	var names []string
	for _, e := range w.Truth().Events[1:] {
		names = append(names, e.Name)
	}
	if diff := cmp.Diff([]string{"arm-away", "disarm", "arm-away"}, names); diff != "" {
		t.Error(diff)
	}
}

func TestLines_Wait(t *testing.T) {
	s := newStation(t, Opts{Seed: 1})
	for _, d := range s.devs {
		if err := d.Halt(); err != nil {
			t.Fatal(err)
		}
	}
	s.run(10 * time.Millisecond)
	ctx, cancel := context.WithCancel(context.Background())
	deadline := s.w.Now().Add(time.Hour)
	if err := s.set.Wait(ctx, deadline); err != nil || s.w.Now() != deadline {
		t.Errorf("nothing happens: at %d (%v), want %d", s.w.Now(), err, deadline)
	}
	at := s.drive(lineAway, true)
	if err := s.set.Wait(ctx, at.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if lag := s.w.Now().Sub(at); lag > 100*time.Microsecond {
		t.Errorf("the reference's edge came %v after the drive", lag)
	}
	now := s.w.Now()
	if err := s.set.Wait(ctx, now.Add(time.Hour)); err != nil || s.w.Now() != now {
		t.Error("Wait took time although an edge waits to be read")
	}
	if got, _ := s.set.Edges(nil); len(got) != 1 || got[0].Line != lineREF {
		t.Errorf("edges %+v, want one of the reference", got)
	}
	if got, _ := s.set.Edges(nil); len(got) != 0 {
		t.Errorf("edges read twice: %+v", got)
	}
	cancel()
	if err := s.set.Wait(ctx, now.Add(time.Hour)); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// doneLater is a context that is done from the second time on that it is looked at.
type doneLater struct {
	context.Context
	looks int
}

func (c *doneLater) Err() error {
	if c.looks++; c.looks > 1 {
		return context.Canceled
	}
	return nil
}

// A chattering relay whose contacts are not joined to their lines moves without an edge.
func TestLines_WaitEnds(t *testing.T) {
	s := newStation(t, Opts{Seed: 1, Faults: mustParse(t, "chatter", "common-open")})
	for _, d := range s.devs {
		if err := d.Halt(); err != nil {
			t.Fatal(err)
		}
	}
	s.pulse(lineAway, time.Second)
	s.run(time.Second)
	now := s.w.Now()
	if err := s.set.Wait(&doneLater{Context: context.Background()}, now.Add(10*time.Hour)); !errors.Is(err, context.Canceled) {
		t.Errorf("the wait ended after %v of ten hours: %v", s.w.Now().Sub(now), err)
	}
}

func TestLines_Release(t *testing.T) {
	s := newStation(t, Opts{Seed: 1})
	s.drive(lineAway, true)
	s.drive(lineOff, true)
	done := make(chan error)
	go func() { done <- errors.Join(s.set.Release(), s.set.Release()) }()
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	for _, i := range []int{lineAway, lineOff} {
		if on, err := s.set.Active(i); on || err != nil {
			t.Errorf("drive %d is on after the release (%v)", i, err)
		}
	}
}

func TestLines_CloseGivesBack(t *testing.T) {
	s := newStation(t, Opts{Seed: 1})
	s.drive(lineAway, true)
	if _, err := s.w.Lines(testLines(s.rig)); err == nil {
		t.Error("lines that are in use were given out again")
	}
	if err := errors.Join(s.set.Close(), s.set.Close(), s.set.Release()); err != nil {
		t.Fatal(err)
	}
	if s.w.drives[0].active {
		t.Error("a drive is on after Close")
	}
	for what, err := range map[string]error{
		"Wait":   s.set.Wait(context.Background(), s.w.Now()),
		"Edges":  second(s.set.Edges(nil)),
		"Active": second(s.set.Active(0)),
		"Drive":  func() error { _, _, err := s.set.Drive(lineAway, true); return err }(),
	} {
		if !errors.Is(err, os.ErrClosed) {
			t.Errorf("%s after Close: %v", what, err)
		}
	}
	again, err := s.w.Lines(testLines(s.rig))
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := again.Drive(lineAway, true); err != nil {
		t.Error(err)
	}
}

func second[T any](_ T, err error) error { return err }

func TestLines_Refused(t *testing.T) {
	rig := panelRig()
	w, err := NewWorld(rig, Opts{})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what string
		req  Request
		want string
	}{
		{"unknown contact", Request{Line: line.Line{Name: "K9_NO"}, Role: line.Contact}, "no contact K9_NO; it has: K1_NO, K1_NC"},
		{"drive as contact", Request{Line: rig.Drives[0].Line, Role: line.Contact}, "no contact KEY_AWAY"},
		{"ready pin elsewhere", Request{Line: line.Line{Chip: "gpiochip0", Number: 99}, Role: line.Ready}, "no chip of the rig has its ready pin on gpiochip0 line 99"},
	} {
		if _, err := w.Lines([]Request{c.req}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q in it", c.what, err, c.want)
		}
	}
	set, err := w.Lines([]Request{{Line: rig.Contacts[0], Role: line.Contact}})
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := set.Drive(0, true); err == nil {
		t.Error("a contact was driven")
	}
	if _, err := set.Active(7); err == nil {
		t.Error("a line that does not exist has a state")
	}
}

func TestNewWorld_Refuses(t *testing.T) {
	for _, c := range []struct {
		what string
		opts Opts
		want string
	}{
		{"rule's output", Opts{Programme: []Rule{{Output: "OUT9", Event: "x", Do: GoHigh}}}, `no output "OUT9"`},
		{"rule's event", Opts{Programme: []Rule{{Output: "OUT1", Do: GoHigh}}}, "must have an event"},
		{"pulse without length", Opts{Programme: []Rule{{Output: "OUT1", Event: "x", Do: PulseHigh}}}, "a pulse must have a length"},
		{"initial output", Opts{Initial: map[string]bool{"OUT9": true}}, `no output "OUT9"`},
		{"relay's output", Opts{Relays: []Relay{{Name: "K1", Output: "OUT9"}}}, `no output "OUT9"`},
		{"relay's contact", Opts{Relays: []Relay{{Name: "K1", Output: "OUT1", Make: "K9_NO"}}}, `no contact "K9_NO"`},
		{"two relays", Opts{Relays: []Relay{{Name: "K1", Output: "OUT1"}, {Name: "K2", Output: "OUT1"}}}, "already has the relay K1"},
		{"fault", Opts{Faults: []Fault{{Name: "rust"}}}, `fault "rust" is not known: use one of: wrong-address`},
		{"fault's output", Opts{Faults: []Fault{{Name: "stuck-low", Output: "OUT9"}}}, "use one of: OUT1, OUT2"},
		{"fault's value", Opts{Faults: []Fault{{Name: "droop", Value: -1}}}, "more than 0"},
	} {
		if _, err := NewWorld(panelRig(), c.opts); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q in it", c.what, err, c.want)
		}
	}
}

// A long run must not gather anything.
func TestWorld_LongRunStaysSmall(t *testing.T) {
	rules := append([]Rule{{Output: "OUT1", Event: "arm-away", Do: GoHigh, After: 30 * time.Second}, {Output: "OUT1", Event: "disarm", Do: GoLow}}, armedHigh...)
	rig := panelRig()
	w, err := NewWorld(rig, Opts{Seed: 1, Programme: rules, Relays: onOUT3()})
	if err != nil {
		t.Fatal(err)
	}
	set, err := w.Lines(testLines(rig))
	if err != nil {
		t.Fatal(err)
	}
	var buf []line.Edge
	for range 2000 {
		for _, i := range []int{lineAway, lineOff} {
			set.Drive(i, true)
			set.Drive(i, false)
			end := w.Now().Add(time.Second)
			for w.Now() < end {
				if err := set.Wait(context.Background(), end); err != nil {
					t.Fatal(err)
				}
				buf, _ = set.Edges(buf[:0])
			}
		}
		if len(w.heap) > 100 || len(w.Truth().Events) > pastEvents+1 {
			t.Fatalf("%d events ahead, %d kept", len(w.heap), len(w.Truth().Events))
		}
	}
}

func TestDefaultRelays(t *testing.T) {
	rig := panelRig()
	rig.Contacts = append(rig.Contacts, line.Line{Name: "K2_NO"}, line.Line{Name: "DOOR"})
	got := DefaultRelays(rig, armedHigh)
	want := []Relay{{"K1", "OUT3", "K1_NO", "K1_NC"}, {"K2", "OUT1", "K2_NO", ""}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func TestAgenda_InOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var a agenda
		at := rapid.SliceOf(rapid.Int64Range(0, 20)).Draw(t, "at")
		for i, x := range at {
			a.push(happening{at: x, index: int32(i)})
		}
		last := happening{at: -1}
		for range at {
			if a.next() != a.heap[0].at {
				t.Fatal("next is not the first")
			}
			h := a.pop()
			if h.at < last.at || h.at == last.at && h.index < last.index {
				t.Fatalf("%+v after %+v", h, last)
			}
			last = h
		}
		if a.next() != never {
			t.Fatal("something is left")
		}
	})
}
