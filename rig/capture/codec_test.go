package capture

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	_ "makebreak/testdata/fixedseed"
)

// traceView is all that a trace says, its volts as bits.
type traceView struct {
	Signal       string
	Converter    string
	Filter       *Filter
	NominalVolts float64
	Missing      int
	At           []int64
	Volts        []uint32
}

type captureView struct {
	Capture Capture
	Traces  []traceView
}

// diffViews compares what two captures hold, whether or not they are thinned from here on.
func diffViews(a, b captureView) string {
	return cmp.Diff(a, b, sameFloats, cmpopts.IgnoreUnexported(Capture{}))
}

func viewOf(c *Capture) captureView {
	v := captureView{Capture: *c}
	v.Capture.Traces = nil
	for _, t := range c.Traces {
		conv := t.Converter
		conv.Filter = nil
		x := traceView{Signal: t.Signal, Converter: fmt.Sprintf("%+v", conv), Filter: t.Converter.Filter, NominalVolts: t.NominalVolts, Missing: t.Missing}
		for at, volts := range t.all() {
			x.At = append(x.At, at...)
			for _, f := range volts {
				x.Volts = append(x.Volts, math.Float32bits(f))
			}
		}
		v.Traces = append(v.Traces, x)
	}
	return v
}

// drawFilter draws a filter, or none.
func drawFilter(t *rapid.T) *Filter {
	if rapid.Bool().Draw(t, "no filter") {
		return nil
	}
	shares := rapid.SliceOfN(rapid.Uint16Range(0, WholeStep), 0, 100).Draw(t, "shares")
	slices.Sort(shares)
	finite := rapid.Float64Range(0, 2)
	return &Filter{From: -finite.Draw(t, "from"), Step: 0.001 + finite.Draw(t, "step"), Standard: finite.Draw(t, "standard"),
		Shares: slices.Concat([]uint16{0}, shares, []uint16{WholeStep})}
}

// drawAnyCapture draws captures that only the binary form can hold.
func drawAnyCapture(t *rapid.T) *Capture {
	instant := rapid.Custom(func(t *rapid.T) Instant { return Instant(rapid.Int64().Draw(t, "instant")) })
	word := rapid.StringN(0, 8, 20)
	count := rapid.Uint64()
	c := &Capture{Start: instant.Draw(t, "start"), End: instant.Draw(t, "end"),
		Counts: Counts{count.Draw(t, "missed"), count.Draw(t, "doubled"), count.Draw(t, "bus"), count.Draw(t, "lost"), count.Draw(t, "resets"), count.Draw(t, "lost ready")}}
	if rapid.Bool().Draw(t, "cut") {
		c.Kept = make([]Span, rapid.IntRange(0, 3).Draw(t, "spans"))
		for i := range c.Kept {
			c.Kept[i] = Span{instant.Draw(t, "from"), instant.Draw(t, "to")}
		}
	}
	for range rapid.IntRange(0, 2).Draw(t, "unsupplied") {
		c.Unsupplied = append(c.Unsupplied, Span{instant.Draw(t, "from"), instant.Draw(t, "to")})
	}
	for range rapid.IntRange(0, 3).Draw(t, "events") {
		c.Events = append(c.Events, Event{word.Draw(t, "name"), instant.Draw(t, "at"), time.Duration(rapid.Int64().Draw(t, "uncertainty")), word.Draw(t, "timed")})
	}
	for range rapid.IntRange(0, 2).Draw(t, "tracks") {
		k := &Track{Signal: word.Draw(t, "signal"), Known: rapid.Bool().Draw(t, "known"), Initial: rapid.Bool().Draw(t, "initial"),
			Stamp: time.Duration(rapid.Int64().Draw(t, "stamp"))}
		k.Late = time.Duration(rapid.Int64().Draw(t, "late"))
		for range rapid.IntRange(0, 3).Draw(t, "losses") {
			k.Losses = append(k.Losses, Loss{Span{instant.Draw(t, "from"), instant.Draw(t, "to")}, rapid.Int().Draw(t, "lost"), rapid.SampledFrom([]Sign{Gap, Merge, Level, Neighbour}).Draw(t, "sign")})
		}
		for range rapid.IntRange(0, 5).Draw(t, "edges") {
			k.Edges = append(k.Edges, Edge{instant.Draw(t, "at"), rapid.Bool().Draw(t, "closed")})
		}
		c.Tracks = append(c.Tracks, k)
	}
	for range rapid.IntRange(0, 2).Draw(t, "traces") {
		c.Traces = append(c.Traces, drawAnyTrace(t, word))
	}
	return c
}

