package picture

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// TimingOf is what a timing diagram is drawn from.
type TimingOf struct {
	Capture *capture.Capture // of the cycle, or more of it
	Plan    *analyze.Plan    // nil: nothing was demanded
	// Figures are the cycle's, in their order. Those of the event alone do, too.
	Figures []analyze.Measurement
	Signal  string // an output, or a relay or a contact of one
	Event   string
	Cycle   int
	// Occurrence says which of the cycle's events of that name is drawn, from 1; 0: the one
	// with the gravest verdict.
	Occurrence int
	// At is the event's instant in Capture, where that is known; the last figures of an event of
	// that name are then its own. Nil: Occurrence says which event it is.
	At *capture.Instant
	// Behind are captures that are drawn behind in grey: of other cycles, or of another run.
	// BehindWords say what they are; empty: so many other cycles.
	Behind      []*capture.Capture
	BehindWords string
}

// Timing is what one output and the contacts behind it did at one event. Times are in
// seconds after the event.
type Timing struct {
	Heading string
	Signal  string // the output; of a relay without one, the relay
	Event   string
	Cycle   int
	Verdict analyze.Verdict // gravest of the figures of the output, its relay and contacts there
	// Words say what was demanded and what was seen.
	Words []string
	Main  View
	// Enlarged show places of Main, each with an axis of its own.
	Enlarged []View
	// Listed are the dimensions that found no room in the drawing, or have no value.
	Listed []Dimension
	// Behind says what lies behind in grey; empty: nothing.
	Behind string

	about string
	small bool // with lower lanes: there may be many
}

// View is the same lanes over one stretch of time.
type View struct {
	From, To   float64 // seconds
	Factor     float64 // how many times larger than in Main; 1: Main itself
	Marks      []Mark
	Lanes      []Lane
	Dimensions []Dimension // that are drawn, each in its Row
	Latest     []Mark      // limits of times that begin at the event
	Beyond     []Mark      // those that lie after To

	half int // which half of the drawing it has; 0: all
	rows int // of dimensions, at least
}

// Mark is an instant with its words.
type Mark struct {
	At       float64 // seconds
	Words    string
	Earliest bool // a limit before which nothing may happen
}

// LevelMark is a voltage at an instant with its words.
type LevelMark struct {
	At, Value float64 // seconds, volts
	Words     string
}

// Lane is one signal over time.
type Lane struct {
	Signal  string
	Contact bool      // values are 0 (open) and 1 (closed); else volts
	Low     float64   // the scale's lower end, volts; 0 of a contact
	High    float64   // its upper end, volts; 1 of a contact
	Lines   [][]Point // each without a gap
	Samples []Point   // drawn as dots, where they are far apart
	Behind  []Reach
	Bands   []Band
	Unseen  []Unseen
	Lost    []Point // where edges were lost
	Crossed []Point // where the output crossed its mid level
	Levels  []LevelMark
	Note    string // what did not happen
}

// Point is a value at a time.
type Point struct{ At, Value float64 } // seconds; volts, or 0 and 1

// Reach is the lowest and the highest value in one column of a drawing.
type Reach struct{ At, Low, High float64 } // seconds; volts, or 0 and 1

// Band is an area that the output must keep to. A bound of NaN is none. A level closer than Guard
// to a bound, on its inner side, is undecided.
type Band struct {
	From, To     float64 // seconds
	Lower, Upper float64 // volts
	Guard        float64 // volts
	Words        [2]string
}

// Unseen is a stretch of which not all was recorded.
type Unseen struct {
	From, To float64 // seconds
	Words    string
}

// scene is what all views of one diagram are made from.
type scene struct {
	of      *TimingOf
	zero    capture.Instant // of the event
	till    capture.Instant // next event, or the capture's end
	from    capture.Instant // event before, or the capture's start
	state   []analyze.Measurement
	output  *capture.Trace // nil: none is known
	plan    *analyze.OutputPlan
	relay   *analyze.RelayPlan
	tracks  []*capture.Track
	expect  analyze.Expectation
	before  analyze.Expectation // of the state before
	low     float64             // levels in volts, NaN: not known
	high    float64
	crossed []float64 // seconds after the event
	// lowest and highest are the ends of the output's scale, volts.
	lowest, highest float64
	changes         []changed
	away            *stretch // the longest that the output was out of its state; nil: it was not
	behind          []*scene
}

