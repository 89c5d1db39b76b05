package exercise

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"

	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/rig/words"
	"makebreak/rig/yamlfile"
	"makebreak/sequences"
	"makebreak/sequences/setup"
)

// Bounds of what is read. Each answer is simulated for the marking.
const (
	maxStates  = 60
	maxAnswers = 60 // they are counted in the bits of a word
	maxWeight  = 1000
	maxCycles  = 2000
	mostFaults = 2
	maxStory   = 2000 // characters
	maxPoints  = 1000
)

// reader reads one file.
type reader struct {
	def  *Definition
	load func(name string) (*sequences.Sequence, error)
	// try says that each fault is tried on the bench, for which it may be wrong.
	try bool
}

// Parse reads an exercise's file and checks it. Files that it names are read with the
// context. The error is one or more *yamlfile.Error, joined.
func Parse(ctx context.Context, file string, src []byte) (*Definition, error) {
	own, err := files.ReadFile("builtin/" + file)
	known := err == nil && bytes.Equal(own, src) // a test has tried it
	return parse(file, src, !known, func(name string) (*sequences.Sequence, error) { return sequences.Load(ctx, name) })
}

// parse is Parse, with what reads the sequence. try says whether faults are tried on the bench.
func parse(file string, src []byte, try bool, load func(name string) (*sequences.Sequence, error)) (*Definition, error) {
	doc, err := yamlfile.Parse(file, src)
	if err != nil {
		return nil, err
	}
	r := &reader{try: try, def: &Definition{Source: slices.Clone(src), File: file, Draw: Each, Points: usualPoints, ranges: map[string]FaultRange{}}, load: load}
	r.read(doc.Root)
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return r.def, nil
}

// usualPoints are those of a file that says none.
var usualPoints = Points{Right: 10, Half: 5, Danger: 2}

func (r *reader) read(root *yamlfile.Node) {
	f, ok := root.Fields("must be the keys of an exercise, as in name: quiet-siren")
	if !ok {
		return
	}
	d := r.def
	name := f.Need("name", "quiet-siren")
	if d.Name, ok = name.Text(); ok && (wiring.CheckName(d.Name) != nil || d.Name != strings.ToLower(d.Name)) {
		name.Refuse("", "must be small letters, digits, - and _, as in quiet-siren")
	}
	d.Title = r.line(f.Need("title", "The siren that stays quiet"), words.MostName)
	d.Story = r.line(f.Need("story", "A siren stays quiet."), maxStory)
	if n, ok := f.Need("grade", "1").Whole(1, 3); ok {
		d.Grade = int(n)
	}
	if w, ok := f.May("draw").Word(string(Same), string(Each)); ok {
		d.Draw = Draw(w)
	}
	ready := r.bench(f.Need("sequence", "armed-high"), f.May("rig"), f.May("cycles"))
	r.allowed(f.Need("allow", "[try, look, probe]"))
	r.changes(f.May("changes"))
	states, answers := f.Need("states", "a list of {weight: 1, faults: [{fault: welded, place: K1}]}"), f.Need("answers", "[welded, dead-relay]")
	r.points(f.May("marking"))
	if ready {
		r.states(states)
		r.answers(answers)
	}
	f.Done()
}

// line reads a text that is shown on one line, or broken as a terminal needs it.
func (r *reader) line(n *yamlfile.Node, most int) string {
	s, ok := n.Text()
	if ok && len([]rune(s)) > most {
		n.Fail("the text is too long", fmt.Sprintf("must be at most %d characters", most))
	}
	return strings.Join(strings.Fields(s), " ")
}

// bench reads what is run on which bench. It reports whether both are known.
func (r *reader) bench(sequence, rig, cycles *yamlfile.Node) bool {
	name, ok := sequence.Text()
	if !ok {
		return false
	}
	d := r.def
	seq, err := r.load(name)
	if err != nil {
		sequence.Fail(err.Error(), "")
		return false
	}
	d.Sequence = seq
	if d.Rig = setup.BenchFor(seq); rig != nil {
		benches := rigfile.Builtin()
		names := words.Texts(benches, func(b *wiring.Rig) string { return b.Name })
		w, ok := rig.Word(names...)
		if !ok {
			return false
		}
		d.Rig = benches[slices.Index(names, w)]
	}
	if _, err := seq.Fits(d.Rig); err != nil {
		sequence.Fail(err.Error(), "")
		return false
	}
	if setup.Prompts(d.Rig, seq) {
		sequence.Fail("a person brings some of its events about", "name a sequence whose events the simulated bench brings about by itself")
		return false
	}
	if n, ok := cycles.Whole(1, maxCycles); ok {
		seq.Cycles = int(n)
	}
	if seq.Cycles > maxCycles {
		sequence.Fail(fmt.Sprintf("it has %d cycles", seq.Cycles), fmt.Sprintf("add cycles: 5, at most %d", maxCycles))
		return false
	}
	d.events, d.layout = seq.Events(), sim.NewLayout(d.Rig, setup.Unit(d.Rig, seq))
	return true
}

