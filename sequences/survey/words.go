package survey

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"makebreak/analyze"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// seconds writes a time as it was measured, in three digits.
func seconds(v float64) string { return unit.Time.Short(v, 3) }

// Took writes how long a survey takes.
func Took(d time.Duration) string {
	switch {
	case d >= time.Hour:
		return fmt.Sprintf("%d h %02d min", d/time.Hour, d%time.Hour/time.Minute)
	case d >= 2*time.Minute:
		return fmt.Sprintf("%d min %02d s", d/time.Minute, d%time.Minute/time.Second)
	}
	return unit.Time.Short(d.Seconds(), 3)
}

// Words say what an output does, in a sentence without a full stop.
func (b *Behaviour) Words() string {
	text := b.kindWords()
	if w := b.whileWords(); w != "" && b.Kind != CannotTell && b.Kind != Mixed && b.Kind != FollowsEvents {
		text += ", " + w
	}
	return text
}

// side are the words for an output that is on, or off.
func (b *Behaviour) side(on bool) string {
	if on != b.Inverted {
		return "high"
	}
	return "low"
}

func (b *Behaviour) kindWords() string {
	from, until := words.List(b.From), words.List(b.Until)
	inverted := ""
	if b.Inverted {
		inverted = ", inverted"
	}
	switch b.Kind {
	case NeverMoves:
		return "never moves, " + stateWord(b.High) + " always"
	case FollowsDrive:
		return "follows the rig's drive: " + b.side(true) + " at " + from + ", " + b.side(false) + " at " + until
	case FollowsArming:
		ways := "follows arming in both ways"
		if n := len(b.From); n != 2 {
			ways = "follows arming in all " + strconv.Itoa(n) + " ways"
			if n == 1 {
				ways = "follows arming"
			}
		}
		return ways + inverted + ": " + b.level(from, until, "an exit delay")
	case FollowsOne:
		return "follows arming by " + from + " only" + inverted + ": " + b.level(from, until, "an exit delay")
	case Latches:
		text := "latches" + inverted + ": " + b.level(from, "", "an entry delay")
		if until == "" {
			return text + "; nothing was seen to end that"
		}
		return text + ", until " + until
	case FollowsEvents:
		return "changes by events" + inverted + ": " + b.list()
	case PulsesAt, TrainAt, FlashesAt:
		return b.list()
	case Mixed:
		return "does different things: " + b.list()
	}
	return "cannot be told: " + b.list()
}

// level says when an output is on and off.
func (b *Behaviour) level(from, until, delay string) string {
	text := b.side(true) + " from " + from
	if b.Delay > 0 {
		text += " after " + delay + " of " + seconds(b.Delay)
	}
	if until != "" {
		text += ", " + b.side(false) + " at " + until
	}
	return text
}

// whileWords say under which condition an output acts at all, where there is one for all it does
// at the events that switch it on.
func (b *Behaviour) whileWords() string {
	var all []string
	for _, a := range b.Acts {
		if a.While == nil || a.Effect.Do == Stays || !slices.Contains(b.From, a.Event) {
			continue
		}
		if w := words.Or(a.While); !slices.Contains(all, w) {
			all = append(all, w)
		}
	}
	if len(all) != 1 {
		return ""
	}
	return "only while the last of these was " + all[0]
}

// list says what the output does at each event that does something to it.
func (b *Behaviour) list() string {
	type group struct {
		of     *Act
		while  string
		events []string
	}
	var groups []group
	for i := range b.Acts {
		a := &b.Acts[i]
		if a.Effect.Do == Stays && a.Wrong == 0 {
			continue
		}
		while := ""
		if b.Kind == Mixed || b.Kind == CannotTell || b.Kind == FollowsEvents || b.whileWords() == "" {
			while = a.whileWords()
		}
		k := slices.IndexFunc(groups, func(g group) bool {
			return g.while == while && g.of.Effect.alike(&a.Effect) && a.Wrong == 0 && g.of.Wrong == 0
		})
		if k < 0 {
			groups = append(groups, group{of: a, while: while})
			k = len(groups) - 1
		}
		groups[k].events = append(groups[k].events, a.Event)
	}
	if len(groups) == 0 {
		return "it does nothing"
	}
	slices.SortStableFunc(groups, func(a, b group) int { return ends(a.of) - ends(b.of) })
	parts := make([]string, len(groups))
	for i, g := range groups {
		parts[i] = g.of.words() + " at " + words.And(g.events) + g.while
	}
	return strings.Join(parts, "; ")
}