func drawAnyTrace(t *rapid.T, word *rapid.Generator[string]) *Trace {
	finite := rapid.Float64()
	step := rapid.SampledFrom([]float64{0, 1e-4, 0.00058740234375, -1, math.Inf(1), 5e-324, 1e300}).Draw(t, "step")
	tr := NewTrace(word.Draw(t, "signal"), Converter{Span: time.Duration(rapid.Int64().Draw(t, "span")), SpanRel: finite.Draw(t, "span's"), Stamp: time.Duration(rapid.Int64().Draw(t, "stamp")), StepVolts: step})
	tr.Converter.Filter = drawFilter(t)
	tr.NominalVolts, tr.Missing = finite.Draw(t, "nominal"), rapid.Int().Draw(t, "missing")
	for range rapid.IntRange(0, 2).Draw(t, "doubts") {
		tr.Converter.Doubts = append(tr.Converter.Doubts, Doubt{Source(word.Draw(t, "source")), Distribution(word.Draw(t, "distribution")), finite.Draw(t, "relative"), finite.Draw(t, "volts")})
	}
	at := rapid.Int64Range(math.MinInt64, math.MaxInt64).Draw(t, "first")
	gap := rapid.OneOf(rapid.Int64Range(0, 100), rapid.Int64Range(1_000_000, 1_001_000), rapid.Int64Min(0), rapid.SampledFrom([]int64{1e6, 2e6, 1e9}))
	volts := rapid.OneOf(rapid.Float32(), rapid.SampledFrom([]float32{0, float32(math.Copysign(0, -1)), float32(math.NaN()), float32(math.Inf(1))}),
		rapid.Map(rapid.Int64Range(-40000, 40000), func(k int64) float32 { return float32(float64(k) * step) }))
	// Copies of a few drawn samples, so that a trace can be longer than a chunk.
	few := rapid.SliceOfN(volts, 1, 40).Draw(t, "volts")
	gaps := rapid.SliceOfN(gap, 1, 40).Draw(t, "gaps")
	for i := range rapid.SampledFrom([]int{0, 1, 31, 32, 33, 1023, 1024, 1025, 2500}).Draw(t, "samples") {
		tr.append(at, few[i*7%len(few)])
		if g := gaps[i*5%len(gaps)]; at <= math.MaxInt64-g {
			at += g
		}
	}
	return tr
}

// Whatever a capture holds comes back bit for bit.
func TestCapture_BinaryRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := drawAnyCapture(t)
		prefix := []byte("before")
		b, err := want.AppendBinary(prefix)
		if err != nil || !bytes.HasPrefix(b, prefix) {
			t.Fatal(err)
		}
		var got Capture
		if err := got.UnmarshalBinary(b[len(prefix):]); err != nil {
			t.Fatal(err)
		}
		if d := diffViews(viewOf(want), viewOf(&got)); d != "" {
			t.Fatal(d)
		}
	})
}

var sameFloats = cmp.Comparer(func(a, b float64) bool { return math.Float64bits(a) == math.Float64bits(b) })

// readFile reads one of the captures with known truth.
func readFile(tb testing.TB, name string) *Capture {
	tb.Helper()
	f, err := os.Open(filepath.Join("../../testdata/captures", name))
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	c, err := ReadCSV(f)
	if err != nil {
		tb.Fatal(err)
	}
	return c
}

// Files of version 1 stay readable: this one was written when there was no other.
func TestCapture_Version1(t *testing.T) {
	path := filepath.Join("testdata", "holding-in-v1.bin")
	want := readFile(t, "holding-in.csv").Around(20 * time.Millisecond)
	want.Traces[0].Converter.StepVolts = 1e-4 // the last decimal place, as files were read then
	want.Traces[0].Converter.WrittenVolts = 0
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var got Capture
	if err := got.UnmarshalBinary(b); err != nil {
		t.Fatal(err)
	}
	if d := diffViews(viewOf(want), viewOf(&got)); d != "" {
		t.Error(d)
	}
}

