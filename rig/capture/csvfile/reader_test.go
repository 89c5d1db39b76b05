package csvfile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"makebreak/rig/capture"
	_ "makebreak/testdata/fixedseed"
)

// sample is one sample of a trace, for comparing.
type sample struct {
	At    int64
	Volts float32
}

func samplesOf(t *capture.Trace) []sample {
	var all []sample
	for at, v := range t.Blocks(math.MinInt64, math.MaxInt64) {
		for i := range at {
			all = append(all, sample{at[i], v[i]})
		}
	}
	return all
}

// readAll reads a file to its end and returns all of it.
func readAll(r io.Reader, averaged time.Duration) (*capture.Capture, error) {
	rd, err := NewReader(r, "in.csv", averaged)
	if err != nil {
		return nil, err
	}
	for {
		if _, err := rd.Next(); err == io.EOF {
			return rd.Capture(), nil
		} else if err != nil {
			return nil, err
		}
	}
}

func TestReader_Example(t *testing.T) {
	const text = "time_s,event,OUT3_V,K1_NO,K1_NC\n" +
		"-0.5,,,0,1\n" +
		"0.000000001,,0.6145,,\n" +
		"1.000000,arm-away,,,\n" +
		"1.144955,,13.23,,0\n" +
		"1.147415,,,1,\n" +
		"1.147500,,,1,\n" +
		"1.147847,,-0.0012,0,\n" +
		"3,disarm,,,\n" +
		"3.5,,,,\n"
	r, err := NewReader(strings.NewReader(text), "in.csv", 1200*time.Microsecond)
	if err != nil {
		t.Fatal(err)
	}
	c := r.Capture()
	if len(c.Traces) != 1 || c.Traces[0].Signal != "OUT3" || len(c.Tracks) != 2 || c.Tracks[1].Signal != "K1_NC" {
		t.Fatalf("signals after the header: %v %v", c.Traces, c.Tracks)
	}
	// Nine places: 1 ns/√12 = 0.29 ns, rounded up.
	want := capture.Event{Name: "arm-away", At: 1e9, Uncertainty: 1, Timed: "file"}
	if e, err := r.Next(); err != nil || e != want {
		t.Fatalf("first event: %+v, %v, want %+v", e, err, want)
	}
	if c.End != 1e9 || c.Trace("OUT3").Len() != 1 || len(c.Track("K1_NO").Edges) != 0 {
		t.Errorf("Next read past the event: end %d", c.End)
	}
	want.Name, want.At = "disarm", 3e9
	if e, err := r.Next(); err != nil || e != want {
		t.Fatalf("second event: %+v, %v, want %+v", e, err, want)
	}
	for range 2 {
		if _, err := r.Next(); err != io.EOF {
			t.Fatalf("at the end: %v, want io.EOF", err)
		}
	}
	if c.Start != -5e8 || c.End != 3.5e9 {
		t.Errorf("from %d to %d", c.Start, c.End)
	}
	if d := cmp.Diff([]sample{{1, 0.6145}, {1144955000, 13.23}, {1147847000, -0.0012}}, samplesOf(c.Traces[0])); d != "" {
		t.Error(d)
	}
	conv := capture.Converter{Span: 1200 * time.Microsecond, Stamp: 1, StepVolts: 1e-4, WrittenVolts: 1e-4}
	if d := cmp.Diff(conv, c.Traces[0].Converter); d != "" {
		t.Error(d)
	}
	tracks := []*capture.Track{
		{Signal: "K1_NO", Known: true, Stamp: 1, Edges: []capture.Edge{{At: 1147415000, Closed: true}, {At: 1147847000, Closed: false}}},
		{Signal: "K1_NC", Known: true, Stamp: 1, Initial: true, Edges: []capture.Edge{{At: 1144955000, Closed: false}}},
	}
	if d := cmp.Diff(tracks, c.Tracks); d != "" {
		t.Error(d)
	}
}

