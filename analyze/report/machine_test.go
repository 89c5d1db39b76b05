package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"html"
	"io"
	"maps"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"pgregory.net/rapid"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
	"makebreak/rig/table"
	"makebreak/rig/words"
)

// readCSV reads a CSV report with the standard library's reader.
func readCSV(t testing.TB, b []byte) [][]string {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil {
		t.Fatalf("encoding/csv cannot read the report: %v", err)
	}
	return rows
}

// readJSON reads a JSON report with the standard library's decoder.
func readJSON(t testing.TB, b []byte) map[string]any {
	t.Helper()
	d := json.NewDecoder(bytes.NewReader(b))
	d.UseNumber()
	var o map[string]any
	if err := d.Decode(&o); err != nil {
		t.Fatalf("encoding/json cannot read the report: %v\n%s", err, b)
	}
	return o
}

func TestCSV_RoundTrip(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	if err := CSV(&b, invented()); err != nil {
		t.Fatal(err)
	}
	rows := readCSV(t, b.Bytes())
	if diff := cmp.Diff(columnsOf[result](), rows[0]); diff != "" {
		t.Errorf("header row (-want +got):\n%s", diff)
	}
	figures := inventedFigures()
	if len(rows) != len(figures)+1 {
		t.Fatalf("%d rows; want %d and a header", len(rows), len(figures))
	}
	for i, m := range figures {
		got := rows[i+1]
		want := []string{"2031-04-05-001", "INV-0042", strconv.Itoa(m.Cycle), m.Event, m.Signal, string(m.Quantity)}
		if diff := cmp.Diff(want, got[:6]); diff != "" {
			t.Errorf("row %d (-want +got):\n%s", i+1, diff)
		}
		checkCell(t, got[6], m.Value, m.Expanded)
		checkCell(t, got[9], m.Limit.Lower, 0)
		checkCell(t, got[10], m.Limit.Upper, 0)
		if got[11] != string(m.Verdict) || got[12] != words.Cell(diagnose.Reason(&m)) {
			t.Errorf("row %d: verdict %q, reason %q; want %q, %q", i+1, got[11], got[12], m.Verdict, diagnose.Reason(&m))
		}
	}
}

// checkCell fails unless the cell is empty for a missing number, or the number
// to within its uncertainty.
func checkCell(t *testing.T, cell string, want, u float64) {
	t.Helper()
	if math.IsNaN(want) {
		if cell != "" {
			t.Errorf("a missing number was written as %q", cell)
		}
		return
	}
	got, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		t.Errorf("%q: %v", cell, err)
		return
	}
	if math.IsNaN(u) {
		u = 1e-5 * math.Abs(want)
	}
	if math.Abs(got-want) > u/10 {
		t.Errorf("%v was written as %s", want, cell)
	}
}

// RFC 4180, 2.1: lines end with CRLF; 2.7: quotes are doubled.
func TestCSV_Lines(t *testing.T) {
	t.Parallel()
	r := invented()
	r.Measurements = stream([]analyze.Measurement{{
		Cycle: 1, Signal: "OUT1", Quantity: analyze.Hold, Value: nan, Expanded: nan, Limit: analyze.NoLimit(), Doubts: analyze.InWords(`a "b", c`),
	}})
	var b bytes.Buffer
	if err := CSV(&b, r); err != nil {
		t.Fatal(err)
	}
	want := strings.Join(columnsOf[result](), ",") + "\r\n" +
		`2031-04-05-001,INV-0042,1,,OUT1,hold,,s,,,,,"a ""b"", c",,2031-04-05T07:30:00.012Z,` +
		"armed-high,training bench,true,adc-lost=2s welded,Zoë Müller,v0.0.0-invented,false,01960a3c-0000-7000-8000-000000000001," + `"{""job"":""1234 <a>"",""remarks"":""housing \""scratched\""\u003b =2 & so on""}"` + "\r\n"
	if b.String() != want {
		t.Errorf("got %q; want %q", b.String(), want)
	}
}