// allowed reads what a trainee may do.
func (r *reader) allowed(n *yamlfile.Node) {
	for _, item := range n.Items() {
		if w, ok := item.Word(string(Try), string(Look), string(Probe), string(Change)); ok {
			if slices.Contains(r.def.Allowed, Kind(w)) {
				item.Refuse("it is given twice", "write it once")
			}
			r.def.Allowed = append(r.def.Allowed, Kind(w))
		}
	}
}

// changes reads which kinds of change are allowed; not given, all that the bench has are.
func (r *reader) changes(n *yamlfile.Node) {
	if n == nil {
		return
	}
	if !slices.Contains(r.def.Allowed, Change) {
		n.Fail("changes are not allowed", "add change to allow, or leave this out")
	}
	for _, item := range n.Items() {
		if w, ok := item.Word(changeNames()...); ok {
			r.def.Changes = append(r.def.Changes, sim.ChangeKind(w))
		}
	}
}

func (r *reader) points(n *yamlfile.Node) {
	f, ok := n.Fields("must be as in {right: 10, half: 5, danger: 2}")
	if !ok {
		return
	}
	p := &r.def.Points
	for key, into := range map[string]*int{"right": &p.Right, "half": &p.Half, "danger": &p.Danger} {
		if v, ok := f.May(key).Whole(0, maxPoints); ok {
			*into = int(v)
		}
	}
	if p.Half > p.Right {
		n.Fail("half an answer is worth more than a right one", "make half smaller")
	}
	f.Done()
}

func (r *reader) states(n *yamlfile.Node) {
	items := n.Items()
	if len(items) > maxStates {
		n.Fail("the list is too long", fmt.Sprintf("must have at most %d states", maxStates))
		return
	}
	for _, item := range items {
		f, ok := item.Fields("must be a state, as in {weight: 1, faults: [{fault: welded, place: K1}]}")
		if !ok {
			continue
		}
		s := State{Weight: 1}
		if v, ok := f.May("weight").Whole(1, maxWeight); ok {
			s.Weight = int(v)
		}
		if list := f.May("faults"); list != nil {
			all := list.Items()
			if len(all) > mostFaults {
				list.Fail("too many faults in one state", "use one or two, or none")
			}
			for _, one := range all {
				s.Faults = append(s.Faults, r.fault(one))
			}
			r.together(list, s.Faults)
		}
		f.Done()
		r.def.States = append(r.def.States, s)
	}
	if n != nil && !slices.ContainsFunc(r.def.States, func(s State) bool { return len(s.Faults) == 0 }) {
		n.Fail("there is no state in which nothing is wrong", "add {weight: 1}: that is a good answer, too")
	}
}

// fault reads a fault with what is drawn of it.
func (r *reader) fault(n *yamlfile.Node) (x FaultRange) {
	f, ok := n.Fields("must be a fault, as in {fault: high-off-level, value: 1.5 V to 1.9 V, place: OUT3}")
	if !ok {
		return x
	}
	name := f.Need("fault", "welded")
	value, place := f.May("value"), f.May("place")
	f.Done()
	if x.Cause, ok = name.Word(causeNames()...); !ok {
		return x
	}
	info := planted()[x.Cause]
	if value != nil {
		r.value(value, info, &x)
	}
	x.Places = r.places(place, info)
	r.tried(n, x)
	return x
}

// together refuses two faults that are one, or that one bench cannot have.
func (r *reader) together(n *yamlfile.Node, faults []FaultRange) {
	if len(faults) != mostFaults || n.Refused() {
		return
	}
	a, b := &faults[0], &faults[1]
	same := a.Cause == b.Cause && (len(a.Places) == 0 || slices.ContainsFunc(a.Places, func(p string) bool { return slices.Contains(b.Places, p) }))
	if same {
		n.Fail(a.Cause+" is given twice in one state", "write it once, or at two places")
		return
	}
	r.tried(n, faults...)
}

