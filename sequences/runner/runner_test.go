package runner_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"makebreak/analyze"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/runner"
)

// watched counts releases, and can panic while drives are on.
type watched struct {
	line.Set
	world    *sim.World
	released int
	panicAt  int // the n-th call of Drive panics
	drives   int
	off      func()        // called when a drive is switched off, or released
	ticks    time.Duration // by which the clock goes on whenever it is asked
	late     capture.Instant
	atLate   func() // called when the clock is asked from late on; nil: nothing is
}

func (w *watched) Release() error {
	w.released++
	if w.off != nil {
		w.off()
	}
	return w.Set.Release()
}

func (w *watched) Now() capture.Instant {
	w.world.AdvanceTo(w.world.Now().Add(w.ticks))
	now := w.Set.Now()
	if w.atLate != nil && now >= w.late {
		w.atLate()
	}
	return now
}

func (w *watched) Drive(l int, active bool) (capture.Instant, int64, error) {
	if w.drives++; w.drives == w.panicAt {
		panic("planted")
	}
	if !active && w.off != nil {
		w.off()
	}
	return w.Set.Drive(l, active)
}

const longestOn = 5 * time.Second

// simulated returns the world of a simulated rig, with its faults planted, and its lines.
func simulated(t *testing.T, rig *wiring.Rig, o sim.Opts, faults ...string) (*sim.World, line.Set) {
	t.Helper()
	for _, f := range faults {
		x, err := sim.ParseFault(f)
		if err != nil {
			t.Fatal(err)
		}
		o.Faults = append(o.Faults, x)
	}
	w, err := sim.NewWorld(rig, o)
	if err != nil {
		t.Fatal(err)
	}
	set, err := w.Lines(bench.Requests(rig))
	if err != nil {
		t.Fatal(err)
	}
	return w, set
}

// simulatedBench opens the bench on that, until the test ends.
func simulatedBench(t *testing.T, rig *wiring.Rig, o sim.Opts, faults ...string) *bench.Bench {
	t.Helper()
	w, set := simulated(t, rig, o, faults...)
	b, err := bench.Open(rig, w.Bus(), set, bench.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

// relayBench is the simulated relay bench, and relay-only to run on it.
func relayBench(t *testing.T, faults ...string) (*bench.Bench, *watched, *sequences.Sequence) {
	t.Helper()
	seq, err := sequences.Load(t.Context(), "relay-only")
	if err != nil {
		t.Fatal(err)
	}
	rig := rigfile.Builtin()[1]
	rig.Drives[0].LongestOn = longestOn
	o := sim.Opts{Seed: 1}
	w, set := simulated(t, rig, o, faults...)
	spy := &watched{Set: set, world: w}
	b, err := bench.Open(rig, w.Bus(), spy, bench.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b, spy, seq
}

// shelf stores cycles in memory, those of one call together or none of them.
type shelf struct {
	cycles []*journal.Cycle
	fail   error
	after  int // more cycles than this do not fit
	panics bool
	most   int // cycles in one call
}

func (s *shelf) Append(cycles ...*journal.Cycle) error {
	s.most = max(s.most, len(cycles))
	if full := len(s.cycles)+len(cycles) > s.after; full && s.panics {
		panic("planted")
	} else if full && s.fail != nil {
		return s.fail
	}
	s.cycles = append(s.cycles, cycles...)
	return nil
}

func opts(last int, r runner.Recorder) runner.Opts {
	return runner.Opts{First: 1, Last: last, Now: time.Now, Recorder: r}
}

func TestRun_StoresEveryCycle(t *testing.T) {
	b, spy, seq := relayBench(t)
	s := &shelf{}
	out, err := runner.Run(context.Background(), b, seq, opts(7, s))
	if err != nil || out.Cycles != 7 || out.Gravest != analyze.Pass {
		t.Fatalf("%+v, %v", out, err)
	}
	for i, c := range s.cycles {
		if c.N != i+1 || !c.Complete || len(c.Measurements) == 0 {
			t.Errorf("cycle %d: number %d, complete %v, %d figures", i+1, c.N, c.Complete, len(c.Measurements))
		}
		var back capture.Capture
		if err := back.UnmarshalBinary(c.Capture); err != nil || len(back.Events) != 2 {
			t.Errorf("cycle %d: its capture holds %d events, %v", c.N, len(back.Events), err)
		}
	}
	if spy.released == 0 {
		t.Error("the drives were not released at the end")
	}
}

func TestRun_Keep(t *testing.T) {
	b, _, seq := relayBench(t)
	s := &shelf{}
	o := opts(5, s)
	o.Keep = func(c *journal.Cycle) journal.Kept {
		if c.N == 2 {
			return journal.KeptEvery
		}
		return journal.NotKept
	}
	if _, err := runner.Run(context.Background(), b, seq, o); err != nil {
		t.Fatal(err)
	}
	for _, c := range s.cycles {
		if (c.Capture != nil) != (c.N == 2) {
			t.Errorf("cycle %d: capture kept: %v", c.N, c.Capture != nil)
		}
	}
}

func TestRun_StopOnFail(t *testing.T) {
	b, spy, seq := relayBench(t, "welded")
	s := &shelf{}
	o := opts(1000, s)
	o.StopOnFail = true
	out, err := runner.Run(context.Background(), b, seq, o)
	if !errors.Is(err, runner.ErrStopped) || out.Gravest != analyze.Fail {
		t.Errorf("%+v, %v; want it stopped after a failure", out, err)
	}
	if len(s.cycles) == 0 || s.cycles[0].Verdict != analyze.Fail || len(s.cycles) > 1 {
		t.Errorf("%d cycles stored, want the one that failed", len(s.cycles))
	}
	if spy.released == 0 {
		t.Error("the drives were not released")
	}
}

func TestRun_LogFails(t *testing.T) {
	b, spy, seq := relayBench(t)
	full := errors.New("no room")
	s := &shelf{after: 100, fail: full}
	o, told := opts(100_000, s), 0
	o.OnCycle = func(*journal.Cycle) { told++ }
	out, err := runner.Run(context.Background(), b, seq, o)
	if !errors.Is(err, full) {
		t.Errorf("%v; want the log's error", err)
	}
	if n := len(s.cycles); out.Cycles != n || told != n || out.Last != n || n < 50 {
		t.Errorf("%d cycles stored, %d told of; the outcome is %+v", n, told, out)
	}
	if spy.released == 0 {
		t.Error("the drives were not released")
	}
}

func TestRun_PanicWhileStoring(t *testing.T) {
	b, spy, seq := relayBench(t)
	_, err := runner.Run(context.Background(), b, seq, opts(100_000, &shelf{after: 2, panics: true}))
	if !errors.Is(err, runner.ErrInternal) || !strings.Contains(err.Error(), "planted") {
		t.Errorf("%v; want an internal error", err)
	}
	if spy.released == 0 {
		t.Error("the drives were not released")
	}
}

func TestRun_PanicAtTheBench(t *testing.T) {
	b, spy, seq := relayBench(t)
	spy.panicAt = 5
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the panic was swallowed")
			}
		}()
		_, _ = runner.Run(context.Background(), b, seq, opts(100, &shelf{}))
	}()
	if spy.released == 0 {
		t.Error("the drives were not released")
	}
}