func TestJSON_Shape(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	if err := JSON(&b, invented()); err != nil {
		t.Fatal(err)
	}
	o := readJSON(t, b.Bytes())
	head := map[string]any{
		"format": json.Number("1"), "run": "2031-04-05-001", "run_id": "01960a3c-0000-7000-8000-000000000001", "unit": "INV-0042", "sequence": "armed-high",
		"rig": "training bench", "simulated": true, "faults": []any{"adc-lost=2s", "welded"}, "by": "Zoë Müller", "program": "v0.0.0-invented",
		"fields":  map[string]any{"job": "1234 <a>", "remarks": `housing "scratched"; =2 & so on`},
		"started": "2031-04-05T09:30:00+02:00", "cycles": json.Number("3"), "planned": json.Number("5"), "complete": false, "verdict": "fail",
		"counts": map[string]any{"missed_conversions": json.Number("2"), "doubled_conversions": json.Number("0"), "bus_errors": json.Number("0"),
			"lost_edges": json.Number("1"), "chip_resets": json.Number("0"), "lost_ready_edges": json.Number("0")},
		"cautions": []any{"incomplete: interrupted at the bench", invented().Cautions[0]},
	}
	calibrations := o["calibrations"].([]any)
	calibrated := map[string]any{"output": "OUT1", "state": "in-date", "judged": false, "since_cycle": json.Number("1"), "meter": "<4711>", "by": nil,
		"made": "2030-04-06", "due": "2031-04-06", "rig": "training bench", "simulated": false, "gain": json.Number("1.01"), "offset": json.Number("0")}
	if diff := cmp.Diff(calibrated, calibrations[0]); diff != "" || len(calibrations) != len(invented().Calibrations) {
		t.Errorf("%d calibrations (-want +got):\n%s", len(calibrations), diff)
	}
	body := maps.Clone(o)
	delete(body, "measurements")
	delete(body, "findings")
	delete(body, "causes")
	delete(body, "calibrations")
	if diff := cmp.Diff(head, body); diff != "" {
		t.Errorf("what it says besides its figures (-want +got):\n%s", diff)
	}
	if _, err := time.Parse(time.RFC3339, o["started"].(string)); err != nil {
		t.Errorf("started: %v", err)
	}
	first := o["measurements"].([]any)[0].(map[string]any)
	if len(first) != len(columnsOf[result]()) {
		t.Errorf("a measurement has %d members; want %d", len(first), len(columnsOf[result]()))
	}
	want := []any{
		map[string]any{"signal": "OUT3", "verdict": "fail", "text": invented().Findings[0].Text},
		map[string]any{"signal": "K1_NO", "verdict": "undecided", "text": invented().Findings[1].Text},
	}
	if diff := cmp.Diff(want, o["findings"]); diff != "" {
		t.Errorf("findings (-want +got):\n%s", diff)
	}
}

// Whether faults were planted on a simulated bench may not have been kept; of a real one it is
// known that none were.
func TestJSON_Faults(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		r    Record
		want any
	}{
		{Record{}, []any{}},
		{Record{Simulated: true}, nil},
		{Record{Simulated: true, Faults: []string{}}, []any{}},
		{Record{Simulated: true, Faults: []string{"welded", "adc-lost=2 s"}}, []any{"welded", "adc-lost=2s"}},
	} {
		var b bytes.Buffer
		if err := JSON(&b, &c.r); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(c.want, readJSON(t, b.Bytes())["faults"]); diff != "" {
			t.Errorf("%+v (-want +got):\n%s", c.r.Faults, diff)
		}
	}
}