// tried refuses faults that the bench cannot have: each of their places and words is tried with
// the ends of their values.
func (r *reader) tried(n *yamlfile.Node, faults ...FaultRange) {
	if !r.try || n.Refused() {
		return
	}
	d, most := r.def, 0
	var all [][]FaultRange
	for _, x := range faults {
		each := x.each()
		all, most = append(all, each), max(most, len(each))
	}
	for i := range most {
		for _, share := range []float64{0, 1} {
			s := &specimen{def: d, seed: 1}
			for _, x := range all {
				f, err := x[i%len(x)].at(share, rand.New(rand.NewPCG(1, 1)))
				if err != nil {
					n.Fail(err.Error(), "")
					return
				}
				s.faults = append(s.faults, f)
			}
			if _, err := s.world(); err != nil {
				n.Fail("this bench cannot have it: "+err.Error(), "")
				return
			}
		}
	}
}

// each is the range at each of its places with each of its words.
func (x FaultRange) each() (all []FaultRange) {
	places, choices := x.Places, x.Choices
	if len(places) == 0 {
		places = []string{""}
	}
	if len(choices) == 0 {
		choices = []string{""}
	}
	for _, p := range places {
		for _, c := range choices {
			one := x
			if p != "" {
				one.Places = []string{p}
			}
			if c != "" {
				one.Choices = []string{c}
			}
			all = append(all, one)
		}
	}
	return all
}

// endsRun is the fault with which the rig is lost in the middle of a run. Such a run shows nothing
// that could be compared.
const endsRun = "adc-lost"

// causeNames are the faults that an exercise can have, in the order in which they are listed.
var causeNames = sync.OnceValue(func() []string {
	return slices.DeleteFunc(words.Texts(sim.Faults(), func(f sim.FaultInfo) string { return f.Name }), func(name string) bool { return name == endsRun })
})

// value reads the range of a fault's value, or the words that it is one of.
func (r *reader) value(n *yamlfile.Node, info sim.FaultInfo, x *FaultRange) {
	read := func(at *yamlfile.Node, text string) (sim.Fault, bool) {
		f, err := sim.ParseFault(info.Name + "=" + text)
		if err != nil {
			at.Refuse(strings.TrimPrefix(err.Error(), "fault "+info.Name+": "), "")
		}
		return f, err == nil
	}
	if !info.Value.Measured() {
		list := []*yamlfile.Node{n}
		if !n.IsText() {
			list = n.Items()
		}
		for _, item := range list {
			if text, ok := item.Text(); ok {
				if _, ok := read(item, text); ok {
					x.Choices = once(item, x.Choices, text)
				}
			}
		}
		return
	}
	text, ok := n.Text()
	if !ok {
		return
	}
	low, high, ranged := strings.Cut(text, " to ")
	a, ok := read(n, strings.TrimSpace(low))
	b := a
	if ok && ranged {
		b, ok = read(n, strings.TrimSpace(high))
	}
	if !ok {
		return
	}
	if x.Low, x.High = a.Value, b.Value; x.Low > x.High {
		n.Refuse("the range ends below its beginning", "write the smaller value first")
	}
}

// places reads the outputs or relays of which a fault has one. Not given, it is the first
// one that the sequence names.
func (r *reader) places(n *yamlfile.Node, info sim.FaultInfo) []string {
	possible := r.def.placesOf(info)
	if n == nil {
		return possible[:min(1, len(possible))]
	}
	if info.Place == sim.WholeBench {
		n.Fail(info.Name+" is of the whole bench", "leave the place out")
		return nil
	}
	list := []*yamlfile.Node{n}
	if !n.IsText() {
		list = n.Items()
	}
	var all []string
	for _, item := range list {
		if w, ok := item.Word(r.def.anyPlaceOf(info)...); ok {
			all = once(item, all, w)
		}
	}
	return all
}

// mostWords is how many words a value or a place may be one of.
const mostWords = 16

// once adds a word to a list in which each stands once.
func once(n *yamlfile.Node, all []string, word string) []string {
	switch {
	case slices.Contains(all, word):
		n.Refuse("it is given twice", "write it once")
	case len(all) == mostWords:
		n.Refuse("the list is too long", fmt.Sprintf("must have at most %d words", mostWords))
	default:
		all = append(all, word)
	}
	return all
}

