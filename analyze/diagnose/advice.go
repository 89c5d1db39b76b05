package diagnose

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/analyze/measure"
	"makebreak/rig/capture"
	"makebreak/rig/unit"
)

// What would settle an undecided figure is computed from its budget: U must come
// under the distance d from the value to the nearest limit, if the value stays. The
// budget's lines are gathered into causes, each with one remedy. Replacing a cause by
// one component of s times its standard uncertainty, the largest s in 0..1 that gives
// U <= d says how good the remedy must be; s = 0 asks whether it can do at all. Causes
// are treated from the largest down until those treated would do together.

// remedy is what can be done about the lines of a budget that have one cause.
type remedy struct {
	cause string // as in "mostly the resistors and the converter"
	// sources are the lines' names; nil takes any line that no other remedy takes.
	sources []gum.Source
	// distribution of what the remedy leaves; empty: that of the lines' largest.
	distribution string
	// meter says that the remedy is a calibration, see appendRest.
	meter bool
	// follow says that the remedy is to follow the output, see appendRest.
	follow bool
	// least is the smallest s that is worth talking of.
	least float64
	// text says how far to go: s is how much of the standard uncertainty u of the cause
	// may be left.
	text func(x *analyze.Measurement, c *cause, s float64) string
}

// mostCycles is the largest number of cycles that is proposed.
const mostCycles = 10_000

var remedies = []remedy{
	{cause: "the scatter of the samples", distribution: "normal", least: 0.01, text: repeatText,
		sources: []gum.Source{analyze.Repeatability, analyze.NoiseOfTwo, analyze.ConversionMean, analyze.StateLevels, analyze.ScatterOfSamples}},
	{cause: "the resistors and the converter", distribution: "rectangular", meter: true, text: calibrateText,
		sources: []gum.Source{gum.Source(capture.UpperResistor), gum.Source(capture.LowerResistor), gum.Source(capture.ADCGain), gum.Source(capture.ADCGainAtRange), gum.Source(capture.ADCOffset),
			gum.Source(capture.ADCInputImpedance), gum.Source(capture.ADCInputReturn)}},
	{cause: "the calibration", distribution: "rectangular", meter: true, text: calibrateAgainText,
		sources: []gum.Source{gum.Source(capture.MeterAccuracy), gum.Source(capture.CalibrationPoints), gum.Source(capture.CalibrationSlope), gum.Source(capture.CalibrationAgeing)}},
	{cause: "the sampling interval", text: sampleText, sources: []gum.Source{analyze.SamplingInterval, analyze.ConversionGap, analyze.EdgeNotClean, analyze.SingleSample, analyze.OutputBounces}},
	{cause: "how fast the edge is", distribution: "rectangular", follow: true, text: followText, sources: []gum.Source{analyze.HiddenEdgeSwept}},
	{cause: "how fast the edge is", text: convertText, sources: []gum.Source{analyze.HiddenEdge}},
	{cause: "that the converter's filter is not known", text: filterText, sources: []gum.Source{analyze.FilterUnknown}},
	{cause: "that the level moves during the state", text: steadyText, sources: []gum.Source{analyze.LevelDrift}},
	{cause: "that samples may be means", text: averagedText, sources: []gum.Source{analyze.SamplesMayBeMeans}},
	{cause: "that no sample shows the step", text: againText, sources: []gum.Source{analyze.SamplesMayBeValues}},
	{cause: "the instant of the event", text: referenceText, sources: []gum.Source{analyze.EventInstant}},
	{cause: "the time stamps", distribution: "normal", text: stampsText, sources: []gum.Source{analyze.TimeStamp, analyze.ContactTimeStamp}},
	{cause: "how late the kernel's handler was", text: handlerText, sources: []gum.Source{analyze.EdgesMayMerge}},
	{cause: "the supply's slope", text: slopeText, sources: []gum.Source{analyze.SupplyMoves}},
	{cause: "the resolution", text: resolutionText, sources: []gum.Source{analyze.Resolution}},
	{text: knownText},
}

// fastest is the shortest conversion that there is: 3300 a second, as the ADS1015 makes.
const fastest = 1.0 / 3300

