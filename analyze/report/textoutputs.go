package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	"makebreak/analyze"
	"makebreak/analyze/behaviour"
	"makebreak/analyze/tally"
	rows "makebreak/rig/table"
)

// outputLine is an output or a relay, what was demanded of it and what was seen.
type outputLine struct {
	signal    string
	demand    string
	seen      []string
	verdict   analyze.Verdict
	n, judged int // figures with the verdict, and those that were judged
	rows      []*row
}

// outputLines gathers the rows of each output, and those of each relay with its contacts'.
// Outputs that had nothing to do and did nothing are not among them.
func outputLines(r *Record, s *summary) []*outputLine {
	var lines []*outputLine
	of := map[string]*outputLine{}
	for _, x := range s.rows {
		signal := relayOf(r.Plan, x.Signal)
		l := of[signal]
		if l == nil {
			l = &outputLine{signal: signal, demand: demandWords(r.Plan, signal), verdict: analyze.NoVerdict}
			of[signal] = l
			lines = append(lines, l)
		}
		l.rows = append(l.rows, x)
	}
	for _, l := range lines {
		l.judge()
		l.seen = append(notDone(r.Plan, l), seenWords(l.rows)...)
		if len(l.seen) == 0 {
			l.seen = []string{"no change that could be timed"}
		}
	}
	return lines
}

// notDone says what an output did not do and had to, as in "did not go high at arm-away".
func notDone(p *analyze.Plan, l *outputLine) []string {
	if p == nil {
		return nil
	}
	var sums tally.Tally
	for _, x := range l.rows {
		sums.Rows = append(sums.Rows, x.Row)
	}
	var said []string
	events := map[string][]string{}
	t := behaviour.OfTally(p, &sums)
	for _, o := range t.Outputs {
		for i := range o.Cells {
			c := &o.Cells[i]
			for _, d := range c.Done() {
				if d.Deed != behaviour.DidNotSwitch && d.Deed != behaviour.DidNotPulse {
					continue
				}
				words := doneWords(c, d)
				said, events[words] = appendNew(said, words), append(events[words], oneLine(t.Events[i].Name))
			}
		}
	}
	for i, words := range said {
		said[i] += " at " + strings.Join(events[words], ", ")
	}
	return said
}

// relayOf is the relay that a contact belongs to; any other signal stands for itself.
func relayOf(p *analyze.Plan, signal string) string {
	for i := range relaysOf(p) {
		if x := &p.Relays[i]; signal == x.Make || signal == x.Break {
			return x.Signal
		}
	}
	return signal
}

func relaysOf(p *analyze.Plan) []analyze.RelayPlan {
	if p == nil {
		return nil
	}
	return p.Relays
}

// judge takes the gravest verdict of the rows and counts its figures.
func (l *outputLine) judge() {
	for _, v := range analyze.Verdicts[1:] {
		n := 0
		for _, x := range l.rows {
			n += x.with(v)
		}
		if n > 0 {
			l.verdict, l.n = v, n
		}
		l.judged += n
	}
}

// verdictWords say the line's verdict, with a count where not all judged figures share it.
func (l *outputLine) verdictWords() string {
	switch {
	case l.verdict == analyze.NoVerdict:
		return "not judged"
	case l.n == l.judged:
		return string(l.verdict)
	}
	return fmt.Sprintf("%s %d/%d", l.verdict, l.n, l.judged)
}

// seenQuantities are what a line says of its rows, and in which words.
var seenQuantities = []struct {
	quantity analyze.Quantity
	word     string
	most     bool // the largest alone is told, where it is above zero
}{
	{quantity: analyze.HighLevel, word: "high level"},
	{quantity: analyze.LowLevel, word: "low level"},
	{quantity: analyze.SwitchingDelay, word: "delay"},
	{quantity: analyze.PulseDuration, word: "pulse"},
	{quantity: analyze.PulseCount, word: "pulses"},
	{quantity: analyze.OnTime, word: "on"},
	{quantity: analyze.OffTime, word: "off"},
	{quantity: analyze.FlashingDuration, word: "flashing"},
	{quantity: analyze.Hold, word: "out of its state for", most: true},
	{quantity: analyze.OperateTime, word: "operate"},
	{quantity: analyze.ReleaseTime, word: "release"},
	{quantity: analyze.PullInVoltage, word: "pull-in"},
	{quantity: analyze.DropOutVoltage, word: "drop-out"},
	{quantity: analyze.BounceTime, word: "bounce up to", most: true},
}