// An AbsentError says that a capture does not hold what was to be drawn, and what it holds.
type AbsentError struct {
	What, Name string
	There      []string
}

// Error names what there is.
func (e *AbsentError) Error() string {
	return fmt.Sprintf("the capture has no %s %s; use one of: %s", e.What, words.Safe(e.Name), words.List(e.There))
}

// NewTiming works out the diagram. An *AbsentError names the signals or events that there are.
func NewTiming(of TimingOf) (*Timing, error) {
	s, err := sceneOf(&of)
	if err != nil {
		return nil, err
	}
	t := &Timing{Event: of.Event, Cycle: of.Cycle, Signal: s.signal()}
	for i := range s.state {
		if s.mine(s.state[i].Signal) {
			t.Verdict = t.Verdict.Worse(s.state[i].Verdict)
		}
	}
	t.Heading = fmt.Sprintf("%s at %s, cycle %d", t.Signal, of.Event, of.Cycle)
	if t.Verdict != analyze.NoVerdict {
		t.Heading += ": " + string(t.Verdict)
	}
	all := s.dimensions()
	from, to := s.window()
	t.Main = s.view(from, to)
	s.say(&t.Main)
	for _, c := range s.clusters(from, to, all) {
		v := s.view(c.from, c.to)
		v.Factor, v.Beyond = (to-from)/(c.to-c.from), nil
		t.Enlarged = append(t.Enlarged, v)
	}
	if len(t.Enlarged) > 1 { // one beside the other, so that a printed page holds them
		t.Enlarged[0].half, t.Enlarged[1].half = 1, 2
	}
	t.place(all)
	rows := 0
	for i := range t.Enlarged {
		for _, d := range t.Enlarged[i].Dimensions {
			rows = max(rows, d.Row+1)
		}
	}
	for i := range t.Enlarged {
		t.Enlarged[i].rows = rows
	}
	t.Words = s.words()
	if len(s.behind) > 0 {
		if t.Behind = of.BehindWords; t.Behind == "" {
			t.Behind = words.Count(len(s.behind), "other cycle")
		}
	}
	t.about = strings.Join(append(slices.Clone(t.Words), s.told()...), " ")
	return t, nil
}

// sceneOf finds the event and the signals.
func sceneOf(of *TimingOf) (*scene, error) {
	s := &scene{of: of, low: math.NaN(), high: math.NaN()}
	if err := s.findSignals(); err != nil {
		return nil, err
	}
	occurrence := of.Occurrence
	if occurrence == 0 {
		occurrence = s.gravest()
	}
	if of.At != nil {
		occurrence = math.MaxInt
	}
	s.state = nthState(of.Figures, of.Event, occurrence)
	if err := s.findEvent(of.Capture, occurrence, of.At); err != nil {
		return nil, err
	}
	s.findDemands()
	s.findLevels()
	s.findCrossings()
	s.findChanges()
	s.findAway()
	for _, c := range of.Behind {
		b := &scene{of: of}
		if b.findEvent(c, occurrence, nil) != nil {
			continue // that cycle has no such event
		}
		if s.output != nil {
			b.output = c.Trace(s.output.Signal)
		}
		for _, t := range s.tracks {
			b.tracks = append(b.tracks, c.Track(t.Signal))
		}
		s.behind = append(s.behind, b)
	}
	return s, nil
}

// findSignals finds the output, and the relay and the contacts behind it.
func (s *scene) findSignals() error {
	c, p := s.of.Capture, s.of.Plan
	if p == nil {
		p = &analyze.Plan{}
	}
	relays := p.Relays
	if len(relays) == 0 && len(p.Outputs) == 0 {
		relays = analyze.RelaysOf(c)
	}
	name := s.of.Signal
	for i := range relays {
		if r := &relays[i]; name == r.Signal || name == r.Make || name == r.Break {
			s.relay, name = r, r.Signal
		}
	}
	for i := range p.Outputs {
		if o := &p.Outputs[i]; o.Signal == name || s.relay != nil && o.Relay == s.relay.Signal {
			s.plan, s.output = o, c.Trace(o.Signal)
		}
	}
	if s.output == nil {
		s.output = c.Trace(name)
	}
	for i := range relays {
		if s.plan != nil && s.plan.Relay == relays[i].Signal || s.plan == nil && s.output != nil && len(relays) == 1 && len(c.Traces) == 1 {
			s.relay = &relays[i]
		}
	}
	if s.output == nil && s.relay != nil && s.plan == nil && len(relays) == 1 && len(c.Traces) == 1 {
		s.output = c.Traces[0]
	}
	if s.relay != nil {
		for _, contact := range []string{s.relay.Make, s.relay.Break} {
			if t := c.Track(contact); contact != "" && t != nil {
				s.tracks = append(s.tracks, t)
			}
		}
	}
	if s.output == nil && len(s.tracks) == 0 {
		return &AbsentError{"signal", s.of.Signal, SignalsOf(c, s.of.Plan)}
	}
	return nil
}

