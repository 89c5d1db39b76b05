package live_test

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"golang.org/x/sys/unix"
	"pgregory.net/rapid"

	"makebreak/analyze"
	"makebreak/analyze/tally"
	"makebreak/rig/bench"
	"makebreak/rig/wiring"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/live"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
	_ "makebreak/testdata/fixedseed"
)

// testRun is a run on the simulated bench, with a hub or without.
type testRun struct {
	seq *sequences.Sequence
	rig *wiring.Rig
	hub *live.Hub
	b   *bench.Bench
}

func newRun(t testing.TB, sequence string, cycles int, shown bool, faults ...string) *testRun {
	t.Helper()
	seq, err := sequences.Load(context.Background(), sequence)
	if err != nil {
		t.Fatal(err)
	}
	seq.Cycles = cycles
	r := &testRun{seq: seq, rig: setup.BenchFor(seq)}
	s := setup.Simulation{Seed: 7}
	if err := s.Plant(faults); err != nil {
		t.Fatal(err)
	}
	opts := bench.Opts{}
	if shown {
		r.hub = live.New(live.Of{Sequence: seq, Rig: r.rig, Program: "test"})
		opts.Glances = []*bench.Glances{r.hub.Glances()}
	}
	if r.b, err = setup.Open(r.rig, seq, s, opts); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.b.Close() })
	return r
}

// begin tells the hub of the run.
func (r *testRun) begin() { r.beginAs(false) }

func (r *testRun) beginAs(soak bool) {
	info := journal.RunInfo{ID: "2026-11-28-lumora.1", UUID: "u", Unit: "P-1", Sequence: r.seq.Name, Planned: r.seq.Cycles, Started: time.Unix(0, 0)}
	if soak {
		info.Soak = &journal.Retention{}
	}
	r.hub.Begin(info, live.Before{}, r.b.Sampled())
}

// shelf takes cycles in.
type shelf struct {
	mu  sync.Mutex
	all []*journal.Cycle
}

func (s *shelf) Append(cycles ...*journal.Cycle) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.all = append(s.all, cycles...)
	return nil
}

func (r *testRun) run(ctx context.Context, t testing.TB) (*shelf, runner.Outcome) {
	t.Helper()
	s := &shelf{}
	o := runner.Opts{First: 1, Last: r.seq.Cycles, Recorder: s, Now: func() time.Time { return time.Unix(0, 0) }}
	if r.hub != nil {
		r.hub.Hears(&o)
	}
	out, err := runner.Run(ctx, r.b, r.seq, o)
	if err != nil {
		t.Fatal(err)
	}
	return s, out
}

// consistent says what does not fit together in a state.
func consistent(s *live.State, planned int) string {
	sum := 0
	gravest := analyze.NoVerdict
	for i, n := range s.Counts {
		if sum += n; n > 0 {
			gravest = gravest.Worse(analyze.Verdicts[i])
		}
	}
	switch {
	case sum != s.Done:
		return "the verdicts' counts are not the cycles done"
	case s.Done > s.Stored || s.Stored > planned:
		return "more cycles are done than stored, or stored than planned"
	case s.Verdict != gravest:
		return "the verdict is not that of the cycles"
	case s.Seen && s.Step.Cycle < s.Stored:
		return "a cycle is stored that has not begun"
	case s.Seen && s.Step.Cycle > 0 && (s.Step.Number < 1 || s.Step.Number > s.Step.Of || s.Step.Event == ""):
		return "the step is none of the sequence's"
	case s.Results != nil && s.Results.Cycle > s.Stored:
		return "results of a cycle that is not stored"
	case s.Results != nil && s.Results.Last != nil && s.Results.Last.Cycle > s.Results.Cycle:
		return "a capture of a cycle that is not stored"
	}
	if s.Results != nil {
		for _, f := range s.Results.Figures {
			if n := f.Verdicts[0] + f.Verdicts[1] + f.Verdicts[2] + f.Verdicts[3]; n > s.Results.Cycle*s.Step.Of && s.Step.Of > 0 || f.N > n {
				return "a figure has more values than cycles"
			}
		}
	}
	return ""
}

