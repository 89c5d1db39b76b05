package capture

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	_ "makebreak/testdata/fixedseed"
)

// longTraces records outputs that are sampled at rates, for some seconds, into a capture that
// is thinned, and returns all samples as well.
func longTraces(rates []float64, seconds float64, event float64, v func(output int, t float64) float64) (*Capture, [][]int64, [][]float32) {
	c := &Capture{}
	for range rates {
		c.Traces = append(c.Traces, NewTrace("OUT", Converter{StepVolts: 1e-3}))
	}
	c.Tracks = []*Track{{Signal: "K1_NO", Known: true}}
	c.Thin()
	at, volts := make([][]int64, len(rates)), make([][]float32, len(rates))
	next := make([]int, len(rates))
	told := false
	for {
		first, due := -1, seconds
		for i, n := range next {
			if t := float64(n) / rates[i]; t < due {
				first, due = i, t
			}
		}
		if first < 0 {
			c.End = FromSeconds(seconds)
			return c, at, volts
		}
		if !told && due >= event {
			told = true
			c.AddEvent(Event{Name: "on", At: FromSeconds(event)})
		}
		next[first]++
		x := v(first, due)
		c.Traces[first].Append(FromSeconds(due), x)
		at[first], volts[first] = append(at[first], int64(FromSeconds(due))), append(volts[first], float32(x))
	}
}

// restless is an output that steps between drawn levels at drawn instants, and is noisy.
func restless(t *rapid.T, seconds float64) func(float64) float64 {
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
	noise := rapid.SampledFrom([]float64{0, 0.01, 0.5, 3}).Draw(t, "noise")
	drift := rapid.Float64Range(-0.02, 0.02).Draw(t, "drift")
	steps := rapid.IntRange(0, 200).Draw(t, "steps")
	type step struct{ at, volts float64 }
	var all []step
	for range steps {
		all = append(all, step{r.Float64() * seconds, []float64{0.6, 13, 13, 12, 18}[r.IntN(5)]})
	}
	slices.SortFunc(all, func(a, b step) int { return int(math.Copysign(1, a.at-b.at)) })
	level := 13.0
	return func(t float64) float64 {
		for ; len(all) > 0 && all[0].at <= t; all = all[1:] {
			level = all[0].volts
		}
		return level + drift*t + noise*(r.Float64()-0.5)
	}
}

// Whatever the outputs do, all samples are there, as they were or in digests, by time and each
// once; the digests' figures are those of their samples; and what is kept for the log is a part
// of all samples.
func TestThin_AllSamples(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seconds := rapid.Float64Range(100, 1500).Draw(t, "seconds")
		rates := rapid.SampledFrom([][]float64{{200}, {100, 100, 30}, {20, 20, 20, 20}}).Draw(t, "rates")
		outputs := make([]func(float64) float64, len(rates))
		for i := range outputs {
			outputs[i] = restless(t, seconds)
		}
		c, at, v := longTraces(rates, seconds, rapid.Float64Range(0, 60).Draw(t, "event"), func(i int, s float64) float64 { return outputs[i](s) })
		for i, tr := range c.Traces {
			allThere(t, tr, at[i], v[i])
		}
		partOfAll(t, c, at, v)
	})
}

func allThere(t *rapid.T, tr *Trace, at []int64, v []float32) {
	for p := range tr.Pieces(math.MinInt64, math.MaxInt64) {
		n := len(p.At)
		if p.Sum != nil {
			n = p.Sum.N
		}
		if n > len(at) {
			t.Fatalf("%d samples more than there were", n-len(at))
		}
		if d := p.Sum; d != nil {
			sameDigest(t, d, at[:n], v[:n])
		} else if !slices.Equal(p.At, at[:n]) || !slices.Equal(p.V, v[:n]) {
			t.Fatalf("samples from %d on are not those that were recorded", p.At[0])
		}
		at, v = at[n:], v[n:]
	}
	if len(at) > 0 {
		t.Fatalf("%d samples are missing", len(at))
	}
}

