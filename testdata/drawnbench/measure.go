package drawnbench

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sync"

	"makebreak/analyze"
	"makebreak/rig/capture"
	"makebreak/rig/sim"
)

// Claim is a cause that is said to be behind what a run shows, the likeliest first.
type Claim struct{ Cause, Place string }

// A Ranker says what is behind what a run shows.
type Ranker func(b *Bench, r *Run) []Claim

// Single is a bench with one fault.
type Single struct {
	Fault  sim.Fault
	Broken []string // what the fault breaks by the simulator's truth
	// Noticed says that the run complains of something, ended early or counted something lost,
	// as it did not without the fault. Neither broken nor noticed is too small, or not exercised.
	Noticed bool
	Claims  []Claim
	// Passed says that the run passes.
	Passed bool
	// Mute says that the run fails and that no finding says why.
	Mute bool
	// Alike says of a bench whose first claim is wrong that what is claimed, planted instead
	// of the fault, shows the same.
	Alike bool
	// Doubtful says that the bench is not in order without the fault: the drawing's own fault.
	Doubtful string
	Bench    *Bench
}

// TooSmall reports whether no limit and no expectation of the sequence could notice the fault.
func (s *Single) TooSmall() bool { return !s.Noticed && len(s.Broken) == 0 }

// Rank is where the true cause stands among the claims, from 1; 0: it is not among them.
func (s *Single) Rank() int { return rankOf(s.Fault, s.Claims) }

// rankOf is where a fault stands among claims by its name.
func rankOf(f sim.Fault, claims []Claim) int {
	return slices.IndexFunc(claims, func(c Claim) bool { return c.Cause == f.Name }) + 1
}

// Placed reports whether the first claim has the fault's place as well: the output or the relay
// behind it, either for the other; of outputs that are joined either; of a converter any of its
// outputs.
func (s *Single) Placed() bool {
	if len(s.Claims) == 0 || s.Claims[0].Cause != s.Fault.Name {
		return false
	}
	at, is := s.Bench.behind(s.Claims[0].Place), s.Bench.behind(s.Fault.Place)
	switch {
	case s.Fault.Place == "" || at == is:
		return true
	case s.Fault.Name == "joined-outputs":
		return at == s.Fault.Output
	case s.Fault.Name == "adc-lost", s.Fault.Name == "chip-reset":
		return s.Bench.output(at).chip == s.Bench.output(is).chip
	}
	return false
}

// behind is the output of a place, which may be the relay behind it.
func (b *Bench) behind(place string) string {
	for _, k := range b.layout.relays {
		if k.name == place {
			return k.output
		}
	}
	return place
}

// MeasureSingle runs a bench with its one fault and without it. Alike asks whether a first claim
// that is wrong shows the same.
func MeasureSingle(ctx context.Context, b *Bench, rank Ranker, alike bool) (*Single, error) {
	s := &Single{Fault: b.Faults[0], Bench: b}
	with, err := b.Run(ctx, b.Faults)
	if err != nil {
		return nil, fmt.Errorf("seed %d, %s: %w", b.Seed, s.Fault, err)
	}
	without, err := b.Run(ctx, nil)
	if err != nil {
		return nil, fmt.Errorf("seed %d, healthy: %w", b.Seed, err)
	}
	s.Broken = b.Broken(with)
	if wrong := b.Broken(without); len(wrong) > 0 || without.Verdict != analyze.Pass {
		s.Doubtful = fmt.Sprintf("%s %v", without.Verdict, wrong)
	}
	s.Noticed = with.Counts != without.Counts || !slices.Equal(with.shown(), without.shown())
	s.Passed = with.Verdict == analyze.Pass
	s.Mute = with.Verdict == analyze.Fail && len(with.Findings) == 0
	s.Claims = rank(b, with)
	if alike && !s.TooSmall() && s.Rank() != 1 && len(s.Claims) > 0 {
		s.Alike = b.alike(ctx, with, s.Claims[0])
	}
	return s, nil
}