// Whoever looks whenever sees a state whose parts fit together, each no older than the one
// before, and the same cycles are stored as where nobody looks.
func TestHub_Consistent(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		cycles := rapid.IntRange(1, 80).Draw(rt, "cycles")
		faults := rapid.SampledFrom([][]string{nil, {"missed-cycle=7"}, {"slow-release"}}).Draw(rt, "faults")
		readers := rapid.IntRange(1, 8).Draw(rt, "readers")
		plain, _ := newRun(t, "relay-only", cycles, false, faults...).run(t.Context(), t)
		r := newRun(t, "relay-only", cycles, true, faults...)
		r.begin()
		r.hub.Quicken(200 * time.Microsecond)
		var all sync.WaitGroup
		wrong := make(chan string, 100)
		for range readers {
			all.Go(func() {
				var before *live.State
				for since := uint64(0); ; {
					s, number, err := r.hub.Next(t.Context(), since)
					if err != nil || number <= since {
						wrong <- "no newer state"
						return
					}
					since = number
					if why := consistent(s, cycles); why != "" {
						wrong <- why
						return
					}
					if before != nil && (s.Done < before.Done || s.Seen && before.Seen && s.Step.Cycle < before.Step.Cycle) {
						wrong <- "a state is older than the one before"
						return
					}
					if before = s; s.End != nil {
						return
					}
				}
			})
		}
		shown, _ := r.run(t.Context(), t)
		r.hub.End(time.Unix(60, 0), true, "")
		all.Wait()
		close(wrong)
		for why := range wrong {
			rt.Fatal(why)
		}
		if len(shown.all) != len(plain.all) {
			rt.Fatalf("%d cycles stored, %d where nobody looks", len(shown.all), len(plain.all))
		}
		for i, c := range shown.all {
			p := plain.all[i]
			if c.Verdict != p.Verdict || !bytes.Equal(c.Capture, p.Capture) || len(c.Measurements) != len(p.Measurements) {
				rt.Fatalf("cycle %d is another where somebody looks", c.N)
			}
		}
	})
}

