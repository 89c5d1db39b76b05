package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/prometheus/common/model"

	"makebreak/analyze"
	"makebreak/analyze/metrics/monitoring"
	"makebreak/rig/capture"
	"makebreak/sequences/journal"
)

// What a workshop asks of its rigs, asked of Debian's Prometheus by PromQL in the words of the
// rules that stand beside the metrics. Each answer is checked against what the log of the rig
// holds itself. One rig is calibrated, one has a relay that misses cycles and bounces for long,
// one is lost. The program also serves the log of one of them while it is written, and a log of
// units tested.
func TestPrometheus(t *testing.T) {
	if testing.Short() {
		t.Skip("starts Prometheus and three soaks")
	}
	t.Parallel()
	dir := t.TempDir()
	due := time.Now().AddDate(0, 0, 10).Format(time.DateOnly)
	rig := calibratedRig(t, dir, due)
	rigs := []*heldRig{
		hold(t, "bench-1", filepath.Join(dir, "1.db"), "armed-high", "--rig", rig, "--seed", "7", "--cycles", "150", "--unit", "INV-1"),
		hold(t, "bench-2", filepath.Join(dir, "2.db"), "relay-only", "--seed", "2", "--cycles", "300", "--fault", "missed-cycle=9", "--fault", "long-bounce=6ms"),
		hold(t, "bench-3", filepath.Join(dir, "3.db"), "relay-only", "--seed", "3", "--cycles", "1000000", "--unit", "INV-3", "--fault", "adc-lost=90s"),
	}
	shop := filepath.Join(dir, "shop.db")
	yields := testedUnits(t, shop)
	targets := map[string]string{"shop": served(t, shop), "bench-2-log": served(t, rigs[1].log)}
	for _, h := range rigs {
		targets[h.name] = h.target
	}
	w := watch(t, targets)
	underWay := w.await(1, `makebreak_log_run_cycles / makebreak_log_run_planned_cycles < 1`)
	if m := underWay[0].Metric; m["instance"] != "bench-2-log" || float64(w.await(1, "makebreak_log_run_planned_cycles")[0].Value) != 300 {
		t.Errorf("under way: %v", underWay)
	}
	// Each rig is scraped while it is held with most of its cycles before it, then goes on.
	w.await(len(rigs), `min by (instance) (count_over_time(makebreak_operate_time_seconds_count[1h])) >= 6`)
	held := time.Now()
	for _, h := range rigs {
		h.release()
	}
	for _, h := range rigs {
		h.awaitResults(t)
	}
	w.awaitScrapes(8)
	at := time.Now()
	asked := &asked{watching: w, held: held, at: at, rules: recorded(t)}
	for _, h := range rigs {
		truth := truthOf(t, h.log)
		t.Run(h.name, func(t *testing.T) { asked.of(t, h.name, truth) })
	}
	t.Run("yield", func(t *testing.T) { asked.yield(t, yields) })
	t.Run("lost", func(t *testing.T) { asked.lost(t) })
	t.Run("calibration", func(t *testing.T) { asked.calibration(t, due) })
	t.Run("dashboard", func(t *testing.T) { asked.board(t) })
	for _, h := range rigs {
		want := map[string]int{"bench-1": exitPass, "bench-2": exitFail, "bench-3": exitRig}[h.name]
		if status := h.end(t); status != want {
			t.Errorf("%s: exit status %d, want %d", h.name, status, want)
		}
	}
	w.await(len(rigs), `ALERTS{alertname="MakebreakNotAnswering"}`)
}

// What an alert says to type is a command of the program.
func TestPrometheus_Commands(t *testing.T) {
	t.Parallel()
	text, err := monitoring.Files.ReadFile("makebreak.rules.yml")
	if err != nil {
		t.Fatal(err)
	}
	told := regexp.MustCompile(`makebreak ((?:report|runs|rig|soak|run) ?[a-z]*)`).FindAllStringSubmatch(string(text), -1)
	for _, m := range told {
		words := strings.Fields(m[1])
		c, _, err := (&app{}).root().Find(words)
		if err != nil || c.Name() != words[len(words)-1] && (c.Name() != words[0] || c.HasSubCommands()) {
			t.Errorf("%q: %v", m[0], err)
		}
	}
	if len(told) < 5 {
		t.Errorf("%d commands are told", len(told))
	}
}

