package cause

import "slices"

// Subject is what an observation is made of, and where a cause lies.
type Subject string

// The subjects.
const (
	OfOutput    Subject = "output"
	OfRelay     Subject = "relay"
	OfConverter Subject = "converter" // of the rig
	OfRun       Subject = "run"       // of the whole run: all outputs, or the bench itself
)

// usual is the value of an observation where all is as it should be. Each observation has it.
const usual = "usual"

// kind is one kind of observation with the values that it can have. A value excludes the
// others, so that what is seen of one thing in several ways counts once.
type kind struct {
	name   string
	of     Subject
	values []string // besides usual
	asks   string   // what it is about
}

// kinds are all observations that are made of a run, in the order in which they are told. The
// table says how probable their values are.
var kinds = []kind{
	{"rise", OfOutput, []string{"never", "pulled-down", "stays-on", "one-way", "sometimes", "elsewhere", "inverted", "behind", "ahead", "falls-back", "lapses"}, "what the output does at the events where it must go on"},
	{"fall", OfOutput, []string{"never", "one-way", "sometimes"}, "what it does at the events where it must go off"},
	{"still-level", OfOutput, []string{"moves", "zero"}, "where it does not go on: whether its level moves all the same, or is 0 V"},
	{"stray", OfOutput, []string{"moves", "sinks", "joined", "takes-over"}, "whether it moves where it must not"},
	{"company", OfOutput, []string{"joined"}, "whether another output goes along with it"},
	{"on-level", OfOutput, []string{"sags", "heavy", "low", "low-or-sags", "lower", "lowest", "high", "negative"}, "its level when on"},
	{"load", OfOutput, []string{"sags"}, "whether its level when on depends on the event, that is on what else is on"},
	{"off-level", OfOutput, []string{"none", "zero", "negative", "raised", "high", "higher", "far"}, "its level when off, and what that leaves of the relay's margin"},
	{"steadiness", OfOutput, []string{"odd", "hum", "droop", "drops", "flutters", "leaves"}, "whether it keeps its level"},
	{"delay", OfOutput, []string{"late", "early"}, "when it switches"},
	{"pulse", OfOutput, []string{"wrong", "none", "more"}, "how it pulses"},
	{"train", OfOutput, []string{"steady", "stops", "goes-on", "fewer", "gaps", "times"}, "how it pulses several times, or flashes"},
	{"edge", OfOutput, []string{"no-diode", "overshoot", "undershoot"}, "how far its edges go beyond its levels"},
	{"follow", OfRelay, []string{"still", "sometimes", "stays-in", "stays-in-at-last", "held", "swapped", "unsteady", "comes-and-goes", "break-unsteady", "never-closes", "both-unsteady", "open", "chatters", "alone"}, "whether the contacts follow the output"},
	{"coil", OfRelay, []string{"silent", "quiet"}, "where the relay does not move: whether its coil carries current all the same, by how its output swings as it goes off"},
	{"rest", OfRelay, []string{"neither"}, "which of both contacts is closed at rest"},
	{"operate", OfRelay, []string{"rather", "slow"}, "its operate time"},
	{"release", OfRelay, []string{"slow"}, "its release time"},
	{"bounce", OfRelay, []string{"long"}, "the bounce of its contacts"},
	{"overlap", OfRelay, []string{"both"}, "whether both contacts are closed at once"},
	{"edges", OfRelay, []string{"merged", "together", "lost", "doubtful"}, "whether edges of its contacts are missing"},
	{"course", OfRelay, []string{"bounce", "operate", "release"}, "which of its times grows over the cycles"},
	{"onset", OfRelay, []string{"later"}, "whether what is wrong with it was there from the first cycles on"},
	{"near", OfOutput, []string{"on", "off", "ripple", "delay", "pulse"}, "which of its figures is too near its limit to be decided, where nothing else is wrong"},
	{"near-time", OfRelay, []string{"operate", "release", "bounce"}, "which of its times is, likewise"},
	{"lost-edges", OfRun, []string{"few", "many"}, "edges of lines that were lost, by their number"},
	{"ready-edges", OfRun, []string{"lost"}, "ready edges of converters that did not come"},
	{"bus", OfRun, []string{"one", "few", "errors"}, "transfers on the bus that failed, of one converter among several or of any"},
	{"converter", OfConverter, []string{"silent", "no-edges", "resets", "errors"}, "whether it answers, and keeps its configuration"},
	{"resets", OfRun, []string{"some"}, "converters that had lost their configuration"},
	{"supply", OfRun, []string{"lost"}, "whether the supply's converter had lost its setting"},
	{"zero", OfRun, []string{"floats"}, "whether the 0 V of rig and unit are joined, by what outputs read that are off"},
	{"reference", OfRun, []string{"inverted"}, "whether a reference goes the way of its drive"},
	{"others", OfRun, []string{"unwatched"}, "whether the run watched all other outputs, and so saw one that moves instead"},
	{"end", OfRun, []string{"early", "converter", "supply", "reference-silent", "reference-reversed", "lines"}, "whether the run came to its end, and what of the rig ended it"},
}

// kindNamed returns the observation of that name, nil where there is none.
func kindNamed(name string) *kind {
	i := slices.IndexFunc(kinds, func(k kind) bool { return k.name == name })
	if i < 0 {
		return nil
	}
	return &kinds[i]
}

// all are the values that the observation can have.
func (k *kind) all() []string { return append([]string{usual}, k.values...) }
