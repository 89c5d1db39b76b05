package bench_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// spyLines counts what a bench does with its drives.
type spyLines struct {
	line.Set
	on, off  map[int]int
	released int
}

func (s *spyLines) Drive(l int, active bool) (capture.Instant, int64, error) {
	if active {
		s.on[l]++
	} else {
		s.off[l]++
	}
	return s.Set.Drive(l, active)
}

func (s *spyLines) Release() error {
	s.released++
	return s.Set.Release()
}

// armed programmes OUT3 to follow the armed state.
var armed = []sim.Rule{
	{Output: "OUT3", Event: "arm-away", Do: sim.GoHigh},
	{Output: "OUT3", Event: "disarm", Do: sim.GoLow},
}

// open opens a bench on the simulated panel, its rig file changed by change.
func open(t *testing.T, change func(*wiring.Rig), opts bench.Opts, faults ...string) (*bench.Bench, *spyLines, *sim.World) {
	t.Helper()
	rig := rigfile.Builtin()[0]
	if change != nil {
		change(rig)
	}
	o := sim.Opts{Seed: 3, Programme: armed, Relays: []sim.Relay{{Name: "K1", Output: "OUT3", Make: "K1_NO", Break: "K1_NC"}}}
	for _, f := range faults {
		x, err := sim.ParseFault(f)
		if err != nil {
			t.Fatal(err)
		}
		o.Faults = append(o.Faults, x)
	}
	w, set := worldOf(t, rig, o)
	spy := &spyLines{Set: set, on: map[int]int{}, off: map[int]int{}}
	opts.Act = w.Act
	b, err := bench.Open(rig, w.Bus(), spy, opts)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b, spy, w
}

