package report

import (
	_ "embed"
	"errors"
	"html/template"
	"io"
	"slices"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/compare"
	"makebreak/analyze/look"
	"makebreak/analyze/picture"
	"makebreak/rig/capture"
	"makebreak/rig/words"
)

//go:embed comparison.html
var comparisonSource string

var comparisonPage = look.NewPage(comparisonSource)

// comparisonParts is what the page shows.
type comparisonParts struct {
	Run, Against, Unit, Word, Why, Family string
	Simulated                             bool
	Head                                  [][2]string
	Moved, Others                         []pageCompared
	OneSided, Stayed                      []string
	Pictures, Courses                     []overlay
}

// overlay is a timing diagram, or a course, of this run with the other one's.
type overlay struct {
	Name    string
	Drawing template.HTML
}

type pageCompared struct {
	comparedRow
	Strip template.HTML
	Note  string
}

// HTML writes a comparison as one page that stands alone, with what moved drawn.
func (c *Comparison) HTML(w io.Writer) error {
	p := &comparisonParts{Run: oneLine(c.Now.Run), Against: oneLine(c.Before.Run), Unit: oneLine(c.Now.Unit), Word: "Nothing moved", Why: c.changeLine(),
		Family: familyNote, Simulated: c.Now.Simulated || c.Before.Simulated, Head: c.head(), OneSided: c.oneSided()}
	if n := len(c.moved()); n > 0 {
		p.Word = "Moved: " + words.Count(n, "figure")
	}
	for _, r := range c.Rows {
		x := pageCompared{comparedRow: compared(r), Note: outcomeWords[r.Outcome]}
		if !r.Outcome.Moving() {
			if stayed(r) {
				p.Stayed = appendNew(p.Stayed, oneLine(r.Signal))
			} else if r.Outcome != compare.Nothing {
				p.Others = append(p.Others, x)
			}
			continue
		}
		if r.Outcome == compare.Moved {
			var err error
			if x.Strip, err = changeStrip(r, x.comparedRow); err != nil {
				return err
			}
		}
		p.Moved = append(p.Moved, x)
	}
	var err error
	if p.Pictures, err = c.pictures(); err != nil {
		return readingFailed(err)
	}
	if p.Courses, err = c.courses(); err != nil {
		return readingFailed(err)
	}
	return writePage(w, comparisonPage, p)
}

// changeStrip draws a row that moved.
func changeStrip(r *compare.Row, x comparedRow) (template.HTML, error) {
	limit := r.Now.Limit
	c := picture.Change{Name: strings.TrimSpace(x.Signal + " " + x.Quantity + " " + x.Event), About: "now " + x.Now + ", was " + x.Before,
		Before: picture.Figure{Value: r.Before.Mean, Within: r.Before.Expanded()}, Now: picture.Figure{Value: r.Now.Mean, Within: r.Now.Expanded()},
		Lower: limit.Lower, Upper: limit.Upper}
	return look.Drawn(c.Inline)
}

// mostOverlaid is how many timing diagrams a comparison has.
const mostOverlaid = 6

// pictures draws the events at which something moved: of this run the cycle with the gravest
// verdict, with cycles of the other run behind it.
func (c *Comparison) pictures() ([]overlay, error) {
	places := c.movedAt()
	if len(places) == 0 || len(c.Now.Captures) == 0 || len(c.Before.Captures) == 0 {
		return nil, nil
	}
	worst := newChooser(c.Now)
	worst.astray = false
	worst.wants = func(output, event string) bool { return slices.Contains(places, outputAt{output, event}) }
	for m, err := range watched(c.Now) {
		if err != nil {
			return nil, err
		}
		worst.add(&m)
	}
	before, err := behind(c.Before, 0)
	if err != nil || len(before) == 0 {
		return nil, err
	}
	var out []overlay
	for _, p := range places {
		i := slices.IndexFunc(worst.all, func(x chosen) bool { return p == outputAt{x.output, x.event} })
		if i < 0 {
			continue // no capture with its figures is kept
		}
		drawing, err := c.overlaid(&worst.all[i], before)
		if err != nil {
			return nil, err
		}
		if drawing != "" {
			out = append(out, overlay{oneLine("Timing diagram of " + p.output + " at " + p.event), drawing})
		}
	}
	return out, nil
}

// outputAt is an output at an event.
type outputAt struct{ output, event string }

// movedAt returns where something moved, a bounded number of places.
func (c *Comparison) movedAt() []outputAt {
	var all []outputAt
	if c.Now.Plan == nil {
		return nil
	}
	for _, r := range c.moved() {
		p := outputAt{outputOf(c.Now.Plan, r.Signal), r.Event}
		if p.output != "" && p.event != "" && !slices.Contains(all, p) && len(all) < mostOverlaid {
			all = append(all, p)
		}
	}
	return all
}

// overlaid draws a cycle over captures of the other run; empty where the capture lacks the event.
func (c *Comparison) overlaid(x *chosen, before []*capture.Capture) (template.HTML, error) {
	now, err := c.Now.CaptureOf(x.cycle)
	if err != nil || now == nil {
		return "", err
	}
	figures, err := figuresOf(c.Now, x.cycle)
	if err != nil {
		return "", err
	}
	t, err := picture.NewTiming(picture.TimingOf{Capture: now, Plan: c.Now.Plan, Figures: figures, Signal: x.output, Event: x.event, Cycle: x.cycle,
		Behind: before, BehindWords: "run " + c.Before.Run})
	var absent *picture.AbsentError
	if errors.As(err, &absent) {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	return look.Drawn(t.Inline)
}

// outputOf is the output on which a signal's figures rest; empty: none is known.
func outputOf(p *analyze.Plan, signal string) string {
	for i := range p.Outputs {
		o := &p.Outputs[i]
		k := p.Relay(o.Relay)
		if o.Signal == signal || k != nil && (k.Signal == signal || k.Make == signal || k.Break == signal) {
			return o.Signal
		}
	}
	return ""
}
