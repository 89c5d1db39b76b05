package exercise

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/problem"
	"makebreak/rig/sim"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/setup"
)

// Action is one thing that a trainee does.
type Action struct {
	Kind Kind `json:"kind"`
	// After is the event after which a trainee looks or probes; empty: before any.
	After  string `json:"after,omitempty"`
	A      string `json:"a,omitempty"`     // of Probe: the point of the meter's red lead
	B      string `json:"b,omitempty"`     // and that of its black one
	Meter  string `json:"meter,omitempty"` // one of package meter's modes
	Off    bool   `json:"off,omitempty"`   // of Probe: the supply is switched off first
	Change string `json:"change,omitempty"`
	// Stopped says that a change was not made, as it would have broken something, or that a run
	// has no whole cycle.
	Stopped bool     `json:"stopped,omitempty"`
	Cycles  int      `json:"cycles,omitempty"` // of Try; 0: the exercise's
	Answer  []Answer `json:"-"`                // of Give; not stored, since it may be right
	// Shows is what was read, where the action has been done.
	Shows []Reading `json:"shows,omitempty"`
}

// Choice is one of the words that something is chosen from.
type Choice struct {
	Value string // as it is typed
	Words string // for people
}

// Allowed is something that a trainee may do, with what is to be chosen for it.
type Allowed struct {
	Kind    Kind
	Words   string        // for people, as on a button
	Cost    time.Duration // bench time; that of the unit's own steps comes on top
	Events  []Choice
	Points  []Choice
	Meters  []Choice
	Changes []Choice
	Answers []Choice
}

// Reading is what the trainee reads from an instrument.
type Reading struct {
	Of    string `json:"of"`    // an output, a contact, or what the meter is held to
	Shows string `json:"shows"` // as it is shown: "13.42 V", "closed", "OL"
}

// Result is what the trainee gets for an action.
type Result struct {
	Action   Action
	Cost     time.Duration // bench time of this action
	Spent    time.Duration // and of all so far
	Dangers  []Danger      // done by this action
	Run      string        // of Try: its name in the log
	Readings []Reading
	Notes    []string // what else is to be said
	Marks    *Marks   // of Give
}

// Trial is what a runner needs to run the sequence on the bench as it stands, and to log it.
type Trial struct {
	Sequence   *sequences.Sequence // with the number of cycles
	Rig        *wiring.Rig
	Simulation setup.Simulation
	Trainee    string
	Fields     []journal.Field // to be noted with the run
	// Seed is what stands for the bench's seed in the log: the same for the same bench, and
	// nothing to make it from.
	Seed uint64
	// Began takes the name of the run once the log has it, and before anything is measured. The
	// run counts from then on, also where the program is killed in it.
	Began func(run string) error
}

// A Runner runs the sequence and logs it. It calls the trial's Began.
type Runner func(ctx context.Context, t *Trial) error

// Session is an exercise that a trainee has begun. It is used from one goroutine.
type Session struct {
	db     *journal.DB
	row    *journal.Exercise
	def    *Definition
	hidden *hidden
	faults []sim.Fault
	deeds  Deeds
	now    func() time.Time
}

// Begin says how an exercise is begun.
type Begin struct {
	Definition *Definition
	Trainee    string   // may be empty
	Word       string   // the trainer's; empty: another state each time, which no word opens
	Rig        string   // file of a real rig; empty: the simulated bench
	Truth      []Answer // of a real rig, on which the fault was made by hand
	Now        func() time.Time
}