// placesOf are the places that the sequence names and that a fault can have.
func (d *Definition) placesOf(info sim.FaultInfo) (all []string) {
	switch info.Place {
	case sim.AtOutput:
		for _, o := range d.Sequence.Plan.Outputs {
			all = append(all, o.Signal)
		}
	case sim.AtRelay:
		for _, k := range d.Sequence.Plan.Relays {
			all = append(all, k.Signal)
		}
	}
	return all
}

// anyPlaceOf is placesOf with all of the rig's outputs.
func (d *Definition) anyPlaceOf(info sim.FaultInfo) (all []string) {
	if info.Place != sim.AtOutput {
		return d.placesOf(info)
	}
	for _, o := range d.Rig.Outputs {
		all = append(all, o.Name)
	}
	return all
}

// answers reads the causes to choose from: a list, each alone or with its places. Those of
// the states are among them in any case.
func (r *reader) answers(n *yamlfile.Node) {
	d := r.def
	d.Answers = []Answer{{Cause: Nothing}}
	own := map[string]bool{Nothing: true} // causes that a state has
	for _, s := range d.States {
		for _, x := range s.Faults {
			own[x.Cause] = true
		}
	}
	var named []string
	for _, item := range n.Items() {
		if w := r.listed(item, own); w != "" {
			if slices.Contains(named, w) {
				item.Fail(w+" is given twice", "write it once, with all of its places")
			}
			named = append(named, w)
		}
	}
	for _, s := range d.States {
		for _, x := range s.Faults {
			r.answer(x.Cause, x.Places)
		}
	}
	switch {
	case len(d.Answers) > maxAnswers:
		n.Fail(fmt.Sprintf("there are %d answers with their places", len(d.Answers)), fmt.Sprintf("must be at most %d", maxAnswers))
	case len(d.hypotheses()) > maxAnswers:
		n.Fail(fmt.Sprintf("answers and states come to %d cases to simulate", len(d.hypotheses())), fmt.Sprintf("must be at most %d: leave words of values or places out", maxAnswers))
	case n != nil && !slices.ContainsFunc(d.Answers, func(a Answer) bool { return !own[a.Cause] }):
		n.Fail("the list names no cause beyond those of the states", "add some, so that the list does not tell what can be wrong")
	}
}

// listed reads one cause of the list and adds its answers; it returns the cause, empty where it
// cannot be read.
func (r *reader) listed(item *yamlfile.Node, own map[string]bool) string {
	d := r.def
	if item.IsText() {
		w, ok := item.Word(causeNames()...)
		if !ok {
			return ""
		}
		r.answer(w, d.placesOf(planted()[w]))
		r.triedAnswer(item, w, d.placesOf(planted()[w]), own)
		return w
	}
	f, ok := item.Fields("must be a cause, or one with its places and values, as in {fault: stuck-low, place: [OUT3, OUT4]}")
	if !ok {
		return ""
	}
	name, place, value := f.Need("fault", "welded"), f.May("place"), f.May("value")
	f.Done()
	w, ok := name.Word(causeNames()...)
	if !ok {
		return ""
	}
	if value != nil && own[w] {
		value.Fail("the states say which values "+w+" has", "leave it out here")
	} else if value != nil {
		x := FaultRange{Cause: w}
		r.value(value, planted()[w], &x)
		d.ranges[w] = x
	}
	places := d.placesOf(planted()[w])
	if place != nil {
		places = r.places(place, planted()[w])
	}
	r.answer(w, places)
	r.triedAnswer(item, w, places, own)
	return w
}

// triedAnswer refuses an answer that the bench cannot have.
func (r *reader) triedAnswer(n *yamlfile.Node, cause string, places []string, own map[string]bool) {
	if own[cause] {
		return // its states have been tried
	}
	x := r.def.rangeOf(Answer{Cause: cause})
	x.Places = places
	r.tried(n, x)
}

// answer adds a cause at each of its places.
func (r *reader) answer(cause string, places []string) {
	if cause == "" {
		return
	}
	if len(places) == 0 {
		places = []string{""}
	}
	for _, p := range places {
		if a := (Answer{cause, p}); !slices.Contains(r.def.Answers, a) {
			r.def.Answers = append(r.def.Answers, a)
		}
	}
}
