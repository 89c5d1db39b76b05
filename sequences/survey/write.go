package survey

import (
	"bytes"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"makebreak/analyze"
	"makebreak/rig/problem"
	"makebreak/rig/unit"
	"makebreak/rig/words"
	"makebreak/sequences"
)

// Writing says how a table is written as a sequence.
type Writing struct {
	Limiting
	// Named is a sequence whose limits are taken instead of what was measured; nil: none is.
	Named *sequences.Sequence
	// Now is when it is written, Program by which version.
	Now     time.Time
	Program string
}

// Sequence writes the table as a sequence, for a person to read: each line that demands something
// says what it rests on. What was not seen twice, or not the same each time, is not demanded.
func (r *Report) Sequence(w io.Writer, o Writing) error {
	b := &sequenceWriter{Report: r, o: o, l: newLimiter(o.Limiting, r)}
	b.head()
	b.stepList()
	b.outputList()
	b.relayList()
	text := b.text.String() + "\n"
	text += unchanged(text)
	if _, err := sequences.Parse(b.name(), []byte(text)); err != nil {
		return problem.Of(problem.Internal, fmt.Errorf("what was learnt makes no sequence: %w", err))
	}
	_, err := io.WriteString(w, text)
	return err
}

// asWritten begins the line that says whether a person has changed the file since.
const asWritten = "# As written: "

// unchanged is the last line of a sequence as it was written. Its number is a checksum of all before.
func unchanged(text string) string {
	return fmt.Sprintf("%s%08x. This line is wrong once another is changed: then nothing is written over the file.\n", asWritten, crc32.ChecksumIEEE([]byte(text)))
}

// Unchanged reports whether a file is a sequence as Report.Sequence wrote it, which nobody has
// changed since.
func Unchanged(text []byte) bool {
	i := bytes.LastIndex(text, []byte(asWritten))
	return i >= 0 && string(text[i:]) == unchanged(string(text[:i]))
}

// sequenceWriter writes one.
type sequenceWriter struct {
	*Report
	o    Writing
	l    *limiter
	text strings.Builder
}

func (b *sequenceWriter) line(format string, args ...any) { fmt.Fprintf(&b.text, format+"\n", args...) }

// commented writes a line with what it rests on beside it.
func (b *sequenceWriter) commented(code, comment string) {
	if comment == "" {
		b.line("%s", code)
		return
	}
	b.line("%s%s # %s", code, strings.Repeat(" ", max(0, 52-len([]rune(code)))), words.Safe(comment))
}

func (b *sequenceWriter) name() string { return "learnt-" + strings.ToLower(b.Rig) }

func (b *sequenceWriter) head() {
	b.line("# What one unit did, written as a sequence. It says what the unit does, and not what it should do.")
	b.line("# Read every line against the job card. Change what is not right, decide what is to be decided, and sign.")
	b.line("#")
	put := func(word, text string) { b.line("# %-12s %s", word, words.Safe(text)) }
	unit := b.Unit
	if unit == "" {
		unit = "not named"
	}
	put("Unit", unit)
	rig := b.Rig
	if b.Simulated {
		rig += ", simulated bench: nothing real was measured"
	}
	put("Rig", rig)
	if len(b.Faults) > 0 {
		put("Faults", words.List(b.Faults))
	}
	put("Run", fmt.Sprintf("%s (%s in %s)", b.Run, words.Count(b.States, "state"), words.Count(b.Cycles, "round")))
	put("Program", b.o.Program)
	put("Written", b.o.Now.UTC().Format("2006-01-02 15:04")+" UTC")
	put("Roles", b.Roles.Words())
	if len(b.Deciding) > 0 {
		put("Conditions", "some events do different things after "+words.Or(b.Deciding))
	}
	b.line("#")
	b.line("# Behind each line stands what was seen: the mean, ± the measurement uncertainty (95 %%), the spread (standard deviation), and n,")
	b.line("# the number of figures. Steps at which an output does the same count together.")
	b.line("#")
	b.line("# Read by:   ____________________________   Date: ______________")
	b.line("#")
	if b.o.Named == nil {
		b.line("# Limits: what was measured of this one unit. Other units of its kind differ: widen them, or use --limits.")
		b.line("# With %s confidence, %s of all cycles of it are within all of them, as far as figures are", share(b.o.Confidence), share(b.o.Coverage))
		b.line("# normally distributed. On each side there are twice the uncertainty (95 %%) besides.")
	} else {
		b.line("# Limits: those of %s.", words.Safe(b.o.Named.Name))
	}
	b.line("")
	b.line("name: %s", quoted(b.name()))
	b.line("about: %s", "What one unit did; to be read and signed before it is used.")
	b.line("cycles: 1")
	b.line("sample: sweep")
}