// Of edges lost in a capture of version 1 only the number is known: they may have been
// anywhere in it.
func TestCapture_Version1Losses(t *testing.T) {
	b, err := os.ReadFile(filepath.Join("testdata", "holding-in-v1.bin"))
	if err != nil {
		t.Fatal(err)
	}
	var c Capture
	if err := c.UnmarshalBinary(b); err != nil {
		t.Fatal(err)
	}
	k := c.Tracks[0]
	// The line as it stands in the file, and with three edges lost.
	whole := append(appendString(nil, k.Signal), bit(k.Known)|bit(k.Initial)<<1)
	whole = binary.AppendVarint(whole, int64(k.Stamp))
	at := bytes.Index(b, append(bytes.Clone(whole), 0))
	if at < 0 {
		t.Fatal("the line is not in the file")
	}
	lossy := bytes.Clone(b[:len(b)-4])
	lossy[at+len(whole)] = 6
	lossy = binary.LittleEndian.AppendUint32(lossy, crc32.Checksum(lossy, castagnoli))
	if err := c.UnmarshalBinary(lossy); err != nil {
		t.Fatal(err)
	}
	want := []Loss{{Span: Span{c.Start, c.End}, Edges: 3}}
	if d := cmp.Diff(want, c.Tracks[0].Losses); d != "" || c.Tracks[0].Lost() != 3 {
		t.Error(d)
	}
}

// Damage of any one byte, and any cut, is noticed, and the capture stays as it was.
func TestCapture_BinaryDamaged(t *testing.T) {
	good, err := readFile(t, "holding-in.csv").Around(time.Millisecond).MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	c := Capture{Start: 7}
	try := func(what string, b []byte) {
		t.Helper()
		if err := c.UnmarshalBinary(b); !errors.Is(err, ErrCodec) {
			t.Errorf("%s: error %v", what, err)
		}
		if c.Start != 7 || c.Traces != nil {
			t.Fatalf("%s: the capture was changed", what)
		}
	}
	for i := range good {
		bad := bytes.Clone(good)
		bad[i] ^= 0x10
		try(fmt.Sprintf("byte %d changed", i), bad)
		try(fmt.Sprintf("cut at %d", i), good[:i])
	}
	try("a byte more", append(bytes.Clone(good), 0))
	newer := bytes.Clone(good)
	newer[3] = 3
	if err := c.UnmarshalBinary(newer); err == nil || !strings.Contains(err.Error(), "version 3, known is up to 2") {
		t.Errorf("a newer version: %v", err)
	}
}

// sealed returns the body with its mark and check sum.
func sealed(body []byte) []byte {
	b := append([]byte("mbc\x01"), body...)
	return binary.LittleEndian.AppendUint32(b, crc32.Checksum(b, crc32.MakeTable(crc32.Castagnoli)))
}

// Promises that the bytes cannot keep are refused before memory is taken for them.
func TestCapture_BinaryPromises(t *testing.T) {
	huge := binary.AppendUvarint(nil, 1<<50)
	head := []byte{0, 0, 0, 0, 0, 0, 0}                          // start, length, counts
	trace := append(append([]byte{0, 0}, make([]byte, 8)...), 0) // signal, span, share of the span, stamp
	trace = append(append(trace, make([]byte, 8)...), 0)         // step, doubts
	trace = append(append(trace, make([]byte, 8)...), 0)         // nominal, missing
	one := append(append(bytes.Clone(head), 0, 1), trace...)     // all kept, one trace
	ballast := make([]byte, 100)
	for name, parts := range map[string][][]byte{
		"spans":             {head, huge, ballast},
		"traces":            {head, {0}, huge, ballast},
		"lines":             {head, {0, 0}, huge, ballast},
		"events":            {head, {0, 0, 0}, huge, ballast},
		"spans unsupplied":  {head, {0, 0, 0, 0}, huge, ballast},
		"no spans of them":  {head, {0, 0, 0, 0, 1}},
		"a text":            {head, {0, 0, 0, 1}, huge, ballast},
		"samples":           {one, huge, ballast},
		"no unit":           {one, {5, 0, 0}, ballast},
		"a kind of volts":   {one, {5, 0, 1, 9}, ballast},
		"a width":           {one, {5, 0, 1, 0, 33}, ballast},
		"backwards":         {one, {2, 0, 1, 0, 2, 4, 0}, ballast},
		"an endless number": {bytes.Repeat([]byte{0xff}, 30)},
	} {
		data := sealed(bytes.Join(parts, nil))
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		var c Capture
		err := c.UnmarshalBinary(data)
		runtime.ReadMemStats(&after)
		if !errors.Is(err, ErrCodec) {
			t.Errorf("%s: error %v", name, err)
		}
		if used := after.TotalAlloc - before.TotalAlloc; used > 1<<20 {
			t.Errorf("%s: %d bytes allocated for %d bytes read", name, used, len(data))
		}
	}
}

