package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/analyze/tally"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// eventWords are an event's name for people.
func eventWords(event string) string {
	if event == "" {
		return "(start)"
	}
	return event
}

// verdictWords say a row's verdict, with a count where not all figures share it.
func (x *row) verdictWords() string {
	v, n, judged := x.worst()
	if v == analyze.NoVerdict {
		return ""
	}
	if v == analyze.Pass && n == x.Figures {
		return string(v)
	}
	return fmt.Sprintf("%s %d/%d", v, n, judged)
}

// figures are a row's numbers for people, all in one unit.
type figures struct{ n, median, span, uncertainty, limit string }

func (x *row) figures() figures {
	f := figures{n: strconv.Itoa(x.Values)}
	if x.Values != x.Figures {
		f.n += "/" + strconv.Itoa(x.Figures)
	}
	s, median := x.shown()
	if f.limit = limitWords(s, x.Limit); x.LimitsDiffer {
		f.limit = "differs"
	}
	if x.Values == 0 {
		f.median = unit.Missing
		return f
	}
	f.median = s.Text(median)
	f.median = x.sign() + f.median
	if !x.values.exact() {
		f.median = "≈ " + f.median
	}
	if x.Values > 1 {
		f.span = s.Number(x.Low) + " … " + s.Number(x.High)
	}
	f.uncertainty = s.PlusMinus()
	return f
}

// eitherBound stands before the median of values that are upper bounds in part and lower
// bounds in part.
const eitherBound = "≶ "

// sign is what stands before the row's median: nothing where each value is a plain one.
func (x *row) sign() string {
	if b, known := x.Bound(); known {
		return b.Sign()
	}
	return eitherBound
}

// boundLines explain the signs of bounds in the table.
func (s *summary) boundLines() []string {
	signs := map[string]bool{}
	fast := "≤: too fast to time: no slower than this."
	for _, x := range s.rows {
		signs[x.sign()] = true
		if x.sign() == analyze.UpperBound.Sign() && x.Quantity != analyze.TransitionDuration {
			fast = "≤: an upper bound: the true value may be lower."
		}
	}
	var lines []string
	for _, l := range []struct{ sign, line string }{
		{analyze.UpperBound.Sign(), fast},
		{analyze.LowerBound.Sign(), "≥: a lower bound: the true value may be higher."},
		{eitherBound, "≶: some values are upper bounds, others lower bounds."},
	} {
		if signs[l.sign] {
			lines = append(lines, l.line)
		}
	}
	return lines
}

// shown is the median, NaN where there are no values, and what writes it and all else.
func (x *row) shown() (s unit.Scaler, median float64) {
	median = math.NaN()
	if x.Values > 0 {
		median = x.values.median()
	}
	return x.scaler(median), median
}

// Scale returns how the record's table writes its figures, for findings to write theirs
// alike. It reads the measurements once, or the tally where there is one.
func Scale(r *Record) (diagnose.Scale, error) {
	s, err := summarize(r)
	if err != nil {
		return nil, readingFailed(err)
	}
	rows := map[tally.Key]*row{}
	for _, x := range s.rows {
		rows[x.Key] = x
	}
	return func(signal string, q analyze.Quantity, event string) (unit.Scaler, bool) {
		x := rows[tally.Key{Signal: signal, Quantity: q, Event: event}]
		if x == nil || x.Values == 0 {
			return unit.Scaler{}, false
		}
		s, _ := x.shown()
		return s, true
	}, nil
}

// scaler writes all of the row's figures and its limit.
func (x *row) scaler(median float64) unit.Scaler {
	l := x.Limit
	if x.LimitsDiffer {
		l = analyze.NoLimit()
	}
	return scalerOf(x.Quantity, l, x.Uncertainty, median, x.Low, x.High)
}

// where names a row at one event or more: "OUT3 switching delay at arm-away".
func (x *row) where(events ...string) string {
	place := x.Signal + " " + x.Quantity.Words()
	if len(events) == 1 && events[0] == "" {
		return place + " at the start"
	}
	return place + " at " + words.List(words.Texts(events, eventWords))
}

// remarkLines say why values are missing and what else is doubtful of figures, except of
// the undecided ones, which the verdict explains.
func (s *summary) remarkLines() []string {
	return s.lines(func(r *tally.Remark) bool { return r.Missing() || r.Example.Verdict != analyze.Undecided })
}