func share(v float64) string { return unit.Share.Format(v) }

// stepList writes the steps.
func (b *sequenceWriter) stepList() {
	b.line("steps:%s# each event in each state; watched for as long as the outputs took, and not for %s as in the survey", strings.Repeat(" ", 47), seconds(b.Watched))
	for i := range b.steps {
		s := &b.steps[i]
		as := ""
		if s.name != s.event {
			as = ", as: " + quoted(s.name)
		}
		comment := ""
		switch {
		case i == 0:
			comment = "brings the unit into a known state; begin with it at rest"
		case s.name != s.event:
			comment = "does something else than usual, here after " + s.before
		}
		b.commented(fmt.Sprintf("  - {event: %s%s, hold: %s}", quoted(s.event), as, unit.Time.Format(b.hold(s).Seconds())), comment)
	}
}

// hold is how long a step is watched: as long as anything takes that the event can do, and a
// little more; but no longer than in the survey where a drive is set and left, which may not be on
// for longer.
func (b *sequenceWriter) hold(s *step) time.Duration {
	longest := 0.0
	for i := range b.steps {
		if x := &b.steps[i]; x.event == s.event {
			longest = math.Max(longest, x.lasts)
			for _, e := range x.expect {
				if t := (e.Longest()).Seconds(); e.Demand != analyze.Any && !math.IsNaN(t) {
					longest = math.Max(longest, math.Min(t, e.After.Seconds()*1.3+t-e.After.Seconds()*(1+e.Within)))
				}
			}
		}
	}
	least := math.Min(2, b.Watched)
	hold := time.Duration(math.Ceil(2*math.Max(least, 1.3*longest+1))) * 500 * time.Millisecond
	if b.leavesOn() {
		hold = min(hold, time.Duration(b.Watched*1e9).Truncate(100*time.Millisecond))
	}
	return hold
}

// leavesOn reports whether an event sets a drive and leaves it on.
func (b *sequenceWriter) leavesOn() bool {
	return b.rig == nil || slices.ContainsFunc(b.Events, func(event string) bool {
		c := b.rig.Cause(event)
		return c != nil && c.Drive != "" && c.Pulse == 0 && c.On
	})
}

// names are the steps' names, each once, the event's own first.
func (b *sequenceWriter) names() (all []string) {
	for i := range b.steps {
		if !slices.Contains(all, b.steps[i].name) {
			all = append(all, b.steps[i].name)
		}
	}
	return all
}

func (b *sequenceWriter) step(name string) *step {
	i := slices.IndexFunc(b.steps, func(s step) bool { return s.name == name })
	return &b.steps[i]
}