// lasting are the lines that no remedy takes: what a calibration leaves.
var lasting = []gum.Source{gum.Source(capture.UpperResistorDrift), gum.Source(capture.LowerResistorDrift), gum.Source(capture.ADCGainDrift), gum.Source(capture.ADCOffsetDrift), gum.Source(capture.ADCNonlinearity)}

// knownBetter are the lines of which nothing is to be said but that they must be known better.
var knownBetter = []gum.Source{analyze.ConversionTime, analyze.StepShape, analyze.FilterMeasured, analyze.RippleOrNoise, analyze.FarthestOfSeveral}

// cause is the lines of one budget that share a remedy.
type cause struct {
	*remedy
	lines    []gum.Component
	variance float64
	drifts   bool // resistors are among them
	// floor is the smallest s that hardware allows.
	floor float64
}

func (c *cause) standard() float64 { return math.Sqrt(c.variance) }

// largest is the index of the cause's largest line.
func (c *cause) largest() int {
	best := 0
	for i := range c.lines {
		if c.lines[i].Contribution() > c.lines[best].Contribution() {
			best = i
		}
	}
	return best
}

// advice says what would settle a figure that is closer to its limit than its
// expanded uncertainty.
func advice(x *analyze.Measurement) string {
	causes, rest := causesOf(x.Budget)
	distance := distanceOf(x)
	head := mostly(causes, rest, x.Standard)
	left := x.Expanded
	for n := 1; n <= len(causes); n++ {
		t := newTrial(x, causes, n, rest)
		if left = t.expanded(0); left <= distance {
			return head + ": " + t.text(t.allowed(distance))
		}
	}
	return fmt.Sprintf("%s; too close to the limit for this rig: with all that can be improved, ± %s would be left", head, amount(left, x, rounded))
}

// text says how far the causes treated must be improved.
func (t *trial) text(s float64) string {
	words := make([]string, len(t.treated))
	for i := range t.treated {
		c := &t.treated[i]
		words[i] = c.text(t.x, c, math.Max(s, math.Max(c.least, c.floor)))
	}
	if len(words) == 1 {
		return words[0] + " would settle it"
	}
	return strings.Join(words, ", and ") + " would settle it together"
}

// distanceOf is how far a value is from its nearest limit.
func distanceOf(x *analyze.Measurement) float64 {
	lower, upper := math.Abs(x.Value-x.Limit.Lower), math.Abs(x.Value-x.Limit.Upper)
	if math.IsNaN(lower) || upper < lower {
		return upper
	}
	return lower
}

// causesOf gathers a budget's lines into causes, the largest first and those last whose
// remedy is in use already, and the lines that nothing can be done about.
func causesOf(budget []gum.Component) (causes []cause, rest []gum.Component) {
	for _, line := range budget {
		if line.Contribution() == 0 {
			continue
		}
		if slices.Contains(lasting, line.Source) {
			rest = append(rest, line)
			continue
		}
		r := remedyOf(line.Source)
		i := slices.IndexFunc(causes, func(c cause) bool { return c.remedy == r && (r.sources != nil || c.lines[0].Source == line.Source) })
		if i < 0 {
			i = len(causes)
			causes = append(causes, cause{remedy: r})
		}
		u := line.Contribution()
		causes[i].lines = append(causes[i].lines, line)
		causes[i].variance += u * u
		causes[i].drifts = causes[i].drifts || line.Source == gum.Source(capture.UpperResistor) || line.Source == gum.Source(capture.LowerResistor)
		if line.Source == analyze.HiddenEdge { // in proportion to the conversion's time
			causes[i].floor = math.Min(1, fastest/math.Abs(line.Sensitivity))
		}
	}
	slices.SortStableFunc(causes, func(a, b cause) int {
		switch {
		case a.exhausted() != b.exhausted():
			if a.exhausted() {
				return 1
			}
			return -1
		case a.variance > b.variance:
			return -1
		}
		return 1
	})
	return causes, rest
}

func remedyOf(source gum.Source) *remedy {
	for i := range remedies {
		if remedies[i].sources == nil || slices.Contains(remedies[i].sources, source) {
			return &remedies[i]
		}
	}
	return nil
}

