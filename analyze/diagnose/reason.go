package diagnose

import (
	"fmt"
	"math"
	"strings"

	"makebreak/analyze"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// Reason says in words what is doubtful of a figure, and, where it is undecided for being
// near its limit, what would settle that. It is empty where there is nothing to say.
func Reason(m *analyze.Measurement) string { return ReasonOver(m, nil, nil) }

// ReasonOver says what Reason does of many figures by one of them, where the doubts of all
// are of the same codes. The figure of the i-th doubt goes from low[i] to high[i].
func ReasonOver(m *analyze.Measurement, low, high []float64) string {
	parts := make([]string, 0, len(m.Doubts)+1)
	for i := range m.Doubts {
		d := doubt{&m.Doubts[i], m.Doubts[i].Value, m.Doubts[i].Value}
		if i < len(low) && i < len(high) {
			d.low, d.high = low[i], high[i]
		}
		if text := doubtText(m, d); text != "" {
			parts = append(parts, text)
		}
	}
	if undecidedByLimit(m) {
		if text := adviceFor(m); text != "" {
			parts = append(parts, text)
		}
	}
	return strings.Join(parts, "; ")
}

// undecidedByLimit reports whether a figure is undecided for its nearness to the limit: no doubt says
// otherwise. That it is a mean or a bound is no such doubt.
func undecidedByLimit(m *analyze.Measurement) bool {
	if m.Verdict != analyze.Undecided || math.IsNaN(m.Value) {
		return false
	}
	for _, d := range m.Doubts {
		if d.Code != analyze.PlainMean && d.Code != analyze.AtMost && d.Code != analyze.AtLeast {
			return false
		}
	}
	return true
}

func adviceFor(m *analyze.Measurement) string {
	switch m.Bound() {
	case analyze.UpperBound:
		return adviceOnBound(m)
	case analyze.LowerBound:
		return "" // what made it a bound is said
	}
	return advice(m)
}

// doubt is a doubt of one figure or of many: its figure goes from low to high.
type doubt struct {
	*analyze.Doubt
	low, high float64
}

// in writes a doubt's figure with its unit, or both where they read differently.
func (d doubt) in(k unit.Kind) string {
	return k.Scaler(unit.Figures{Values: []float64{d.low, d.high}, Uncertainty: math.NaN()}).Trimmed().Range(d.low, d.high, " to ")
}

// doubtTexts are the doubts' words. Those with a figure have a verb for it, a number or a
// text with its unit; those about a signal have one for its name.
var doubtTexts = map[analyze.DoubtCode]func(*analyze.Measurement, doubt) string{
	analyze.NoSamples:           fixed("no samples"),
	analyze.NoSettledSamples:    fixed("no samples in the settled part of the state"),
	analyze.NoSamplesAtLevel:    fixed("no samples near the state's level"),
	analyze.NoSamplesAround:     naming("no samples of %s around the change-over"),
	analyze.FewSamples:          numbering("only %s in the state", "sample"),
	analyze.PlainMean:           numbering("mean of %s, too few for a histogram", "sample"),
	analyze.SamplesAbsent:       timing("samples are missing for %s"),
	analyze.SamplesLeftOut:      timing("samples were left out on purpose for %s: only a move would have been kept; the whole capture would settle it"),
	analyze.AtMost:              atMostText,
	analyze.AtLeast:             atLeastText,
	analyze.RippleBrief:         timing("seen for only %s, less than a period of mains: there may be more ripple"),
	analyze.RippleSmoothed:      timing("each sample is a mean over %s, which smooths ripple: there may be more of it"),
	analyze.CrossingNotShown:    fixed("the samples do not show when the output switched"),
	analyze.ReferencesNotShown:  fixed("the 10 % or 90 % instant is not in the samples"),
	analyze.StateBeforeUnknown:  fixed("the state before the event is not known"),
	analyze.WatchedBriefly:      timing("watched for only %s"),
	analyze.SupplySettingLost:   fixed("the supply's converter had lost its setting"),
	analyze.NotJoined:           fixed("the 0 V of rig and unit are not joined"),
	analyze.ReferenceOpposite:   fixed("a reference line reads the opposite, so the event's time is not known"),
	analyze.OutputNotPlaced:     naming("could not find when %s switched"),
	analyze.NoOutputKnown:       naming("no output is known to drive %s"),
	analyze.PulseEdgesNotPlaced: fixed("could not find when the pulse began and ended"),
	analyze.DidNotGoHigh:        fixed("the output did not go high"),
	analyze.DidNotGoLow:         fixed("the output did not go low"),
	analyze.AlreadyHigh:         fixed("the output was already high"),
	analyze.AlreadyLow:          fixed("the output was already low"),
	analyze.DidNotPulse:         fixed("the output did not pulse"),
	analyze.OnePulseOnly:        fixed("there was one pulse only"),
	analyze.NoContactWired:      fixed("no such contact is wired"),
	analyze.AlreadyClosed:       naming("%s was already closed"),
	analyze.AlreadyOpen:         naming("%s was already open"),
	analyze.DidNotClose:         naming("%s did not close"),
	analyze.DidNotOpen:          naming("%s did not open"),
	analyze.NotClosedInTime:     naming("%s did not close before the state ended, which was soon"),
	analyze.DidNotCloseTill: func(_ *analyze.Measurement, d doubt) string {
		return d.Signal + " did not close, although the supply went to " + d.in(unit.Voltage)
	},
	analyze.DidNotOpenTill: func(_ *analyze.Measurement, d doubt) string {
		return d.Signal + " did not open, although the supply went to " + d.in(unit.Voltage)
	},
	analyze.CoilReachedOnly: coilReachedText,
	analyze.CoilReachedWith: fixed(""), // told with CoilReachedOnly
	analyze.ClosedBefore: func(_ *analyze.Measurement, d doubt) string {
		return d.Signal + " closed before " + d.Other + " crossed its mid level: the edge is too slow to time the relay by, or the relay moved by itself"
	},
	analyze.ChangedAgain: numbering("the contact came to rest and then changed again, %s", "time"),
	analyze.StillBouncing: func(m *analyze.Measurement, d doubt) string {
		if math.IsNaN(d.low) { // as in the oldest logs
			return "still bouncing when the step ended: the true value may be higher"
		}
		return timing("still bouncing when the step ended, %s after the last edge: the true value may be higher")(m, d)
	},
	analyze.EdgesMissing:        fixed("edges were lost"),
	analyze.EdgesInDoubt:        fixed("edges may be missing: the GPIO chip loses many"),
	analyze.EdgesMayHide:        timing("the kernel's handler was %s late: edges closer together may have been taken for one"),
	analyze.BounceIncomplete:    fixed("edges were lost: the true value may be higher"),
	analyze.CalibrationOverdue:  resting("the calibration of %s was overdue: calibrate it again"),
	analyze.CalibrationInFuture: resting("the calibration of %s is dated in the future: check the clock and the date"),
	analyze.Worded:              func(_ *analyze.Measurement, d doubt) string { return d.Text },
}

func doubtText(m *analyze.Measurement, d doubt) string {
	if text := doubtTexts[d.Code]; text != nil {
		return text(m, d)
	}
	return string(d.Code) // of a newer program
}

func fixed(text string) func(*analyze.Measurement, doubt) string {
	return func(*analyze.Measurement, doubt) string { return text }
}

func naming(format string) func(*analyze.Measurement, doubt) string {
	return func(_ *analyze.Measurement, d doubt) string { return fmt.Sprintf(format, d.Signal) }
}

// resting names the output that a figure rests on.
func resting(format string) func(*analyze.Measurement, doubt) string {
	return func(m *analyze.Measurement, d doubt) string {
		if d.Signal == "" {
			return fmt.Sprintf(format, m.Signal)
		}
		return fmt.Sprintf(format, d.Signal)
	}
}

func timing(format string) func(*analyze.Measurement, doubt) string {
	return func(_ *analyze.Measurement, d doubt) string { return fmt.Sprintf(format, d.in(unit.Time)) }
}

func numbering(format, thing string) func(*analyze.Measurement, doubt) string {
	return func(_ *analyze.Measurement, d doubt) string {
		if d.low < d.high {
			return fmt.Sprintf(format, fmt.Sprintf("%d to %s", int(d.low), words.Count(int(d.high), thing)))
		}
		return fmt.Sprintf(format, words.Count(int(d.high), thing))
	}
}

// atMostText says why a value is only an upper bound, unless another doubt does.
func atMostText(m *analyze.Measurement, _ doubt) string {
	if len(m.Doubts) == 1 && m.Quantity == analyze.TransitionDuration {
		return "too fast to time: no slower than this"
	}
	return "the true value may be lower"
}

// atLeastText says that a value is only a lower bound, unless another doubt has said so.
func atLeastText(m *analyze.Measurement, _ doubt) string {
	if m.Has(analyze.StillBouncing) {
		return ""
	}
	return "the true value may be higher"
}

// coilReachedText says how far a ramp brought a coil, and what a longer one would show.
func coilReachedText(m *analyze.Measurement, d doubt) string {
	side, limit, expanded := "below", m.Limit.Lower, math.NaN()
	if m.Quantity == analyze.PullInVoltage {
		side, limit = "above", m.Limit.Upper
	}
	for _, x := range m.Doubts {
		if x.Code == analyze.CoilReachedWith {
			expanded = x.Value
		}
	}
	reached := d.in(unit.Voltage)
	if d.low == d.high {
		reached = unit.Voltage.Reading(d.high, expanded)
	}
	return fmt.Sprintf("the coil came to %s only: it changes over %s that. A ramp that ends well %s %s would show whether it must",
		reached, side, side, unit.Voltage.Format(limit))
}