// outputList writes what each output must do.
func (b *sequenceWriter) outputList() {
	b.line("outputs:")
	for i := range b.Outputs {
		o := &b.Outputs[i]
		b.line("  %s:%s# %s", quoted(o.Signal), strings.Repeat(" ", max(1, 50-len(o.Signal))), words.Safe(o.Words()))
		if o.Kind == NeverMoves && !o.Once {
			b.commented("    expect: "+b.still(o), fmt.Sprintf("it did not move in %s", words.Count(b.States, "state")))
		} else {
			b.line("    expect:")
			for _, name := range b.names() {
				b.expectation(o, name)
			}
		}
		if r := b.relayOf(o.Signal); r != nil && r.plan() {
			comment := fmt.Sprintf("%d of its %d changes follow this output", r.Behind.Matched, r.Behind.Changes)
			if len(r.Behind.Outputs) > 1 {
				comment = "to be decided: " + words.Or(r.Behind.Outputs) + " move together, and it may stand behind any of them"
			}
			b.commented("    relay: "+quoted(r.Plan.Signal), comment)
		}
		b.limits(b.outputLimits(o))
	}
}

// still is what is demanded of an output that never moves.
func (b *sequenceWriter) still(o *Behaviour) string {
	if o.High {
		return "high"
	}
	return "low" // and not that it stays as it is, which one that is always high does as well
}

// plan reports whether a relay can stand in a sequence: some contact of it follows its output.
func (r *RelayBehaviour) plan() bool {
	return len(r.Behind.Outputs) > 0 && (r.Plan.Make != "" || r.Plan.Break != "")
}

// expectation writes what an output must do in the steps of a name.
func (b *sequenceWriter) expectation(o *Behaviour, name string) {
	x := b.step(name).expect[o.Signal]
	key := "      " + quoted(name) + ": "
	if x.Demand == analyze.Any {
		b.commented(key+"any", x.why)
		return
	}
	n := b.times(name)
	seen := fmt.Sprintf("seen in %s", words.Count(n, "state"))
	at := func(q analyze.Quantity) (Spread, string) {
		s := b.l.spread(q, b.alike(o.Signal, name), o.Signal)
		f := Figure{Quantity: q, Spread: s}
		if s.N == 0 {
			return s, ""
		}
		return s, ", " + q.Words() + " " + f.Text()
	}
	switch {
	case x.Demand == analyze.Unmoved:
		b.commented(key+"unmoved", seen)
	case x.Demand == analyze.Pulse:
		s, text := at(analyze.PulseDuration)
		x.After, x.Within = b.about(x.After, analyze.PulseDuration, s, o.Signal)
		b.commented(fmt.Sprintf("%s{pulse: %s, within: %s}", key, span(x.After), within(x.Within)), seen+text)
	case x.Demand == analyze.Train:
		b.train(o, key, x, seen, at)
	case x.After > 0:
		s, text := at(analyze.SwitchingDelay)
		x.After, x.Within = b.about(x.After, analyze.SwitchingDelay, s, o.Signal)
		b.commented(fmt.Sprintf("%s{%s: true, after: %s, within: %s}", key, x.Demand, span(x.After), within(x.Within)), seen+text)
	default:
		_, text := at(analyze.SwitchingDelay)
		if b.l.spread(analyze.SwitchingDelay, func(step string) bool { return step == name }, o.Signal).N == 0 {
			text = "" // it was there already
		}
		b.commented(key+x.Demand.String(), seen+text)
	}
}

// alike wants the steps at which an output does the same as at one: what is known of its times is
// known from all of these.
func (b *sequenceWriter) alike(output, name string) func(step string) bool {
	x := b.step(name).expect[output]
	return func(step string) bool {
		y := b.step(step).expect[output]
		return step == name || x.act != nil && y.act != nil && x.Demand == y.Demand && (x.After > 0) == (y.After > 0) && x.act.Effect.alike(&y.act.Effect)
	}
}