// Start begins an exercise in the log.
func Start(db *journal.DB, b Begin) (*Session, error) {
	d := b.Definition
	h := &hidden{Definition: string(d.Source), File: d.File, Sequence: string(d.Sequence.Source), Truth: b.Truth}
	if b.Rig != "" {
		if err := d.checkAnswers(b.Truth); err != nil {
			return nil, err
		}
	} else {
		rng, err := d.source(b.Word, b.Trainee)
		if err != nil {
			return nil, err
		}
		x, err := d.draw(rng)
		if err != nil {
			return nil, ErrState
		}
		h.Seed, h.Truth = x.Seed, x.Truth
		for _, f := range x.Faults {
			h.Faults = append(h.Faults, f.String())
		}
	}
	row := &journal.Exercise{Name: d.Name, Title: d.Title, Grade: d.Grade, Trainee: b.Trainee, Rig: b.Rig, Started: b.Now(), Worded: b.Word != ""}
	err := db.BeginExercise(row, func(place string) error {
		s, err := seal(h, b.Word, place)
		if err == nil {
			row.Salt, row.State, row.ByWord, row.Here = s.Salt, s.State, s.ByWord, s.Here
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return resume(db, row, h, b.Now)
}

// Resume takes up the exercise of a name that a trainee began last. An empty name stands for
// any exercise, an empty trainee for anybody.
func Resume(db *journal.DB, name, trainee string, now func() time.Time) (*Session, error) {
	row, err := find(db, name, trainee)
	if err != nil {
		return nil, err
	}
	return resumeRow(db, row, now)
}

func resumeRow(db *journal.DB, row *journal.Exercise, now func() time.Time) (*Session, error) {
	place, err := db.ExercisePlace(row)
	if err != nil {
		return nil, err
	}
	h, err := sealedOf(row).open(place)
	if err != nil {
		return nil, err
	}
	return resume(db, row, h, now)
}

// find returns the exercise of a name that a trainee began last; either may be empty.
func find(db *journal.DB, name, trainee string) (*journal.Exercise, error) {
	last, err := db.FindExercise(name)
	if err != nil || By(last, trainee) {
		return last, err
	}
	all, err := db.Exercises()
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(all, func(e journal.Exercise) bool { return (name == "" || e.Name == last.Name) && By(&e, trainee) })
	if i < 0 {
		return nil, fmt.Errorf("%w by %q; begin one with makebreak exercise start NAME, or leave --by out", journal.ErrNoExercise, words.Short(trainee, words.MostName))
	}
	return &all[i], nil
}

// Earlier is when the same trainee has begun the same exercise before, and not answered; zero: that
// is not so.
func (s *Session) Earlier() (time.Time, error) {
	rows, err := s.db.Exercises()
	for i := range rows {
		if e := &rows[i]; e.UUID != s.row.UUID && e.Name == s.row.Name && e.Ended.IsZero() && plainWord(e.Trainee) == plainWord(s.row.Trainee) {
			return e.Started, err
		}
	}
	return time.Time{}, err
}

// Others are the other trainees who have exercises in the log that they have not answered, by name.
func (s *Session) Others() (all []string, err error) {
	rows, err := s.db.Exercises()
	for i := range rows {
		e := &rows[i]
		if e.Ended.IsZero() && plainWord(e.Trainee) != plainWord(s.row.Trainee) && !slices.ContainsFunc(all, func(name string) bool { return plainWord(name) == plainWord(e.Trainee) }) {
			all = append(all, e.Trainee)
		}
	}
	slices.Sort(all)
	return all, err
}

// By reports whether an exercise is a trainee's, whose name may be empty for anybody's.
func By(e *journal.Exercise, trainee string) bool {
	return trainee == "" || plainWord(e.Trainee) == plainWord(trainee)
}

// Peek reads the definition of an exercise in the log, for who completes what is typed.
func Peek(row *journal.Exercise, place string) (*Definition, error) {
	h, err := sealedOf(row).open(place)
	if err != nil {
		return nil, err
	}
	return h.definition()
}

// definition reads what was sealed, which was read without an error before.
func (h *hidden) definition() (*Definition, error) {
	d, err := parse(h.File, []byte(h.Definition), false, func(name string) (*sequences.Sequence, error) { return sequences.Parse(name, []byte(h.Sequence)) })
	if err != nil {
		return nil, errSealed
	}
	return d, nil
}

func sealedOf(row *journal.Exercise) *Sealed {
	return &Sealed{Salt: row.Salt, State: row.State, ByWord: row.ByWord, Here: row.Here}
}

func resume(db *journal.DB, row *journal.Exercise, h *hidden, now func() time.Time) (*Session, error) {
	s := &Session{db: db, row: row, hidden: h, now: now}
	var err error
	if s.def, err = h.definition(); err != nil {
		return nil, err
	}
	for _, text := range h.Faults {
		f, err := sim.ParseFault(text)
		if err != nil {
			return nil, errSealed
		}
		s.faults = append(s.faults, f)
	}
	s.deeds, err = deedsOf(db, row)
	return s, err
}

// Definition is the exercise's.
func (s *Session) Definition() *Definition { return s.def }

// Trainee is who does the exercise; it may be empty.
func (s *Session) Trainee() string { return s.row.Trainee }

// Rig is the file of the real rig that the exercise is done on; empty: the simulated bench.
func (s *Session) Rig() string { return s.row.Rig }

// Answered reports whether the exercise is over.
func (s *Session) Answered() bool { return !s.row.Ended.IsZero() }

// Spent is the bench time spent so far.
func (s *Session) Spent() time.Duration { return s.deeds.Spent }

// Read reports whether the trainee has read the job card.
func (s *Session) Read() bool { return s.deeds.has(ReadCard) }

// Dangers is how often the trainee has done something dangerous.
func (s *Session) Dangers() int { return len(s.deeds.Dangers) }

// specimen is the bench as it stands.
func (s *Session) specimen() (*specimen, error) {
	changes, err := changesIn(s.deeds.Done)
	return &specimen{def: s.def, seed: s.hidden.Seed, faults: s.faults, changes: changes, meter: labelOf(s.row.UUID), take: takesOf(s.deeds.Done)}, err
}

// changesIn are the changes that a trainee has made.
func changesIn(done []Action) (all []sim.Change, err error) {
	for _, a := range done {
		if a.Kind != Change || a.Stopped {
			continue
		}
		c, err := sim.ParseChange(a.Change)
		if err != nil {
			return nil, problem.Of(problem.Storage, fmt.Errorf("a change in the log cannot be made again: %w", err))
		}
		all = append(all, c)
	}
	return all, nil
}

// Allowed says what the trainee may do now.
func (s *Session) Allowed() []Allowed {
	if s.Answered() {
		return nil
	}
	all := []Allowed{{Kind: ReadCard, Words: "Read the job card and the wiring", Cost: costs[ReadCard]}}
	for _, k := range s.def.Allowed {
		if s.row.Rig == "" || k == Try {
			all = append(all, s.def.allowed(k))
		}
	}
	return append(all, Allowed{Kind: Give, Words: "Say what is wrong, and where", Answers: s.def.AnswerChoices()})
}

// allowed is one kind of action with its choices.
func (d *Definition) allowed(k Kind) Allowed {
	x := Allowed{Kind: k, Cost: costs[k]}
	switch k {
	case Try:
		x.Words = "Run the sequence"
	case Look:
		x.Words, x.Events = "Look at levels and contacts", d.EventChoices()
	case Probe:
		x.Words, x.Events, x.Points, x.Meters = "Hold the meter between two points", d.EventChoices(), d.PointChoices(), meterChoices()
	case Change:
		x.Words, x.Changes = "Change one thing", d.ChangeChoices()
	}
	return x
}

// EventChoices are when a trainee may look or probe.
func (d *Definition) EventChoices() []Choice {
	all := []Choice{{Value: "", Words: "before any event"}}
	for _, e := range d.events {
		all = append(all, Choice{Value: e, Words: "after " + e})
	}
	return all
}

// AnswerChoices are the answers to choose from: that nothing is wrong first, then by their
// words. The file's own order would tell which ones no state has.
func (d *Definition) AnswerChoices() []Choice {
	var all []Choice
	for _, a := range d.Answers {
		all = append(all, Choice{Value: a.String(), Words: a.Words()})
	}
	slices.SortStableFunc(all[1:], func(a, b Choice) int { return cmp.Compare(a.Words, b.Words) })
	return all
}

// Do does what the trainee asks for, and stores it in the log before it returns. An action
// that the exercise does not allow, or of which a choice is missing, is of the kind Usage
// and costs nothing.
func (s *Session) Do(ctx context.Context, a Action, run Runner) (*Result, error) {
	if s.Answered() {
		return nil, fmt.Errorf("%w; begin another with makebreak exercise start NAME", journal.ErrAnswered)
	}
	if a.Kind != ReadCard && a.Kind != Give && !slices.Contains(s.def.Allowed, a.Kind) {
		return nil, problem.New(problem.Usage, fmt.Sprintf("exercise %s does not allow this; %s", s.def.Name, words.UseOneOf(string(a.Kind), s.kinds())))
	}
	if byHand := a.Kind == Look || a.Kind == Probe || a.Kind == Change; byHand && s.row.Rig != "" {
		return nil, problem.New(problem.Usage, "this exercise is on a real rig: measure with your own meter, and change by hand; makebreak rig watch shows levels and contacts")
	}
	r := &Result{Action: a, Cost: costs[a.Kind]}
	var err error
	switch a.Kind {
	case ReadCard:
	case Try:
		err = s.try(ctx, a, r, run)
	case Look:
		err = s.look(ctx, a, r)
	case Probe:
		err = s.probe(ctx, a, r)
	case Change:
		err = s.change(a, r)
	case Give:
		return r, s.give(ctx, a, r)
	}
	switch {
	case r.Run != "" && err != nil: // a run is stored when it begins
		return r, errors.Join(err, s.shorten(r))
	case r.Run != "":
		return r, nil
	case err != nil:
		return nil, err
	}
	return r, s.store(r)
}

func (s *Session) kinds() (all []string) {
	for _, k := range s.def.Allowed {
		all = append(all, string(k))
	}
	return append(all, string(ReadCard), string(Give))
}

// stepOf is a result as the log keeps it.
func (s *Session) stepOf(r *Result) (journal.ExerciseStep, error) {
	a := r.Action
	a.Shows = r.Readings
	text, err := json.Marshal(a)
	x := journal.ExerciseStep{At: s.now(), Action: text, Cost: r.Cost, Run: r.Run}
	for _, d := range r.Dangers {
		x.Dangers = append(x.Dangers, d.Code)
	}
	return x, err
}

// store adds a result to what has been done.
func (s *Session) store(r *Result) error {
	x, err := s.stepOf(r)
	if err == nil {
		err = s.db.AddExerciseStep(s.row, x)
	}
	if err != nil {
		return err
	}
	s.took(x, r)
	return nil
}

func (s *Session) took(x journal.ExerciseStep, r *Result) {
	s.deeds.add(r.Action, x)
	r.Spent = s.deeds.Spent
}

// try runs the sequence.
func (s *Session) try(ctx context.Context, a Action, r *Result, run Runner) error {
	t, err := s.Trial(ctx, a.Cycles)
	if err != nil {
		return err
	}
	s.unread(r)
	r.Cost += t.Sequence.Baseline + time.Duration(t.Sequence.Cycles)*t.Sequence.Duration()
	t.Began = func(run string) error {
		r.Run = run
		return s.store(r)
	}
	return run(ctx, t)
}

// shorten takes the bench time of the cycles off that a run which was cut off has not begun.
func (s *Session) shorten(r *Result) error {
	rec, err := s.db.Find(r.Run)
	if err != nil {
		return err
	}
	seq := s.def.Sequence
	left := s.def.cyclesOf(&r.Action) - rec.Cycles - 1
	if left <= 0 {
		return nil
	}
	less := time.Duration(left) * seq.Duration()
	if err := s.db.ShortenExerciseStep(s.row, r.Run, r.Cost-less); err != nil {
		return err
	}
	r.Cost -= less
	s.deeds.Steps[len(s.deeds.Steps)-1].Cost = r.Cost
	s.deeds.Spent -= less
	r.Spent = s.deeds.Spent
	return nil
}

// unread adds that drives act before the cautions were read, where they were not.
func (s *Session) unread(r *Result) {
	if !s.Read() {
		r.Dangers = append(r.Dangers, unread())
	}
}

// Trial is how the sequence is run on the bench as it stands.
func (s *Session) Trial(ctx context.Context, cycles int) (*Trial, error) {
	seq := *s.def.Sequence
	if cycles < 0 || cycles > maxCycles {
		return nil, problem.New(problem.Usage, fmt.Sprintf("%d cycles: must be a whole number from 1 to %d", cycles, maxCycles))
	}
	if cycles > 0 {
		seq.Cycles = cycles
	}
	t := &Trial{Sequence: &seq, Rig: s.def.Rig, Trainee: s.row.Trainee, Seed: labelOf(s.row.UUID),
		Fields: []journal.Field{{Name: "exercise", Value: s.def.Name}}}
	x, err := s.specimen()
	t.Simulation = x.simulation()
	return t, err
}

// look shows levels and contacts at the end of the state after an event.
func (s *Session) look(ctx context.Context, a Action, r *Result) error {
	at, err := s.def.until(a.After)
	if err != nil {
		return err
	}
	if r.Cost += at; a.After != "" {
		s.unread(r)
	}
	return s.stopAfter(ctx, a.After, func(_ *sim.World, c *capture.Capture) error {
		r.Readings = readingsOf(c)
		return nil
	})
}

// errStop ends a pass where a trainee wanted to look.
var errStop = errors.New("stopped to look")

// stopAfter passes through the sequence until the end of the state after an event.
func (s *Session) stopAfter(ctx context.Context, after string, do func(*sim.World, *capture.Capture) error) error {
	x, err := s.specimen()
	if err != nil {
		return err
	}
	return x.stopAfter(ctx, after, do)
}

func (s *specimen) stopAfter(ctx context.Context, after string, do func(*sim.World, *capture.Capture) error) error {
	var failed error
	_, err := s.pass(ctx, 1, func(before int, event string, w *sim.World, c *capture.Capture) error {
		if event != after || before > 0 {
			return nil
		}
		failed = do(w, c)
		return errStop
	})
	if errors.Is(err, errStop) {
		return failed
	}
	return err
}

// takesOf is how often a trainee has set the bench going: no two times are quite alike.
func takesOf(done []Action) (n uint64) {
	for _, a := range done {
		if a.observes() {
			n++
		}
	}
	return n
}

// observes reports whether an action shows what the bench does.
func (a *Action) observes() bool { return a.Kind == Try || a.Kind == Look || a.Kind == Probe }

// until is how long the unit takes to the end of the state after an event.
func (d *Definition) until(event string) (time.Duration, error) {
	at := d.Sequence.Baseline
	if event == "" {
		return at, nil
	}
	for _, step := range d.Sequence.Steps {
		at += step.Hold
		if step.Event == event {
			return at, nil
		}
	}
	return 0, problem.New(problem.Usage, fmt.Sprintf("the sequence has no event %q; %s", event, words.UseOneOf(event, d.events)))
}

// readingsOf are levels and contacts at the end of a capture, in the rig's order.
func readingsOf(c *capture.Capture) (all []Reading) {
	for _, t := range c.Traces {
		if v, ok := levelNow(t, c.End); ok {
			all = append(all, Reading{t.Signal, unit.Voltage.Reading(v, levelShare*max(v, -v)+levelVolts)})
		}
	}
	for _, t := range c.Tracks {
		closed, known := t.StateAt(c.End)
		if !isContact(t.Signal) {
			continue
		}
		shows := "not known"
		if known {
			shows = map[bool]string{true: "closed", false: "open"}[closed]
		}
		all = append(all, Reading{t.Signal, shows})
	}
	return all
}

// Truth is what is right, for who knows the trainer's word: in words, with the values that
// were drawn. The exercise is found as Resume finds it.
func Truth(db *journal.DB, name, trainee, word string) (string, error) {
	row, err := find(db, name, trainee)
	if err != nil {
		return "", err
	}
	place, err := db.ExercisePlace(row)
	if err != nil {
		return "", err
	}
	h, err := sealedOf(row).openByWord(word, place)
	if err != nil {
		return "", err
	}
	return truthWords(h.Truth, h.Faults), nil
}