// Whatever the bytes, reading ends with an error or a capture that is written and
// read back the same.
func FuzzCapture_UnmarshalBinary(f *testing.F) {
	for _, c := range []*Capture{{}, readFile(f, "holding-in.csv").Around(2 * time.Millisecond),
		{Kept: []Span{{1, 2}}, Unsupplied: []Span{{3, 4}}, Events: []Event{{Name: "a", Timed: "key"}}, Tracks: []*Track{{Signal: "K", Edges: []Edge{{5, true}}}}}} {
		b, err := c.MarshalBinary()
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b[4 : len(b)-4])
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		var c, again Capture
		if err := c.UnmarshalBinary(sealed(body)); err != nil {
			if !errors.Is(err, ErrCodec) {
				t.Fatal(err)
			}
			return
		}
		b, err := c.MarshalBinary()
		if err != nil {
			t.Fatal(err)
		}
		if err := again.UnmarshalBinary(b); err != nil {
			t.Fatal(err)
		}
		if d := diffViews(viewOf(&c), viewOf(&again)); d != "" {
			t.Fatal(d)
		}
	})
}

// What happens stays, with what lies around it; what lies between goes, and Kept
// says so.
func TestCapture_Around(t *testing.T) {
	whole := readFile(t, "holding-in.csv")
	whole.Unsupplied = []Span{{FromSeconds(1.5), FromSeconds(2.5)}}
	const keep = 50 * time.Millisecond
	c := whole.Around(keep)
	if d := cmp.Diff(whole.Unsupplied, c.Unsupplied); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(whole.Events, c.Events); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(whole.Tracks, c.Tracks); d != "" {
		t.Error(d)
	}
	// The events at 1, 3, 5 and 7 s, and 142 ms after each the output's move with,
	// once, the contacts' bounce.
	want := []float64{0.95, 1.05, 1.092, 1.2, 2.95, 3.05, 3.092, 3.193, 4.95, 5.05, 5.092, 5.193, 6.95, 7.05, 7.092, 7.193}
	if 2*len(c.Kept) != len(want) {
		t.Fatalf("kept %v", c.Kept)
	}
	for i, s := range c.Kept {
		if math.Abs(s.From.Seconds()-want[2*i]) > 0.004 || math.Abs(s.To.Seconds()-want[2*i+1]) > 0.004 {
			t.Errorf("span %d from %.6f to %.6f s, want %.3f to %.3f", i, s.From.Seconds(), s.To.Seconds(), want[2*i], want[2*i+1])
		}
	}
	// Every sample in a span is there as it was, and no other.
	var expected []sample
	for _, x := range samplesOf(whole.Trace("OUT3")) {
		for _, s := range c.Kept {
			if Instant(x.At) >= s.From && Instant(x.At) <= s.To {
				expected = append(expected, x)
			}
		}
	}
	if d := cmp.Diff(expected, samplesOf(c.Trace("OUT3"))); d != "" {
		t.Error(d)
	}
	if again := c.Around(keep / 2); again.Trace("OUT3").Len() >= c.Trace("OUT3").Len() || !covered(again.Kept, c.Kept) {
		t.Errorf("cut again: %v", again.Kept)
	}
}

func covered(inner, outer []Span) bool {
	for _, s := range inner {
		within := false
		for _, o := range outer {
			within = within || s.From >= o.From && s.To <= o.To
		}
		if !within {
			return false
		}
	}
	return true
}

