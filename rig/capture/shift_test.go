package capture

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// A shift moves all there is, and back again.
func TestCapture_Shift(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawAnyCapture(t)
		c.Unsupplied = []Span{{c.Start, c.End}}
		c.Tracks = append(c.Tracks, &Track{Losses: []Loss{{Span: Span{c.Start, c.End}}}})
		before, first, samples := viewOf(c), c.Start, allSamples(c)
		by := time.Duration(rapid.Int64Range(-1e15, 1e15).Draw(t, "by"))
		c.Shift(by)
		if c.Start != first.Add(by) {
			t.Fatalf("start %d, want %d", c.Start, first.Add(by))
		}
		if want := []Span{{c.Start, c.End}}; !slices.Equal(c.Unsupplied, want) {
			t.Fatalf("unsupplied %v, want %v", c.Unsupplied, want)
		}
		if want := []Loss{{Span: Span{c.Start, c.End}}}; !slices.Equal(c.Tracks[len(c.Tracks)-1].Losses, want) {
			t.Fatalf("lost %v, want %v", c.Tracks[len(c.Tracks)-1].Losses, want)
		}
		for i, x := range allSamples(c) {
			if x.At != samples[i].At+int64(by) {
				t.Fatalf("sample %d went from %d to %d", i, samples[i].At, x.At)
			}
		}
		c.Shift(-by)
		if d := diffViews(before, viewOf(c)); d != "" {
			t.Fatal(d)
		}
	})
}

func allSamples(c *Capture) (all []sample) {
	for _, t := range c.Traces {
		all = append(all, samplesOf(t)...)
	}
	return all
}

// sample is one sample of a trace, for comparing.
type sample struct {
	At    int64
	Volts float32
}

func samplesOf(t *Trace) []sample {
	var all []sample
	for at, v := range t.all() {
		for i := range at {
			all = append(all, sample{at[i], v[i]})
		}
	}
	return all
}