// complaints lists what a run says of the bench, found wrong or could not decide, each once.
func (r *Run) complaints() []string {
	var all []string
	for _, s := range r.Symptoms {
		all = append(all, fmt.Sprintf("%s %s %s %s", s.Kind, s.Signal, s.Other, s.Event))
	}
	for i := range r.Rows {
		if m := &r.Rows[i]; m.Verdict == analyze.Fail || m.Verdict == analyze.Undecided {
			all = append(all, fmt.Sprintf("%s %s %s %s", m.Verdict, m.Signal, m.Quantity, m.Event))
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// sizes is how many sizes of a claimed cause are tried.
const sizes = 40

// alike reports whether a claimed cause of some size, planted in the same bench, shows what the
// run has shown: the same complaints in the same cycles, the same figures within their
// uncertainties, and the same counts of what was lost. Then no evaluation of the run could tell.
func (b *Bench) alike(ctx context.Context, shown *Run, c Claim) bool {
	f, ok := b.planted(c)
	if !ok {
		return false
	}
	for _, f := range b.everySize(f) {
		if shown.Err == nil && !b.begins(ctx, shown, f) {
			continue
		}
		if other, err := b.Run(ctx, []sim.Fault{f}); err == nil && shown.looksLike(other) {
			return true
		}
	}
	return false
}

// begins reports whether a first cycle with a fault looks like that of the run: most do not, and
// one cycle is sooner run than all.
func (b *Bench) begins(ctx context.Context, shown *Run, f sim.Fault) bool {
	once := *b
	once.Cycles = 1
	other, err := once.Run(ctx, []sim.Fault{f})
	if err != nil || other.Err != nil {
		return false
	}
	first := &Run{Cycles: 1, Counts: other.Counts}
	for _, m := range shown.Rows {
		if m.Cycle == 1 {
			first.Rows = append(first.Rows, m)
		}
	}
	for _, s := range shown.Symptoms {
		if s.Cycle == 1 {
			first.Symptoms = append(first.Symptoms, s)
		}
	}
	return first.looksLike(other)
}

// planted is the fault that a claim says.
func (b *Bench) planted(c Claim) (sim.Fault, bool) {
	for _, i := range sim.Faults() {
		if i.Name != c.Cause {
			continue
		}
		f := sim.Fault{Name: c.Cause}
		switch i.Place {
		case sim.AtOutput:
			f.Place = c.Place
			for _, k := range b.layout.relays {
				if k.name == c.Place {
					f.Place = k.output
				}
			}
		case sim.AtRelay:
			f.Place = c.Place
			if o := b.output(c.Place); o.relay != "" {
				f.Place = o.relay
			}
		}
		return f, true
	}
	return sim.Fault{}, false
}

// everySize is the fault in all sizes that are tried.
func (b *Bench) everySize(f sim.Fault) []sim.Fault {
	i := sim.Faults()[slices.IndexFunc(sim.Faults(), func(i sim.FaultInfo) bool { return i.Name == f.Name })]
	var all []sim.Fault
	switch {
	case i.Value == sim.EventName:
		for _, e := range b.layout.events() {
			g := f
			g.Event = e
			all = append(all, g)
		}
	case i.Value == sim.OutputName && (f.Name == "wrong-address" || f.Name == "joined-outputs"):
		for _, o := range b.layout.outputs {
			g := f
			g.Output = o.name
			all = append(all, g)
		}
	case i.Value.Measured():
		low, high := i.Lowest/3, i.Highest*3
		for n := range sizes {
			g := f
			g.Value = low * math.Pow(high/low, float64(n)/(sizes-1))
			if i.Value == sim.WholeNumber {
				g.Value = math.Round(max(1, g.Value))
			}
			if len(all) == 0 || all[len(all)-1] != g {
				all = append(all, g)
			}
		}
	default:
		all = append(all, f)
	}
	return all
}

// looksLike compares two runs by all that was measured.
func (r *Run) looksLike(o *Run) bool {
	if (r.Err != nil) != (o.Err != nil) || r.Cycles != o.Cycles || len(r.Rows) != len(o.Rows) || !slices.Equal(r.perCycle(), o.perCycle()) || r.Counts != o.Counts {
		return false
	}
	for i := range r.Rows {
		a, c := &r.Rows[i], &o.Rows[i]
		if a.Event != c.Event || a.Signal != c.Signal || a.Quantity != c.Quantity || math.IsNaN(a.Value) != math.IsNaN(c.Value) {
			return false
		}
		// How a contact bounces is chance, and so is each travel's time, within what its unit allows.
		if a.Quantity == analyze.BounceTime || a.Quantity == analyze.BounceCount {
			continue
		}
		within := math.Hypot(a.Expanded, c.Expanded)
		switch a.Quantity {
		case analyze.OperateTime, analyze.ReleaseTime, analyze.TransferTime:
			within += travelChance
		}
		if math.Abs(a.Value-c.Value) > within {
			return false
		}
	}
	return true
}

// travelChance is by how much, in seconds, two travels of one relay differ: three standard
// deviations of either.
const travelChance = 2 * 300e-6

// perCycle lists a run's symptoms, each with its cycle.
func (r *Run) perCycle() []string {
	all := make([]string, 0, len(r.Symptoms))
	for _, s := range r.Symptoms {
		all = append(all, fmt.Sprintf("%d %s %s %s %s", s.Cycle, s.Kind, s.Signal, s.Other, s.Event))
	}
	slices.Sort(all)
	return all
}

// Pair is a bench with two faults.
type Pair struct {
	Faults [2]sim.Fault
	// Hidden says that one of them is too small, or that it changes nothing of what the other
	// one shows by itself.
	Hidden bool
	Claims []Claim
}

// Both reports whether both causes are among the first claims.
func (p *Pair) Both(first int) bool {
	for _, f := range p.Faults {
		if r := rankOf(f, p.Claims); r == 0 || r > first {
			return false
		}
	}
	return true
}

// MeasurePair runs a bench with both faults, with either and with none.
func MeasurePair(ctx context.Context, b *Bench, rank Ranker) (*Pair, error) {
	p := &Pair{Faults: [2]sim.Fault{b.Faults[0], b.Faults[1]}}
	both, err := b.Run(ctx, b.Faults)
	if err != nil {
		return nil, fmt.Errorf("seed %d, %s: %w", b.Seed, b.Faults, err)
	}
	shown := both.shown()
	for _, only := range [][]sim.Fault{b.Faults[:1], b.Faults[1:], nil} {
		r, err := b.Run(ctx, only)
		if err != nil {
			return nil, fmt.Errorf("seed %d, %s: %w", b.Seed, only, err)
		}
		shows := r.shown()
		quiet := len(shows) == 0 && r.Counts == capture.Counts{}
		if quiet && only != nil || slices.Equal(shows, shown) && r.Counts == both.Counts {
			p.Hidden = true
		}
	}
	p.Claims = rank(b, both)
	return p, nil
}

// shown is what a run complains of, and whether it came to its end.
func (r *Run) shown() []string {
	all := r.complaints()
	if r.Err != nil {
		all = append(all, "ended early")
	}
	return all
}

// Each calls do for every number from 0, on two processors, and hands over what it returns in
// order until enough says so.
func Each[T any](do func(i int) (T, error), enough func(T) bool) error {
	const batch = 8
	for first := 0; ; first += batch {
		out, errs := make([]T, batch), make([]error, batch)
		var group sync.WaitGroup
		next := make(chan int)
		for range 2 {
			group.Go(func() {
				for i := range next {
					out[i], errs[i] = do(first + i)
				}
			})
		}
		for i := range batch {
			next <- i
		}
		close(next)
		group.Wait()
		for i := range batch {
			if errs[i] != nil {
				return errs[i]
			}
			if enough(out[i]) {
				return nil
			}
		}
	}
}