// calibratedRig writes a rig with a calibration that falls due on a day.
func calibratedRig(t *testing.T, dir, due string) string {
	t.Helper()
	path, points := filepath.Join(dir, "shelf.yaml"), filepath.Join(dir, "points.yaml")
	script := documentText(t, filepath.Join(root, "testdata", "script", "calibrate.txtar"))
	for name, to := range map[string]string{"shelf.yaml": path, "points.yaml": points} {
		_, text, found := strings.Cut(script, "-- "+name+" --\n")
		if !found {
			t.Fatalf("the script has no %s", name)
		}
		text, _, _ = strings.Cut(text, "\n-- ")
		text = regexp.MustCompile(`(?m)^date: .*$`).ReplaceAllString(text, "date: "+time.Now().AddDate(0, 0, -5).Format(time.DateOnly))
		text = regexp.MustCompile(`(?m)^due: .*$`).ReplaceAllString(text, "due: "+due)
		if err := os.WriteFile(to, []byte(text+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if status, _, errs := run(t, "rig", "calibrate", "OUT3", "--rig", path, "--points", points, "--seed", "7"); status != exitPass {
		t.Fatalf("calibrate: exit status %d: %s", status, errs)
	}
	return path
}

// testedUnits fills a log with units tested, and returns the first-pass yield of each sequence.
func testedUnits(t *testing.T, log string) map[string]float64 {
	t.Helper()
	for _, x := range []struct{ sequence, unit, fault string }{
		{"relay-only", "A", "dead-relay"}, {"relay-only", "A", ""}, // repaired: it did not pass at once
		{"relay-only", "B", ""}, {"relay-only", "B", "welded"}, // passed at once, whatever came later
		{"relay-only", "C", ""}, {"relay-only", "D", ""},
		{"armed-high", "A", "stuck-low"}, {"armed-high", "E", ""}, {"armed-high", "", "stuck-low"},
	} {
		args := []string{"run", x.sequence, "--cycles", "1", "--seed", "1", "--log", log, "--quiet"}
		if x.unit != "" {
			args = append(args, "--unit", x.unit)
		}
		want := exitPass
		if x.fault != "" {
			args, want = append(args, "--fault", x.fault), exitFail
		}
		if status, _, errs := run(t, args...); status != want {
			t.Fatalf("%v: exit status %d: %s", args, status, errs)
		}
	}
	return map[string]float64{"relay-only": 3.0 / 4, "armed-high": 1.0 / 2}
}

// truth is what the log of a rig holds.
type truth struct {
	*journal.RunRecord
	symptoms map[[2]string]float64                    // how often, by signal and kind
	limits   map[analyze.Quantity]analyze.Limit       // of relays and contacts
	figures  map[analyze.Quantity]map[place][]float64 // those that were followed, in their order
	verdicts map[analyze.Verdict]float64              // cycles
}

// place is where a figure was measured.
type place struct{ signal, event string }

func truthOf(t *testing.T, log string) *truth {
	t.Helper()
	db, err := journal.OpenRead(log)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = db.Close() })
	rec, err := db.Find("last")
	if err != nil {
		t.Fatal(err)
	}
	x := &truth{RunRecord: rec, symptoms: map[[2]string]float64{}, limits: map[analyze.Quantity]analyze.Limit{},
		figures: map[analyze.Quantity]map[place][]float64{}, verdicts: map[analyze.Verdict]float64{}}
	for m, err := range rec.Measurements() {
		if err != nil {
			t.Fatal(err)
		}
		x.limits[m.Quantity] = m.Limit
		if m.Followed() && !math.IsNaN(m.Value) {
			if x.figures[m.Quantity] == nil {
				x.figures[m.Quantity] = map[place][]float64{}
			}
			at := place{m.Signal, m.Event}
			x.figures[m.Quantity][at] = append(x.figures[m.Quantity][at], m.Value)
		}
	}
	for s, err := range rec.Symptoms() {
		if err != nil {
			t.Fatal(err)
		}
		x.symptoms[[2]string{s.Signal, string(s.Kind)}]++
	}
	for c, err := range rec.CycleInfos() {
		if err != nil {
			t.Fatal(err)
		}
		x.verdicts[analyze.RunVerdict(c.Complete, c.Verdict)]++
	}
	return x
}

// recorded are the rules' expressions by name, in which no other rule's name is left.
func recorded(t *testing.T) map[string]string {
	t.Helper()
	var file struct {
		Groups []struct {
			Rules []struct{ Record, Alert, Expr string }
		}
	}
	text, err := monitoring.Files.ReadFile("makebreak.rules.yml")
	if err == nil {
		err = yaml.Unmarshal(text, &file)
	}
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]string{}
	for _, g := range file.Groups {
		for _, r := range g.Rules {
			expr := r.Expr
			for record, meaning := range all {
				expr = regexp.MustCompile(regexp.QuoteMeta(record)+`\b`).ReplaceAllLiteralString(expr, "("+meaning+")")
			}
			if r.Record != "" {
				all[r.Record] = expr
			}
		}
	}
	return all
}