// train writes a train of pulses, or flashing.
func (b *sequenceWriter) train(o *Behaviour, key string, x expected, seen string, at func(analyze.Quantity) (Spread, string)) {
	on, onText := at(analyze.OnTime)
	off, offText := at(analyze.OffTime)
	var a, c float64
	x.On, a = b.about(x.On, analyze.OnTime, on, o.Signal)
	x.Off, c = b.about(x.Off, analyze.OffTime, off, o.Signal)
	// What a sequence must allow for the sampling.
	least := math.Ceil(200*b.interval(o.Signal)*1.1/min(x.On, x.Off).Seconds()) / 200
	x.Within = math.Min(written, math.Max(math.Max(a, c), least))
	what := "flashing: true"
	if x.Pulses > 0 {
		what = fmt.Sprintf("pulses: %d", x.Pulses)
	}
	rest := ""
	if x.For > 0 && x.Pulses == 0 {
		s, text := at(analyze.FlashingDuration)
		var d float64
		x.For, d = b.about(x.For, analyze.FlashingDuration, s, o.Signal)
		x.Within, offText = math.Max(x.Within, d), offText+text
		rest = ", for: " + span(x.For)
	}
	if x.After > 0 {
		rest += ", after: " + span(x.After)
		s, text := at(analyze.SwitchingDelay)
		_, d := b.about(x.After, analyze.SwitchingDelay, s, o.Signal)
		x.Within, onText = math.Max(x.Within, d), text+onText
	}
	b.commented(fmt.Sprintf("%s{%s, on: %s, off: %s, within: %s%s}", key, what, span(x.On), span(x.Off), within(x.Within), rest), seen+onText+offText)
}

// interval is how far an output's samples are apart, in seconds.
func (b *sequenceWriter) interval(output string) float64 { return b.intervals[output] }

// times is how many states have a step's name.
func (b *sequenceWriter) times(name string) (n int) {
	for _, s := range b.stepOf(b.steps) {
		if s == name {
			n++
		}
	}
	return n
}

// about is a time and how far it may be off, as a share, so that what was measured is within it
// as its limits would be: at least 1 %.
func (b *sequenceWriter) about(now time.Duration, q analyze.Quantity, s Spread, output string) (time.Duration, float64) {
	const usual = 0.1 // of what was not measured
	if s.N == 0 {
		return now, usual
	}
	if s.N == 1 {
		s.Least, s.Most = s.Mean*(1-usual), s.Mean*(1+usual)
	}
	middle := rounded(s.Mean)
	low, high := b.l.reach(q, s, output)
	half := math.Max(high-middle.Seconds(), middle.Seconds()-low)
	return middle, math.Min(written, math.Ceil(200*math.Max(0.01, half/middle.Seconds()))/200)
}

func span(d time.Duration) string { return unit.Time.Format(d.Seconds()) }

func within(v float64) string { return unit.Share.Format(v) }

// limitLine is one limit with what it rests on; with NoLimit, why there is none.
type limitLine struct {
	quantity analyze.Quantity
	limit    analyze.Limit
	comment  string
}

// unlimited is a quantity that no limit is set to; empty: all of a relay's.
func unlimited(q analyze.Quantity, why string) limitLine {
	return limitLine{q, analyze.NoLimit(), why}
}

// outputLimits are those of an output.
func (b *sequenceWriter) outputLimits(o *Behaviour) (all []limitLine) {
	for _, q := range []analyze.Quantity{analyze.HighLevel, analyze.LowLevel, analyze.Ripple, analyze.SwitchingDelay, analyze.Hold} {
		wanted := everyStep
		if q == analyze.SwitchingDelay {
			wanted = func(name string) bool {
				x := b.step(name).expect[o.Signal]
				return name != begins && (x.After == 0 || x.Demand == analyze.Pulse)
			}
		}
		s := b.l.spread(q, wanted, o.Signal)
		if why := b.notLimited(q, o.Signal); why != "" && s.N > 0 {
			all = append(all, unlimited(q, why))
			continue
		}
		if l, ok := b.limitOf(q, s, o.Signal, namedOutput(b.o.Named, o.Signal)); ok {
			all = append(all, l)
		}
	}
	return all
}