// The end is told with all that came before it.
func TestHub_End(t *testing.T) {
	r := newRun(t, "relay-only", 5, true, "welded")
	r.begin()
	r.run(t.Context(), t)
	r.hub.End(time.Unix(60, 0), true, "")
	s, n, err := r.hub.Next(t.Context(), 0)
	if err != nil || s.End == nil || s.End.Verdict != analyze.Fail || s.Done != 5 || s.Verdict != analyze.Fail || s.Results == nil || s.Results.Cycle != 5 || len(s.Results.Findings) == 0 || s.Results.Last == nil {
		t.Fatalf("%+v, %v", s, err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, _, err := r.hub.Next(ctx, n); err == nil {
		t.Error("a state after the last")
	}
}

// benchmark runs cycles with so many who look.
func benchmark(b *testing.B, shown bool, readers int) {
	r := newRun(b, "relay-only", b.N, shown)
	if shown {
		r.begin()
		for range readers {
			ctx, cancel := context.WithCancel(context.Background())
			defer cancel()
			go func() {
				for since := uint64(0); ctx.Err() == nil; {
					_, since, _ = r.hub.Next(ctx, since)
				}
			}()
		}
	}
	b.ResetTimer()
	before := processorTime(b)
	r.run(context.Background(), b)
	b.ReportMetric(float64((processorTime(b)-before).Nanoseconds())/float64(b.N), "cpu-ns/op")
}

// processorTime is what this process has had of processors.
func processorTime(b *testing.B) time.Duration {
	var u unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func BenchmarkRun_Alone(b *testing.B)      { benchmark(b, false, 0) }
func BenchmarkRun_Hub(b *testing.B)        { benchmark(b, true, 0) }
func BenchmarkRun_Readers1(b *testing.B)   { benchmark(b, true, 1) }
func BenchmarkRun_Readers100(b *testing.B) { benchmark(b, true, 100) }

// A hundred pages that follow a run make it no other.
func TestPage_SameRun(t *testing.T) {
	const cycles = 120
	plain, _ := newRun(t, "relay-only", cycles, false, "missed-cycle=7").run(t.Context(), t)
	r := newRun(t, "relay-only", cycles, true, "missed-cycle=7")
	r.begin()
	r.hub.Quicken(5 * time.Millisecond)
	page := live.NewPage(live.OfHub(r.hub))
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var all sync.WaitGroup
	var pieces atomic.Int64
	for range 100 {
		all.Go(func() {
			for since := uint64(0); ; {
				changed, number, err := page.Changes(ctx, since, "")
				if err != nil {
					return
				}
				since = number
				pieces.Add(int64(len(changed)))
			}
		})
	}
	for pieces.Load() < 100 { // each page has been shown
		time.Sleep(time.Millisecond)
	}
	shown, _ := r.run(t.Context(), t)
	cancel()
	all.Wait()
	if diff := cmp.Diff(plain.all, shown.all, cmpopts.EquateNaNs(), cmpopts.EquateApproxTime(time.Hour)); diff != "" {
		t.Error(diff)
	}
}

// A page whose run tells nothing in time stands all the same, with the place for what comes.
func TestPage_Late(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	s := &told{}
	s.news = make(chan struct{})
	var b strings.Builder
	if err := live.NewPage(s).Show(ctx, &b, ""); err != nil || !strings.Contains(b.String(), `sse-swap="runs"`) || !strings.Contains(b.String(), "not known yet") {
		t.Errorf("%q, %v", b.String(), err)
	}
}

// Captures are copied for who looks, and not where nobody has looked for long.
func TestHub_Unwatched(t *testing.T) {
	t.Parallel()
	for _, forgotten := range []bool{false, true} {
		r := newRun(t, "relay-only", 3, true)
		r.begin()
		r.hub.Quicken(time.Nanosecond)
		if forgotten {
			r.hub.Forget()
		}
		r.run(t.Context(), t)
		r.hub.End(time.Unix(1, 0), true, "")
		s, _, err := r.hub.Next(t.Context(), 0)
		if err != nil || s.Results == nil || (s.Results.Last == nil) != forgotten {
			t.Errorf("nobody looked for long: %t; %+v, %v", forgotten, s.Results, err)
		}
	}
}

// A soak's courses are of all its cycles, those of earlier sittings too, in bounded room; those
// that failed come first.
func TestHub_Courses(t *testing.T) {
	t.Parallel()
	sums, err := tally.New()
	if err != nil {
		t.Fatal(err)
	}
	r := newRun(t, "relay-only", 3, true)
	r.hub.Quicken(time.Nanosecond)
	r.beginAs(true)
	add := func(n int, signal string, value float64, v analyze.Verdict) {
		m := analyze.Measurement{Cycle: n, Event: "energize", Signal: signal, Quantity: analyze.OperateTime, Value: value, Expanded: 1e-5,
			Limit: analyze.Limit{Lower: math.NaN(), Upper: 0.006}, Verdict: v}
		if err := sums.Add(&m); err != nil {
			t.Fatal(err)
		}
	}
	see := func() []live.Course {
		t.Helper()
		s, _, err := r.hub.Next(t.Context(), 0)
		if err != nil || s.Results == nil {
			t.Fatal(err)
		}
		return s.Results.Courses
	}
	const few, many = 20, 60_000
	for n := 1; n <= few; n++ {
		add(n, "K1", 0.004, analyze.Pass) // which is no course
		add(n, "K2", 0.004+float64(n)*1e-8, analyze.Pass)
	}
	r.hub.Follow(sums)
	if got := see(); len(got) != 1 || got[0].Signal != "K2" || len(got[0].Bands) != few || got[0].Bands[few-1].First != few || len(got[0].Bands[0].Values) != 1 {
		t.Fatalf("%+v", got)
	}
	for n := few + 1; n <= many; n++ {
		add(n, "K1", 0.005+float64(n)*2e-8, map[bool]analyze.Verdict{true: analyze.Fail, false: analyze.Pass}[n > 50_000])
		add(n, "K2", 0.004+float64(n)*1e-8, analyze.Pass)
	}
	r.hub.End(time.Unix(1, 0), true, "")
	got := see()
	if len(got) != 2 || got[0].Signal != "K1" || got[0].Verdicts[analyze.Fail.Gravity()] != many-50_000 || len(got[0].Out) == 0 || got[0].Out[0].First < 50_000 || got[0].Last != many {
		t.Fatalf("%+v", got)
	}
	bands := got[1].Bands
	if len(bands) < 30 || len(bands) > 80 || bands[0].First != 1 || bands[len(bands)-1].Last != many {
		t.Fatalf("%d bands, from cycle %d to %d", len(bands), bands[0].First, bands[len(bands)-1].Last)
	}
	for i := 1; i < len(bands); i++ {
		if bands[i].First != bands[i-1].Last+1 || !(bands[i].Values[2] > bands[i-1].Values[2]) {
			t.Fatalf("band %d: %+v", i, bands[i])
		}
	}
	if text, err := json.Marshal(got); err != nil || len(text) > 30_000 {
		t.Errorf("%d bytes: %v", len(text), err)
	}
}
