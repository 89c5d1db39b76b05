package picture

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/measure"
	"makebreak/rig/capture"
)

// Story is what an output and its relay did, in seconds after the first event. It is told by the
// tests, and measured as any capture is.
type Story struct {
	Name     string
	Events   []Mark
	End      float64
	Step     float64 // between samples
	Levels   []Point // from when on the output had which voltage; between two of one time it is slow
	Slopes   bool    // the output goes straight from one to the next
	Make     []float64
	Break    []float64 // when the contacts changed; the one began open, the other closed
	Swapped  bool      // the other way round
	Expect   map[string]analyze.Expectation
	Moves    map[string]analyze.Move
	Kept     []stretch
	Lost     []float64 // edges of the make contact, when that was noticed
	Noise    float64
	Relay    bool
	Unnamed  bool // the plan does not name the output
	NoLimits bool
}

// Stories are those that are drawn for people to look at.
func Stories() []Story {
	high := map[string]analyze.Expectation{"arm-away": {Demand: analyze.High}, "disarm": {Demand: analyze.Low}}
	arm := []Mark{{At: 0, Words: "arm-away"}}
	base := Story{Events: arm, End: 0.6, Step: 0.001, Levels: []Point{{-1, 0.6}, {0.1431, 13}}, Expect: high, Noise: 0.003, Relay: true,
		Make: []float64{0.1485, 0.1487, 0.1491, 0.1493, 0.1499}, Break: []float64{0.1462}}
	tell := func(name string, change func(s *Story)) Story {
		s := base
		s.Name = name
		change(&s)
		return s
	}
	return []Story{
		tell("healthy", func(*Story) {}),
		tell("stuck", func(s *Story) { s.Levels, s.Make, s.Break = []Point{{-1, 0.6}}, nil, nil }),
		tell("weak", func(s *Story) { s.Levels = []Point{{-1, 0.6}, {0.1431, 9.1}} }),
		tell("late", func(s *Story) {
			s.End, s.Levels = 0.9, []Point{{-1, 0.6}, {0.7431, 13}}
			s.Make, s.Break = []float64{0.7485}, []float64{0.7462}
		}),
		tell("welded", func(s *Story) {
			s.Events, s.Levels = []Mark{{At: 0, Words: "disarm"}}, []Point{{-1, 13}, {0.1438, 0.6}}
			s.Swapped, s.Make, s.Break = true, nil, nil
		}),
		tell("swapped", func(s *Story) { s.Swapped, s.Make, s.Break = true, base.Break, base.Make }),
		tell("long-bounce", func(s *Story) {
			s.Make = nil
			for at := 0.1485; at < 0.1601; at += 0.0008 {
				s.Make = append(s.Make, at)
			}
			s.Make = s.Make[:len(s.Make)/2*2-1]
		}),
		tell("early-fall", func(s *Story) {
			s.End, s.Levels = 2, []Point{{-1, 0.6}, {0.1431, 13}, {1.1431, 0.6}}
			s.Make, s.Break = append(slices.Clone(s.Make), 1.1462), append(slices.Clone(s.Break), 1.1478, 1.1482, 1.1487)
		}),
		tell("pulse", func(s *Story) {
			s.End, s.Levels, s.Relay = 3, []Point{{-1, 0.6}, {0.1431, 13}, {2.1431, 0.6}}, false
			s.Expect = map[string]analyze.Expectation{"arm-away": {Demand: analyze.Pulse, After: 2 * time.Second, Within: 0.1}}
		}),
		tell("exit-delay", func(s *Story) {
			s.End, s.Levels, s.Relay = 35, []Point{{-1, 0.6}, {30.142, 13.6}}, false
			s.Expect = map[string]analyze.Expectation{"arm-away": {Demand: analyze.High, After: 30 * time.Second, Within: 0.05}}
			s.Kept = []stretch{{-0.1, 0.1}, {30.04, 30.4}}
		}),
		tell("moved", func(s *Story) {
			s.End, s.Levels, s.Relay = 3, []Point{{-1, 0.6}, {1.5, 13}, {1.512, 0.6}}, false
			s.Expect = map[string]analyze.Expectation{"arm-away": {Demand: analyze.Unmoved}}
		}),
		tell("lost-edges", func(s *Story) { s.Lost = []float64{0.1491} }),
		tell("ramp", func(s *Story) {
			s.Events = []Mark{{At: 0, Words: "rise"}}
			s.Moves = map[string]analyze.Move{"rise": {From: 0, To: 13.8, Over: 14 * time.Second}}
			s.Expect = nil
			s.End, s.Step, s.Slopes, s.Levels = 14.5, 0.005, true, []Point{{-1, 0}, {0, 0}, {14, 13.8}, {20, 13.8}}
			s.Make, s.Break = []float64{7.2}, []float64{7.197}
		}),
	}
}