// undecidedLines say what would settle the undecided figures.
func (s *summary) undecidedLines() []string {
	return s.lines(func(r *tally.Remark) bool { return !r.Missing() && r.Example.Verdict == analyze.Undecided })
}

// remarked is what is to be said of one quantity of a signal at one or more events.
type remarked struct {
	row          *row
	events       []string
	word, reason string
	n, of        int // figures that it is about, of those at the events
}

// lines say what is wanted of the remarks. What is the same at several events is one line.
func (s *summary) lines(wanted func(*tally.Remark) bool) []string {
	var all []*remarked
	for _, x := range s.rows {
		named := false
		for i := range x.Remarks {
			if r := &x.Remarks[i]; wanted(r) {
				named = true
				all = x.addRemark(all, remarkWord(r), oneLine(diagnose.ReasonOver(&r.Example, r.Low, r.High)), r.N)
			}
		}
		if named && x.MoreRemarks > 0 {
			all = append(all, &remarked{row: x, events: []string{x.Event}, reason: fmt.Sprintf("other reasons in %d more; the CSV has them all", x.MoreRemarks)})
		}
	}
	return words.Texts(all, (*remarked).line)
}

// addRemark adds what is said of n of the row's figures, to a line that says the same where
// there is one.
func (x *row) addRemark(all []*remarked, word, reason string, n int) []*remarked {
	for _, r := range all {
		if r.row.Signal == x.Signal && r.row.Quantity == x.Quantity && r.word == word && r.reason == reason {
			if r.events[len(r.events)-1] != x.Event {
				r.events, r.of = append(r.events, x.Event), r.of+x.Figures
			}
			r.n += n
			return all
		}
	}
	return append(all, &remarked{row: x, events: []string{x.Event}, word: word, reason: reason, n: n, of: x.Figures})
}

func (r *remarked) line() string {
	share := ""
	if r.word != "" {
		share = fmt.Sprintf(", %s %d of %d", r.word, r.n, r.of)
	}
	return r.row.where(r.events...) + share + ": " + r.reason
}

// remarkWord says what a remark is about, up to how many figures.
func remarkWord(r *tally.Remark) string {
	switch v := r.Example.Verdict; {
	case r.Missing():
		return "missing in"
	case v != analyze.NoVerdict:
		return string(v) + " in"
	}
	return "noted on"
}

// line says which outputs did nothing, as they should; empty where there
// are none.
func (s steady) line() string {
	if len(s.signals) == 0 {
		return ""
	}
	line := fmt.Sprintf("%s: did not move (%s)", words.List(s.signals), words.Count(s.states, "check"))
	if finite(s.ripple) {
		line += "; their levels stayed within " + Reading(analyze.Ripple, s.ripple, math.NaN()) + " peak to peak"
	}
	return line
}

// legendLines explain what stands in the table and does not explain itself.
func (s *summary) legendLines() []string {
	var sampled, digested, unjudged, uncertain bool
	for _, x := range s.rows {
		if _, ok := x.values.(digest); ok {
			digested = digested || !x.values.exact()
		} else {
			sampled = sampled || !x.values.exact()
		}
		unjudged = unjudged || x.with(analyze.NoVerdict) == x.Figures
		uncertain = uncertain || finite(x.Uncertainty)
	}
	var lines []string
	if uncertain {
		lines = append(lines, "± U: measurement uncertainty (95 %), largest in this row.")
	}
	lines = append(lines, s.boundLines()...)
	if unjudged {
		lines = append(lines, "No verdict: no limit was set.")
	}
	if sampled {
		lines = append(lines, fmt.Sprintf("≈: median of %d values chosen at random; lowest and highest are of all.", reservoirLen))
	}
	if digested {
		lines = append(lines, "≈: approximate median, right to 0.1 % of the ranks; lowest and highest are exact.")
	}
	return lines
}

// troubleLines say what went wrong in acquiring the data; none where all went well.
func troubleLines(r *Record) []string {
	var lines []string
	for _, t := range []struct {
		n         uint64
		one, many string
	}{
		{r.Counts.MissedConversions, "conversion missed", "conversions missed"},
		{r.Counts.DoubledConversions, "conversion read twice", "conversions read twice"},
		{r.Counts.LostEdges, "contact edge lost", "contact edges lost"},
		{r.Counts.LostReadyEdges, "ready edge of a converter lost", "ready edges of converters lost"},
		{r.Counts.BusErrors, "bus error", "bus errors"},
		{r.Counts.ChipResets, "converter found reset", "converters found reset"},
	} {
		if t.n > 0 {
			lines = append(lines, words.Count(t.n, t.one, t.many))
		}
	}
	return lines
}