// SignalsOf returns what can be drawn of a capture: its outputs, and the relays.
func SignalsOf(c *capture.Capture, p *analyze.Plan) []string {
	var names []string
	for _, t := range c.Traces {
		names = append(names, t.Signal)
	}
	relays := analyze.RelaysOf(c)
	if p != nil && len(p.Relays) > 0 {
		relays = p.Relays
	}
	for _, r := range relays {
		names = append(names, r.Signal)
	}
	return names
}

// EventsOf returns the names of the events in a capture, each once.
func EventsOf(c *capture.Capture) []string {
	var names []string
	for _, e := range c.Events {
		if !slices.Contains(names, e.Name) {
			names = append(names, e.Name)
		}
	}
	return names
}

// signal names the diagram.
func (s *scene) signal() string {
	if s.output != nil {
		return s.output.Signal
	}
	return s.relay.Signal
}

// mine reports whether a figure's signal is drawn here.
func (s *scene) mine(signal string) bool {
	if s.output != nil && signal == s.output.Signal {
		return true
	}
	return s.relay != nil && (signal == s.relay.Signal || signal == s.relay.Make || signal == s.relay.Break)
}

// nthState returns the figures of an event's n-th time in a cycle, the last where there are
// fewer.
func nthState(figures []analyze.Measurement, event string, n int) (last []analyze.Measurement) {
	for _, state := range states(figures) {
		if state[0].Event != event {
			continue
		}
		last = state
		if n--; n == 0 {
			break
		}
	}
	return last
}

// states parts a cycle's figures into those of each state: an event begins one, and so does a
// second figure of one output where the event has the same name.
func states(figures []analyze.Measurement) [][]analyze.Measurement {
	var all [][]analyze.Measurement
	first := 0
	type what struct {
		signal string
		q      analyze.Quantity
	}
	seen := map[what]bool{}
	for i := range figures {
		m := &figures[i]
		key := what{m.Signal, m.Quantity}
		if i > first && (m.Event != figures[first].Event || m.Quantity == analyze.Hold && seen[key]) {
			all = append(all, figures[first:i])
			first = i
			clear(seen)
		}
		seen[key] = true
	}
	if first < len(figures) {
		all = append(all, figures[first:])
	}
	return all
}

// gravest is which time of the event in the cycle has the gravest verdict, from 1.
func (s *scene) gravest() int {
	best, n, worst := 1, 0, -1
	for _, state := range states(s.of.Figures) {
		if state[0].Event != s.of.Event {
			continue
		}
		n++
		v := analyze.NoVerdict
		for i := range state {
			if s.mine(state[i].Signal) {
				v = v.Worse(state[i].Verdict)
			}
		}
		if v.Gravity() > worst {
			best, worst = n, v.Gravity()
		}
	}
	return best
}

// findEvent finds the event's n-th time in a capture, or the one at an instant, and what lies
// around it.
func (s *scene) findEvent(c *capture.Capture, n int, at *capture.Instant) error {
	s.from = c.Start
	for i, e := range c.Events {
		if e.Name == s.of.Event {
			n--
		}
		if e.Name == s.of.Event && (at == nil && n == 0 || at != nil && e.At == *at) {
			s.zero, s.till = e.At, c.End
			if i+1 < len(c.Events) {
				s.till = c.Events[i+1].At
			}
			return nil
		}
		s.from = e.At
	}
	return &AbsentError{"event", s.of.Event, EventsOf(c)}
}

// findDemands finds what the output must do at the event and had to do before it.
func (s *scene) findDemands() {
	if s.plan == nil {
		if p := s.of.Plan; p != nil && p.OthersUnmoved {
			s.expect.Demand, s.before.Demand = analyze.Unmoved, analyze.Unmoved
		}
		return
	}
	s.expect = s.demandAt(s.of.Event)
	for _, e := range s.of.Capture.Events {
		if e.At >= s.zero {
			break
		}
		if x := s.demandAt(e.Name); x.Demand != analyze.Any && x.Demand != analyze.Unmoved {
			s.before = x
		}
	}
}