// The same content in every dress that spreadsheets and instruments give it.
func TestReader_Dress(t *testing.T) {
	const plain = "time_s,event,A_V,K\n0.0015,,1.25,0\n0.0025,go,2.5,1\n"
	want, err := readAll(strings.NewReader(plain), 0)
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{
		"no line end at the end": strings.TrimSuffix(plain, "\n"),
		"CRLF":                   strings.ReplaceAll(plain, "\n", "\r\n"),
		"byte order mark":        "\ufeff" + plain,
		"mark and quoted header": "\ufeff" + `"time_s","event","A_V","K"` + "\n0.0015,,1.25,0\n0.0025,go,2.5,1\n",
		"all quoted":             "time_s,event,A_V,K\n\"0.0015\",\"\",\"1.25\",\"0\"\n\"0.0025\",\"go\",\"2.5\",\"1\"\n",
		"spaces":                 "time_s, event, A_V, K\n 0.0015 ,, 1.25,0\n0.0025, go ,\"2.5\" , 1\n",
		"signs":                  "time_s,event,A_V,K\n+0.0015,,+1.25,0\n0.0025,go,2.5,+1\n",
		"scientific":             "time_s,event,A_V,K\n1.5E-03,,1.25E+00,0\n2.5e-3,go,0.25e1,1\n",
		"states as decimals":     "time_s,event,A_V,K\n.0015,,1.25,0.0\n0.0025,go,2.5,1.0\n",
		"empty rows":             plain + ",,,\n\n",
		"long numbers":           "time_s,event,A_V,K\n0.00150000000000000000000,,1.250000000000000000000000,0\n0.0025,go,2.5,1\n",
		"more than nanoseconds":  "time_s,event,A_V,K\n0.0014999999995,,1.25,0\n0.00250000000049,go,2.5,1\n",
	} {
		got, err := readAll(strings.NewReader(text), 0)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if d := cmp.Diff(samplesOf(want.Traces[0]), samplesOf(got.Traces[0])); d != "" {
			t.Errorf("%s: %s", name, d)
		}
		if got.Start != want.Start || got.End != want.End || got.Events[0].Name != "go" || got.Events[0].At != want.Events[0].At {
			t.Errorf("%s: %+v", name, got)
		}
		if d := cmp.Diff(want.Tracks[0].Edges, got.Tracks[0].Edges); d != "" || !got.Tracks[0].Known {
			t.Errorf("%s: %s", name, d)
		}
	}
}