func TestJSON_Empty(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	if err := JSON(&b, &Record{Run: "7"}); err != nil {
		t.Fatal(err)
	}
	zero := json.Number("0")
	want := map[string]any{"format": json.Number("1"), "run": "7", "run_id": nil, "unit": nil, "sequence": nil, "rig": nil, "simulated": false, "faults": []any{},
		"by": nil, "fields": nil, "program": nil, "started": nil, "cycles": zero, "planned": nil, "complete": false, "verdict": nil,
		"counts":   map[string]any{"missed_conversions": zero, "doubled_conversions": zero, "bus_errors": zero, "lost_edges": zero, "chip_resets": zero, "lost_ready_edges": zero},
		"cautions": []any{}, "calibrations": nil, "measurements": []any{}, "findings": []any{}, "causes": []any{}}
	if diff := cmp.Diff(want, readJSON(t, b.Bytes())); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func drawNumber(t *rapid.T, name string) float64 {
	return rapid.OneOf(rapid.Just(nan), rapid.Just(0.0), rapid.Just(math.Inf(1)), rapid.Float64Range(-1e6, 1e6), rapid.Float64Range(-1e-6, 1e-6)).Draw(t, name)
}

func drawMeasurement(t *rapid.T) analyze.Measurement {
	return analyze.Measurement{
		Cycle: rapid.IntRange(1, 1e6).Draw(t, "cycle"), Event: rapid.String().Draw(t, "event"),
		Signal: rapid.String().Draw(t, "signal"), Quantity: rapid.SampledFrom(analyze.Quantities()).Draw(t, "quantity"),
		Value: drawNumber(t, "value"), Expanded: math.Abs(drawNumber(t, "expanded")),
		Limit:   analyze.Limit{Lower: drawNumber(t, "lower"), Upper: drawNumber(t, "upper")},
		Verdict: rapid.SampledFrom([]analyze.Verdict{"", analyze.Pass, analyze.Fail, analyze.Undecided}).Draw(t, "verdict"),
		Doubts:  analyze.InWords(rapid.String().Draw(t, "reason")),
	}
}

// drawStarts says that cycles began at some times, or that nobody knows.
func drawStarts(t *rapid.T) func(int) (time.Time, error) {
	first := rapid.Int64Range(0, 4e18).Draw(t, "start")
	if rapid.Bool().Draw(t, "unknown") {
		return nil
	}
	return func(n int) (time.Time, error) { return time.Unix(0, first+int64(n)), nil }
}

// Whatever is measured and whatever the texts hold, both formats can be read
// back, say the same as each other, and have no number where there is none. JSON is as its published schema says.
func TestMachineFormats_Property(t *testing.T) {
	t.Parallel()
	published := schemaOf(t, "record")
	rapid.Check(t, func(rt *rapid.T) {
		ms := rapid.SliceOfN(rapid.Custom(drawMeasurement), 0, 8).Draw(rt, "measurements")
		r := &Record{
			Run: rapid.String().Draw(rt, "run"), Unit: rapid.String().Draw(rt, "unit"), Measurements: stream(ms),
			Sequence: rapid.String().Draw(rt, "sequence"), Rig: rapid.String().Draw(rt, "rig"), By: rapid.String().Draw(rt, "by"),
			Complete: rapid.Bool().Draw(rt, "complete"), CycleStart: drawStarts(rt),
		}
		r.Verdict = analyze.RunVerdict(r.Complete, rapid.SampledFrom(analyze.Verdicts[:]).Draw(rt, "verdict"))
		if r.Simulated = rapid.Bool().Draw(rt, "simulated"); r.Simulated {
			r.Faults = rapid.SliceOf(rapid.SampledFrom([]string{"welded", "adc-lost=2 s", "long-bounce=6 ms"})).Draw(rt, "faults")
		}
		var asCSV, asJSON bytes.Buffer
		if err := errors.Join(CSV(&asCSV, r), JSON(&asJSON, r)); err != nil {
			rt.Fatal(err)
		}
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(asJSON.Bytes()))
		if err != nil {
			rt.Fatal(err)
		}
		if err := published.Validate(doc); err != nil {
			rt.Fatalf("%v\n%s", err, asJSON.Bytes())
		}
		rows := readCSV(t, asCSV.Bytes())[1:]
		objects := readJSON(t, asJSON.Bytes())["measurements"].([]any)
		if len(rows) != len(ms) || len(objects) != len(ms) {
			rt.Fatalf("%d measurements gave %d rows and %d objects", len(ms), len(rows), len(objects))
		}
		for i, m := range ms {
			if rows[i][4] != words.Cell(plainText(m.Signal)) || rows[i][12] != words.Cell(plainText(diagnose.Reason(&m))) {
				rt.Fatalf("signal %q, reason %q came back as %q, %q", m.Signal, diagnose.Reason(&m), rows[i][4], rows[i][12])
			}
			if missing := !finite(m.Value); missing != (rows[i][6] == "") {
				rt.Fatalf("value %v was written as %q", m.Value, rows[i][6])
			}
			if diff := cmp.Diff(rows[i], flat(objects[i].(map[string]any))); diff != "" {
				rt.Fatalf("CSV and JSON differ (-csv +json):\n%s", diff)
			}
		}
	})
}

// flat returns an object's members in the order of the columns, null as empty and text as a
// cell has it.
func flat(o map[string]any) []string {
	row := make([]string, len(columnsOf[result]()))
	for i, c := range columnsOf[result]() {
		switch x := o[c].(type) {
		case string:
			row[i] = words.Cell(x)
		case json.Number:
			row[i] = x.String()
		case bool:
			row[i] = strconv.FormatBool(x)
		}
	}
	return row
}

func TestFormats_Faults(t *testing.T) {
	t.Parallel()
	formats := map[string]func(*bytes.Buffer, *Record) error{
		"csv":  func(b *bytes.Buffer, r *Record) error { return CSV(b, r) },
		"json": func(b *bytes.Buffer, r *Record) error { return JSON(b, r) },
		"text": func(b *bytes.Buffer, r *Record) error { return Text(b, r, TextOpts{}) },
	}
	for name, write := range formats {
		t.Run(name, func(t *testing.T) {
			r := invented()
			r.Measurements = broken(3, errDisk)
			var b bytes.Buffer
			err := write(&b, r)
			if !errors.Is(err, errDisk) || !strings.HasPrefix(err.Error(), "read the measurements: ") {
				t.Errorf("error %v; want one that names the place and wraps the cause", err)
			}
		})
	}
}