func newCapture(t *testing.T, b *bench.Bench) *capture.Capture {
	t.Helper()
	c, err := b.NewCapture()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// keyAway is the index of drive KEY_AWAY: after two contacts and a reference.
const keyAway = 3

func TestCause_PulseEndsByItself(t *testing.T) {
	b, spy, _ := open(t, nil, bench.Opts{})
	c := newCapture(t, b)
	e, err := b.Cause(context.Background(), c, "arm-away")
	if err != nil {
		t.Fatal(err)
	}
	if e.Timed != "reference" || e.Uncertainty != bench.EdgeLatency {
		t.Errorf("event %+v, want it timed by the reference", e)
	}
	if err := b.Record(context.Background(), c, e.At.Add(time.Second)); err != nil {
		t.Fatal(err)
	}
	if spy.on[keyAway] != 1 || spy.off[keyAway] != 1 {
		t.Errorf("drive switched on %d times and off %d times, want once each", spy.on[keyAway], spy.off[keyAway])
	}
	edges := c.Track("KEY_AWAY").Edges
	if len(edges) != 2 {
		t.Fatalf("the capture has %d edges of the drive, want 2", len(edges))
	}
	if d := edges[1].At.Sub(edges[0].At); d < 300*time.Millisecond || d > 302*time.Millisecond {
		t.Errorf("the drive was on for %v, want 300 ms", d)
	}
}

// A pulse may last as long as the drive may be on.
func TestCause_PulseOfLongestOn(t *testing.T) {
	b, _, _ := open(t, func(r *wiring.Rig) { r.Drive("KEY_AWAY").LongestOn = r.Cause("arm-away").Pulse }, bench.Opts{})
	c := newCapture(t, b)
	e, err := b.Cause(context.Background(), c, "arm-away")
	if err == nil {
		err = b.Record(context.Background(), c, e.At.Add(time.Second))
	}
	if n := len(c.Track("KEY_AWAY").Edges); err != nil || n != 2 {
		t.Errorf("%d edges of the drive: %v", n, err)
	}
}

// A drive that is told to be on while it is on does not stay on for longer.
func TestCause_LongestOnAgain(t *testing.T) {
	b, _, _ := open(t, func(r *wiring.Rig) {
		c := r.Cause("arm-away")
		c.Pulse, c.On, c.Reference = 0, true, ""
		r.Drive("KEY_AWAY").LongestOn = 500 * time.Millisecond
	}, bench.Opts{})
	c := newCapture(t, b)
	began := b.Now()
	var err error
	for n := 0; err == nil && n < 10; n++ {
		if _, err = b.Cause(context.Background(), c, "arm-away"); err == nil {
			err = b.Record(context.Background(), c, b.Now().Add(200*time.Millisecond))
		}
	}
	if on := b.Now().Sub(began); !errors.Is(err, bench.ErrTooLong) || on < 500*time.Millisecond || on > 502*time.Millisecond {
		t.Errorf("%v after %v, 500 ms are the most", err, on)
	}
}

func TestCause_LongestOn(t *testing.T) {
	b, spy, _ := open(t, func(r *wiring.Rig) {
		c := r.Cause("arm-away")
		c.Pulse, c.On, c.Reference = 0, true, ""
		r.Drive("KEY_AWAY").LongestOn = 500 * time.Millisecond
	}, bench.Opts{})
	c := newCapture(t, b)
	e, err := b.Cause(context.Background(), c, "arm-away")
	if err != nil {
		t.Fatal(err)
	}
	if e.Timed != "drive" {
		t.Errorf("event %+v, want it timed by the drive", e)
	}
	err = b.Record(context.Background(), c, e.At.Add(2*time.Second))
	if !errors.Is(err, bench.ErrTooLong) || !strings.Contains(err.Error(), "KEY_AWAY") {
		t.Errorf("a drive left on: %v", err)
	}
	if spy.off[keyAway] != 1 {
		t.Errorf("the drive was switched off %d times, want once", spy.off[keyAway])
	}
	if edges := c.Track("KEY_AWAY").Edges; len(edges) != 2 || edges[1].At.Sub(edges[0].At) > 502*time.Millisecond {
		t.Errorf("the drive's edges: %+v, want off after 500 ms", edges)
	}
}

func TestCause_ReferenceSilent(t *testing.T) {
	b, _, _ := open(t, func(r *wiring.Rig) {
		// KEY_OFF reports at REF; an event that waits for REF after ZONE waits in vain.
		r.Cause("alarm").Reference = "REF"
		for i := range r.Causes {
			if r.Causes[i].Event != "alarm" {
				r.Causes[i].Reference = ""
			}
		}
	}, bench.Opts{})
	c := newCapture(t, b)
	if _, err := b.Cause(context.Background(), c, "alarm"); err != nil {
		// The simulated REF follows every drive whose cause names it, so that this
		// one does report; the wire is cut below.
		t.Fatal(err)
	}
	cut := &cutReference{}
	b2, _, _ := openCut(t, cut)
	c2 := newCapture(t, b2)
	_, err := b2.Cause(context.Background(), c2, "arm-away")
	if !errors.Is(err, bench.ErrLost) || !strings.Contains(err.Error(), "REF") {
		t.Errorf("a reference whose wire is cut: %v", err)
	}
}

// slowCalls is a line set whose calls that set a drive are held up after they have set it,
// so that the middle of a call lies after the edges that it causes.
type slowCalls struct{ line.Set }

func (s slowCalls) Drive(l int, active bool) (capture.Instant, int64, error) {
	const held = 400 * time.Microsecond
	at, within, err := s.Set.Drive(l, active)
	return at.Add(held / 2), within + int64(held/2), err
}

// An edge that the kernel stamps while it is still in the drive's call is that drive's.
func TestCause_ReferenceBeforeTheCallIsOver(t *testing.T) {
	rig := rigfile.Builtin()[0]
	w, set := worldOf(t, rig, sim.Opts{Seed: 3, Programme: armed})
	b, err := bench.Open(rig, w.Bus(), slowCalls{set}, bench.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	c := newCapture(t, b)
	e, err := b.Cause(context.Background(), c, "arm-away")
	if err != nil {
		t.Fatal(err)
	}
	if drive := c.Track("KEY_AWAY").Edges[0].At; e.Timed != "reference" || e.At >= drive {
		t.Errorf("event %+v, want it timed by the reference, which reports before %v", e, drive)
	}
}

// cutReference is a line set whose reference never reports.
type cutReference struct{ line.Set }

func (s *cutReference) Edges(buf []line.Edge) ([]line.Edge, error) {
	n := len(buf)
	all, err := s.Set.Edges(buf)
	kept := all[:n]
	for _, e := range all[n:] {
		if e.Line != 2 { // REF
			kept = append(kept, e)
		}
	}
	return kept, err
}

func openCut(t *testing.T, cut *cutReference) (*bench.Bench, *wiring.Rig, *sim.World) {
	t.Helper()
	rig := rigfile.Builtin()[0]
	w, err := sim.NewWorld(rig, sim.Opts{Seed: 3, Programme: armed})
	if err != nil {
		t.Fatal(err)
	}
	if cut.Set, err = w.Lines(bench.Requests(rig)); err != nil {
		t.Fatal(err)
	}
	b, err := bench.Open(rig, w.Bus(), cut, bench.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b, rig, w
}

// presser is a person who presses the key when asked, or is not there.
type presser struct {
	asked []string
	gone  error
}

func (p *presser) Ask(text string) (<-chan error, func()) {
	p.asked = append(p.asked, text)
	answer := make(chan error, 1)
	answer <- p.gone
	return answer, func() {}
}

func TestCause_Prompt(t *testing.T) {
	asks := func(reference string) func(*wiring.Rig) {
		return func(r *wiring.Rig) {
			c := r.Cause("arm-away")
			c.Drive, c.Pulse, c.Prompt, c.Reference = "", 0, "Arm the panel.", reference
		}
	}
	t.Run("key", func(t *testing.T) {
		p := &presser{}
		b, _, _ := open(t, asks(""), bench.Opts{Prompter: p})
		e, err := b.Cause(context.Background(), newCapture(t, b), "arm-away")
		if err != nil {
			t.Fatal(err)
		}
		if e.Timed != "key" || e.Uncertainty < 200*time.Millisecond {
			t.Errorf("event %+v, want it timed by the key press and as uncertain as that is", e)
		}
		if len(p.asked) != 1 || p.asked[0] != "Arm the panel." {
			t.Errorf("asked %q", p.asked)
		}
	})
	t.Run("reference", func(t *testing.T) {
		b, _, _ := open(t, asks("REF"), bench.Opts{Prompter: &presser{}})
		e, err := b.Cause(context.Background(), newCapture(t, b), "arm-away")
		if err != nil {
			t.Fatal(err)
		}
		if e.Timed != "reference" {
			t.Errorf("event %+v, want it timed by the reference", e)
		}
	})
	t.Run("nobody", func(t *testing.T) {
		b, _, _ := open(t, asks(""), bench.Opts{Prompter: &presser{gone: errors.New("it has ended")}})
		if _, err := b.Cause(context.Background(), newCapture(t, b), "arm-away"); !errors.Is(err, bench.ErrNobody) {
			t.Errorf("nobody there: %v", err)
		}
	})
	t.Run("no prompter", func(t *testing.T) {
		b, _, _ := open(t, asks(""), bench.Opts{})
		if _, err := b.Cause(context.Background(), newCapture(t, b), "arm-away"); !errors.Is(err, bench.ErrNobody) {
			t.Errorf("no way to ask: %v", err)
		}
	})
}

func TestRecord_ContextEnds(t *testing.T) {
	b, _, _ := open(t, nil, bench.Opts{})
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	c := newCapture(t, b)
	if err := b.Record(ctx, c, b.Now().Add(time.Hour)); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

func TestRecord_EveryConversion(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*wiring.Rig)
	}{
		{"ready lines", nil},
		{"OS bit polled", func(r *wiring.Rig) {
			for i := range r.Chips {
				r.Chips[i].Ready = nil
			}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, _, w := open(t, c.change, bench.Opts{})
			cp := newCapture(t, b)
			if err := b.Record(context.Background(), cp, b.Now().Add(5*time.Second)); err != nil {
				t.Fatal(err)
			}
			if n := b.Counts(); n != (capture.Counts{}) {
				t.Errorf("troubles on a healthy bench: %+v", n)
			}
			for _, chip := range w.Truth().Chips {
				if chip.Name != "A" {
					continue
				}
				full := 5 * 860 / (1 + chip.Oscillator)
				got := float64(cp.Trace("OUT3").Len())
				if least := map[string]float64{"ready lines": 0.999, "OS bit polled": 0.85}[c.name]; got < least*full || got > full+1 {
					t.Errorf("%g samples of OUT3, the chip made %g conversions", got, full)
				}
			}
			at := capture.Instant(0)
			for ts := range cp.Trace("OUT1").Blocks(0, cp.End+1) {
				for _, x := range ts {
					if capture.Instant(x) <= at {
						t.Fatalf("time stamps do not rise: %d after %d", x, at)
					}
					at = capture.Instant(x)
				}
			}
		})
	}
}

func TestOpts_FollowTheFirstNamed(t *testing.T) {
	b, _, _ := open(t, nil, bench.Opts{Outputs: []string{"OUT5", "OUT1", "OUT3"}, Mode: wiring.Follow})
	got := strings.Join(b.Sampled(), " ")
	if got != "OUT3 OUT5" {
		t.Errorf("sampled %q, want one output a chip, the first named: OUT3 OUT5", got)
	}
}

func TestOpen_Refuses(t *testing.T) {
	rig := rigfile.Builtin()[0]
	w, set := worldOf(t, rig, sim.Opts{Seed: 1})
	if _, err := bench.Open(rig, w.Bus(), set, bench.Opts{Outputs: []string{"OUT9"}}); !errors.Is(err, bench.ErrSetup) {
		t.Errorf("an output that is not there: %v", err)
	}
	rig.Chips[0].Address = 0x4B // where nothing is
	if _, err := bench.Open(rig, w.Bus(), set, bench.Opts{}); !errors.Is(err, bench.ErrLost) || !strings.Contains(err.Error(), "0x4b") {
		t.Errorf("a chip that is not there: %v", err)
	}
}

// worldOf makes a simulated world for a rig, and its lines.
func worldOf(t testing.TB, rig *wiring.Rig, opts sim.Opts) (*sim.World, line.Set) {
	t.Helper()
	w, err := sim.NewWorld(rig, opts)
	if err != nil {
		t.Fatal(err)
	}
	set, err := w.Lines(bench.Requests(rig))
	if err != nil {
		t.Fatal(err)
	}
	return w, set
}

// openOn opens the bench of a rig on a simulated world until the test's end.
func openOn(t *testing.T, rig *wiring.Rig, opts sim.Opts) (*bench.Bench, *sim.World) {
	t.Helper()
	w, set := worldOf(t, rig, opts)
	b, err := bench.Open(rig, w.Bus(), set, bench.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b, w
}