// asked asks for all as it was at one instant, when the soaks had ended. At another they were
// held.
type asked struct {
	*watching
	held  time.Time
	at    time.Time
	rules map[string]string
}

// one asks for the one value of an expression.
func (a *asked) one(t *testing.T, expr string) float64 {
	t.Helper()
	v := a.ask(expr, a.at)
	if len(v) != 1 {
		t.Fatalf("%s: %v, want one value", expr, v)
	}
	return float64(v[0].Value)
}

// near reports whether two figures are the same but for the rounding of sums.
func near(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(1e-3, math.Abs(b)) }

// of asks for what is to be known of one rig.
func (a *asked) of(t *testing.T, rig string, truth *truth) {
	of := fmt.Sprintf(`job="makebreak",instance=%q`, rig)
	for v, n := range truth.verdicts {
		if got := a.one(t, fmt.Sprintf("makebreak_cycles_total{%s,verdict=%q}", of, v.Name())); got != n {
			t.Errorf("%g cycles are %s, the log has %g", got, v.Name(), n)
		}
	}
	end := a.ask(fmt.Sprintf("makebreak_run_verdict{%s} == 1", of), a.at)
	if len(end) != 1 || string(end[0].Metric["verdict"]) != truth.Verdict.Name() {
		t.Errorf("verdict %v, the log has %s", end, truth.Verdict.Name())
	}
	symptoms := map[[2]string]float64{}
	for _, s := range a.ask(fmt.Sprintf("makebreak_symptoms_total{%s}", of), a.at) {
		symptoms[[2]string{string(s.Metric["signal"]), string(s.Metric["kind"])}] = float64(s.Value)
	}
	if fmt.Sprint(symptoms) != fmt.Sprint(truth.symptoms) {
		t.Errorf("symptoms %v, the log has %v", symptoms, truth.symptoms)
	}
	a.pace(t, of, truth)
	for at, values := range truth.figures[analyze.OperateTime] {
		a.drift(t, of, at, values)
		limit := a.one(t, fmt.Sprintf(`makebreak_operate_time_limit_seconds{%s,signal=%q,event=%q,bound="max"}`, of, at.signal, at.event))
		if limit != truth.limits[analyze.OperateTime].Upper {
			t.Errorf("limit %g, the log has %g", limit, truth.limits[analyze.OperateTime].Upper)
		}
	}
	for at, values := range truth.figures[analyze.BounceTime] {
		a.bounce(t, of, at, values)
	}
	series := a.one(t, fmt.Sprintf("scrape_samples_scraped{%s}", of))
	t.Logf("%s: %d cycles of %s, %g series", rig, truth.Cycles, truth.Sequence, series)
}

// spread is by how much Prometheus may make an increase larger than what it saw: up to 1.1
// scrapes at either end.
func spread(h model.Matrix) float64 { return 1 + 2.2/float64(len(h[0].Values)-1) }