// notLimited says why no limit of an output's quantity could always be judged; empty: one can.
func (b *sequenceWriter) notLimited(q analyze.Quantity, output string) string {
	switch {
	case b.l.doubted(q, output):
		return "it could not be measured each time"
	case q == analyze.Ripple && b.brief(output):
		return "its pulses are too brief for it to be measured"
	case q == analyze.SwitchingDelay && b.ends(output):
		return "it may be in its new state already when an event ends its flashing"
	}
	return ""
}

// limitOf is the limit of a quantity, by what was measured or as a named set has it.
func (b *sequenceWriter) limitOf(q analyze.Quantity, s Spread, output string, named analyze.Limits) (limitLine, bool) {
	f := Figure{Quantity: q, Spread: s}
	x := limitLine{quantity: q, comment: "seen " + f.Text()}
	switch {
	case s.N == 0:
		x.comment = "not seen"
	case q == analyze.Hold && s.Most == 0:
		x.comment = fmt.Sprintf("it never left its state, n %d", s.N)
	}
	if b.o.Named != nil {
		x.limit = named.Of(q)
		return x, !x.limit.None()
	}
	switch {
	case q == analyze.Hold:
		x.limit = analyze.Limit{Lower: math.NaN(), Upper: 0}
		return x, s.N > 1 && s.Most == 0
	default:
		if x.limit = b.l.limit(q, s, output); b.l.few(s) {
			x.comment += ": wide, as n is small"
		}
	}
	return x, !x.limit.None()
}

// namedOutput are the limits that a named sequence has for an output: for that of its name, else
// for its first.
func namedOutput(seq *sequences.Sequence, output string) analyze.Limits {
	if seq == nil {
		return nil
	}
	if o := seq.Plan.Output(output); o != nil && len(o.Limits) > 0 {
		return o.Limits
	}
	for _, o := range seq.Plan.Outputs {
		if len(o.Limits) > 0 {
			return o.Limits
		}
	}
	return nil
}

// limits writes limits.
func (b *sequenceWriter) limits(all []limitLine) {
	if len(all) == 0 {
		return
	}
	for _, x := range all {
		if x.limit.None() {
			of := "its times"
			if x.quantity != "" {
				of = "the " + x.quantity.Words()
			}
			b.line("    # no limit to %s: %s", of, x.comment)
		}
	}
	if !slices.ContainsFunc(all, func(x limitLine) bool { return !x.limit.None() }) {
		return
	}
	b.line("    limits:")
	for _, x := range all {
		if x.limit.None() {
			continue
		}
		k := unit.Of(x.quantity.Unit())
		var parts []string
		if finite(x.limit.Lower) {
			parts = append(parts, "min: "+plain(k, x.limit.Lower))
		}
		if finite(x.limit.Upper) {
			parts = append(parts, "max: "+plain(k, x.limit.Upper))
		}
		b.commented(fmt.Sprintf("      %s: {%s}", x.quantity, strings.Join(parts, ", ")), x.comment)
	}
}

// plain writes a limit; a count has no unit.
func plain(k unit.Kind, v float64) string {
	if k.Base == "" {
		return fmt.Sprintf("%.0f", v)
	}
	return k.Format(v)
}

// relayList writes the relays that stand behind an output.
func (b *sequenceWriter) relayList() {
	first := true
	for i := range b.Relays {
		r := &b.Relays[i]
		if !r.plan() || b.relayOf(r.Behind.Outputs[0]) != r {
			b.line("# %s: %s", words.Safe(r.Plan.Signal), words.Safe(r.Words()))
			continue
		}
		if first {
			b.line("relays:")
			first = false
		}
		b.line("  %s:%s# %s", quoted(r.Plan.Signal), strings.Repeat(" ", max(1, 50-len(r.Plan.Signal))), words.Safe(r.Words()))
		if r.Plan.Make != "" {
			b.commented("    make: "+quoted(r.Plan.Make), fmt.Sprintf("closed with its output %s", words.Count(max(r.Behind.Normal[r.Plan.Make], 0), "time")))
		}
		if r.Plan.Break != "" {
			b.commented("    break: "+quoted(r.Plan.Break), fmt.Sprintf("opened with its output %s", words.Count(max(r.Behind.Reverse[r.Plan.Break], 0), "time")))
		}
		b.limits(b.relayLimits(r))
	}
}