// An output is found to move however fast or slowly it does, and not for noise or
// for the flicker of one step.
func TestTrace_Moves(t *testing.T) {
	noise := func(i int) float64 { return float64(i*7919%101)/101 - 0.5 } // uniform, ±0.5
	for _, tc := range []struct {
		name   string
		volts  func(i int) float64
		within [2]int // samples between which all marks lie
		least  int    // marks
	}{
		{"still", func(int) float64 { return 12 }, [2]int{}, 0},
		{"noise", func(i int) float64 { return 12 + 0.01*noise(i) }, [2]int{}, 0},
		{"one step's flicker", func(i int) float64 { return 12 + 0.001*float64(i/50%2) }, [2]int{}, 0},
		{"step", func(i int) float64 { return 12*float64(i/500) + 0.01*noise(i) }, [2]int{500, 500}, 1},
		{"slow rise", func(i int) float64 { return 12*min(1, max(0, float64(i-200)/600)) + 0.01*noise(i) }, [2]int{200, 800}, 6},
		{"short pulse", func(i int) float64 {
			if i == 700 {
				return 5
			}
			return 0.01 * noise(i)
		}, [2]int{700, 701}, 2},
		{"no readings", func(int) float64 { return math.NaN() }, [2]int{}, 0},
		{"step after no readings", func(i int) float64 {
			if i < 100 {
				return math.NaN()
			}
			return 12 * float64(i/500)
		}, [2]int{500, 500}, 1},
	} {
		tr := NewTrace("A", Converter{StepVolts: 0.001})
		for i := range 1000 {
			tr.Append(Instant(i), tc.volts(i))
		}
		marks := tr.moves()
		if len(marks) < tc.least || tc.least == 0 && len(marks) > 0 {
			t.Errorf("%s: moves at %v, want %d or more", tc.name, marks, tc.least)
		}
		for _, m := range marks {
			if int(m) < tc.within[0] || int(m) > tc.within[1] {
				t.Errorf("%s: a move at sample %d, want them in %v", tc.name, m, tc.within)
			}
		}
	}
	if marks := NewTrace("A", Converter{}).moves(); marks != nil {
		t.Errorf("an empty trace moves at %v", marks)
	}
}

// Nothing that happens: nothing is kept, and that is said.
func TestCapture_AroundNothing(t *testing.T) {
	c := &Capture{End: 100, Traces: []*Trace{NewTrace("A", Converter{})}}
	c.Traces[0].Append(5, 1)
	k := c.Around(time.Second)
	if k.Kept == nil || len(k.Kept) != 0 || k.Traces[0].Len() != 0 || c.Traces[0].Len() != 1 {
		t.Errorf("kept %v of it, %d samples", k.Kept, k.Traces[0].Len())
	}
}

// A copy shares nothing with what it was made of.
func TestCapture_AroundCopies(t *testing.T) {
	c := readFile(t, "healthy-converter.csv")
	c.Traces[0].Converter.Doubts = []Doubt{{Source: "resistors"}}
	k := c.Around(time.Millisecond)
	before := viewOf(k)
	c.Discard(math.MaxInt64)
	c.Events = append(c.Events[:0], Event{Name: "other"})
	for _, tr := range c.Traces {
		tr.Converter.Doubts[0].Source = "changed"
		for range 5000 {
			tr.Append(math.MaxInt64, 1)
		}
	}
	if d := diffViews(before, viewOf(k)); d != "" {
		t.Error(d)
	}
}

// What lies before an instant is forgotten but for the samples next before it: without them
// nobody knows where a capture that is measured while it is read came from.
func TestCapture_DiscardKeepsTheLast(t *testing.T) {
	c := &Capture{End: 5000, Traces: []*Trace{NewTrace("A", Converter{})}}
	for at := range Instant(3*BlockLen - 1) {
		c.Traces[0].Append(at, 1)
	}
	c.Discard(4500)
	if _, _, earlier := c.Traces[0].Near(4500, 4, 0); earlier != 4 || c.Traces[0].Len() > BlockLen {
		t.Errorf("%d samples before it, %d in all", earlier, c.Traces[0].Len())
	}
}