// What a file may not hold, and where the error says it stands.
func TestReader_Refuses(t *testing.T) {
	const head = "time_s,event,A_V,K\n"
	long := strings.Repeat("x", 100)
	for _, tc := range []struct {
		name, text   string
		line, column int
		read, remedy string // parts of both
	}{
		{"empty file", "", 0, 0, "file is empty", "header row"},
		{"no rows", head, 0, 0, "no rows", "begin with a time"},
		{"only empty rows", head + "\n,,,\n", 0, 0, "no rows", ""},
		{"no time column", "t,A_V\n0,1\n", 1, 1, `"t"`, "time_s"},
		{"semicolons", "time_s;A_V\n0;1\n", 1, 1, "time_s;A_V", "separated by commas"},
		{"tabs", "time_s\tA_V\n0\t1\n", 1, 1, `time_s\tA_V`, "separated by commas"},
		{"UTF-16", "\xff\xfet\x00i\x00\n\x00", 0, 0, "UTF-16", "UTF-8"},
		{"only times", "time_s\n0\n", 1, 0, "no column of volts", "_V"},
		{"only events", "time_s,event\n0,go\n", 1, 0, "no column of volts", "_V"},
		{"name twice", "time_s,A_V,A_V\n0,1,1\n", 1, 3, `"A_V"`, "column 2"},
		{"name missing", "time_s,A_V,\n0,1,1\n", 1, 3, "an empty cell", "name"},
		{"no output's name", "time_s,_V\n0,1\n", 1, 2, `"_V"`, "OUT3_V"},
		{"capital event", "time_s,Event,A_V\n0,,1\n", 1, 2, `"Event"`, "small letters"},
		{"time twice", "time_s,Time_S,A_V\n0,,1\n", 1, 2, `"Time_S"`, "small letters"},
		{"control sign in a name", "time_s,A\x07_V\n0,1\n", 1, 2, `"A\a_V"`, "print"},
		{"broken UTF-8 in a name", "time_s,\xc3_V\n0,1\n", 1, 2, `"\xc3_V"`, "UTF-8"},
		{"long name", "time_s," + long + "\n0,1\n", 1, 2, "and so on", "64"},
		{"too many columns", "time_s" + strings.Repeat(",x", 1000) + "\n", 1, 0, "1001 columns", "1000"},
		{"old line ends", "time_s,A_V\r0,1\r1,1\r", 1, 2, `A_V\r0`, "print"},
		{"text for volts", head + "0,,1,0\n1,,high,\n", 3, 3, `"high"`, "volts"},
		{"decimal comma", head + "0,,\"1,5\",0\n", 2, 3, `"1,5"`, "decimal point"},
		{"unit behind volts", head + "0,,1.5V,0\n", 2, 3, `"1.5V"`, "volts"},
		{"infinite volts", head + "0,,Inf,0\n", 2, 3, `"Inf"`, "volts"},
		{"volts beyond all bounds", head + "0,,1e999,0\n", 2, 3, `"1e999"`, "1e5"},
		// SCPI-99 volume 1, 7.2.1.4: an instrument's mark for infinity.
		{"overflow mark", head + "0,,9.9E+37,0\n", 2, 3, "9.9E+37", "1e5"},
		{"plain volts out of bounds", head + "0,,100001,0\n", 2, 3, "100001", "1e5"},
		{"hexadecimal", head + "0,,0x1p4,0\n", 2, 3, "0x1p4", "volts"},
		{"digits with separators", head + "0,,1_000,0\n", 2, 3, "1_000", "volts"},
		{"two points", head + "0,,1.2.3,0\n", 2, 3, "1.2.3", "volts"},
		{"exponent without digits", head + "0,,1e,0\n", 2, 3, `"1e"`, "volts"},
		{"lone sign", head + "0,,-,0\n", 2, 3, `"-"`, "volts"},
		{"text for a time", head + "zero,,1,0\n", 2, 1, `"zero"`, "seconds"},
		{"no time", head + "0,,1,0\n,,1,\n", 3, 1, "an empty cell", "seconds"},
		{"NaN for a time", head + "NaN,,1,0\n", 2, 1, "NaN", "seconds"},
		{"time too late", head + "9200000000.000000001,,1,0\n", 2, 1, "9200000000.0", "9.2e9"},
		{"time too early", head + "-9.3e9,,1,0\n", 2, 1, "-9.3e9", "9.2e9"},
		{"time far beyond", head + "1e300,,1,0\n", 2, 1, "1e300", "9.2e9"},
		{"time backwards", head + "2,,1,0\n1.5,,1,\n", 3, 1, "1.500000000 s after 2.000000000 s", "later than the row before"},
		{"volts twice at a time", head + "0,,1,0\n0,,1,\n", 3, 3, "second entry at 0.000000000 s", "rows with one time"},
		{"state twice at a time", head + "0,,1,0\n0,,,1\n", 3, 4, "second entry", "rows with one time"},
		{"event twice at a time", head + "0,go,1,0\n0,stop,,\n", 3, 2, "second entry", "rows with one time"},
		{"twice with a row between", head + "0,,1,\n0,,,0\n0,,1,\n", 4, 3, "second entry", "rows with one time"},
		{"state 2", head + "0,,1,2\n", 2, 4, `"2"`, "0 (open, inactive) or 1"},
		{"state in words", head + "0,,1,closed\n", 2, 4, "closed", "_V"},
		{"volts for a state", head + "0,,1,0.5\n", 2, 4, "0.5", "_V"},
		{"NaN for a state", head + "0,,1,nan\n", 2, 4, "nan", "0 (open"},
		{"event with a space", head + "0,arm away,1,0\n", 2, 2, "arm away", "arm-away"},
		{"event with a digit first", head + "0,1st,1,0\n", 2, 2, "1st", "a letter"},
		{"long event", head + "0," + long + ",1,0\n", 2, 2, "and so on", "64"},
		{"too few cells", head + "0,,1,0\n1,,1\n", 3, 0, "3 cells", "4, as many"},
		{"too many cells", head + "0,,1,0\n1,,1,,\n", 3, 0, "5 cells", "4, as many"},
		{"open quote", head + "0,,1,\"0\n", 2, 4, "", "quote"},
		{"text after a quote", head + "0,,\"1\"2,0\n", 2, 3, "", "quote"},
		{"row without end", head + strings.Repeat("0", 1<<20+1), 2, 0, "longer than 1 MiB", ""},
		{"binary", "\x00\x01\x02\x00", 1, 1, `"\x00\x01\x02\x00"`, "time_s"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, err := readAll(strings.NewReader(tc.text), 0)
			var e *SyntaxError
			if !errors.As(err, &e) {
				t.Fatalf("error %v, want a SyntaxError", err)
			}
			if e.File != "in.csv" || e.Line != tc.line || e.Column != tc.column {
				t.Errorf("at %s:%d column %d, want line %d column %d", e.File, e.Line, e.Column, tc.line, tc.column)
			}
			if !strings.Contains(e.Read, tc.read) || !strings.Contains(e.Remedy, tc.remedy) {
				t.Errorf("%q lacks %q or %q", e, tc.read, tc.remedy)
			}
			if len(e.Error()) > 400 || strings.Contains(e.Error(), "\n") {
				t.Errorf("not one line of text: %q", e)
			}
		})
	}
}

