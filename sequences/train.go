package sequences

import (
	"math"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
	"makebreak/rig/unit"
	"makebreak/rig/words"
	"makebreak/rig/yamlfile"
)

// Bounds of a train of pulses.
const (
	// mostPulses is how many pulses a train may have, at most.
	mostPulses = 1000
	// leastPulse is how long an output must be high, and low, within a train: contacts that
	// bounce go back for some milliseconds (common practice, no source).
	leastPulse = 50 * time.Millisecond
	// mostWithin is how far a train's times may be off: half as long and half as long again.
	mostWithin = 0.5
)

// train reads a train of pulses or flashing.
func (e *expectation) train() (analyze.Expectation, bool) {
	x := analyze.Expectation{Demand: analyze.Train, Within: e.share(DefaultWithin, mostWithin)}
	ok := true
	if e.pulses != nil {
		v, read := e.pulses.Whole(2, mostPulses)
		x.Pulses, ok = int(v), read
		if e.lasts != nil {
			e.lasts.Refuse("the number of pulses says when they end", "leave it out")
			ok = false
		}
	} else if _, ok = e.flashing.Word("true"); e.lasts != nil {
		x.For = positive(e.lasts, "how long the output flashes, as in 30 s")
	}
	x.On = phase(e.fields.Need("on", "500 ms"), "how long each pulse lasts")
	x.Off = phase(e.fields.Need("off", "500 ms"), "how long the output is low between two pulses")
	if e.after != nil {
		x.After = positive(e.after, "how long a delay runs before the first pulse, as in 30 s")
		ok = ok && x.After > 0
	}
	if ok = ok && x.On > 0 && x.Off > 0 && (e.lasts == nil || x.For > 0); ok && x.For > 0 && x.For < 2*(x.On+x.Off) {
		e.lasts.Refuse("", "must be at least twice as long as on and off together, "+unit.Time.Format(2*(x.On+x.Off).Seconds()))
		return x, false
	}
	return x, ok
}

// phase reads how long an output is high or low within a train; 0 where that cannot be had.
func phase(n *yamlfile.Node, what string) time.Duration {
	t := positive(n, what+", as in 500 ms")
	if t > 0 && t < leastPulse {
		n.Refuse("", "must be "+unit.Time.Format(leastPulse.Seconds())+" or more: what is shorter could be a contact that bounces")
		return 0
	}
	return t
}

// Sampling that shows a train.
const (
	// phaseSamples is how many samples an output must have at least while it is high, and while
	// it is low: two may lie on its edges, and two say that it came there.
	phaseSamples = 4
	// slowConverter is how much slower than its rate a converter may be (TI SBAS444: its
	// oscillator is off by up to 10 %).
	slowConverter = 1.1
)

// trains refuses trains that the rig's sampling could not show: too few samples while the output
// is high or low, or so far apart that no time could be told to be within its limits. Of a very
// long one the samples would not stay.
func (f *fitter) trains() {
	for i := range f.seq.Plan.Outputs {
		o := &f.seq.Plan.Outputs[i]
		for _, event := range f.seq.Events() {
			if x := o.Expect[event]; x.Demand == analyze.Train {
				f.resolves(o.Signal, event, x)
				f.stays(o.Signal, event, x)
			}
		}
	}
}

// resolves refuses a train for which the output's samples would be too far apart.
func (f *fitter) resolves(output, event string, x analyze.Expectation) {
	interval := f.interval(output)
	shortest := min(x.On, x.Off).Seconds() * (1 - x.Within)
	most := math.Min(shortest/phaseSamples, min(x.On, x.Off).Seconds()*x.Within)
	path := "outputs." + output + ".expect." + event
	if interval <= most || interval == 0 || f.doc.Refused(path) {
		return
	}
	shown := unit.Time.Format(min(x.On, x.Off).Seconds())
	f.doc.Report(path, "", "the rig samples "+output+" "+words.Count(int(1/interval), "time")+" a second, too seldom to tell "+shown+" within "+unit.Share.Format(x.Within),
		"must be sampled "+words.Count(int(math.Ceil(1/most)), "time")+" a second: raise the chip's rate, watch fewer outputs of it, or use sample: follow; or write longer times or a wider within")
}

// interval is the time between an output's samples on the rig, in seconds, at most; 0: it is not
// known.
func (f *fitter) interval(output string) float64 {
	o := f.rig.Output(output)
	if o == nil {
		return 0
	}
	chip := f.rig.Chip(o.Chip)
	if chip == nil || chip.Rate <= 0 {
		return 0
	}
	n := 1
	if f.follows(output) == "" {
		n = 0
		for _, name := range f.seq.Sampled(f.rig) {
			if other := f.rig.Output(name); other != nil && other.Chip == o.Chip {
				n++
			}
		}
	}
	return slowConverter * float64(max(1, n)) / float64(chip.Rate)
}

// stays refuses a train with more pulses than the samples are kept of.
func (f *fitter) stays(output, event string, x analyze.Expectation) {
	path := "outputs." + output + ".expect." + event
	for _, s := range f.seq.Steps {
		if s.Event != event || f.doc.Refused(path) {
			continue
		}
		lasts := s.Hold
		if !x.Flashes() {
			lasts = min(lasts, x.Longest())
		}
		if late := (lasts - capture.LeastOpening).Seconds() / (x.On + x.Off).Seconds(); 2*late > capture.LeastEpisodes {
			most := capture.LeastOpening + capture.LeastEpisodes/2*(x.On+x.Off)
			f.doc.Report(path, "", "the output is to flash or pulse for "+unit.Time.Format(lasts.Seconds())+", and the samples of so many pulses are not kept",
				"must end, or the step must, within "+unit.Time.Format(most.Seconds()))
		}
	}
}
