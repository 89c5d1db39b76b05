package live

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/look"
	"makebreak/analyze/picture"
	"makebreak/analyze/report"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// view is a run as the page's templates write it: words, marks and nothing to work out.
type view struct {
	Key                             string
	Name, Unit, Sequence, Position  string
	Simulated                       string
	Ended, Soak, Lost               bool
	Verdict, Mark, Word, Why        string
	Cycle, Of, Pace, Left           string
	Share                           int // of the cycles, in per cent
	Place, Now, Person, Doubt, Said string
	Cautions                        []string
	Outputs                         []outputView
	Lines                           []lineView
	Off, Troubles                   string
	Findings                        []findingView
	Behaviour                       *behaviourView
	Courses                         []courseView
	Diagram                         template.HTML
	Record                          string
	Others                          bool // units are tested at the same time, and their page is another
}

type outputView struct{ Name, Mark, State, Volts, Should, Class string }

type lineView struct{ Name, Role, Mark, State, For, Class string }

type findingView struct{ Class, Mark, Verdict, Text string }

type behaviourView struct {
	Events []string
	Rows   []behaviourRow
	Steady string // outputs that did what they had to: nothing
}

type behaviourRow struct {
	Output string
	Cells  []behaviourCell
}

type behaviourCell struct{ Event, Expected, Seen, Class, Mark, Word string }

func viewOf(r *Run) view {
	s := r.State
	v := view{Key: keyOf(s), Name: words.Safe(s.Run), Unit: words.Short(s.Unit, words.MostName), Position: words.Short(s.Position, words.MostName), Sequence: words.Safe(s.Sequence), Soak: s.Soak,
		Ended: s.End != nil, Lost: s.Lost, Doubt: words.Safe(r.Doubt), Record: r.Record}
	if v.Unit == "" {
		v.Unit = "no serial"
	}
	if s.Simulated {
		v.Simulated = "Simulated bench: nothing real is measured."
		switch {
		case report.IsSealed(s.Faults):
			v.Simulated = "Simulated bench, in an exercise: nothing real is measured."
		case len(s.Faults) > 0:
			v.Simulated = "Simulated bench, faults planted: nothing real is measured."
		}
	}
	v.verdict(s)
	v.progress(s)
	if !v.Ended {
		v.place(s)
		v.rig(s)
	}
	v.results(s)
	return v
}

// verdict is what can be read across the room.
func (v *view) verdict(s *State) {
	x := s.Verdict
	if s.End != nil {
		x = s.End.Verdict
	}
	v.Verdict, v.Mark, v.Word = x.Name(), x.Mark(), string(x)
	if x == analyze.NoVerdict {
		v.Mark, v.Word = "", "nothing judged"
	}
	switch {
	case s.End != nil && s.End.Reason != "":
		v.Why = "Ended: " + words.Safe(s.End.Reason) + "."
	case s.End != nil:
	case (s.Results == nil || s.Done == 0) && x == analyze.NoVerdict:
		if v.Word = "running"; s.Done == 0 {
			v.Why = "No cycle is done yet."
		}
	case x != analyze.Fail:
		v.Word += " so far"
	}
	failed, undecided := s.Counts[analyze.Fail.Gravity()], s.Counts[analyze.Undecided.Gravity()]
	if failed+undecided == 0 {
		return
	}
	var parts []string
	if failed > 0 {
		parts = append(parts, words.Count(failed, "cycle")+" failed")
	}
	if undecided > 0 {
		parts = append(parts, words.Count(undecided, "cycle")+" undecided")
	}
	v.Why = strings.TrimSpace(fmt.Sprintf("%s. %s", strings.Join(parts, ", "), v.Why))
}

// progress is how far the run is.
func (v *view) progress(s *State) {
	v.Cycle, v.Of = apart(s.Done), apart(s.Planned)
	if s.Planned > 0 {
		v.Share = min(100, 100*s.Done/s.Planned)
	}
	if s.End != nil {
		v.Place = "Ended " + s.End.At.Local().Format("2006-01-02 15:04")
		return
	}
	if p := float64(s.PerHour); !math.IsNaN(p) {
		switch {
		case p >= 7200:
			v.Pace = unit.Number.Short(p/3600, 3) + " cycles a second"
		case p >= 120:
			v.Pace = unit.Number.Short(p/60, 3) + " cycles a minute"
		default:
			v.Pace = unit.Number.Short(p, 3) + " cycles an hour"
		}
	}
	if s.Left > 0 && s.Done < s.Planned {
		v.Left = "about " + words.Left(s.Left) + " left"
	}
}