func TestReader_ErrorStays(t *testing.T) {
	r, err := NewReader(strings.NewReader("time_s,A_V\n0,1\nx,1\n2,1\n"), "in.csv", 0)
	if err != nil {
		t.Fatal(err)
	}
	_, first := r.Next()
	_, second := r.Next()
	if first == nil || first != second {
		t.Errorf("first %v, then %v", first, second)
	}
	if got := r.Capture().Traces[0].Len(); got != 1 {
		t.Errorf("%d samples kept of the rows before the error, want 1", got)
	}
	const want = `in.csv:3: column 1 (time_s): "x": must be seconds from -9.2e9 to 9.2e9 with a decimal point, such as 0.001199`
	if first.Error() != want {
		t.Errorf("message %q, want %q", first, want)
	}
}

func TestReader_Missing(t *testing.T) {
	c, err := readAll(strings.NewReader("time_s,A_V,B_V\n0,NaN,1\n1,2,nan\n2,,3\n3,NAN,4\n"), 0)
	if err != nil {
		t.Fatal(err)
	}
	a, b := c.Trace("A"), c.Trace("B")
	if a.Missing != 2 || a.Len() != 1 || b.Missing != 1 || b.Len() != 3 {
		t.Errorf("A: %d missing of %d, B: %d of %d", a.Missing, a.Len(), b.Missing, b.Len())
	}
}

// Columns may share a time in rows of their own, and a line that the first row
// says nothing about is unknown until its first entry.
func TestReader_SharedTimeAndUnknownLine(t *testing.T) {
	c, err := readAll(strings.NewReader("time_s,A_V,K,L\n1,1,,\n1,,1,\n2,,,0\n2,2,0,\n"), 0)
	if err != nil {
		t.Fatal(err)
	}
	want := []*capture.Track{
		{Signal: "K", Known: true, Initial: true, Stamp: 288675135, Edges: []capture.Edge{{At: 2e9, Closed: false}}},
		{Signal: "L", Stamp: 288675135, Edges: []capture.Edge{{At: 2e9, Closed: false}}},
	}
	if d := cmp.Diff(want, c.Tracks); d != "" {
		t.Error(d)
	}
}