// relayLimits are those of a relay and its contacts.
func (b *sequenceWriter) relayLimits(r *RelayBehaviour) (all []limitLine) {
	if b.flashesOn(r.Behind.Outputs[0]) {
		return []limitLine{unlimited("", "its output flashes on through events, which may come while it is on its way")}
	}
	named := namedRelay(b.o.Named, r.Plan.Signal)
	var limits analyze.Limits
	if named != nil {
		limits = named.Limits
	}
	for _, q := range []analyze.Quantity{analyze.OperateTime, analyze.ReleaseTime, analyze.TransferTime, analyze.BounceTime} {
		if q == analyze.OperateTime && r.Plan.Make == "" || q == analyze.ReleaseTime && r.Plan.Break == "" || q == analyze.TransferTime && (r.Plan.Make == "" || r.Plan.Break == "") {
			continue
		}
		signals := []string{r.Plan.Signal}
		if q == analyze.BounceTime {
			signals = []string{r.Plan.Make, r.Plan.Break}
		}
		if slices.ContainsFunc(signals, func(signal string) bool { return b.l.doubted(q, signal) }) {
			all = append(all, unlimited(q, "it could not be measured each time"))
			continue
		}
		l, ok := b.relayLimit(q, r.Behind.Outputs[0], signals, limits)
		if ok && !l.limit.None() {
			all = append(all, l)
		}
	}
	return all
}

// flashesOn reports whether an event finds the output flashing.
func (b *sequenceWriter) flashesOn(output string) bool {
	return slices.ContainsFunc(b.steps, func(s step) bool { return s.expect[output].moving })
}

// relayLimit is the limit of one quantity of a relay or its contacts. Where the output changes
// several times in a step, the worst of these times is judged: the limit holds both that and the
// times of single changes.
func (b *sequenceWriter) relayLimit(q analyze.Quantity, output string, signals []string, named analyze.Limits) (limitLine, bool) {
	several := func(step string) bool {
		d := b.step(step).expect[output].Demand
		return d == analyze.Train || d == analyze.Any
	}
	single := b.l.spread(q, func(step string) bool { return !several(step) }, signals...)
	worst := b.l.spread(q, several, signals...)
	l, ok := b.limitOf(q, single, output, named)
	if b.o.Named != nil || worst.N == 0 {
		return l, ok
	}
	w, known := b.limitOf(q, worst, output, named)
	if single.N == 0 || w.limit.Upper > l.limit.Upper {
		l = w
		l.comment = "the worst of a train's, " + l.comment
	}
	l.limit.Lower = math.NaN() // the worst that were seen are the longest
	return l, known && (ok || single.N == 0) && !l.limit.None()
}

// ends reports whether an event ends a flashing of the output: it may be in its new state already
// then, and so have no delay.
func (b *sequenceWriter) ends(output string) bool {
	return slices.ContainsFunc(b.steps, func(s step) bool {
		x := s.expect[output]
		return x.moving && (x.Demand == analyze.High || x.Demand == analyze.Low)
	})
}

// brief reports whether an output ever pulses too briefly for its ripple to be known.
func (b *sequenceWriter) brief(output string) bool {
	const least = time.Second
	return slices.ContainsFunc(b.steps, func(s step) bool {
		x := s.expect[output]
		return x.Demand == analyze.Train || x.Demand == analyze.Pulse && x.After < least
	})
}

// namedRelay is the relay of a named sequence whose limits are taken.
func namedRelay(seq *sequences.Sequence, relay string) *analyze.RelayPlan {
	if seq == nil {
		return nil
	}
	if r := seq.Plan.Relay(relay); r != nil {
		return r
	}
	if len(seq.Plan.Relays) > 0 {
		return &seq.Plan.Relays[0]
	}
	return nil
}