func (s *scene) demandAt(event string) analyze.Expectation {
	if _, moves := s.of.Plan.Moves[event]; moves {
		return analyze.Expectation{}
	}
	return s.plan.At(event)
}

// sec is an instant in seconds after the event.
func (s *scene) sec(at capture.Instant) float64 { return at.Sub(s.zero).Seconds() }

// instant is the instant so many seconds after the event.
func (s *scene) instant(seconds float64) capture.Instant {
	return s.zero + capture.FromSeconds(seconds)
}

// figure returns the figure of a signal at the event, nil where there is none.
func (s *scene) figure(signal string, q analyze.Quantity) *analyze.Measurement {
	for i := range s.state {
		if m := &s.state[i]; m.Signal == signal && m.Quantity == q {
			return m
		}
	}
	return nil
}

// findLevels finds the output's two levels: those measured at the event, else elsewhere in the
// cycle.
func (s *scene) findLevels() {
	if s.output == nil {
		return
	}
	level := func(q analyze.Quantity) float64 {
		if m := s.figure(s.output.Signal, q); m != nil && !math.IsNaN(m.Value) {
			return m.Value
		}
		for _, m := range s.of.Figures {
			if m.Signal == s.output.Signal && m.Quantity == q && !math.IsNaN(m.Value) {
				return m.Value
			}
		}
		return math.NaN()
	}
	s.low, s.high = level(analyze.LowLevel), level(analyze.HighLevel)
}

// findCrossings finds when the output crossed its mid level, as measured.
func (s *scene) findCrossings() {
	if s.output == nil {
		return
	}
	m := s.figure(s.output.Signal, analyze.SwitchingDelay)
	if m == nil || math.IsNaN(m.Value) {
		return
	}
	s.crossed = append(s.crossed, m.Value)
	if p := s.figure(s.output.Signal, analyze.PulseDuration); p != nil && !math.IsNaN(p.Value) {
		s.crossed = append(s.crossed, m.Value+p.Value)
	}
}

// mid is the output's mid level, NaN where it is not known.
func (s *scene) mid() float64 {
	if !math.IsNaN(s.low) && !math.IsNaN(s.high) {
		return (s.low + s.high) / 2
	}
	return math.NaN()
}

// mostWords is how many figures are told above the drawing.
const mostWords = 3

// words say what was demanded, and which figures did not pass, the gravest first.
func (s *scene) words() []string {
	var lines []string
	if d := s.demanded(); d != "" {
		lines = append(lines, d)
	}
	var bad []*analyze.Measurement
	passed := 0
	for i := range s.state {
		m := &s.state[i]
		switch {
		case !s.mine(m.Signal):
		case m.Verdict == analyze.Pass:
			passed++
		case m.Verdict != analyze.NoVerdict:
			bad = append(bad, m)
		}
	}
	slices.SortStableFunc(bad, func(a, b *analyze.Measurement) int { return b.Verdict.Gravity() - a.Verdict.Gravity() })
	told := map[string]bool{}
	var more int
	for _, m := range bad {
		why := diagnose.Reason(m)
		if math.IsNaN(m.Value) && told[why] {
			continue // said already
		}
		told[why] = true
		if len(lines) > mostWords {
			more++
			continue
		}
		lines = append(lines, figureText(m, why))
	}
	switch {
	case more > 0:
		lines = append(lines, fmt.Sprintf("%s did not pass either.", words.Count(more, "more figure")))
	case len(bad) == 0 && passed > 0:
		lines = append(lines, words.Count(passed, "figure")+" judged here passed.")
	}
	return lines
}

func figureText(m *analyze.Measurement, why string) string {
	text := fmt.Sprintf("%s: %s %s", m.Verdict.Name(), m.Signal, m.Quantity.Words())
	if !math.IsNaN(m.Value) {
		text += " " + valueText(m)
	}
	if l := limitText(m); l != "" {
		text += ", " + l
	}
	if why != "" {
		text += ": " + why
	}
	return words.Capital(text) + "."
}