// How finely time and volts are written says how well they are known. Worked
// by GUM F.2.2.1: one unit of the last digit, rectangular: unit/√12.
func TestReader_Resolution(t *testing.T) {
	for _, tc := range []struct {
		name, rows string
		stamp      time.Duration
		step       float64
	}{
		{"microseconds and 0.1 mV", "0.000000,0.6145\n0.001199,1\n", 289, 1e-4},
		{"zeros dropped", "0,0.5\n0.25,0.25\n0.250125,1\n", 289, 1e-2},
		{"milliseconds", "0.000,1\n0.001,1\n", 288676, 1},
		{"scientific, seven digits", "0.000000E+00,1.250E+01\n5.000000E-04,1.250E+01\n2.500000E+00,1.250E+01\n", 289, 1e-2},
		{"scientific, minutes", "1.000E-01,1\n6.000E+01,1\n", 2886752, 1},
		{"finer than a nanosecond", "0.00000000001,1\n1,0.00000000000001\n", 1, 1e-9},
	} {
		c, err := readAll(strings.NewReader("time_s,A_V\n"+tc.rows), 0)
		if err != nil {
			t.Errorf("%s: %v", tc.name, err)
			continue
		}
		if conv := c.Traces[0].Converter; conv.Stamp != tc.stamp || conv.StepVolts != tc.step {
			t.Errorf("%s: time known to %d ns, step %g V; want %d ns, %g V", tc.name, conv.Stamp, conv.StepVolts, tc.stamp, tc.step)
		}
	}
}

// A first event on a row with few digits is known as well as the file is fine.
func TestReader_ResolutionForeseen(t *testing.T) {
	r, err := NewReader(strings.NewReader("time_s,event,K\n0,,0\n1,arm-away,\n1.142033,,1\n"), "in.csv", 0)
	if err != nil {
		t.Fatal(err)
	}
	if e, err := r.Next(); err != nil || e.Uncertainty != 289 {
		t.Errorf("event known to %v, %v; want 289 ns", e.Uncertainty, err)
	}
}

// However the bytes arrive, the same is read.
func TestReader_Pieces(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(captures, "holding-in.csv"))
	if err != nil {
		t.Fatal(err)
	}
	want, err := readAll(bytes.NewReader(text), time.Millisecond)
	if err != nil {
		t.Fatal(err)
	}
	for name, r := range map[string]io.Reader{
		"one byte":      iotest.OneByteReader(bytes.NewReader(text)),
		"half":          iotest.HalfReader(bytes.NewReader(text)),
		"data with EOF": iotest.DataErrReader(bytes.NewReader(text)),
	} {
		got, err := readAll(r, time.Millisecond)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if d := cmp.Diff(asFile(want), asFile(got)); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
	broken := errors.New("the cable came out")
	if _, err := readAll(iotest.TimeoutReader(iotest.OneByteReader(bytes.NewReader(text))), 0); !errors.Is(err, iotest.ErrTimeout) {
		t.Errorf("a failed read gives %v", err)
	}
	half := io.MultiReader(bytes.NewReader(text[:50000]), iotest.ErrReader(broken))
	if _, err := readAll(half, 0); !errors.Is(err, broken) || !strings.Contains(err.Error(), "in.csv: after line 2") {
		t.Errorf("a read that fails later gives %v", err)
	}
	if _, err := readAll(stuck{}, 0); !errors.Is(err, io.ErrNoProgress) {
		t.Errorf("a reader that gives nothing: %v", err)
	}
}

type stuck struct{}

func (stuck) Read([]byte) (int, error) { return 0, nil }

