package report

import (
	"bytes"
	_ "embed"
	"html/template"
	"io"
	"slices"
	"strings"
	"sync"

	"makebreak/analyze"
	"makebreak/analyze/compare"
	"makebreak/analyze/picture"
	"makebreak/rig/capture"
	"makebreak/rig/words"
)

//go:embed comparison.html
var comparisonSource string

var comparisonTemplate = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("comparison").Parse(comparisonSource))
})

// comparisonPage is what the template shows. All texts are plain; the template escapes.
type comparisonPage struct {
	Run, Against, Unit, Word, Why, Family string
	Simulated                             bool
	Head                                  [][2]string
	Moved, Others                         []pageCompared
	OneSided, Stayed                      []string
	Pictures                              []overlay
	PictureStyle                          template.CSS
}

// overlay is a timing diagram of this run with the other one behind it.
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
	p := &comparisonPage{Run: oneLine(c.Now.Run), Against: oneLine(c.Before.Run), Unit: oneLine(c.Now.Unit), Word: "Nothing moved", Why: c.changeLine(),
		Family: familyNote, Simulated: c.Now.Simulated || c.Before.Simulated, OneSided: c.oneSided(), PictureStyle: template.CSS(picture.Style())}
	if n := len(c.moved()); n > 0 {
		p.Word = "Moved: " + words.Count(n, "figure")
	}
	for _, x := range c.head() {
		if x[0] != "Moved" {
			p.Head = append(p.Head, x)
		}
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
	var b bytes.Buffer
	if err := comparisonTemplate().Execute(&b, p); err != nil {
		return err
	}
	_, err = b.WriteTo(w)
	return writingFailed("a page", err)
}

// changeStrip draws a row that moved.
func changeStrip(r *compare.Row, x comparedRow) (template.HTML, error) {
	limit := r.Now.Limit
	c := picture.Change{Name: strings.TrimSpace(x.Signal + " " + x.Quantity + " " + x.Event), About: "now " + x.Now + ", was " + x.Before,
		Before: picture.Figure{Value: r.Before.Mean, Within: r.Before.Expanded()}, Now: picture.Figure{Value: r.Now.Mean, Within: r.Now.Expanded()},
		Lower: limit.Lower, Upper: limit.Upper}
	var b bytes.Buffer
	err := c.Inline(&b)
	return template.HTML(b.String()), err
}

// mostOverlaid is how many timing diagrams a comparison has.
const mostOverlaid = 6

// pictures draws the events at which something moved: a cycle of this run, with one of the other
// behind it.
func (c *Comparison) pictures() ([]overlay, error) {
	if c.Now.Plan == nil || len(c.Now.Captures) == 0 || len(c.Before.Captures) == 0 {
		return nil, nil
	}
	type place struct{ output, event string }
	var drawn []place
	var out []overlay
	for _, r := range c.moved() {
		p := place{outputOf(c.Now.Plan, r.Signal), r.Event}
		if p.output == "" || r.Event == "" || slices.Contains(drawn, p) || len(drawn) == mostOverlaid {
			continue
		}
		drawn = append(drawn, p)
		drawing, err := c.overlaid(p.output, p.event)
		if err != nil {
			return nil, err
		}
		if drawing != "" {
			out = append(out, overlay{oneLine("Timing diagram of " + p.output + " at " + p.event), drawing})
		}
	}
	return out, nil
}

// overlaid draws an output at an event; empty where a capture is not kept.
func (c *Comparison) overlaid(output, event string) (template.HTML, error) {
	cycle := c.Now.Captures[0].First
	now, err := c.Now.CaptureOf(cycle)
	if err != nil || now == nil {
		return "", err
	}
	before, err := c.Before.CaptureOf(c.Before.Captures[0].First)
	if err != nil || before == nil {
		return "", err
	}
	figures, err := figuresOf(c.Now, cycle)
	if err != nil {
		return "", err
	}
	t, err := picture.NewTiming(picture.TimingOf{Capture: now, Plan: c.Now.Plan, Figures: figures, Signal: output, Event: event, Cycle: cycle,
		Behind: []*capture.Capture{before}, BehindWords: "the other run"})
	if err != nil {
		return "", nil // the cycle does not have the event: there is nothing to draw
	}
	return inlined(t)
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