// cycleWords say how many cycles were done.
func cycleWords(r *Record) string {
	words := strconv.Itoa(r.Cycles)
	if r.Planned > 0 {
		words = fmt.Sprintf("%d of %d", r.Cycles, r.Planned)
	}
	if r.Complete {
		return words
	}
	words += ", incomplete"
	if r.Reason != "" {
		words += ": " + oneLine(r.Reason)
	}
	return words
}

// captureWords say how many cycles' captures the log keeps.
func captureWords(r *Record) string {
	kept := analyze.CountCycles(r.Captures)
	if kept == 0 {
		return ""
	}
	return ", with the " + map[bool]string{true: "capture", false: "captures"}[kept == 1] + " of " + words.Count(kept, "cycle")
}

// unstoredHeading stands above what was measured and could not be stored.
const unstoredHeading = "Measured but not stored"

// settleHeading stands above what can be done about undecided results.
const settleHeading = "To settle the undecided results"

// nothingWords stand in place of a table without rows.
func nothingWords(r *Record) string {
	if len(r.Unstored) > 0 {
		return "No figure could be stored."
	}
	return "Nothing was measured."
}

// rigWords name the rig, and say plainly where it was none.
func rigWords(r *Record) string {
	if !r.Simulated {
		return oneLine(r.Rig)
	}
	words := "simulated bench: nothing real was measured"
	if r.Seed != nil {
		words = fmt.Sprintf("simulated bench (seed %d): nothing real was measured", *r.Seed)
	}
	if r.Rig != "" {
		words = oneLine(r.Rig) + ", " + words
	}
	if len(r.Faults) > 0 {
		words += "; " + faultWords(r)
	}
	return words
}

// noFindings stands in the place of findings.
func noFindings(r *Record) string {
	if r.sealed() {
		return "Findings are not shown in an exercise: what was measured has to tell."
	}
	return "No findings."
}

// faultWords name the faults that were planted; empty where none were.
func faultWords(r *Record) string {
	switch {
	case len(r.Faults) == 0:
		return ""
	case r.sealed():
		return "made in an exercise: whether anything is wrong with it is sealed"
	}
	return "faults planted on purpose: " + oneLine(strings.Join(r.Faults, ", "))
}

// verdictSentence says why the verdict is what it is.
func verdictSentence(r *Record, s *summary) string {
	v := r.Verdict
	if v == analyze.Incomplete {
		v = s.gravest()
	}
	why := verdictReason(v, s)
	if len(s.rows) == 0 && len(r.Unstored) > 0 {
		why = "no figure could be stored"
	}
	if r.sealed() && v != analyze.NoVerdict && s.verdicts[v] == 0 {
		why = "what was seen beside the figures decided; an exercise does not say what that was"
	}
	switch {
	case r.Verdict == analyze.Incomplete:
		why += "; this holds for the cycles done only"
	case !r.Complete:
		why += "; the run is incomplete, so this holds for the cycles done only"
	}
	return why
}

func verdictReason(v analyze.Verdict, s *summary) string {
	judged := s.verdicts[analyze.Pass] + s.verdicts[analyze.Fail] + s.verdicts[analyze.Undecided]
	figures := words.Count(judged, "judged figure")
	n := s.verdicts[v]
	switch {
	case v == analyze.NoVerdict:
		if len(s.rows) == 0 {
			return "nothing was judged"
		}
		return "no limit was set and nothing was judged"
	case n == 0: // the findings alone decided
		return "see the findings"
	case v == analyze.Fail:
		return fmt.Sprintf("%d of %s failed", n, figures)
	case v == analyze.Undecided:
		return fmt.Sprintf("%d of %s undecided", n, figures)
	}
	return fmt.Sprintf("%d of %s passed", n, figures)
}

// oneLine puts a text on one line, safe to print.
func oneLine(s string) string {
	return words.Safe(strings.Join(strings.Fields(plainText(s)), " "))
}