func TestReader_Advance(t *testing.T) {
	r, err := NewReader(strings.NewReader("time_s,event,K\n0,,0\n1,,1\n2,,0\n3,go,\n4,,1\n"), "in.csv", 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, found, err := r.Advance(2); found || err != nil || r.Capture().End != 1e9 {
		t.Errorf("two rows: %t, %v, end %d", found, err, r.Capture().End)
	}
	if e, found, err := r.Advance(100); !found || err != nil || e.Name != "go" {
		t.Errorf("to the event: %v %t %v", e, found, err)
	}
	if _, found, err := r.Advance(100); found || err != io.EOF {
		t.Errorf("to the end: %t, %v", found, err)
	}
}

func TestNewReader_NegativeAveraging(t *testing.T) {
	if _, err := NewReader(strings.NewReader("time_s,A_V\n0,1\n"), "in.csv", -1); err == nil {
		t.Error("a negative time of averaging is taken")
	}
}

// captures holds files with known truth, see the README there.
const captures = "../../../testdata/captures"

// The counts and ends of the shipped files, taken with awk.
func TestReader_Files(t *testing.T) {
	for _, tc := range []struct {
		file                  string
		samples, makes, opens int
		events                string
		end                   capture.Instant
		step                  float64 // volts: of a code of 0.5875 mV to 0.1 mV, and of 1 mV
	}{
		{"healthy-converter.csv", 6673, 20, 16, "arm-away disarm arm-stay disarm", 7999281000, 5e-4},
		{"healthy-instrument.csv", 40000, 10, 8, "arm-away disarm", 3999900000, 1e-3},
		{"holding-in.csv", 6673, 9, 1, "arm-away disarm arm-stay disarm", 7999281000, 5e-4},
	} {
		f, err := os.Open(filepath.Join(captures, tc.file))
		if err != nil {
			t.Fatal(err)
		}
		c, err := readAll(f, 0)
		f.Close()
		if err != nil {
			t.Errorf("%s: %v", tc.file, err)
			continue
		}
		var events []string
		for _, e := range c.Events {
			events = append(events, e.Name)
		}
		got := fmt.Sprintln(c.Trace("OUT3").Len(), len(c.Track("K1_NO").Edges), len(c.Track("K1_NC").Edges), strings.Join(events, " "), c.End)
		want := fmt.Sprintln(tc.samples, tc.makes, tc.opens, tc.events, tc.end)
		if got != want {
			t.Errorf("%s: %s, want %s", tc.file, got, want)
		}
		if conv := c.Trace("OUT3").Converter; conv.StepVolts != tc.step || conv.Stamp != 289 {
			t.Errorf("%s: %+v", tc.file, conv)
		}
	}
}

// Every decimal text gives the time to the nanosecond and the float64 that the
// standard library gives, whichever path reads it.
func TestNumbers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`-?[0-9]{1,6}(\.[0-9]{0,14})?`).Draw(t, "number")
		if rapid.Bool().Draw(t, "scientific") {
			text = rapid.StringMatching(`[-+]?[0-9]\.[0-9]{0,14}[eE][-+]?[0-4]`).Draw(t, "scientific number")
		}
		want, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		if got, _, ok := carefulVolts([]byte(text)); !ok || math.Float64bits(got) != math.Float64bits(want) {
			t.Errorf("%s: careful volts %v, want %v", text, got, want)
		}
		if d, n := scanDecimal([]byte(text + ",")); n > 0 {
			if got, ok := d.float(); ok && math.Float64bits(got) != math.Float64bits(want) {
				t.Errorf("%s: plain volts %v, want %v", text, got, want)
			}
		}
		w, ok := parseWritten([]byte(text))
		if !ok {
			t.Fatalf("%s cannot be taken apart", text)
		}
		ns, ok := w.ns()
		if exact := nearestNs(text); !ok || ns != exact {
			t.Errorf("%s s: %d ns, want %d", text, ns, exact)
		}
		if d, n := scanDecimal([]byte(text)); n > 0 {
			if got, ok := d.ns(); ok && got != ns {
				t.Errorf("%s s: plain path %d ns, careful path %d ns", text, got, ns)
			}
		}
	})
}

// What is written is read back the same.
func TestWrite_RoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := drawCapture(t)
		var text bytes.Buffer
		if err := Write(&text, want, Origin{}); err != nil {
			t.Fatal(err)
		}
		got, err := readAll(&text, 0)
		if err != nil {
			t.Fatalf("%v\n%s", err, text.String())
		}
		if d := cmp.Diff(asFile(want), asFile(got)); d != "" {
			t.Fatal(d)
		}
	})
}