// apart is a count with its thousands apart.
func apart(n int) string { return words.Grouped(strconv.Itoa(n)) }

// place is where the run is and what it waits for.
func (v *view) place(s *State) {
	at := s.Step
	if s.Lost {
		v.Now = "The rig has not been seen since " + s.SeenAt.Local().Format("15:04:05")
		if s.SeenAt.IsZero() {
			v.Now = "The rig has not been seen yet"
		}
		v.Said = words.Short(s.Said, 300)
		return
	}
	if at.Cycle > 0 {
		v.Place = fmt.Sprintf("Cycle %s, step %d of %d", apart(at.Cycle), at.Number, at.Of)
	}
	event := words.Short(at.Event, words.MostName)
	switch {
	case at.Cycle == 0:
		v.Now = "Watching the unit before the first event"
	case at.Person != "":
		v.Now, v.Person = "Waiting for you", words.Short(at.Person, 300)
	case at.Waiting:
		v.Now = "Bringing about " + event
	case at.Hold < time.Second: // nobody could follow it
		v.Now = fmt.Sprintf("After %s: watching for %s", event, unit.Time.Short(at.Hold.Seconds(), 3))
	default:
		v.Now = fmt.Sprintf("After %s: watching, %s of %s", event, tenths(min(at.Since, at.Hold)), unit.Time.Short(at.Hold.Seconds(), 3))
	}
}

// tenths is a time that is seen running.
func tenths(d time.Duration) string {
	if d < time.Minute {
		return fmt.Sprintf("%.1f s", max(0, d.Seconds()))
	}
	return fmt.Sprintf("%d:%02d min", int(d.Minutes()), int(d.Seconds())%60)
}

// rig is what is seen of the rig.
func (v *view) rig(s *State) {
	v.Cautions = words.Texts(s.Cautions, words.Safe)
	for _, o := range s.Outputs {
		v.Outputs = append(v.Outputs, outputOf(&o))
	}
	var off []string // drives that are: they are of little interest
	for _, l := range s.Lines {
		if l.Role == line.Drive.String() && l.Known && !l.On && !s.Lost {
			off = append(off, words.Short(l.Name, words.MostName))
			continue
		}
		v.Lines = append(v.Lines, lineOf(&l, s.Lost))
	}
	if len(off) > 0 {
		v.Off = "Drives that are off: " + strings.Join(off, ", ") + "."
	}
	n := s.Troubles
	var parts []string
	for _, x := range []struct {
		n    uint64
		what string
	}{{n.MissedConversions, "missed conversion"}, {n.LostEdges, "lost edge"}, {n.BusErrors, "bus error"}, {n.ChipResets, "converter reset"}} {
		if x.n > 0 {
			parts = append(parts, words.Count(int(x.n), x.what))
		}
	}
	if len(parts) > 0 {
		v.Troubles = "Measuring problems so far: " + strings.Join(parts, ", ") + "."
	}
}

// longName is from how many letters on a name is written smaller.
const longName = 7

func outputOf(o *Output) outputView {
	x := outputView{Name: words.Short(o.Name, words.MostName), Mark: "·", State: "not seen", Volts: unit.Missing, Class: "unseen"}
	if o.Known && !o.Fresh {
		x.State = "not seen for " + words.Lasting(o.Age)
		if o.Age < stale {
			x.State = "not seen now"
		}
	}
	if o.Fresh {
		x.Volts, x.State = unit.Voltage.Fixed(2).Text(float64(o.Volts)), o.State
		x.Class, x.Mark = o.State, map[string]string{"high": "▲", "low": "▼", "between": "◆"}[o.State]
	}
	if o.Should != "" && o.Should != analyze.Unmoved.String() {
		x.Should = "expected: " + o.Should
	}
	if len(x.Name) > longName {
		x.Class += " long"
	}
	if o.Against {
		x.Class += " against"
		x.Should = "✗ should be " + o.Should
	}
	return x
}

func lineOf(l *Line, lost bool) lineView {
	x := lineView{Name: words.Short(l.Name, words.MostName), Role: l.Role, Mark: "·", State: "not seen", Class: "unseen"}
	if !l.Known || lost {
		return x
	}
	x.State, x.Mark, x.Class = l.State, "○", "off"
	if l.On {
		x.Mark, x.Class = "●", "on"
	}
	if l.Role == line.Drive.String() {
		x.Class += " drive"
	}
	if len(x.Name) > longName {
		x.Class += " long"
	}
	if l.Lost > 0 {
		x.For = words.Count(l.Lost, "edge") + " lost in this cycle"
	}
	return x
}