// told is what was measured, for who does not see the picture.
func (s *scene) told() []string {
	var out []string
	for i := range s.state {
		m := &s.state[i]
		if s.mine(m.Signal) && !math.IsNaN(m.Value) && m.Verdict != analyze.Fail && m.Verdict != analyze.Undecided {
			out = append(out, fmt.Sprintf("%s %s %s.", m.Signal, m.Quantity.Words(), valueText(m)))
		}
	}
	return out
}

// demanded says what the output had to do.
func (s *scene) demanded() string {
	x := s.expect
	if s.output == nil || s.of.Plan == nil || x.Demand == analyze.Any {
		return ""
	}
	after := unit.Time.Format(x.After.Seconds())
	text := "Expected: "
	switch {
	case x.Demand == analyze.Pulse:
		text += "a pulse of " + after
	case x.Demand == analyze.Train && x.Pulses > 0:
		text += fmt.Sprintf("%d pulses of %s, %s between", x.Pulses, unit.Time.Format(x.On.Seconds()), unit.Time.Format(x.Off.Seconds()))
	case x.Demand == analyze.Train:
		text += fmt.Sprintf("flashes, on %s, off %s", unit.Time.Format(x.On.Seconds()), unit.Time.Format(x.Off.Seconds()))
		if x.For > 0 {
			text += ", for " + unit.Time.Format(x.For.Seconds())
		}
	case x.Demand == analyze.Unmoved:
		text += "does not move"
	case x.After > 0:
		text += fmt.Sprintf("%s after %s", x.Demand, after)
	default:
		text += x.Demand.String()
		if l := s.delayLimit().Upper; !math.IsNaN(l) {
			text += " within " + unit.Time.Format(l)
		}
	}
	return text + "."
}

// valueText writes a figure's value with its uncertainty and the sign of a bound.
func valueText(m *analyze.Measurement) string {
	k := unit.Of(m.Quantity.Unit())
	if !(m.Expanded > 0) {
		return m.Bound().Sign() + k.Short(m.Value, 3)
	}
	sc := k.Scaler(unit.Figures{Values: []float64{m.Value}, Uncertainty: m.Expanded})
	return fmt.Sprintf("%s ± %s %s", sc.Number(m.Value), sc.Uncertainty(), sc.Unit())
}

// limitText writes a figure's limit: "max 15 ms", "12 V to 14.5 V".
func limitText(m *analyze.Measurement) string {
	k := unit.Of(m.Quantity.Unit())
	lower, upper := m.Limit.Lower, m.Limit.Upper
	switch {
	case m.Limit.None():
		return ""
	case math.IsNaN(lower):
		return "max " + k.Format(upper)
	case math.IsNaN(upper):
		return "min " + k.Format(lower)
	}
	return k.Format(lower) + " to " + k.Format(upper)
}

// window is the stretch of time that answers what happened.
func (s *scene) window() (from, to float64) {
	end := s.sec(s.till)
	last := 0.0
	for _, c := range s.crossed {
		last = math.Max(last, c)
	}
	for _, c := range s.changes {
		last = math.Max(last, c.to)
	}
	last = math.Max(last, s.lastMove())
	if s.away != nil {
		last = math.Max(last, s.away.from)
	}
	for _, l := range s.timeLimits() {
		if l.At <= math.Max(10*last, 1) {
			last = math.Max(last, l.At)
		}
	}
	if last == 0 {
		last = end / 1.1
		if k := s.keptAt(0); k < last {
			last = k / 1.1
		}
	}
	to = math.Min(end, 1.1*last)
	from = math.Max(s.sec(s.from), -0.1*to)
	if to-from < narrowest {
		to = from + narrowest
	}
	return from, to
}

// narrowest is the shortest time that a view shows, in seconds.
const narrowest = 1e-6

// keptAt is until when the samples around an instant were kept, in seconds.
func (s *scene) keptAt(at float64) float64 {
	for _, k := range s.of.Capture.Kept {
		if s.instant(at) >= k.From && s.instant(at) <= k.To {
			return s.sec(k.To)
		}
	}
	return math.Inf(1)
}

// lastMove is when the output last was away from both of its levels, or passed from one to the
// other, in seconds.
func (s *scene) lastMove() float64 {
	mid := s.mid()
	if s.output == nil || math.IsNaN(mid) || s.high-s.low < 1 {
		return 0
	}
	last, was := 0.0, math.NaN()
	off := (s.high - s.low) / 4
	s.points(s.output, s.zero, s.till, func(p sampled) {
		side := 0.0
		if p.v > mid {
			side = 1
		}
		if !math.IsNaN(was) && side != was || p.v > s.low+off && p.v < s.high-off {
			last = p.at
		}
		was = side
	})
	return math.Max(0, last)
}