// TestRun_Interrupted ends the context in the middle of a cycle: what was captured
// of it is stored, marked as not complete, and the state under way is not judged.
func TestRun_Interrupted(t *testing.T) {
	b, spy, seq := relayBench(t)
	s := &shelf{}
	o := opts(100, s)
	ctx, cancel := context.WithCancel(context.Background())
	o.OnEvent = func(cycle int, event string) {
		if cycle == 4 && event == "release" {
			cancel()
		}
	}
	out, err := runner.Run(ctx, b, seq, o)
	if !errors.Is(err, context.Canceled) || out.Cycles != 3 {
		t.Errorf("%+v, %v; want 3 whole cycles and an interruption", out, err)
	}
	last := s.cycles[len(s.cycles)-1]
	if len(s.cycles) != 4 || last.Complete {
		t.Fatalf("%d cycles stored, the last complete: %v", len(s.cycles), last.Complete)
	}
	for _, m := range last.Measurements {
		if m.Event == "release" {
			t.Errorf("%s of %s at release was judged, although the state was cut short", m.Quantity, m.Signal)
		}
	}
	if spy.released == 0 {
		t.Error("the drives were not released")
	}
}

func TestRun_RigLost(t *testing.T) {
	b, _, seq := relayBench(t, "adc-lost=1 s")
	s := &shelf{}
	out, err := runner.Run(context.Background(), b, seq, opts(100, s))
	if !errors.Is(err, bench.ErrLost) {
		t.Fatalf("%v; want the rig lost", err)
	}
	if out.Counts.BusErrors == 0 {
		t.Error("no bus error was counted")
	}
	if n := len(s.cycles); n == 0 || s.cycles[n-1].Complete || s.cycles[n-1].Capture == nil {
		t.Error("the cycle under way is not kept as incomplete")
	}
}

// stalled is a log on a disk that stalls until something has happened.
type stalled struct {
	shelf
	entered, until chan struct{}
	once           sync.Once
}