// ends is 1 of what only switches off, else 0: that comes last.
func ends(a *Act) int {
	if a.Effect.Do == Falls {
		return 1
	}
	return 0
}

func (a *Act) whileWords() string {
	if a.While == nil {
		return ""
	}
	return " (after " + words.Or(a.While) + ")"
}

// words say what an event does to an output.
func (a *Act) words() string {
	text := a.Effect.words()
	if a.Wrong > 0 {
		text += fmt.Sprintf(" in %d of %s", a.N-a.Wrong, words.Count(a.N, "time"))
	}
	return text
}

func (e *Effect) words() string {
	after := ""
	if e.Delayed() {
		after = " after " + seconds(e.After)
	}
	switch e.Do {
	case Stays:
		return "does nothing"
	case Rises:
		return "high" + after
	case Falls:
		return "low" + after
	case Pulses:
		if e.Pulses == 1 {
			return "a pulse of " + seconds(e.On) + after
		}
		return strconv.Itoa(e.Pulses) + " pulses of " + seconds(e.On) + ", " + seconds(e.Off) + " apart" + after
	case Flashes:
		text := "flashing, " + seconds(e.On) + " on and " + seconds(e.Off) + " off" + after
		if e.Lasts > 0 {
			text += ", for " + seconds(e.Lasts)
		}
		return text
	}
	return "now this, now that"
}

func stateWord(high bool) string {
	if high {
		return "high"
	}
	return "low"
}

// Words say what a relay does.
func (r *RelayBehaviour) Words() string {
	if r.Behind.Changes == 0 {
		return "never moves"
	}
	if len(r.Behind.Outputs) == 0 {
		return "moves, and follows no output that the rig reads"
	}
	text := "stands behind " + r.Behind.Outputs[0]
	if len(r.Behind.Outputs) > 1 {
		text = "stands behind " + words.Or(r.Behind.Outputs) + ", which move together (likelier " + r.Behind.Outputs[0] + ", whose high level is lower, as under a coil)"
	}
	if r.Plan.Make != "" {
		text += "; " + r.Plan.Make + " closes with it"
	}
	if r.Plan.Break != "" {
		text += "; " + r.Plan.Break + " opens with it"
	}
	if r.Swapped {
		text += ": the opposite of what the names say"
	}
	return text
}

// Words say which events arm and disarm, and how that is known.
func (r *Roles) Words() string {
	by := map[RoleSource]string{ByUser: "as the command says", ByName: "by their names", ByBehaviour: "by the delays before outputs act"}[r.By]
	if by == "" {
		return "nothing says which events arm and which disarm; --arming and --disarming do"
	}
	var parts []string
	if len(r.Arming) > 0 {
		parts = append(parts, words.And(r.Arming)+" "+plural(len(r.Arming), "arms", "arm"))
	}
	if len(r.Disarming) > 0 {
		parts = append(parts, words.And(r.Disarming)+" "+plural(len(r.Disarming), "disarms", "disarm"))
	}
	return strings.Join(parts, ", ") + ", " + by
}

func plural(n int, one, more string) string {
	if n == 1 {
		return one
	}
	return more
}

// scale is how figures beside each other are written that are known to within so much.
func (f *Figure) scale(within float64) unit.Scaler {
	if !(within > 0) {
		within = math.NaN()
	}
	return unit.Of(f.Quantity.Unit()).Scaler(unit.Figures{Values: []float64{f.Least, f.Most}, Uncertainty: within, Digits: 4})
}

// value writes the mean, or of bounds the outermost one.
func (f *Figure) value() string {
	v := f.Mean
	switch f.Bound {
	case analyze.UpperBound:
		v = f.Most
	case analyze.LowerBound:
		v = f.Least
	}
	within := f.Expanded
	if f.Deviation > within || !(within > 0) {
		within = f.Deviation
	}
	if within < 1e-4*math.Abs(v) {
		within = math.NaN() // more digits help nobody
	}
	return f.scale(within).Text(v)
}

// Text writes a figure as in "143.1 ms ± 2.3 ms (spread 0.4 ms), n 6".
func (f *Figure) Text() string {
	k := unit.Of(f.Quantity.Unit())
	text := f.Bound.Sign() + f.value()
	if f.Bound == analyze.NoBound {
		if f.Expanded > 0 {
			text += " " + f.scale(f.Expanded).PlusMinus()
		}
		if f.Deviation > 0 {
			text += " (spread " + k.Short(f.Deviation, 2) + ")"
		}
	}
	return text + ", n " + strconv.Itoa(f.N)
}

// finite reports whether v is a number.
func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
