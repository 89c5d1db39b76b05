package csvfile

import (
	"fmt"
	"math/big"
	"strings"
	"time"

	"pgregory.net/rapid"

	"makebreak/rig/capture"
)

// fileView is what a file of comma separated values keeps of a capture.
type fileView struct {
	Start, End capture.Instant
	Traces     map[string][]sample
	Tracks     []capture.Track
	Events     []string
	Kept       *capture.Track // samples_kept
}

func asFile(c *capture.Capture) fileView {
	v := fileView{Start: c.Start, End: c.End, Traces: map[string][]sample{}, Kept: keptTrack(c)}
	for _, t := range c.Traces {
		v.Traces[t.Signal] = samplesOf(t)
	}
	for _, t := range c.Tracks {
		k := capture.Track{Signal: t.Signal, Known: t.Known, Initial: t.Initial}
		if len(t.Edges) > 0 {
			k.Edges = t.Edges
		}
		v.Tracks = append(v.Tracks, k)
	}
	for _, e := range c.Events {
		v.Events = append(v.Events, fmt.Sprint(e.Name, e.At))
	}
	return v
}

// drawCapture draws any capture that a file can hold.
func drawCapture(t *rapid.T) *capture.Capture {
	c := &capture.Capture{Start: capture.Instant(rapid.Int64Range(-maxNs/4, maxNs/4).Draw(t, "start"))}
	c.End = c.Start
	step := rapid.SampledFrom([]int64{1, 1000, 1_000_000, 1_000_000_000}).Draw(t, "time step")
	c.Start -= c.Start % capture.Instant(step)
	c.End = c.Start
	times := func(label string) []capture.Instant {
		gaps := rapid.SliceOfN(rapid.Int64Range(1, 5000), 0, 20).Draw(t, label)
		at, all := c.Start, []capture.Instant(nil)
		for _, g := range gaps {
			at += capture.Instant(g * step)
			all = append(all, at)
		}
		if at > c.End {
			c.End = at
		}
		return all
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "traces") {
		volts := rapid.SampledFrom([]float64{0, 1e-4, 1e-3, 0.00058740234375}).Draw(t, "step")
		tr := capture.NewTrace(fmt.Sprintf("OUT%d", i), capture.Converter{StepVolts: volts})
		for _, at := range times("sample times") {
			tr.Append(at, rapid.Float64Range(-20, 20).Draw(t, "volts"))
		}
		c.Traces = append(c.Traces, tr)
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "tracks") {
		c.Tracks = append(c.Tracks, drawTrack(t, fmt.Sprintf("K%d,\"x", i), times("edge times")))
	}
	if len(c.Traces)+len(c.Tracks) == 0 {
		c.Tracks = []*capture.Track{{Signal: "K"}}
	}
	for _, at := range times("event times") {
		name := rapid.SampledFrom([]string{"arm-away", "arm-stay", "disarm", "alarm"}).Draw(t, "event")
		c.Events = append(c.Events, capture.Event{Name: name, At: at})
	}
	if rapid.Bool().Draw(t, "cut") {
		c.Kept = []capture.Span{}
		for _, at := range times("spans kept") {
			to := at.Add(time.Duration(rapid.Int64Range(0, 9000).Draw(t, "span") * step))
			c.Kept = append(c.Kept, capture.Span{From: at - capture.Instant(step), To: to})
		}
	}
	return c
}

// drawTrack draws a line whose edges alternate, as they do after reading.
func drawTrack(t *rapid.T, signal string, times []capture.Instant) *capture.Track {
	k := &capture.Track{Signal: signal, Known: rapid.Bool().Draw(t, "known")}
	state := rapid.Bool().Draw(t, "initial")
	k.Initial = k.Known && state
	for _, at := range times {
		state = !state
		k.Edges = append(k.Edges, capture.Edge{At: at, Closed: state})
	}
	return k
}

// nearestNs is the number of seconds in nanoseconds by arbitrary precision,
// halves away from zero.
func nearestNs(text string) int64 {
	r, ok := new(big.Rat).SetString(strings.TrimPrefix(text, "+"))
	if !ok {
		panic(text)
	}
	r.Mul(r, big.NewRat(1_000_000_000, 1))
	negative := r.Sign() < 0
	r.Abs(r).Add(r, big.NewRat(1, 2))
	q := new(big.Int).Quo(r.Num(), r.Denom()).Int64()
	if negative {
		return -q
	}
	return q
}