// mostly names the largest cause and its share of the variance, to the nearest tenth.
func mostly(causes []cause, rest []gum.Component, standard float64) string {
	name, largest := "drift and nonlinearity", 0.0
	for _, line := range rest {
		largest += line.Contribution() * line.Contribution()
	}
	for i := range causes {
		if c := &causes[i]; c.variance >= largest {
			name, largest = c.name(), c.variance
		}
	}
	percent := math.Max(10, 10*math.Round(10*largest/(standard*standard)))
	word := "mostly"
	if percent < 50 {
		word = "more than anything else"
	}
	return fmt.Sprintf("%s %s (%.0f %%)", word, name, percent)
}

func (c *cause) name() string {
	if c.cause == "" {
		return string(c.lines[0].Source)
	}
	return c.cause
}

// trial asks what the expanded uncertainty would be with some causes treated.
type trial struct {
	x       *analyze.Measurement
	treated []cause
	// untouched are the lines that stay as they are, with room for what is left of the others.
	untouched []gum.Component
}

func newTrial(x *analyze.Measurement, causes []cause, n int, rest []gum.Component) trial {
	t := trial{x: x, treated: causes[:n], untouched: append(make([]gum.Component, 0, len(x.Budget)+2+2*n), rest...)}
	for i := range causes[n:] {
		t.untouched = append(t.untouched, causes[n+i].lines...)
	}
	return t
}

// expanded is the expanded uncertainty with s times the causes treated.
func (t *trial) expanded(s float64) float64 {
	budget := t.untouched
	for i := range t.treated {
		budget = t.treated[i].appendRest(budget, t.x, s)
	}
	_, expanded := gum.Combine(budget).Expanded()
	return expanded
}

// allowed is the largest s for which the expanded uncertainty stays within the
// distance.
func (t *trial) allowed(distance float64) float64 {
	low, high := 0.0, 1.0
	for range 20 {
		s := (low + high) / 2
		if t.expanded(s) <= distance {
			low = s
		} else {
			high = s
		}
	}
	return low
}

// appendRest appends what is left of a cause when its remedy leaves s of it. A meter's
// accuracy counts twice there: as what all its readings share, and, where it is in
// digits or volts, as what each of a calibration's points has of its own. Near one of
// only two points both are alike, which is the worst case.
func (c *cause) appendRest(budget []gum.Component, x *analyze.Measurement, s float64) []gum.Component {
	s = math.Max(s, math.Max(c.least, c.floor))
	if c.follow {
		s = c.followed() // however little is asked for
	}
	line := c.lines[c.largest()]
	if c.distribution != "" && !c.exhausted() {
		line.Distribution = c.distribution
	}
	line.Standard, line.Sensitivity = s*c.standard(), 1
	switch {
	case c.least > 0 && len(c.lines) == 1: // more samples know their own scatter better
		line.DegreesOfFreedom /= s * s
	default:
		line.DegreesOfFreedom = math.Inf(1)
	}
	if c.meter {
		line.Standard /= math.Sqrt2
		own := line
		own.Distribution = "normal"
		budget = append(budget, own)
	}
	budget = append(budget, line)
	if c.drifts {
		drift := gum.Line("drift", "rectangular", driftShare*levelOfFigure(x), 1)
		budget = append(budget, drift, drift) // of two resistors
	}
	return budget
}

// driftShare is by what share a resistor may change after its calibration while the
// room's temperature does: common practice for metal film, no source.
const driftShare = 1e-3

// levelOfFigure is the voltage that a figure is about, or near it: the relays' margins
// are taken at the customary levels.
func levelOfFigure(x *analyze.Measurement) float64 {
	switch x.Quantity {
	case analyze.PullInMargin:
		return float64(analyze.AssumedNominal)
	case analyze.DropOutMargin:
		return float64(analyze.AssumedNominal) / 10
	}
	return math.Abs(x.Value)
}

