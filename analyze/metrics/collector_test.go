package metrics

import (
	"bytes"
	"flag"
	"fmt"
	"io"
	"math"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/prometheus/client_golang/prometheus/testutil"
	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"

	"makebreak/analyze"
	"makebreak/rig/capture"
	"makebreak/testdata/tool"
)

var update = flag.Bool("update", false, "write the golden files anew")

var nan = math.NaN()

// golden compares with a file under the top-level testdata/golden.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("..", "..", "testdata", "golden", name)
	if *update {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v; go test -update writes it", err)
	}
	if !bytes.Equal(want, got) {
		t.Errorf("%s differs (-want +got):\n%s", path, cmp.Diff(string(want), string(got)))
	}
}

// figure is a measurement that matters here.
func figure(q analyze.Quantity, signal, event string, value float64, v analyze.Verdict) analyze.Measurement {
	return analyze.Measurement{Cycle: 1, Event: event, Signal: signal, Quantity: q, Value: value, Expanded: nan, Limit: analyze.NoLimit(), Verdict: v}
}

func limited(m analyze.Measurement, lower, upper float64) analyze.Measurement {
	m.Limit = analyze.Limit{Lower: lower, Upper: upper}
	return m
}

// fed is a collector that saw two cycles of a unit that does not exist.
func fed() *Collector {
	c := NewCollector(Opts{Now: func() time.Time { return time.UnixMilli(1_933_000_000_250) }})
	c.SetRun(Run{Name: "2031-04-05-invent.1", ID: "01960a3c-0000-7000-8000-000000000001", Unit: `INV-"42"\`, Sequence: "armed-high", Program: "v0",
		Rig: "training bench", Simulated: true, Faults: []string{"adc-lost=2s", "welded"}, Planned: 5})
	c.SetRunning(true)
	c.SetCalibrations([]capture.Calibration{
		{Output: "OUT3", State: capture.InDate, Meter: "M-1", Made: "2031-03-31", Due: "2032-03-31"},
		{Output: "OUT4", State: capture.NotCalibrated},
	})
	c.ObserveCycle(1, analyze.Pass, analyze.Result{Measurements: []analyze.Measurement{
		limited(figure(analyze.SwitchingDelay, "OUT3", "arm-away", 0.142, analyze.Pass), nan, 0.5),
		limited(figure(analyze.BounceTime, "K1_NO", "disarm", 0.0013, analyze.Pass), nan, 0.005),
		limited(figure(analyze.HighLevel, "OUT4", "arm-away", 13.1, analyze.Pass), 12, 14.5),
		limited(figure(analyze.Ripple, "OUT4", "arm-away", 0.1, analyze.Pass), nan, 0.5),
		figure(analyze.HighLevel, "OUT3", "arm-away", 13.2, analyze.Pass),
		figure(analyze.LowLevel, "OUT3", "disarm", 0.02, analyze.Pass),
		limited(figure(analyze.OperateTime, "K1", "arm-away", 0.0062, analyze.Pass), nan, 0.015),
		limited(figure(analyze.ReleaseTime, "K1", "disarm", 0.0041, analyze.Pass), nan, 0.01),
		figure(analyze.BounceTime, "K1_NO", "arm-away", 0.0013, analyze.NoVerdict),
		figure(analyze.BounceCount, "K1_NO", "arm-away", 4, analyze.NoVerdict),
	}}, capture.Counts{})
	c.ObserveCycle(2, analyze.Fail, analyze.Result{Measurements: []analyze.Measurement{
		limited(figure(analyze.SwitchingDelay, "OUT3", "arm-away", nan, analyze.Fail), nan, 0.5),
		figure(analyze.LowLevel, "OUT3", "arm-away", 0.03, analyze.Undecided),
		figure(analyze.HighLevel, "OUT3", "arm-away", nan, analyze.Fail),
	}, Symptoms: []analyze.Symptom{{Signal: "OUT3", Kind: analyze.DidNotMove}, {Signal: "OUT3", Kind: analyze.DidNotMove}, {Signal: "K1", Kind: analyze.RelayStill}},
	}, capture.Counts{MissedConversions: 5, DoubledConversions: 4, BusErrors: 3, LostEdges: 2, ChipResets: 1, LostReadyEdges: 6})
	c.SetVerdict(analyze.Fail)
	c.SetRigLost(true)
	c.Interrupted()
	return c
}

func scrape(t *testing.T, c *Collector) []byte {
	t.Helper()
	w := httptest.NewRecorder()
	c.Handler().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	if w.Code != 200 {
		t.Fatalf("status %d: %s", w.Code, w.Body)
	}
	return w.Body.Bytes()
}

// scrapeNow scrapes past the shared rendering.
func scrapeNow(t *testing.T, c *Collector) []byte {
	t.Helper()
	text, err := exposition(c.Gatherer())
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// parsed reads an exposition with the parser of the Prometheus project.
func parsed(t *testing.T, text []byte) map[string]*dto.MetricFamily {
	t.Helper()
	p := expfmt.NewTextParser(model.UTF8Validation)
	families, err := p.TextToMetricFamilies(bytes.NewReader(text))
	if err != nil {
		t.Fatalf("the exposition cannot be parsed: %v\n%s", err, text)
	}
	return families
}

func TestCollector_Golden(t *testing.T) { golden(t, "metrics.txt", scrape(t, fed())) }

func TestCollector_GoldenFresh(t *testing.T) {
	t.Parallel()
	golden(t, "metrics-fresh.txt", scrape(t, NewCollector(Opts{})))
}

// A bound is no value: it is in no histogram.
func TestCollector_Bounds(t *testing.T) {
	t.Parallel()
	c := NewCollector(Opts{})
	bound := figure(analyze.BounceTime, "K1_NO", "arm-away", 0.0013, analyze.Undecided)
	bound.Doubts = []analyze.Doubt{{Code: analyze.EdgesMissing}, {Code: analyze.AtLeast}}
	c.ObserveCycle(1, analyze.Undecided, analyze.Result{Measurements: []analyze.Measurement{bound, figure(analyze.BounceTime, "K1_NO", "arm-away", 0.0011, analyze.Pass)}}, capture.Counts{})
	f := parsed(t, scrape(t, c))
	h := f[bounceTime].GetMetric()[0].GetHistogram()
	if n := f[missingTotal].GetMetric()[0].GetCounter().GetValue(); h.GetSampleCount() != 1 || h.GetSampleSum() != 0.0011 || n != 1 {
		t.Errorf("%d values of the sum %g, %g left out", h.GetSampleCount(), h.GetSampleSum(), n)
	}
}

// The README has this table.
func TestTable_Golden(t *testing.T) {
	golden(t, "metrics-table.md", []byte(tableOf(catalogue)))
	golden(t, "metrics-log-table.md", []byte(tableOf(logCatalogue)))
}

// tableOf returns metrics as a Markdown table.
func tableOf(all []spec) string {
	var b strings.Builder
	b.WriteString("| metric | type | labels | meaning |\n| --- | --- | --- | --- |\n")
	for _, s := range all {
		labels := ""
		if len(s.labels) > 0 {
			labels = "`" + strings.Join(s.labels, "`, `") + "`"
		}
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s |\n", s.name, s.kind, labels, s.help)
	}
	return b.String()
}

// What the scrape says, read back with an outside parser.
func TestCollector_ParsesBack(t *testing.T) {
	t.Parallel()
	f := parsed(t, scrape(t, fed()))
	if len(f) != len(catalogue) {
		t.Errorf("%d metrics; the catalogue has %d", len(f), len(catalogue))
	}
	for _, s := range catalogue {
		if got := f[s.name]; got == nil || strings.ToLower(got.GetType().String()) != string(s.kind) || got.GetHelp() != s.help {
			t.Errorf("%s came back as %v", s.name, got)
		}
	}
	h := f[switchingDelay].GetMetric()[0].GetHistogram()
	if h.GetSampleCount() != 1 || h.GetSampleSum() != 0.142 {
		t.Errorf("switching delay: %d observed, sum %v; want the one that was measured", h.GetSampleCount(), h.GetSampleSum())
	}
	for name, want := range map[string]float64{
		missingTotal: 2, missedConversions: 5, doubledConversions: 4, busErrors: 3, lostEdges: 2, chipResets: 1,
	} {
		if got := f[name].GetMetric()[0].GetCounter().GetValue(); got != want {
			t.Errorf("%s = %v; want %v", name, got, want)
		}
	}
	if got := f[lastCycleTimestamp].GetMetric()[0].GetGauge().GetValue(); got != 1_933_000_000.25 {
		t.Errorf("last cycle at %v", got)
	}
	labels := map[string]string{}
	for _, l := range f[runInfo].GetMetric()[0].GetLabel() {
		labels[l.GetName()] = l.GetValue()
	}
	if diff := cmp.Diff(map[string]string{"run": "2031-04-05-invent.1", "run_id": "01960a3c-0000-7000-8000-000000000001", "unit": `INV-"42"\`,
		"sequence": "armed-high", "rig": "training bench", "simulated": "true", "faults": "adc-lost=2s welded", "version": "v0"}, labels); diff != "" {
		t.Errorf("what the run is (-want +got):\n%s", diff)
	}
	for name, want := range map[string]float64{lastCycleNumber: 2, plannedCycles: 5} {
		if got := f[name].GetMetric()[0].GetGauge().GetValue(); got != want {
			t.Errorf("%s = %v, want %v", name, got, want)
		}
	}
}

func TestCollector_MissingIsNotObserved(t *testing.T) {
	t.Parallel()
	c := NewCollector(Opts{})
	var ms []analyze.Measurement
	for _, q := range analyze.Quantities() {
		ms = append(ms, figure(q, "X", "arm", nan, analyze.Undecided), figure(q, "X", "arm", math.Inf(1), analyze.Undecided))
	}
	c.ObserveCycle(1, analyze.Undecided, analyze.Result{Measurements: ms}, capture.Counts{})
	f := parsed(t, scrape(t, c))
	for _, name := range []string{switchingDelay, operateTime, releaseTime, bounceTime, outputLevel} {
		if f[name] != nil {
			t.Errorf("%s is there, and nothing was measured: %v", name, f[name])
		}
	}
	if got := testutil.ToFloat64(c.counters[missingTotal].WithLabelValues()); got != float64(len(ms)) {
		t.Errorf("%v missing; want %d", got, len(ms))
	}
}

func TestCollector_RunIsReplaced(t *testing.T) {
	t.Parallel()
	c := fed()
	c.SetRun(Run{Name: "2", Unit: "INV-2", Sequence: "other", Program: "v0"})
	c.SetRunning(false)
	f := parsed(t, scrape(t, c))
	if n := len(f[runInfo].GetMetric()); n != 1 {
		t.Errorf("%d runs are named; want one", n)
	}
	for _, name := range []string{outputLevel, lastCycleNumber, plannedCycles} {
		if f[name] != nil {
			t.Errorf("%s of the run before is still shown", name)
		}
	}
	if got := testutil.ToFloat64(c.counters[cyclesTotal].WithLabelValues("pass")); got != 1 {
		t.Errorf("passed cycles fell to %v: a counter never falls", got)
	}
	if got := testutil.ToFloat64(c.gauges[runInProgress].WithLabelValues()); got != 0 {
		t.Errorf("run in progress = %v; want 0", got)
	}
}

// A gauge of a limit is what the last figure was judged by.
func TestCollector_Limits(t *testing.T) {
	t.Parallel()
	c := NewCollector(Opts{})
	judge := func(lower, upper float64) map[string]float64 {
		t.Helper()
		c.ObserveCycle(1, analyze.Pass, analyze.Result{Measurements: []analyze.Measurement{
			limited(figure(analyze.OperateTime, "K1", "arm", 0.006, analyze.Pass), lower, upper)}}, capture.Counts{})
		bounds := map[string]float64{}
		for _, m := range parsed(t, scrapeNow(t, c))[operateLimit].GetMetric() {
			for _, l := range m.GetLabel() {
				if l.GetName() == "bound" {
					bounds[l.GetValue()] = m.GetGauge().GetValue()
				}
			}
		}
		return bounds
	}
	for _, x := range []struct {
		lower, upper float64
		want         map[string]float64
	}{
		{nan, nan, map[string]float64{}},
		{nan, 0.015, map[string]float64{"max": 0.015}},
		{0.001, 0.015, map[string]float64{"min": 0.001, "max": 0.015}},
		{0.002, nan, map[string]float64{"min": 0.002}},
		{nan, nan, map[string]float64{}},
	} {
		if diff := cmp.Diff(x.want, judge(x.lower, x.upper)); diff != "" {
			t.Errorf("%g, %g (-want +got):\n%s", x.lower, x.upper, diff)
		}
	}
	judge(nan, 1)
	c.SetRun(Run{})
	if n := len(parsed(t, scrapeNow(t, c))[operateLimit].GetMetric()); n != 0 {
		t.Errorf("another run has %d limits of the one before", n)
	}
}

// Of all verdicts one is the run's, and a calibration's state is that of the day.
func TestCollector_Present(t *testing.T) {
	t.Parallel()
	c := NewCollector(Opts{Now: func() time.Time { return time.Date(2031, 4, 5, 12, 0, 0, 0, time.FixedZone("", 2*3600)) }})
	x := capture.Calibration{Output: "OUT1", State: capture.InDate, Meter: "M-1", Made: "2031-04-01", Due: "2031-04-06"}
	for _, day := range []string{"2031-04-05", "2031-04-06"} {
		c.SetCalibrations([]capture.Calibration{x.On(day)})
		c.SetVerdict(analyze.Incomplete)
		f := parsed(t, scrapeNow(t, c))
		if m := f[calibrationInfo].GetMetric(); len(m) != 1 {
			t.Errorf("%s: %v", day, m)
		}
		if got, want := f[calibrationDue].GetMetric()[0].GetGauge().GetValue(), float64(time.Date(2031, 4, 5, 22, 0, 0, 0, time.UTC).Unix()); got != want {
			t.Errorf("%s: due at %g, want %g", day, got, want)
		}
		sum := 0.0
		for _, m := range f[runVerdict].GetMetric() {
			sum += m.GetGauge().GetValue()
		}
		if got := testutil.ToFloat64(c.gauges[runVerdict].WithLabelValues("incomplete")); got != 1 || sum != 1 {
			t.Errorf("incomplete is %g, all verdicts %g", got, sum)
		}
	}
}

// Names from outside that are no valid UTF-8 must not bring the program down.
func TestCollector_InvalidNames(t *testing.T) {
	t.Parallel()
	c := NewCollector(Opts{})
	c.SetRun(Run{"\xff", "\xff", "\xff", "\xff", "\xff", "\xff", true, []string{"\xff"}, 1})
	c.ObserveCycle(1, "odd", analyze.Result{Measurements: []analyze.Measurement{
		figure(analyze.SwitchingDelay, "\xff", "\xfe", 1, "odd"), figure(analyze.LowLevel, "\xff", "", 1, ""),
	}}, capture.Counts{})
	parsed(t, scrape(t, c))
	if got := testutil.ToFloat64(c.counters[cyclesTotal].WithLabelValues("none")); got != 1 {
		t.Errorf("an unknown verdict counted %v times as none; want 1", got)
	}
}

func TestCollector_Lint(t *testing.T) {
	t.Parallel()
	problems, err := testutil.GatherAndLint(fed().Gatherer())
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
}

// promtool, the Prometheus project's own checker, has nothing to say.
func TestCollector_Promtool(t *testing.T) {
	t.Parallel()
	promtool(t, scrape(t, fed()), "check", "metrics")
}

// promtool runs it with a text at its input. It must have nothing to say.
func promtool(t *testing.T, input []byte, args ...string) {
	t.Helper()
	cmd := exec.Command(tool.Find(t, "promtool"), args...)
	cmd.Stdin = bytes.NewReader(input)
	if out, err := cmd.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("promtool %s: %v\n%s", strings.Join(args, " "), err, out)
	}
}

// Scrapes while cycles come in: for the race detector; every scrape parses and
// names one run.
func TestCollector_Concurrent(t *testing.T) {
	t.Parallel()
	const writers, cycles = 4, 200
	c := NewCollector(Opts{})
	c.SetRun(Run{Name: "0", Unit: "INV-0"})
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			for i := range cycles {
				c.SetRun(Run{Name: strconv.Itoa(w*cycles + i), Unit: "INV-1"})
				c.ObserveCycle(1, analyze.Pass, analyze.Result{Measurements: []analyze.Measurement{
					figure(analyze.SwitchingDelay, "OUT1", "arm", 0.1, analyze.Pass),
					figure(analyze.HighLevel, "OUT1", "arm", float64(i), analyze.Pass),
				}}, capture.Counts{LostEdges: 1})
			}
		})
	}
	for range 20 {
		if f := parsed(t, scrape(t, c)); len(f[runInfo].GetMetric()) != 1 {
			t.Errorf("a scrape names %d runs; want one", len(f[runInfo].GetMetric()))
		}
	}
	wg.Wait()
	f := parsed(t, scrape(t, c))
	if got := f[switchingDelay].GetMetric()[0].GetHistogram().GetSampleCount(); got != writers*cycles {
		t.Errorf("%d delays were observed; want %d", got, writers*cycles)
	}
	if got := f[lostEdges].GetMetric()[0].GetCounter().GetValue(); got != writers*cycles {
		t.Errorf("%v edges were lost; want %d", got, writers*cycles)
	}
}

func TestWriteFile(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "makebreak.prom")
	if err := os.WriteFile(path, []byte("old"), 0o600); err != nil {
		t.Fatal(err)
	}
	c := fed()
	if err := WriteFile(path, c.Gatherer()); err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(scrape(t, c)), string(got)); diff != "" {
		t.Errorf("the file differs from the scrape (-scrape +file):\n%s", diff)
	}
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if info.Mode().Perm() != 0o644 {
		t.Errorf("mode %v; want 0644", info.Mode())
	}
	onlyFile(t, path)
}

// onlyFile fails where something else is left beside the file.
func onlyFile(t *testing.T, path string) {
	t.Helper()
	all, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		t.Fatal(err)
	}
	if len(all) != 1 || all[0].Name() != filepath.Base(path) {
		t.Errorf("the folder holds %v; want %s alone", all, filepath.Base(path))
	}
}

// failing gathers nothing.
type failing struct{}

func (failing) Gather() ([]*dto.MetricFamily, error) { return nil, io.ErrUnexpectedEOF }

// A file that cannot be written whole stays as it was.
func TestWriteFile_Faults(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "makebreak.prom")
	if err := os.WriteFile(path, []byte("old"), 0o644); err != nil {
		t.Fatal(err)
	}
	err := WriteFile(path, failing{})
	if err == nil || !strings.HasPrefix(err.Error(), path+": write the metrics: ") {
		t.Errorf("error %v; want one that names the file", err)
	}
	if got, _ := os.ReadFile(path); string(got) != "old" {
		t.Errorf("the file now holds %q", got)
	}
	onlyFile(t, path)
	if err := WriteFile(filepath.Join(filepath.Dir(path), "absent", "x.prom"), fed().Gatherer()); err == nil {
		t.Error("a file in a folder that is not there was written")
	}
}

func BenchmarkObserveCycle(b *testing.B) {
	c := NewCollector(Opts{})
	var ms []analyze.Measurement
	for i := range 16 {
		for _, q := range analyze.Quantities() {
			ms = append(ms, figure(q, "OUT"+strconv.Itoa(i), "arm", 0.01, analyze.Pass))
		}
	}
	for b.Loop() {
		c.ObserveCycle(1, analyze.Pass, analyze.Result{Measurements: ms}, capture.Counts{})
	}
	b.ReportMetric(float64(len(ms)), "figures/op")
}