// at is the story's time on the capture's own clock.
func at(seconds float64) capture.Instant { return capture.FromSeconds(5 + seconds) }

// Told is a story as a capture, its plan and the figures measured of it.
func (s *Story) Told() (*capture.Capture, *analyze.Plan, []analyze.Measurement) {
	c := s.capture()
	p := s.plan()
	m, err := measure.NewMeter(p, c)
	if err != nil {
		panic(err)
	}
	for i, e := range c.Events {
		to := c.End
		if i+1 < len(c.Events) {
			to = c.Events[i+1].At
		}
		m.State(c, e, to)
	}
	return c, p, m.Take()
}

// Of is a story as a diagram of its first event.
func (s *Story) Of() TimingOf {
	c, p, figures := s.Told()
	return TimingOf{Capture: c, Plan: p, Figures: figures, Signal: "OUT3", Event: s.Events[0].Words, Cycle: 1}
}

func (s *Story) capture() *capture.Capture {
	span := time.Duration(s.Step * 0.9 * 1e9)
	tr := capture.NewTrace("OUT3", capture.Converter{Span: span, Stamp: 10 * time.Microsecond, StepVolts: 0.0006})
	rng := rand.New(rand.NewPCG(1, 2))
	for i := 0; ; i++ {
		t := -0.3 + float64(i)*s.Step
		if t > s.End {
			break
		}
		v := s.mean(t-span.Seconds(), t) + s.Noise*rng.NormFloat64()
		if s.Kept == nil || slices.ContainsFunc(s.Kept, func(k stretch) bool { return t >= k.from && t <= k.to }) {
			tr.Append(at(t), v)
		}
	}
	c := &capture.Capture{Start: at(-0.3), End: at(s.End), Traces: []*capture.Trace{tr}}
	for _, e := range s.Events {
		c.Events = append(c.Events, capture.Event{Name: e.Words, At: at(e.At), Uncertainty: 10 * time.Microsecond, Timed: "drive"})
	}
	if s.Relay {
		c.Tracks = []*capture.Track{line("K1_NO", s.Swapped, s.Make), line("K1_NC", !s.Swapped, s.Break)}
		for _, l := range s.Lost {
			c.Tracks[0].Losses = append(c.Tracks[0].Losses, capture.Loss{Span: capture.Span{From: at(l - 0.0001), To: at(l)}, Edges: 2})
		}
	}
	for _, k := range s.Kept {
		c.Kept = append(c.Kept, capture.Span{From: at(k.from), To: at(k.to)})
	}
	return c
}

func line(signal string, closed bool, changes []float64) *capture.Track {
	t := &capture.Track{Signal: signal, Known: true, Initial: closed, Stamp: 10 * time.Microsecond}
	for _, x := range changes {
		closed = !closed
		t.Edges = append(t.Edges, capture.Edge{At: at(x), Closed: closed})
	}
	return t
}

// mean is the output's mean voltage over a time, in 8 steps.
func (s *Story) mean(from, to float64) float64 {
	const steps = 8
	sum := 0.0
	for i := range steps {
		sum += s.level(from + (to-from)*(float64(i)+0.5)/steps)
	}
	return sum / steps
}

func (s *Story) level(t float64) float64 {
	v := math.NaN()
	for i, l := range s.Levels {
		if l.At > t {
			break
		}
		if v = l.Value; s.Slopes && i+1 < len(s.Levels) {
			v = onLine(l, s.Levels[i+1], t).Value
		}
	}
	return v
}

func (s *Story) plan() *analyze.Plan {
	most := func(x float64) analyze.Limit { return analyze.Limit{Lower: math.NaN(), Upper: x} }
	least := func(x float64) analyze.Limit { return analyze.Limit{Lower: x, Upper: math.NaN()} }
	p := &analyze.Plan{OthersUnmoved: true, Moves: s.Moves}
	for _, e := range s.Events {
		p.Steps = append(p.Steps, e.Words)
	}
	if !s.Unnamed {
		o := analyze.OutputPlan{Signal: "OUT3", Expect: s.Expect, Limits: analyze.Limits{
			analyze.HighLevel: {Lower: 12, Upper: 14.5}, analyze.LowLevel: most(1), analyze.SwitchingDelay: most(0.5), analyze.Hold: most(0)}}
		if s.NoLimits || s.Moves != nil {
			o.Limits = nil
		}
		if s.Relay {
			o.Relay = "K1"
		}
		p.Outputs = []analyze.OutputPlan{o}
	}
	if s.Relay {
		p.Relays = []analyze.RelayPlan{{Signal: "K1", Make: "K1_NO", Break: "K1_NC", MustOperate: 9, MustRelease: 1.2, Limits: analyze.Limits{
			analyze.OperateTime: most(0.015), analyze.ReleaseTime: most(0.01), analyze.BounceTime: most(0.005), analyze.TransferTime: least(0)}}}
	}
	return p
}