// seenWords say what was measured of an output or a relay, from lowest to highest.
func seenWords(rows []*row) []string {
	var said []string
	for _, q := range seenQuantities {
		var figures []float64
		l, uncertainty := analyze.NoLimit(), 0.0
		for _, x := range rows {
			if x.Quantity == q.quantity && x.Values > 0 {
				figures = append(figures, x.Low, x.High)
				if finite(x.Uncertainty) {
					uncertainty = math.Max(uncertainty, x.Uncertainty)
				}
				l = x.Limit
			}
		}
		if len(figures) == 0 || q.most && slices.Max(figures) <= 0 {
			continue
		}
		low, high := slices.Min(figures), slices.Max(figures)
		if q.most {
			low = high
		}
		said = append(said, q.word+" "+scalerOf(q.quantity, l, uncertainty, low, high).Range(low, high, " … "))
	}
	return said
}

// outputs writes a line for each output that had something to do, and what was measured
// beneath where there is no room beside.
func (t *textWriter) outputs(r *Record, s *summary) {
	lines := outputLines(r, s)
	if len(lines) == 0 {
		return
	}
	head := []string{"output", "verdict", "measured"}
	if slices.ContainsFunc(lines, func(l *outputLine) bool { return l.demand != "" }) {
		head = []string{"output", "verdict", "demanded", "measured"}
	}
	out := t.outputTable(lines, head, 0)
	if !t.fits(out) {
		out = t.narrowOutputs(lines, head)
	}
	t.line(out)
}

// longName is from how many characters on a name in the narrow table of outputs breaks.
const longName = 16

// narrowOutputs renders the lines in three columns, of which the last breaks.
func (t *textWriter) narrowOutputs(lines []*outputLine, head []string) string {
	head = []string{head[0], head[1], strings.Join(head[2:], ", and what was ")}
	signals, verdicts := len(head[0]), len(head[1])
	for _, l := range lines {
		signals = min(longName, max(signals, text.StringWidthWithoutEscSequences(oneLine(l.signal))))
		verdicts = max(verdicts, len(l.verdictWords()))
	}
	const between = 2 + 2 + 1 // the last column has a blank behind it
	return t.outputTable(lines, head, t.opts.Width-signals-verdicts-between)
}

// outputTable renders the lines: with a column for each heading, or, where the room for the
// last is given, what was measured beneath what was demanded.
func (t *textWriter) outputTable(lines []*outputLine, head []string, room int) string {
	tw := table.NewWriter()
	tw.SetStyle(plainStyle())
	tw.SuppressTrailingSpaces()
	if room > 0 {
		tw.SetColumnConfigs([]table.ColumnConfig{{Number: 1, WidthMax: longName, WidthMaxEnforcer: brokenName}})
	}
	tw.AppendHeader(tableRow(head))
	for _, l := range lines {
		cells := []string{oneLine(l.signal), t.coloured(l.verdict, l.verdictWords())}
		switch {
		case room > 0:
			cells = append(cells, beneath(l.demand, l.seen, room))
		case len(head) == 3:
			cells = append(cells, strings.Join(l.seen, ", "))
		default:
			cells = append(cells, l.demand, strings.Join(l.seen, ", "))
		}
		tw.AppendRow(tableRow(cells))
	}
	return tw.Render()
}

// beneath writes what was measured, indented, below what was demanded. A line breaks between
// two figures and never within one.
func beneath(demand string, seen []string, room int) string {
	lines, indent := []string{}, ""
	if demand != "" {
		lines, indent = append(lines, rows.Wrap(demand, room)), "  "
	}
	line := indent + seen[0]
	for _, x := range seen[1:] {
		if line += ","; text.StringWidthWithoutEscSequences(line+" "+x) < room {
			line += " " + x
			continue
		}
		lines, line = append(lines, line), indent+x
	}
	return strings.Join(append(lines, line), "\n")
}
