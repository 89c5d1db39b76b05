package rigfile

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/google/renameio/v2"

	"makebreak/rig/capture"
	"makebreak/rig/outfile"
	"makebreak/rig/problem"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/yamlfile"
)

// LatencyPath returns where the latency of a rig file stands: beside it.
func LatencyPath(rigFile string) string {
	return Beside(rigFile, "latency")
}

// Beside returns the path of a file that belongs to a rig file and stands beside it:
// bench.latency.yaml beside bench.yaml.
func Beside(rigFile, what string) string {
	base := strings.TrimSuffix(strings.TrimSuffix(rigFile, ".yaml"), ".yml")
	return base + "." + what + ".yaml"
}

// longestLatency is beyond any kernel's; more is a mistake in the file or the wire.
const longestLatency = 0.1 // seconds

// ParseLatency reads a latency file. The error is one or more *yamlfile.Error.
func ParseLatency(file string, src []byte) (*wiring.Latency, error) {
	doc, err := yamlfile.Parse(file, src)
	if err != nil {
		return nil, err
	}
	l := &wiring.Latency{}
	if f, ok := doc.Root.Fields("must be mean, standard, drive, line, pulses, date, output, samples, samples_standard and filter"); ok {
		const not = "it lies outside what a latency can be"
		l.Mean = timeWithin(f.Need("mean", "18.5 us"), 0, longestLatency, not)
		l.Standard = timeWithin(f.Need("standard", "9.1 us"), 0, longestLatency, not)
		l.Drive, _ = f.Need("drive", "KEY_AWAY").Text()
		l.Line, _ = f.Need("line", "REF").Text()
		n, _ := f.Need("pulses", "20").Whole(2, 1_000_000)
		l.Pulses = int(n)
		l.Date, _ = f.Need("date", "2026-03-31").Text()
		if f.Has("output") || f.Has("samples") || f.Has("samples_standard") {
			l.Output, _ = f.Need("output", "OUT3").Text()
			const not = "samples cannot come this far from the edges"
			l.Samples = timeWithin(f.Need("samples", "82.0 us"), -mostSamplesLate, mostSamplesLate, not)
			l.SamplesStandard = timeWithin(f.Need("samples_standard", "15.2 us"), 0, mostSamplesLate, not)
		}
		if f.Has("filter") {
			l.Filter = filterOf(f.Need("filter", ""))
		}
		f.Done()
	}
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return l, nil
}

// filterOf reads what a loop-back found of a converter's filter.
func filterOf(n *yamlfile.Node) *wiring.Filter {
	x := &wiring.Filter{}
	f, ok := n.Fields("must be output, chip, rate, steps, standard, from, step and shares")
	if !ok {
		return nil
	}
	x.Output, _ = f.Need("output", "OUT3").Text()
	x.Chip, _ = f.Need("chip", "A").Text()
	rate, _ := f.Need("rate", "860 /s").Quantity(unit.Frequency)
	x.Rate = int(math.Round(rate))
	steps, _ := f.Need("steps", "118").Whole(2, 1_000_000)
	x.Steps = int(steps)
	x.Standard, _ = f.Need("standard", "1.2 %").Quantity(unit.Share)
	x.From, _ = f.Need("from", "-3.125 %").Quantity(unit.Share)
	x.Step, _ = f.Need("step", "3.125 %").Quantity(unit.Share)
	shares := f.Need("shares", "[0, 12, 10000]")
	for _, s := range shares.Items() {
		v, _ := s.Whole(0, capture.WholeStep)
		x.Shares = append(x.Shares, uint16(v))
	}
	f.Done()
	if shares != nil && !(x.Valid() && x.Standard <= mostShare && math.Abs(x.From) <= mostShare && x.Step <= mostShare) {
		n.Refuse("that is no filter", fmt.Sprintf("must have shares that rise from 0 to %d, and lengths of up to %.0f %%", capture.WholeStep, 100*mostShare))
	}
	return x
}

// mostShare is beyond what a loop-back stores of a conversion.
const mostShare = 1.0

// timeWithin reads a time from least to most seconds; not says what another one is.
func timeWithin(n *yamlfile.Node, least, most float64, not string) time.Duration {
	s, ok := n.Quantity(unit.Time)
	if ok && (s < least || s > most) {
		n.Refuse(not, fmt.Sprintf("must be from %s to %s", unit.Time.Format(least), unit.Time.Format(most)))
	}
	return time.Duration(s * 1e9)
}

// mostSamplesLate is beyond what a loop-back stores, in seconds: samples and edges are then
// not of one thing.
const mostSamplesLate = 1e-3

// LoadLatency reads the latency at the path; nil where there is no file.
func LoadLatency(ctx context.Context, path string) (*wiring.Latency, error) {
	src, err := yamlfile.ReadFile(ctx, path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, problem.Reading(fmt.Errorf("latency: %w", err))
	}
	return ParseLatency(path, src)
}

// SaveLatency writes the latency to the path, whole or not at all.
func SaveLatency(path string, l *wiring.Latency) error {
	full, err := outfile.RealPath(path) // a link stays one
	if err == nil {
		err = renameio.WriteFile(full, FormatLatency(l), 0o644)
	}
	if err != nil {
		return problem.Of(problem.Storage, fmt.Errorf("latency: %w", err))
	}
	return nil
}

// FormatLatency returns the file's text, which ParseLatency reads back.
func FormatLatency(l *wiring.Latency) []byte {
	us := func(d time.Duration) string { return fmt.Sprintf("%.3f us", float64(d)/1e3) }
	text := fmt.Appendf(nil, "# How late the rig's lines report a drive, written by makebreak rig check --loop-back.\n"+
		"mean: %s\nstandard: %s\ndrive: %s\nline: %s\npulses: %d\ndate: %s\n",
		us(l.Mean), us(l.Standard), l.Drive, l.Line, l.Pulses, l.Date)
	if l.Output != "" {
		text = fmt.Appendf(text, "output: %s\nsamples: %s\nsamples_standard: %s\n", l.Output, us(l.Samples), us(l.SamplesStandard))
	}
	if f := l.Filter; f != nil {
		shares := make([]string, len(f.Shares))
		for i, s := range f.Shares {
			shares[i] = strconv.Itoa(int(s))
		}
		text = fmt.Appendf(text, "filter:   # what a conversion shows of a step, by the step's age at its end\n"+
			"  output: %s\n  chip: %s\n  rate: %d /s\n  steps: %d\n  standard: %.3f %%   # of a conversion, as the two below\n  from: %.3f %%\n  step: %.3f %%\n  shares: [%s]\n",
			f.Output, f.Chip, f.Rate, f.Steps, 100*f.Standard, 100*f.From, 100*f.Step, strings.Join(shares, ", "))
	}
	return text
}
