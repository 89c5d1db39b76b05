package picture

import (
	"math"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
)

// Dimension is a measured time between two places of a diagram.
type Dimension struct {
	Signal   string
	Quantity analyze.Quantity
	From, To float64 // seconds; NaN: it has no place
	Value    float64 // seconds; NaN: none was measured
	Expanded float64 // its expanded uncertainty, seconds; NaN: none
	Bound    analyze.Bound
	Verdict  analyze.Verdict
	Limit    analyze.Limit
	Words    string // value and uncertainty with what they are of
	Why      string // why there is no value, or what is doubtful of it
	Row      int    // from 0, where it is drawn
	Open     bool   // it goes on beyond the view

	// starts and ends are the signals whose lanes its two ends lie in; empty: on the axis.
	starts, ends string
	label        box // across, in units
}

// changed is one change of a contact, bounce included.
type changed struct {
	signal   string
	from, to float64 // seconds
	first    capture.Edge
}

// findChanges finds the contacts' changes: edges closer together than a rest.
func (s *scene) findChanges() {
	for _, t := range s.tracks {
		for _, e := range t.Edges {
			if e.At < s.zero || e.At >= s.till {
				continue
			}
			at := s.sec(e.At)
			if n := len(s.changes); n > 0 && s.changes[n-1].signal == t.Signal && at-s.changes[n-1].to <= capture.Rest.Seconds() {
				s.changes[n-1].to = at
				continue
			}
			s.changes = append(s.changes, changed{t.Signal, at, at, e})
		}
	}
	slices.SortStableFunc(s.changes, func(a, b changed) int {
		switch {
		case a.from < b.from:
			return -1
		case a.from > b.from:
			return 1
		}
		return 0
	})
}

// dimensions are the times measured at the event.
func (s *scene) dimensions() []Dimension {
	var out []Dimension
	used := map[int]bool{}
	for i := range s.state {
		m := &s.state[i]
		if !s.mine(m.Signal) {
			continue
		}
		d := Dimension{Signal: m.Signal, Quantity: m.Quantity, From: math.NaN(), To: math.NaN(), Value: m.Value, Expanded: m.Expanded,
			Bound: m.Bound(), Verdict: m.Verdict, Limit: m.Limit, Why: diagnose.Reason(m)}
		switch m.Quantity {
		case analyze.SwitchingDelay:
			d.From, d.To, d.ends = math.Min(0, m.Value), math.Max(0, m.Value), m.Signal
		case analyze.PulseDuration:
			if len(s.crossed) == 2 {
				d.From, d.To, d.starts, d.ends = s.crossed[0], s.crossed[1], m.Signal, m.Signal
			}
		case analyze.OnTime, analyze.OffTime:
			s.placePhase(&d, m)
		case analyze.FlashingDuration:
			s.placeFlashing(&d, m)
		case analyze.OperateTime, analyze.ReleaseTime:
			s.placeRelayTime(&d, m)
		case analyze.TransferTime:
			s.placeTransfer(&d, m)
		case analyze.BounceTime:
			if m.Value == 0 {
				continue // nothing to be seen
			}
			s.placeBounce(&d, m, used)
		case analyze.Hold:
			if s.away == nil || !(m.Value > 0) || m.Signal != s.signal() {
				continue
			}
			d.From, d.To, d.starts, d.ends = s.away.from, s.away.to, m.Signal, m.Signal
		default:
			continue
		}
		d.Words = dimensionText(m)
		out = append(out, d)
	}
	return out
}

// dimensionText says a time with its uncertainty, and its verdict unless it passed.
func dimensionText(m *analyze.Measurement) string {
	text := m.Quantity.Words()
	if m.Quantity == analyze.BounceTime {
		text = "bounce"
	}
	if !math.IsNaN(m.Value) {
		text += " " + valueText(m)
	}
	if m.Verdict == analyze.Fail || m.Verdict == analyze.Undecided {
		text += ": " + string(m.Verdict)
		if l := limitText(m); l != "" {
			text += ", " + l
		}
	}
	return text
}

// placeRelayTime places an operate or release time: from the output's crossing on.
func (s *scene) placeRelayTime(d *Dimension, m *analyze.Measurement) {
	contact, which := s.relay.Make, 0
	if m.Quantity == analyze.ReleaseTime {
		contact = s.relay.Break
		which = len(s.crossed) - 1
	}
	if s.expect.Demand == analyze.Train && s.output != nil {
		first := 0
		if m.Quantity == analyze.ReleaseTime {
			first = 1
		}
		s.placeAmongTurns(d, m, contact, first)
		return
	}
	if which < 0 || which >= len(s.crossed) {
		return
	}
	d.From, d.To, d.ends = s.crossed[which], s.crossed[which]+m.Value, contact
	if s.output != nil {
		d.starts = s.output.Signal
	}
	if d.To < d.From { // it closed before
		d.From, d.To, d.starts, d.ends = d.To, d.From, d.ends, d.starts
	}
}