func sameDigest(t *rapid.T, d *Digest, at []int64, v []float32) {
	low, high := slices.Min(v), slices.Max(v)
	sum, squares := 0.0, 0.0
	for _, x := range v {
		sum += float64(x)
	}
	mean := sum / float64(len(v))
	for _, x := range v {
		squares += (float64(x) - mean) * (float64(x) - mean)
	}
	if int64(d.From) != at[0] || int64(d.To) != at[len(at)-1] || d.First != float64(v[0]) || d.Last != float64(v[len(v)-1]) ||
		d.Low != float64(low) || d.High != float64(high) || int64(d.LowAt) != at[slices.Index(v, low)] || int64(d.HighAt) != at[slices.Index(v, high)] {
		t.Fatalf("digest %+v of %d samples from %d, %g to %g", d, len(v), at[0], low, high)
	}
	if math.Abs(d.Mean-mean) > 1e-9*(1+math.Abs(mean)) || math.Abs(d.Squares-squares) > 1e-6*(1+squares) {
		t.Fatalf("mean %g, squares %g, want %g, %g", d.Mean, d.Squares, mean, squares)
	}
	rough := 0.0
	for i := 3; i < len(v); i++ {
		third := float64(v[i]) - 3*float64(v[i-1]) + 3*float64(v[i-2]) - float64(v[i-3])
		rough += third * third
	}
	// Between digests that were joined three differences are not known.
	if d.RoughN > max(0, len(v)-3) || d.Rough > rough*(1+1e-9) || d.RoughN == len(v)-3 && math.Abs(d.Rough-rough) > 1e-9*(1+rough) {
		t.Fatalf("rough %g of %d, want %g of %d", d.Rough, d.RoughN, rough, len(v)-3)
	}
	all := 0
	d.Spread(0.01, func(_ float64, n int) { all += n })
	if all != len(v) {
		t.Fatalf("%d samples in the bins, want %d", all, len(v))
	}
	// Counts within a distance are right but for what lies within a bin of it.
	far := 0.4 * (d.High - d.Low)
	least, most := 0, 0
	for _, x := range v {
		if off := math.Abs(float64(x) - mean); off <= far+d.width {
			most++
			if off < far-d.width {
				least++
			}
		}
	}
	if n, _, _ := d.Within(mean, far); n < least-1 || n > most+1 {
		t.Fatalf("%d samples within %g V, want %d to %d", n, far, least, most)
	}
}

func partOfAll(t *rapid.T, c *Capture, at [][]int64, v [][]float32) {
	cut := c.Around(100 * time.Millisecond)
	b, err := cut.MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	var again Capture
	if err := again.UnmarshalBinary(b); err != nil {
		t.Fatal(err)
	}
	for i, tr := range again.Traces {
		for _, s := range again.Kept {
			lo, _ := slices.BinarySearch(at[i], int64(s.From))
			hi, _ := slices.BinarySearch(at[i], int64(s.To)+1)
			var kept []int64
			var volts []float32
			for ts, vs := range tr.Blocks(s.From, s.To+1) {
				kept, volts = append(kept, ts...), append(volts, vs...)
			}
			if !slices.Equal(kept, at[i][lo:hi]) || !slices.Equal(volts, v[i][lo:hi]) {
				t.Fatalf("of output %d there are %d samples from %d to %d, want %d", i, len(kept), s.From, s.To, hi-lo)
			}
		}
	}
}

// What is held of an output that never comes to rest is bounded, however long it goes on.
func TestThin_Bounded(t *testing.T) {
	held := map[float64]int64{}
	for _, hours := range []float64{2, 6} {
		r := rand.New(rand.NewPCG(3, 4))
		high, until := false, 0.0
		c, _, _ := longTraces([]float64{100}, hours*3600, 10, func(_ int, s float64) float64 {
			if s > until {
				high, until = !high, s+r.ExpFloat64()
			}
			return 0.6 + 13*float64(map[bool]int{true: 1}[high]) + 0.1*r.Float64()
		})
		held[hours] = c.Held()
		if n := len(c.Traces[0].blocks); n > 1000 {
			t.Errorf("%d blocks and digests after %g h", n, hours)
		}
	}
	if held[6] > held[2]*3/2 || held[6] > 25_000 {
		t.Errorf("samples held: %v", held)
	}
}

// A dropout of one sample in hours stays, with its neighbours, wherever it is.
func TestThin_OneSample(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 20 {
		const rate = 50
		gone := rate*100 + r.IntN(rate*3400)
		c, at, v := longTraces([]float64{rate, rate}, 3600, 1, func(i int, s float64) float64 {
			if i == 1 && int(math.Round(s*rate)) == gone {
				return 11.9
			}
			return 13 + 0.02*r.Float64()
		})
		for i, tr := range c.Traces {
			when := Instant(at[1][gone])
			times, volts, n := tr.Near(when, 4, 5)
			if n != 4 || len(times) != 9 {
				t.Fatalf("%d samples near the dropout at %v s", len(times), when.Seconds())
			}
			if i == 1 && (float32(volts[4]) != v[1][gone] || times[4] != at[1][gone]) {
				t.Errorf("%g V at the dropout", volts[4])
			}
		}
		if !c.Thinned() || c.Held() > 40_000 {
			t.Errorf("%d samples are held", c.Held())
		}
	}
}

// A state that is soon over keeps all its samples, in blocks as they were.
func TestThin_Short(t *testing.T) {
	c, at, _ := longTraces([]float64{860, 200}, 20, 1, func(_ int, s float64) float64 { return math.Mod(s, 3) * 5 })
	if c.Thinned() || c.Held() != int64(len(at[0])+len(at[1])) {
		t.Errorf("%d samples are held of %d", c.Held(), len(at[0])+len(at[1]))
	}
}