// results is what the cycles have shown.
func (v *view) results(s *State) {
	r := s.Results
	if r == nil {
		return
	}
	for _, f := range r.Findings {
		x := findingView{Text: words.Safe(f.Text), Verdict: f.Verdict.Name(), Class: f.Verdict.Name(), Mark: f.Verdict.Mark()}
		if f.Verdict == analyze.NoVerdict {
			x.Verdict, x.Class = "note", "none"
		}
		v.Findings = append(v.Findings, x)
	}
	if r.Behaviour != nil && len(r.Behaviour.Outputs) > 0 && s.Stored > 0 {
		v.Behaviour = behaviourViewOf(r.Behaviour)
	}
	v.Courses = courseViews(r.Courses)
}

func behaviourViewOf(b *Behaviour) *behaviourView {
	x := &behaviourView{}
	for _, e := range b.Events {
		x.Events = append(x.Events, words.Short(e, words.MostName))
	}
	var steady []string
	for _, o := range b.Outputs {
		if !o.Named && !slices.ContainsFunc(o.Cells, func(d Deed) bool { return d.Verdict != analyze.Pass }) {
			steady = append(steady, words.Short(o.Output, words.MostName))
			continue
		}
		row := behaviourRow{Output: words.Short(o.Output, words.MostName)}
		for i, c := range o.Cells {
			cell := behaviourCell{Expected: words.Safe(c.Expected), Seen: words.Safe(c.Seen), Class: c.Verdict.Name(), Mark: c.Verdict.Mark(), Word: string(c.Verdict)}
			if i < len(x.Events) {
				cell.Event = x.Events[i]
			}
			row.Cells = append(row.Cells, cell)
		}
		x.Rows = append(x.Rows, row)
	}
	if len(steady) > 0 {
		x.Steady = "Did not move, as it must be: " + strings.Join(steady, ", ") + "."
	}
	return x
}

// draw draws the last cycle where it shows most: at its gravest figure, else where something
// was timed. Empty: there is nothing to draw.
func draw(r *Run) template.HTML {
	last := r.Results.Last
	if last == nil {
		return ""
	}
	c := &capture.Capture{}
	if c.UnmarshalBinary(last.Capture) != nil {
		return ""
	}
	f := telling(last.Figures)
	if f == nil {
		return ""
	}
	of := picture.TimingOf{Capture: c, Plan: r.Plan, Signal: f.Signal, Event: f.Event, Cycle: last.Cycle}
	for i := range last.Figures {
		of.Figures = append(of.Figures, last.Figures[i].measurement(last.Cycle))
	}
	t, err := picture.NewTiming(of)
	if err != nil {
		return "" // of a cycle that was cut off before the event, say
	}
	drawing, err := look.Drawn(t.Inline)
	if err != nil {
		return ""
	}
	return drawing
}

// telling is the figure that says most of a cycle; nil: it has none at an event.
func telling(figures []Figure) (most *Figure) {
	score := func(f *Figure) int {
		n := 4 * f.Verdict.Gravity()
		switch f.Quantity {
		case analyze.SwitchingDelay:
			n += 3
		case analyze.OperateTime, analyze.ReleaseTime:
			n += 2
		case analyze.TransitionDuration:
			n++
		}
		return n
	}
	for i := range figures {
		if f := &figures[i]; f.Event != "" && (most == nil || score(f) > score(most)) {
			most = f
		}
	}
	return most
}

// measurement is the figure with what is known here of how it was measured.
func (f *Figure) measurement(cycle int) analyze.Measurement {
	m := analyze.Measurement{Cycle: cycle, Event: f.Event, Signal: f.Signal, Quantity: f.Quantity, Value: float64(f.Value), Expanded: float64(f.Expanded),
		Limit: f.Limit(), Verdict: f.Verdict, Conformance: math.NaN()}
	switch f.Bound {
	case analyze.UpperBound:
		m.Doubts = []analyze.Doubt{{Code: analyze.AtMost}}
	case analyze.LowerBound:
		m.Doubts = []analyze.Doubt{{Code: analyze.AtLeast}}
	}
	return m
}