// placeTransfer places a transfer time: it ends with the first closing of the contact that
// closes then.
func (s *scene) placeTransfer(d *Dimension, m *analyze.Measurement) {
	if math.IsNaN(m.Value) {
		return
	}
	for _, closing := range []string{s.relay.Make, s.relay.Break} {
		opening := s.relay.Break
		if closing == s.relay.Break {
			opening = s.relay.Make
		}
		for _, c := range s.changes {
			at, ok := s.firstClosing(c)
			if c.signal == closing && ok && s.opensAt(opening, at-m.Value) {
				d.From, d.To, d.starts, d.ends = math.Min(at, at-m.Value), math.Max(at, at-m.Value), opening, closing
				return
			}
		}
	}
}

// firstClosing is when a contact first closed in a change, in seconds.
func (s *scene) firstClosing(c changed) (float64, bool) {
	for _, e := range s.of.Capture.Track(c.signal).Edges {
		if at := s.sec(e.At); at >= c.from && at <= c.to && e.Closed {
			return at, true
		}
	}
	return 0, false
}

// opensAt reports whether a contact opened at a time, to a nanosecond.
func (s *scene) opensAt(signal string, at float64) bool {
	t := s.of.Capture.Track(signal)
	if t == nil {
		return false
	}
	return slices.ContainsFunc(t.Edges, func(e capture.Edge) bool { return !e.Closed && math.Abs(s.sec(e.At)-at) < 2e-9 })
}

// placeBounce places a bounce time: the first change of the contact that took as long.
func (s *scene) placeBounce(d *Dimension, m *analyze.Measurement, used map[int]bool) {
	for i, c := range s.changes {
		if c.signal == m.Signal && !used[i] && math.Abs(c.to-c.from-m.Value) < 2e-9 {
			used[i] = true
			d.From, d.To, d.starts, d.ends = c.from, c.to, c.signal, c.signal
			return
		}
	}
}

// awayShare is how far from its state, as a share of the step between its levels, an output
// counts as out of it here.
const awayShare = 0.2

// findAway finds the longest time that the output was out of the state that it had to be in,
// where the figure says that it was.
func (s *scene) findAway() {
	if s.output == nil {
		return
	}
	m := s.figure(s.output.Signal, analyze.Hold)
	if m == nil || !(m.Value > 0) {
		return
	}
	best := s.longestAway(s.awayFrom())
	if best.to > best.from && math.Abs(best.to-best.from-m.Value) < m.Value/4+3*usualStep(s.output, s.zero).Seconds() {
		s.away = &best
	}
}

// awayFrom returns the state that the output had to be in, and the voltage beyond which it is
// out of it.
func (s *scene) awayFrom() (high bool, edge float64) {
	switch demanded, named := s.expect.Demand.State(); {
	case s.expect.Demand == analyze.Pulse || s.expect.Demand == analyze.Train: // it comes back to low
	case named:
		high = demanded
	default:
		high = s.meanBefore() > s.threshold()
	}
	low, top := s.low, s.high
	if math.IsNaN(low) {
		low = 0
	}
	if math.IsNaN(top) {
		top = 2 * s.threshold()
	}
	if high {
		return true, top - awayShare*(top-low)
	}
	return false, low + awayShare*(top-low)
}

// longestAway returns the longest time that the output was out of a state after it had been in
// it.
func (s *scene) longestAway(high bool, edge float64) stretch {
	var best, run stretch
	in, out := s.expect.Demand == analyze.Unmoved, false
	s.points(s.output, s.zero, s.till, func(p sampled) {
		if p.at < 0 {
			return
		}
		switch away := (p.v < edge) == high; {
		case !away:
			if out && p.at-run.from > best.to-best.from {
				best = stretch{run.from, p.at}
			}
			in, out = true, false
		case in && !out:
			run, out = stretch{from: p.at}, true
		}
	})
	if end := s.sec(s.till); out && end-run.from > best.to-best.from {
		best = stretch{run.from, end}
	}
	return best
}

// threshold is a voltage between the output's levels.
func (s *scene) threshold() float64 {
	if mid := s.mid(); !math.IsNaN(mid) {
		return mid
	}
	if s.output.NominalVolts > 0 {
		return s.output.NominalVolts / 2
	}
	return float64(analyze.AssumedNominal) / 2
}