// A capture that was cut says where: worked by hand. Spans meet, lie one over the other,
// begin before the start and end after the end.
func TestWrite_Kept(t *testing.T) {
	const ms = capture.Instant(time.Millisecond)
	for name, c := range map[string]struct {
		kept []capture.Span
		want string // the column's cells, at 0, 1, ... 9 ms
		back []capture.Span
	}{
		"two":                   {[]capture.Span{{From: 1 * ms, To: 2 * ms}, {From: 6 * ms, To: 8 * ms}}, "0 1 0 - - - 1 - 0 -", []capture.Span{{From: 1 * ms, To: 2 * ms}, {From: 6 * ms, To: 8 * ms}}},
		"to ends":               {[]capture.Span{{From: -5 * ms, To: 2 * ms}, {From: 6 * ms, To: 20 * ms}}, "1 - 0 - - - 1 - - -", []capture.Span{{From: 0, To: 2 * ms}, {From: 6 * ms, To: 9 * ms}}},
		"meet":                  {[]capture.Span{{From: 4 * ms, To: 7 * ms}, {From: 1 * ms, To: 3 * ms}, {From: 2 * ms, To: 4 * ms}}, "0 1 - - - - - 0 - -", []capture.Span{{From: 1 * ms, To: 7 * ms}}},
		"none":                  {[]capture.Span{}, "0 - - - - - - - - -", []capture.Span{}},
		"all":                   {[]capture.Span{{From: 0, To: 9 * ms}}, "", nil},
		"all, and a part again": {[]capture.Span{{From: -1 * ms, To: 9 * ms}, {From: 8 * ms, To: 9 * ms}}, "", nil},
		"not said":              {nil, "", nil},
	} {
		in := &capture.Capture{End: 9 * ms, Kept: c.kept, Tracks: []*capture.Track{{Signal: "K1_NO", Known: true}}}
		tr := capture.NewTrace("OUT3", capture.Converter{})
		for i := range 10 {
			tr.Append(capture.Instant(i)*ms, 12)
		}
		in.Traces = []*capture.Trace{tr}
		var text bytes.Buffer
		if err := Write(&text, in, Origin{}); err != nil {
			t.Fatal(err)
		}
		var cells []string
		for i, line := range strings.Split(strings.TrimSpace(text.String()), "\n") {
			cell := strings.Split(line, ",")
			if i == 0 && (c.want == "") != (cell[len(cell)-1] == "K1_NO") {
				t.Errorf("%s: header %s", name, line)
			}
			if i > 0 && c.want != "" {
				cells = append(cells, strings.ReplaceAll("-"+cell[len(cell)-1], "-0", "0"))
			}
		}
		if got := strings.ReplaceAll(strings.Join(cells, " "), "-1", "1"); got != c.want {
			t.Errorf("%s: written as %s, want %s", name, got, c.want)
		}
		back, err := readAll(&text, 0)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(c.back, back.Kept); d != "" {
			t.Errorf("%s: %s", name, d)
		}
		if len(back.Tracks) != 1 {
			t.Errorf("%s: read as a line", name)
		}
	}
}

// The first word of what was kept may come late: before it nothing was left out.
func TestReader_KeptLate(t *testing.T) {
	c, err := readAll(strings.NewReader("time_s,OUT3_V,samples_kept\n0,1,\n1,2,0\n5,2,1\n6,2,\n"), 0)
	if err != nil {
		t.Fatal(err)
	}
	s := capture.FromSeconds
	if d := cmp.Diff([]capture.Span{{From: 0, To: s(1)}, {From: s(5), To: s(6)}}, c.Kept); d != "" {
		t.Error(d)
	}
	if _, err := readAll(strings.NewReader("time_s,OUT3_V,samples_kept\n0,1,2\n"), 0); err == nil || !strings.Contains(err.Error(), "samples_kept") || !strings.Contains(err.Error(), "left out") {
		t.Errorf("2 gives %v", err)
	}
}

// A file that says all along that samples were kept leaves nothing out.
func TestReader_KeptThroughout(t *testing.T) {
	for _, rows := range []string{"0,1,1\n1,2,\n", "0,1,1\n1,2,1\n", "0,1,\n1,2,1\n"} {
		c, err := readAll(strings.NewReader("time_s,OUT3_V,samples_kept\n"+rows), 0)
		if err != nil || c.Kept != nil {
			t.Errorf("%q: kept %v, %v", rows, c.Kept, err)
		}
	}
}