// repeatText says how many cycles' mean would do: the standard uncertainty of a mean
// falls with the square root of their number (GUM 4.2.3).
func repeatText(x *analyze.Measurement, _ *cause, s float64) string {
	n := cyclesFor(s)
	words := "the mean of " + strconv.Itoa(n) + " cycles"
	if x.Quantity == analyze.LowLevel || x.Quantity == analyze.HighLevel || x.Quantity == analyze.PullInMargin || x.Quantity == analyze.DropOutMargin {
		words += fmt.Sprintf(" (or a state held %d times as long)", n)
	}
	return words
}

// cyclesFor is how many cycles bring a standard uncertainty down to s of it.
func cyclesFor(s float64) int {
	n := math.Ceil(1/(s*s) - 1e-9)
	return int(math.Min(mostCycles, math.Max(2, roundedUp(n))))
}

func calibrateText(x *analyze.Measurement, c *cause, s float64) string {
	return "calibrating the output against a meter good to ± " + c.goodTo(x, s)
}

func calibrateAgainText(x *analyze.Measurement, c *cause, s float64) string {
	return "calibrating again, against a meter good to ± " + c.goodTo(x, s)
}

// goodTo is the half-width that is left to a meter, which counts twice: see appendRest.
func (c *cause) goodTo(x *analyze.Measurement, s float64) string {
	return amount(s*c.standard()/math.Sqrt2*math.Sqrt(3), x, roundedDown) + " or better"
}

// sampleText says how close the samples must be. The present interval follows from
// the component that it made.
func sampleText(x *analyze.Measurement, c *cause, s float64) string {
	line := &c.lines[c.largest()]
	now := intervalOf(x, line)
	if x.Quantity != analyze.TransitionDuration { // whose lines are of one interval
		now *= c.standard() / line.Contribution()
	}
	return fmt.Sprintf("samples at most %s apart (now about %s: sample the output alone, or faster)", amount(s*now, x, roundedDown), amount(now, x, rounded))
}

// intervalOf is the time between samples that makes a component as large as it is:
// half of it to both sides (rectangular), a quarter where an edge is not clean; for a
// difference of two instants the triangular distribution's half-width is half of it,
// or all of it where both ends of an excursion are meant. The line of a transition's duration
// has the interval itself, and as its sensitivity the share that may be wrong.
func intervalOf(x *analyze.Measurement, line *gum.Component) float64 {
	u := line.Contribution()
	switch {
	case x.Quantity == analyze.TransitionDuration:
		return line.Standard * math.Sqrt(3)
	case line.Distribution == "triangular" && x.Quantity == analyze.Hold:
		return u * math.Sqrt(6)
	case line.Distribution == "triangular":
		return u * math.Sqrt(6) * 2
	case line.Source == analyze.EdgeNotClean:
		return u * math.Sqrt(3) * 4
	}
	return u * math.Sqrt(3) * 2
}

// followed is how much of a swept edge's uncertainty a followed output would have.
func (c *cause) followed() float64 {
	sum := 0.0
	for i := range c.lines {
		u := gum.HalfWidth("rectangular", measure.HiddenWhenFollowed()*math.Abs(c.lines[i].Sensitivity))
		sum += math.Min(u*u, c.lines[i].Contribution()*c.lines[i].Contribution())
	}
	return math.Sqrt(sum / c.variance)
}

// exhausted reports whether a cause's remedy would change little.
func (c *cause) exhausted() bool {
	const little = 0.8
	return c.floor > little || c.follow && c.followed() > little
}

func followText(x *analyze.Measurement, c *cause, _ float64) string {
	return fmt.Sprintf("following the output (sample: follow), which leaves some ± %s of that (now ± %s)",
		amount(c.followed()*c.standard(), x, rounded), amount(c.standard(), x, rounded))
}

// convertText: how far an edge can be misplaced goes with the time of a conversion.
func convertText(x *analyze.Measurement, c *cause, s float64) string {
	now := math.Abs(c.lines[c.largest()].Sensitivity)
	return fmt.Sprintf("conversions of %s or shorter (now %s: a faster rate or converter)", amount(math.Max(s*now, fastest), x, roundedDown), amount(now, x, rounded))
}

func filterText(*analyze.Measurement, *cause, float64) string {
	return "measuring the converter's filter (rig check --loop-back) and following the output"
}