// meanBefore is the output's mean voltage right before the event, NaN where it is not known.
func (s *scene) meanBefore() float64 {
	_, volts, n := s.output.Near(s.zero, 16, 0)
	sum := 0.0
	for _, v := range volts[:n] {
		sum += v
	}
	return sum / float64(n)
}

// notes are what a doubt says that a signal did not do.
var notes = map[analyze.DoubtCode]string{
	analyze.DidNotGoHigh: "did not go high", analyze.DidNotGoLow: "did not go low",
	analyze.AlreadyHigh: "was high before", analyze.AlreadyLow: "was low before", analyze.DidNotPulse: "did not pulse", analyze.OnePulseOnly: "one pulse only",
	analyze.DidNotClose: "did not close", analyze.DidNotOpen: "did not open",
	analyze.AlreadyClosed: "was closed before", analyze.AlreadyOpen: "was open before",
	analyze.NotClosedInTime: "did not close before the end", analyze.DidNotCloseTill: "did not close", analyze.DidNotOpenTill: "did not open",
}

// note is what a signal did not do, by the figures; empty where it did all.
func (s *scene) note(signal string) string {
	for i := range s.state {
		for _, d := range s.state[i].Doubts {
			about := d.Signal
			if about == "" {
				about = s.state[i].Signal
			}
			if text := notes[d.Code]; about == signal && text != "" {
				return text
			}
		}
	}
	return ""
}

// dimensionRows is how many rows of dimension lines a view has.
const dimensionRows = 2

// arrowRoom is the least width of a dimension line between whose ends both arrows fit.
const arrowRoom = 18.0

// place gives each dimension a row of a view: the smallest view that holds it first. Those that
// find no room are listed.
func (t *Timing) place(all []Dimension) {
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(a, b Dimension) int { return b.Verdict.Gravity() - a.Verdict.Gravity() })
	var rows [1 + mostEnlarged][dimensionRows][]box
	for _, d := range all {
		if math.IsNaN(d.Value) || math.IsNaN(d.From) || !t.placeOne(d, &rows) {
			t.Listed = append(t.Listed, d)
		}
	}
}

func (t *Timing) placeOne(d Dimension, rows *[1 + mostEnlarged][dimensionRows][]box) bool {
	views := []*View{&t.Main}
	for i := range t.Enlarged {
		views = append(views, &t.Enlarged[i])
	}
	for i, v := range slices.Backward(views) {
		d.Open = i == 0 && d.To > v.To
		if d.From < v.From || d.From > v.To || d.To > v.To && !d.Open {
			continue
		}
		for row := range rows[i] {
			if x, ok := d.fit(v, rows[i][row]); ok {
				d.Row, d.label = row, x.label
				rows[i][row] = append(rows[i][row], x.all)
				v.Dimensions = append(v.Dimensions, d)
				return true
			}
		}
	}
	return false
}

// fit is where a dimension lies across: its label, and all of it.
type fit struct{ label, all box }

// fit finds room for a dimension in a row: its words between its ends, else beside them.
func (d *Dimension) fit(v *View, taken []box) (fit, bool) {
	left, right := v.across(d.From), v.across(math.Min(d.To, v.To))
	w := widthOf(d.Words, smallText)
	out := 0.0
	if right-left < arrowRoom {
		out = arrowRoom // the arrows stand outside
	}
	for _, at := range []float64{(left + right - w) / 2, right + out + 4, left - out - 4 - w} {
		if at == (left+right-w)/2 && w > right-left-4 {
			continue
		}
		x := fit{label: box{left: at, right: at + w}}
		x.all = box{left: math.Min(at, left-out), right: math.Max(at+w, right+out)}
		if outer, edge := v.ends(); x.all.left < outer || x.all.right > edge {
			continue
		}
		if !slices.ContainsFunc(taken, func(b box) bool { return x.all.left < b.right+labelGap && b.left < x.all.right+labelGap }) {
			return x, true
		}
	}
	return fit{}, false
}

// across places a time.
func (v *View) across(at float64) float64 {
	left, right := v.field()
	return left + (at-v.From)/(v.To-v.From)*(right-left)
}

// field is from where to where the view's lines go: over the whole drawing, or half of it.
func (v *View) field() (left, right float64) {
	switch v.half {
	case 1:
		return timingLeft, across/2 - halfGutter
	case 2:
		return across/2 + timingLeft, across - halfGutter
	}
	return timingLeft, timingRight
}

// ends are the view's own edges, names and labels included.
func (v *View) ends() (left, right float64) {
	switch v.half {
	case 1:
		return 0, across/2 - 4
	case 2:
		return across / 2, across
	}
	return 0, across
}