func TestWrite_Golden(t *testing.T) {
	c := &capture.Capture{Start: -1000, End: 3_000_000_000, Events: []capture.Event{{Name: "arm-away", At: 1_000_000_000}}}
	a := capture.NewTrace("OUT3", capture.Converter{StepVolts: 1e-4})
	a.Append(0, 0.608)
	a.Append(1_000_000_000, 12.34567)
	b := capture.NewTrace("OUT 4, left", capture.Converter{StepVolts: 0.000587})
	b.Append(0, 0.000587)
	c.Traces = []*capture.Trace{a, b}
	c.Tracks = []*capture.Track{
		{Signal: "K1", Known: true, Initial: true, Edges: []capture.Edge{{At: 500, Closed: false}, {At: 1000, Closed: true}, {At: 1000, Closed: false}}},
		{Signal: "K2", Edges: []capture.Edge{{At: 500, Closed: true}}},
	}
	const want = "time_s,event,OUT3_V,\"OUT 4, left_V\",K1,K2\n" +
		"-0.0000010,,,,1,\n" +
		"0.0000000,,0.6080,0.000587,,\n" +
		"0.0000005,,,,0,1\n" +
		"0.0000010,,,,0,\n" +
		"1.0000000,arm-away,12.34567,,,\n" +
		"3.0000000,,,,,\n"
	var got strings.Builder
	if err := Write(&got, c, Origin{}); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, got.String()); d != "" {
		t.Error(d)
	}
}

func TestWrite_Refuses(t *testing.T) {
	trace := func(signal string, at ...capture.Instant) []*capture.Trace {
		t := capture.NewTrace(signal, capture.Converter{})
		for _, a := range at {
			t.Append(a, 1)
		}
		return []*capture.Trace{t}
	}
	for name, c := range map[string]*capture.Capture{
		"nothing in it":           {},
		"two samples at a time":   {Traces: trace("A", 1, 1)},
		"a sample before start":   {Traces: trace("A", 1), Start: 2},
		"two events at a time":    {Traces: trace("A", 1), Events: []capture.Event{{Name: "a"}, {Name: "b"}}},
		"an event's name":         {Traces: trace("A", 1), Events: []capture.Event{{Name: "a b"}}},
		"a line like an output":   {Tracks: []*capture.Track{{Signal: "A_V"}}},
		"a line like the events":  {Tracks: []*capture.Track{{Signal: "event"}}},
		"a line like what is cut": {Tracks: []*capture.Track{{Signal: "samples_kept"}}},
		"two outputs of one name": {Traces: append(trace("A", 1), trace("A", 1)...)},
		"a time out of bounds":    {Traces: trace("A", maxNs+1)},
	} {
		if err := Write(io.Discard, c, Origin{}); err == nil || !strings.HasPrefix(err.Error(), "write the capture: ") || strings.Contains(err.Error(), ": : ") {
			t.Errorf("%s: error %v", name, err)
		}
	}
	full := errors.New("full")
	if err := Write(failing{full}, &capture.Capture{Traces: trace("A", 1)}, Origin{}); !errors.Is(err, full) {
		t.Errorf("a failed write gives %v", err)
	}
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

// Whatever the bytes, reading ends with a capture or a clear error; and what was
// read can be written and reads back the same.
func FuzzReader(f *testing.F) {
	f.Add([]byte("time_s,event,OUT3_V,K1_NO,K1_NC\n0.000000,,,0,1\n0.001199,,0.6145,,\n1.000000,arm-away,,,\n"))
	f.Add([]byte("\ufefftime_s,\"A,B_V\"\r\n-1e-3,\"1.5\"\r\n2,NaN\r\n"))
	f.Add([]byte("time_s,K\n1,1\n1,\n2,0"))
	f.Add([]byte("time_s,OUT3_V,samples_kept\n0,1,1\n1,2,0\n5,2,1\n6,2,\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		c, err := readAll(bytes.NewReader(text), 0)
		var syntax *SyntaxError
		if err != nil {
			if !errors.As(err, &syntax) {
				t.Fatalf("not a SyntaxError: %v", err)
			}
			return
		}
		var out bytes.Buffer
		if err := Write(&out, c, Origin{}); err != nil {
			t.Fatalf("cannot be written: %v", err)
		}
		again, err := readAll(&out, 0)
		if err != nil {
			t.Fatalf("cannot be read back: %v", err)
		}
		if d := cmp.Diff(asFile(c), asFile(again)); d != "" {
			t.Fatal(d)
		}
	})
}