// timeLimits are the limits of times that begin at the event.
func (s *scene) timeLimits() []Mark {
	if s.output == nil {
		return nil
	}
	var out []Mark
	l := s.delayLimit()
	for _, m := range []Mark{{l.Lower, "min ", true}, {l.Upper, "max ", false}} {
		if m.At > 0 {
			m.Words += unit.Time.Format(m.At)
			out = append(out, m)
		}
	}
	return out
}

// delayLimit is the limit of the switching delay.
func (s *scene) delayLimit() analyze.Limit {
	if m := s.figure(s.output.Signal, analyze.SwitchingDelay); m != nil {
		return m.Limit
	}
	if _, named := s.expect.Demand.State(); !named || s.plan == nil {
		return analyze.NoLimit()
	}
	if s.expect.After > 0 && s.expect.Demand != analyze.Pulse {
		return s.expect.Span()
	}
	return s.plan.Limits.Of(analyze.SwitchingDelay)
}

// stretch is from one time to another, in seconds.
type stretch struct{ from, to float64 }

// enlarge is from which share of the main view on what changes need not be enlarged, and
// mostEnlarged how many places are.
const (
	enlarge      = 0.25
	mostEnlarged = 2
)

// clusters are the places that need enlarging: contacts that change, with the crossing that made
// them, and the time that the output was out of its state. Where they are too many, those with
// the gravest times are.
func (s *scene) clusters(from, to float64, all []Dimension) []stretch {
	var out []stretch
	for _, c := range s.changes {
		x := stretch{c.from, c.to}
		for _, at := range s.crossed {
			if at <= c.from && c.from-at < near {
				x.from = math.Min(x.from, at)
			}
		}
		if n := len(out); n > 0 && x.from-out[n-1].to < near {
			out[n-1].from, out[n-1].to = math.Min(out[n-1].from, x.from), math.Max(out[n-1].to, x.to)
			continue
		}
		out = append(out, x)
	}
	if s.away != nil && !slices.ContainsFunc(out, func(x stretch) bool { return x.from < s.away.to && s.away.from < x.to }) {
		out = append(out, *s.away)
	}
	for i, x := range out {
		width := math.Max(x.to-x.from, 1e-3)
		out[i] = stretch{math.Max(from, x.from-0.15*width), math.Min(to, x.from+1.25*width)}
	}
	out = slices.DeleteFunc(out, func(x stretch) bool { return x.to-x.from > enlarge*(to-from) || x.to-x.from < narrowest })
	gravity := func(x stretch) (g int) {
		for _, d := range all {
			if d.From >= x.from && d.To <= x.to {
				g = max(g, d.Verdict.Gravity())
			}
		}
		return g
	}
	slices.SortStableFunc(out, func(a, b stretch) int { return gravity(b) - gravity(a) })
	out = out[:min(len(out), mostEnlarged)]
	slices.SortFunc(out, func(a, b stretch) int { return cmp.Compare(a.from, b.from) })
	return out
}

// say notes in a view what did not happen, and the levels that did not pass.
func (s *scene) say(v *View) {
	for i := range v.Lanes {
		l := &v.Lanes[i]
		if l.Note = s.note(l.Signal); l.Note == "" && !l.Contact {
			l.Levels = append(l.Levels, s.failedLevels(v.To)...)
		}
	}
}

// near is how far apart, in seconds, what belongs to one change lies at most.
const near = 0.1

// view makes the lanes of a stretch.
func (s *scene) view(from, to float64) View {
	v := View{From: from, To: to, Factor: 1}
	for _, e := range s.of.Capture.Events {
		if at := s.sec(e.At); at >= from && at <= to {
			v.Marks = append(v.Marks, Mark{At: at, Words: e.Name})
		}
	}
	for _, l := range s.timeLimits() {
		switch {
		case l.At >= from && l.At <= to:
			v.Latest = append(v.Latest, l)
		case l.At > to:
			v.Beyond = append(v.Beyond, l)
		}
	}
	if s.output != nil {
		v.Lanes = append(v.Lanes, s.voltageLane(from, to))
	}
	for i := range s.tracks {
		v.Lanes = append(v.Lanes, s.contactLane(i, from, to))
	}
	return v
}