// pace asks for cycles an hour: those of the last 5 minutes, twelvefold.
func (a *asked) pace(t *testing.T, of string, truth *truth) {
	t.Helper()
	seen := a.history(fmt.Sprintf(`makebreak_cycles_total{%s,verdict="pass"}`, of), a.at)
	all := 0.0
	for _, n := range truth.verdicts {
		all += n
	}
	before := 0.0
	for _, s := range a.history(fmt.Sprintf(`makebreak_cycles_total{%s}`, of), a.at) {
		before += float64(s.Values[0].Value)
	}
	const name = "instance:makebreak_cycles:rate5m"
	a.await(1, fmt.Sprintf("%s{%s}", name, of))
	got := a.one(t, fmt.Sprintf("3600 * (%s)", strings.ReplaceAll(a.rules[name], "makebreak_cycles_total", "makebreak_cycles_total{"+of+"}")))
	if least := 12 * (all - before); got < least*(1-1e-9) || got > least*spread(seen) || least <= 0 {
		t.Errorf("%g cycles an hour, the log has %g in five minutes after the first %g", got, all-before, before)
	}
}

// drift asks by how much the mean of the last figures is off that of all.
func (a *asked) drift(t *testing.T, of string, at place, values []float64) {
	t.Helper()
	labels := fmt.Sprintf("%s,signal=%q,event=%q", of, at.signal, at.event)
	seen := a.history("makebreak_operate_time_seconds_count{"+labels+"}", a.at)[0].Values
	first, last := int(seen[0].Value), int(seen[len(seen)-1].Value)
	if last != len(values) || first < 1 || first >= last {
		t.Fatalf("%v: %d to %d figures were scraped, the log has %d", at, first, last, len(values))
	}
	want := mean(values[first:]) - mean(values)
	for name, want := range map[string]float64{
		"instance_signal_event:makebreak_operate_time_seconds:mean":    mean(values),
		"instance_signal_event:makebreak_operate_time_seconds:mean1h":  mean(values[first:]),
		"instance_signal_event:makebreak_operate_time_seconds:drift1h": want,
	} {
		a.await(1, name+"{"+labels+"}")
		if got := a.one(t, a.expr(name, labels)); !near(got, want) {
			t.Errorf("%s of %v is %g, by the log's figures %d to %d it is %g", name, at, got, first+1, last, want)
		}
	}
}

// expr is what a rule of a figure says, for the labels alone.
func (a *asked) expr(name, labels string) string {
	return regexp.MustCompile(`\b(makebreak_[a-z_]+)(\[|\)| |$)`).ReplaceAllString(a.rules[name], "${1}{"+labels+"}${2}")
}

func mean(values []float64) float64 {
	sum := 0.0
	for _, x := range values {
		sum += x
	}
	return sum / float64(len(values))
}

// bounce asks for the bounce time that 99 % stay below. Of all figures the answer must lie
// in the bucket in which the log's own does; of those since the first scrape it may be off by
// what Prometheus adds to an increase.
func (a *asked) bounce(t *testing.T, of string, at place, values []float64) {
	t.Helper()
	labels := fmt.Sprintf("%s,signal=%q,event=%q", of, at.signal, at.event)
	buckets := a.history("makebreak_bounce_time_seconds_bucket{"+labels+"}", a.at)
	bounds := []float64{0}
	first := 0
	for _, b := range buckets {
		bound, at := math.Inf(1), b.Values
		if le := string(b.Metric["le"]); le != "+Inf" {
			if _, err := fmt.Sscan(le, &bound); err != nil {
				t.Fatal(err)
			}
		} else {
			first = int(at[0].Value)
		}
		below := 0
		for _, x := range values {
			if x <= bound {
				below++
			}
		}
		if int(at[len(at)-1].Value) != below {
			t.Errorf("%v: %v changes bounce for %g s at most, the log has %d", at, at[len(at)-1].Value, bound, below)
		}
		bounds = append(bounds, bound)
	}
	slices.Sort(bounds)
	bucketOf := func(x float64) (float64, float64) {
		i, _ := slices.BinarySearch(bounds[1:], x)
		return bounds[i], bounds[min(i+1, len(bounds)-2)] // of the last bucket Prometheus gives the lower bound
	}
	quantile := func(values []float64, share float64) float64 {
		sorted := slices.Sorted(slices.Values(values))
		return sorted[min(len(sorted), int(math.Ceil(share*float64(len(sorted)))))-1]
	}
	low, high := bucketOf(quantile(values, 0.99))
	if got := a.one(t, "histogram_quantile(0.99, makebreak_bounce_time_seconds_bucket{"+labels+"})"); got < low || got > high {
		t.Errorf("99 %% of all bounces of %v are below %g s, by the log it is %g to %g s", at, got, low, high)
	}
	if len(values)-first < 100 {
		return // a bounce that is rare
	}
	const name = "instance_signal_event:makebreak_bounce_time_seconds:p99_1h"
	a.await(1, name+"{"+labels+"}")
	off := spread(buckets)
	low, _ = bucketOf(quantile(values[first:], 0.99/off))
	_, high = bucketOf(quantile(values[first:], math.Min(1, 0.99*off)))
	if got := a.one(t, a.expr(name, labels)); got < low || got > high {
		t.Errorf("99 %% of the bounces of %v since figure %d are below %g s, by the log it is %g to %g s", at, first, got, low, high)
	}
}