// full is a writer on a full disk.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errDisk }

func TestFormats_FullDisk(t *testing.T) {
	t.Parallel()
	r := invented()
	for name, err := range map[string]error{
		"csv": CSV(full{}, r), "json": JSON(full{}, r), "text": Text(full{}, r, TextOpts{}),
	} {
		if !errors.Is(err, errDisk) {
			t.Errorf("%s: error %v; want it to wrap the cause", name, err)
		}
	}
}

// BenchmarkFormats writes a record of 100,000 figures.
func BenchmarkFormats(b *testing.B) {
	const figures = 100_000
	ms := inventedFigures()
	r := invented()
	r.Measurements = func(yield func(analyze.Measurement, error) bool) {
		for i := range figures {
			m := ms[i%len(ms)]
			m.Cycle = i/len(ms) + 1
			if !yield(m, nil) {
				return
			}
		}
	}
	for name, write := range map[string]func(io.Writer) error{
		"csv":  func(w io.Writer) error { return CSV(w, r) },
		"json": func(w io.Writer) error { return JSON(w, r) },
		"text": func(w io.Writer) error { return Text(w, r, TextOpts{Width: 100}) },
		"html": func(w io.Writer) error { return HTML(w, r) },
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := write(io.Discard); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// A figure of no cycle, as of an imported capture, has none in either form.
func TestResult_NoCycle(t *testing.T) {
	t.Parallel()
	for cycle, want := range map[int]string{0: "", 1: "1", 12: "12"} {
		at := resultsOf(&Record{}).placeOf(&analyze.Measurement{Cycle: cycle})
		if got := cellsOf(nil, &at)[2]; got != table.Number(want) {
			t.Errorf("cycle %d is written as %q", cycle, got)
		}
	}
}

// A soak that another version went on with has figures of both: each says which measured it.
func TestResult_Program(t *testing.T) {
	t.Parallel()
	r := &Record{Program: "v1", Interruptions: []Interruption{{After: 2}, {After: 3, Program: "v2"}, {After: 3}, {After: 7, Program: "v3"}}}
	x := resultsOf(r)
	for i, want := range []string{"v1", "v1", "v1", "v2", "v2", "v2", "v2", "v3", "v3"} {
		one, err := x.of(&analyze.Measurement{Cycle: i + 1, Value: nan, Expanded: nan, Limit: analyze.NoLimit()})
		if err != nil || one.Program == nil || *one.Program != want {
			t.Errorf("cycle %d: %v, %v, want %s", i+1, one.Program, err, want)
		}
	}
}

// What was known of the computer at a real bench stands in every form.
func TestMachine_Forms(t *testing.T) {
	t.Parallel()
	at := time.Date(2031, 4, 5, 9, 30, 0, 0, time.UTC)
	r := invented()
	r.Machine = []capture.MachineFact{capture.Said(capture.Model, "Board <A> & Co"), capture.Is(capture.BusHz, 250_000), capture.Yes(capture.UnderVoltage, false),
		{Fact: capture.Throttled, Number: nan}, {Fact: capture.UnderVoltage, Number: 1, At: at, After: 2}}
	var text, page, b bytes.Buffer
	if err := errors.Join(Text(&text, r, TextOpts{}), HTML(&page, r), JSON(&b, r)); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Board <A> & Co", "bus, measured 250 kHz", "2031-04-05 09:30:00 UTC, after cycle 2: under-voltage yes"} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("the text does not say %q:\n%s", want, text.String())
		}
		if want = html.EscapeString(want); !strings.Contains(page.String(), want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(b.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	if err := schemaOf(t, "").Validate(doc); err != nil {
		t.Error(err)
	}
	machine := readJSON(t, b.Bytes())["machine"].(map[string]any)
	if machine["model"] != "Board <A> & Co" || machine["under_voltage"] != false || machine["throttled"] != nil || machine["bus_measured_hz"] != json.Number("250000") {
		t.Errorf("%v", machine)
	}
	change := map[string]any{"fact": "under_voltage", "after_cycle": json.Number("2"), "at": "2031-04-05T09:30:00Z", "value": true}
	if diff := cmp.Diff([]any{change}, machine["changes"]); diff != "" {
		t.Errorf("changes (-want +got):\n%s", diff)
	}
}