// Samples on both sides of what was thinned out are no neighbours.
func TestThin_Near(t *testing.T) {
	c, _, _ := longTraces([]float64{100}, 1000, 1, func(_ int, s float64) float64 { return math.Floor(s/250) * 6 })
	tr := c.Traces[0]
	digests := 0
	for i, b := range tr.blocks {
		d := b.sum
		if d == nil {
			continue
		}
		digests++
		if times, _, _ := tr.Near(d.Middle(), 3, 3); len(times) > 0 {
			t.Fatalf("%d samples near the middle of a digest", len(times))
		}
		if _, ok := tr.Together(d.Middle()); ok {
			t.Fatal("samples follow one another in a digest")
		}
		if tr.Digest(d.From) != d || tr.Digest(d.Middle()) != d {
			t.Fatal("a digest is not found")
		}
		if i > 0 && tr.blocks[i-1].sum == nil {
			if times, _, _ := tr.Near(d.From, 3, 3); len(times) != 3 {
				t.Fatalf("%d samples near a digest's first, want 3 before it", len(times))
			}
		}
	}
	if digests < 4 {
		t.Fatalf("%d digests", digests)
	}
	before := viewOf(c)
	first, _, _ := tr.First()
	c.Shift(5 * time.Second)
	if now, _, _ := tr.First(); now.Sub(first) != 5*time.Second {
		t.Errorf("shifted by %v", now.Sub(first))
	}
	for _, b := range tr.blocks {
		if d := b.sum; d != nil && (d.LowAt < d.From || d.HighAt > d.To) {
			t.Errorf("extremes at %d and %d of a digest from %d to %d", d.LowAt, d.HighAt, d.From, d.To)
		}
	}
	c.Shift(-5 * time.Second)
	if d := diffViews(before, viewOf(c)); d != "" {
		t.Error(d)
	}
	middle := FromSeconds(500)
	if c.Discard(middle); c.Start != middle {
		t.Errorf("starts at %d", c.Start)
	}
	if at, _, _ := tr.First(); at > middle || at < FromSeconds(300) {
		t.Errorf("the first sample is at %v s", at.Seconds())
	}
}

// Of a contact that chatters for long the first edges stay and the latest ones, and the others
// are counted.
func TestThin_Edges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := &Capture{Tracks: []*Track{{Signal: "K1_NO", Known: true}}}
		c.Thin()
		k := c.Tracks[0]
		c.AddEvent(Event{Name: "on", At: 1})
		n := rapid.IntRange(1, 60_000).Draw(t, "edges")
		rest := rapid.IntRange(0, 2*n).Draw(t, "rest")
		var all []Edge
		at := Instant(10)
		for i := range n {
			at = at.Add(time.Duration(1+i%7) * time.Millisecond)
			if i == rest {
				at = at.Add(time.Second)
			}
			all = append(all, Edge{at, i%2 == 0})
			c.AddEdge(k, all[i])
		}
		if len(k.Edges) > firstEdges+2*latestEdges || len(k.Lapses) > 1 {
			t.Fatalf("%d edges, %d lapses", len(k.Edges), len(k.Lapses))
		}
		if len(k.Lapses) == 0 {
			if !slices.Equal(k.Edges, all) {
				t.Fatal("edges are missing and no lapse says so")
			}
			return
		}
		l := k.Lapses[0]
		if !slices.Equal(k.Edges[:firstEdges], all[:firstEdges]) {
			t.Fatal("the first edges are others")
		}
		out := all[firstEdges : firstEdges+l.Edges]
		if !slices.Equal(k.Edges[firstEdges:], all[firstEdges+l.Edges:]) || l.From != out[0].At || l.To != out[len(out)-1].At {
			t.Fatal("the latest edges are others")
		}
		if want := firstEdges < rest && rest < firstEdges+l.Edges; l.Rested != want {
			t.Fatalf("rested: %v, want %v", l.Rested, want)
		}
		if l.Rested && (l.Till != all[rest-1] || l.TillEdges != rest-firstEdges || l.TillClosings != closings(out[:l.TillEdges])) {
			t.Fatalf("%+v, want up to %+v", l, all[rest-1])
		}
		if l.Closings != closings(out) {
			t.Fatalf("%d closings, want %d", l.Closings, closings(out))
		}
		c.End = at
		if cut := c.Around(time.Millisecond); len(cut.Tracks[0].Losses) != 1 || cut.Tracks[0].Lost() != l.Edges {
			t.Fatalf("losses in what is stored: %+v", cut.Tracks[0].Losses)
		}
	})
}

func closings(edges []Edge) int {
	n := 0
	for _, e := range edges {
		if e.Closed {
			n++
		}
	}
	return n
}

// Losses without end are joined, and none of them forgotten.
func TestTrack_ManyLosses(t *testing.T) {
	k := &Track{}
	want := 0
	for i := range 20_000 {
		sign := []Sign{Gap, Merge, Merge, Gap, Merge}[i%5]
		k.Lose(1+i%3, sign, Instant(10*i), Instant(10*i+5))
		want += 1 + i%3
	}
	if len(k.Losses) > mostLosses || k.Lost() != want {
		t.Errorf("%d losses of %d edges, want %d edges", len(k.Losses), k.Lost(), want)
	}
	for i := 1; i < len(k.Losses); i++ {
		if k.Losses[i].To < k.Losses[i-1].To {
			t.Fatalf("losses %d and %d are out of order", i-1, i)
		}
	}
	if l := k.Losses[len(k.Losses)-1]; l.To != 199_995 {
		t.Errorf("the last one is at %d", l.To)
	}
}