// yield asks for the first-pass yield by sequence.
func (a *asked) yield(t *testing.T, want map[string]float64) {
	a.await(1, `makebreak_log_runs_in_progress{instance="bench-2-log"} == 0`)
	const name = "sequence:makebreak_first_pass_yield:ratio"
	a.await(len(want), name)
	got := map[string]float64{}
	for _, v := range a.ask(a.rules[name], a.at) {
		if v.Metric["simulated"] != "true" {
			t.Errorf("%v was not simulated", v)
		}
		got[string(v.Metric["sequence"])] = float64(v.Value)
	}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("first-pass yield %v, the log has %v", got, want)
	}
}

// lost asks which rig does not answer.
func (a *asked) lost(t *testing.T) {
	v := a.ask("makebreak_rig_lost == 1", a.at)
	if len(v) != 1 || v[0].Metric["instance"] != "bench-3" {
		t.Errorf("lost: %v", v)
	}
	alert := a.await(1, `ALERTS{alertname="MakebreakRigLost"}`)
	if m := alert[0].Metric; m["unit"] != "INV-3" || m["sequence"] != "relay-only" {
		t.Errorf("the alert is %v", m)
	}
}

// calibration asks when calibrations fall due.
func (a *asked) calibration(t *testing.T, due string) {
	day, err := time.ParseInLocation(time.DateOnly, due, time.Local)
	if err != nil {
		t.Fatal(err)
	}
	v := a.ask("makebreak_calibration_due_timestamp_seconds", a.at)
	if len(v) != 1 || float64(v[0].Value) != float64(day.Unix()) || v[0].Metric["signal"] != "OUT3" {
		t.Errorf("due %v, want %d", v, day.Unix())
	}
	left := a.one(t, a.rules["instance_signal:makebreak_calibration_due:days"])
	if want := float64(day.UnixMilli()-a.at.UnixMilli()) / 86400e3; math.Abs(left-want) > 1e-6 {
		t.Errorf("%g days left, want %g", left, want)
	}
	a.await(1, `ALERTS{alertname="MakebreakCalibrationDue",alertstate="firing",signal="OUT3"}`)
	state := a.ask(`makebreak_calibration_info{instance="bench-1",signal="OUT3"}`, a.at)
	if len(state) != 1 || string(state[0].Metric["state"]) != string(capture.InDate) || state[0].Metric["meter"] != "4711" {
		t.Errorf("calibrations %v", state)
	}
}

// board asks for all that the dashboard shows, and each has data while a run goes on or after it.
func (a *asked) board(t *testing.T) {
	var board struct {
		Panels []struct {
			Title   string
			Targets []struct{ Expr string }
		}
	}
	text, err := monitoring.Files.ReadFile("makebreak-rigs.json")
	if err == nil {
		err = json.Unmarshal(text, &board)
	}
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, p := range board.Panels {
		for _, target := range p.Targets {
			n++
			has := func(at time.Time) bool {
				v := a.ask(strings.ReplaceAll(target.Expr, "$rig", ".+"), at)
				return slices.ContainsFunc(v, func(s *model.Sample) bool { return !math.IsNaN(float64(s.Value)) })
			}
			if !has(a.at) && !has(a.held) {
				t.Errorf("%s: %s has no data", p.Title, target.Expr)
			}
		}
	}
	if n < 25 {
		t.Errorf("the dashboard asks for %d things", n)
	}
}