func steadyText(x *analyze.Measurement, c *cause, s float64) string {
	whole := 2 * c.standard() * math.Sqrt(12) // see repeatability
	return fmt.Sprintf("an output that moves by no more than %s during the state (now %s)", amount(s*whole, x, roundedDown), amount(whole, x, rounded))
}

func averagedText(*analyze.Measurement, *cause, float64) string {
	return "saying whether the samples are means (--averaged)"
}

func againText(*analyze.Measurement, *cause, float64) string {
	return "another capture of the step, in which a sample lies between the states"
}

func referenceText(x *analyze.Measurement, c *cause, s float64) string {
	return fmt.Sprintf("a reference wired to the event, which gives its instant to ± %s or better (now ± %s)",
		amount(s*c.standard(), x, roundedDown), amount(c.standard(), x, rounded))
}

// stampsText: what is random of the stamps averages out, what they share cancels in a
// difference of two.
func stampsText(x *analyze.Measurement, c *cause, s float64) string {
	words := fmt.Sprintf("edges stamped to ± %s or better (now ± %s)", amount(s*c.standard(), x, roundedDown), amount(c.standard(), x, rounded))
	if n := cyclesFor(s); n < mostCycles {
		words += fmt.Sprintf(" (or the mean of %d cycles)", n)
	}
	return words
}

func handlerText(x *analyze.Measurement, c *cause, s float64) string {
	return fmt.Sprintf("a processor that takes edges in within %s or sooner (now %s)", amount(s*c.standard()*math.Sqrt(3), x, roundedDown), amount(c.standard()*math.Sqrt(3), x, rounded))
}

// slopeText: what the supply changes by while the armature moves goes with its slope.
func slopeText(_ *analyze.Measurement, _ *cause, s float64) string {
	return fmt.Sprintf("a ramp %s times as slow", strconv.FormatFloat(roundedUp(1/math.Max(s, 1e-3)), 'f', -1, 64))
}

func resolutionText(x *analyze.Measurement, c *cause, s float64) string {
	step := c.standard() * math.Sqrt(12)
	return fmt.Sprintf("steps of %s or finer (now %s)", amount(s*step, x, roundedDown), amount(step, x, rounded))
}

func knownText(x *analyze.Measurement, c *cause, s float64) string {
	return fmt.Sprintf("%s known to ± %s or better (now ± %s)", c.lines[0].Source, amount(s*c.standard(), x, roundedDown), amount(c.standard(), x, rounded))
}

// adviceOnBound says what would settle a figure of which only an upper bound is known.
func adviceOnBound(x *analyze.Measurement) string {
	if x.Value > x.Limit.Upper {
		return "samples at most " + amount(x.Limit.Upper/measure.EdgeSamples, x, roundedDown) + " apart would settle it"
	}
	return "only samples closer than the transition takes would settle it"
}

// What is proposed is rounded to these figures, so that cycles that differ in noise
// get the same words.
var preferred = []float64{1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10}

func decade(v float64) float64 { return math.Pow10(int(math.Floor(math.Log10(v)))) }

// roundedDown and roundedUp return the nearest preferred figure on that side, rounded
// the nearest one by ratio.
func roundedDown(v float64) float64 {
	d := decade(v)
	for i := len(preferred) - 1; i >= 0; i-- {
		if preferred[i]*d <= v*(1+1e-9) {
			return preferred[i] * d
		}
	}
	return v
}

func roundedUp(v float64) float64 {
	d := decade(v)
	for _, p := range preferred {
		if p*d >= v*(1-1e-9) && p*d == math.Trunc(p*d) {
			return p * d
		}
	}
	return v
}

func rounded(v float64) float64 {
	d := decade(v)
	best := preferred[0]
	for _, p := range preferred {
		if math.Abs(math.Log(p*d/v)) < math.Abs(math.Log(best*d/v)) {
			best = p
		}
	}
	return best * d
}

// amount writes a positive amount of a figure's unit, rounded.
func amount(v float64, x *analyze.Measurement, round func(float64) float64) string {
	kind := unit.Of(x.Quantity.Unit())
	if !(v > 0) {
		return kind.Format(0)
	}
	return kind.Short(round(v), 3)
}