func newStalled() *stalled {
	return &stalled{shelf: shelf{after: 1000}, entered: make(chan struct{}), until: make(chan struct{})}
}

func (s *stalled) Append(cycles ...*journal.Cycle) error {
	s.once.Do(func() { close(s.entered) })
	select {
	case <-s.until:
	case <-time.After(time.Minute):
		return errors.New("nothing has happened while the log stalled")
	}
	return s.shelf.Append(cycles...)
}

// goOn lets the log go on.
func (s *stalled) goOn() {
	select {
	case <-s.until:
	default:
		close(s.until)
	}
}

// onForGood switches the relay on in each cycle and never off.
func onForGood(t *testing.T) *sequences.Sequence {
	t.Helper()
	seq, err := sequences.Parse("on.yaml", []byte("name: on\nabout: On and on.\ncycles: 1\nsteps: [{event: energize, hold: 50 ms}]\noutputs: {COIL: {expect: {energize: high}}}\n"))
	if err != nil {
		t.Fatal(err)
	}
	return seq
}

// While the log stalls a drive stays on for its longest time and no longer, where time goes
// on by itself. Cycles that were whole by then are stored: those that wait, and as many as
// the measurer had taken by then. The last one may have been under way.
func TestRun_LogStalls(t *testing.T) {
	b, spy, _ := relayBench(t)
	spy.ticks = 10 * time.Microsecond
	s := newStalled()
	spy.off = s.goOn
	out, err := runner.Run(context.Background(), b, onForGood(t), opts(1000, s))
	if !errors.Is(err, bench.ErrTooLong) {
		t.Errorf("%v; want the drive released after its longest time", err)
	}
	n := len(s.cycles)
	whole := slices.IndexFunc(s.cycles, func(c *journal.Cycle) bool { return !c.Complete })
	if whole < 0 {
		whole = n
	}
	if whole < 16 || n > 40 || n > whole+1 || out.Cycles != whole || out.Last != n {
		t.Errorf("%d cycles stored, %d of them whole; the outcome is %+v", n, whole, out)
	}
}

// A cancellation ends a run while the log stalls, wherever the bench is: the drives are
// released at once, and what is whole is stored when the log goes on.
func TestRun_CancelledWhileLogStalls(t *testing.T) {
	for name, prepare := range map[string]func(cancel func(), spy *watched, s *stalled, o *runner.Opts){
		"waiting, time stands still": func(cancel func(), _ *watched, _ *stalled, _ *runner.Opts) {
			go func() { synctest.Wait(); cancel() }()
		},
		"waiting, time goes on": func(cancel func(), spy *watched, _ *stalled, _ *runner.Opts) {
			spy.ticks = 10 * time.Microsecond
			spy.late, spy.atLate = sim.Start.Add(time.Minute), cancel // 18 cycles take 6 s
		},
		"in a cycle": func(cancel func(), _ *watched, _ *stalled, o *runner.Opts) {
			first := o.OnEvent
			o.OnEvent = func(cycle int, event string) {
				if first(cycle, event); cycle == 18 && event == "release" {
					cancel()
				}
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b, spy, seq := relayBench(t)
				s, o := newStalled(), opts(1000, nil)
				o.Recorder = s
				ctx, cancel := context.WithCancel(context.Background())
				defer cancel()
				spy.off = func() {
					if ctx.Err() != nil {
						s.goOn()
					}
				}
				o.OnEvent = func(cycle int, _ string) {
					if cycle == 2 { // the measurer may get no processor before the bench has to wait
						<-s.entered
					}
				}
				prepare(cancel, spy, s, &o)
				out, err := runner.Run(ctx, b, seq, o)
				// The first one alone is being stored, 16 wait, and one is in hand or under way.
				if n := len(s.cycles); !errors.Is(err, context.Canceled) || n != 18 || out.Last != n {
					t.Fatalf("%v, %d cycles stored, %+v", err, n, out)
				}
				if whole := s.cycles[len(s.cycles)-1].Complete; whole != (name != "in a cycle") {
					t.Errorf("the last cycle is complete: %v", whole)
				}
			})
		})
	}
}

// A rig that is lost before the first event leaves no whole cycle.
func TestRun_RigLostInTheBaseline(t *testing.T) {
	b, _, seq := relayBench(t, "adc-lost=20 ms")
	s := &shelf{}
	out, err := runner.Run(context.Background(), b, seq, opts(1, s))
	if !errors.Is(err, bench.ErrLost) || out.Cycles != 0 {
		t.Fatalf("%+v, %v; want the rig lost and no cycle", out, err)
	}
	for _, c := range s.cycles {
		if c.Complete {
			t.Errorf("cycle %d is stored as complete", c.N)
		}
	}
}
