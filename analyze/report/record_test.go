package report

import (
	"errors"
	"iter"
	"math"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

var nan = math.NaN()

func seed(n uint64) *uint64 { return &n }

// invented is a record of a unit that does not exist. It holds what records
// hold at their worst: missing values, undecided ones, and texts with commas,
// quotes, line ends and letters beyond ASCII.
func invented() *Record {
	ms := inventedFigures()
	return &Record{
		Run: "2031-04-05-001", Unit: "INV-0042", Sequence: "armed-high",
		About: "High while the panel is armed in either way, low while it is disarmed.",
		By:    "Zoë Müller", Rig: "training bench",
		Started: time.Date(2031, 4, 5, 9, 30, 0, 0, time.FixedZone("", 2*3600)),
		Cycles:  3, Planned: 5, Reason: "interrupted at the bench",
		Verdict:      analyze.Fail,
		Measurements: stream(ms),
		Signals:      []string{"OUT1", "OUT2", "OUT3", "K1", "K1_NO"},
		Steps:        []string{"arm-away", "disarm"},
		Ended:        time.Date(2031, 4, 5, 7, 31, 5, 0, time.UTC),
		Plan: &analyze.Plan{Steps: []string{"arm-away", "disarm"}, OthersUnmoved: true, Outputs: []analyze.OutputPlan{
			{Signal: "OUT3", Expect: map[string]analyze.Expectation{"arm-away": {Demand: analyze.High, After: 30 * time.Second, Within: 0.05}, "disarm": {Demand: analyze.Low}}, Relay: "K1"}},
			Relays: []analyze.RelayPlan{{Signal: "K1", Make: "K1_NO"}}},
		Findings: []analyze.Finding{
			{Signal: "OUT3", Verdict: analyze.Fail, Text: "OUT3 did not rise at arm-away in 1 of 3 cycles. Look first at the output's programming, then at the wire to terminal \"3\"."},
			{Signal: "K1_NO", Verdict: analyze.Undecided, Text: "The contact's bounce is too close to its limit of 5 ms to tell."},
		},
		Counts: capture.Counts{MissedConversions: 2, LostEdges: 1},
		Calibrations: []capture.Calibration{
			{Output: "OUT1", State: capture.InDate, Meter: "<4711>", Made: "2030-04-06", Due: "2031-04-06", Rig: "training bench", Gain: 1.01, Since: 1},
			{Output: "OUT2", State: capture.NotCalibrated, Gain: 1, Since: 1}, {Output: "OUT3", State: capture.NotCalibrated, Gain: 1, Since: 1},
		},
		Cautions:  []string{"The reference of OUT3 was not calibrated: the divider's tolerance is used."},
		Notes:     []string{"Invented demo data; <b>no</b> real unit, \"as is\" & complete."},
		Fields:    []Field{{"job", "1234 <a>"}, {"remarks", "housing \"scratched\"; =2 & so on"}},
		LogPath:   "/var/tmp/makebreak/log.db",
		Simulated: true, Seed: seed(7), Faults: []string{"adc-lost=2 s", "welded"},
		Program: "v0.0.0-invented", RunID: "01960a3c-0000-7000-8000-000000000001",
		CycleStart: func(n int) (time.Time, error) {
			return time.Date(2031, 4, 5, 9, 30, 12*(n-1), 12_900_000, time.FixedZone("", 2*3600)), nil
		},
	}
}

func inventedFigures() []analyze.Measurement {
	var ms []analyze.Measurement
	add := func(m analyze.Measurement) { ms = append(ms, m) }
	upper := func(x float64) analyze.Limit { return analyze.Limit{Lower: nan, Upper: x} }
	lower := func(x float64) analyze.Limit { return analyze.Limit{Lower: x, Upper: nan} }
	none := analyze.NoLimit()
	delays := []float64{0.1420123, 0.14391, nan}
	for i, delay := range delays {
		c := i + 1
		for _, other := range []string{"OUT1", "OUT2"} {
			add(analyze.Measurement{Cycle: c, Event: "arm-away", Signal: other, Quantity: analyze.LowLevel, Value: 0.0123, Expanded: 0.0051, Limit: none})
			add(analyze.Measurement{Cycle: c, Event: "arm-away", Signal: other, Quantity: analyze.Ripple, Value: 0.00412, Expanded: nan, Limit: none})
			add(analyze.Measurement{Cycle: c, Event: "arm-away", Signal: other, Quantity: analyze.Hold, Value: 0, Expanded: nan, Limit: upper(0), Verdict: analyze.Pass})
		}
		m := analyze.Measurement{Cycle: c, Event: "arm-away", Signal: "OUT3", Quantity: analyze.SwitchingDelay, Value: delay, Expanded: 0.0012, Limit: upper(0.5), Verdict: analyze.Pass}
		if math.IsNaN(delay) {
			m.Verdict, m.Expanded = analyze.Fail, nan
			m.Doubts = analyze.InWords("the output did not rise,\nso there is nothing to time; see \"OUT3\"")
		}
		add(m)
		if i < 2 {
			add(analyze.Measurement{Cycle: c, Event: "arm-away", Signal: "OUT3", Quantity: analyze.HighLevel, Value: 13.2345 + 0.01*float64(i), Expanded: 0.087, Limit: analyze.Limit{Lower: 12, Upper: 14.5}, Verdict: analyze.Pass})
			add(analyze.Measurement{Cycle: c, Event: "arm-away", Signal: "K1", Quantity: analyze.OperateTime, Value: 0.00623, Expanded: 0.00071, Limit: upper(0.015), Verdict: analyze.Pass})
			add(analyze.Measurement{Cycle: c, Event: "arm-away", Signal: "K1", Quantity: analyze.TransferTime, Value: -0.00021, Expanded: 0.0000101, Limit: lower(0), Verdict: analyze.Fail, Doubts: analyze.InWords("both contacts were closed at once")})
			add(analyze.Measurement{Cycle: c, Event: "arm-away", Signal: "K1_NO", Quantity: analyze.BounceTime, Value: 0.004981, Expanded: 0.00003, Limit: upper(0.005), Verdict: analyze.Undecided, Doubts: analyze.InWords("0.019 ms from the limit, known to 0.030 ms; ten more cycles, or a finer time base")})
			add(analyze.Measurement{Cycle: c, Event: "arm-away", Signal: "K1_NO", Quantity: analyze.BounceCount, Value: float64(4 + i), Expanded: nan, Limit: none})
		}
		add(analyze.Measurement{Cycle: c, Event: "disarm", Signal: "OUT3", Quantity: analyze.LowLevel, Value: 0.0213, Expanded: 0.0051, Limit: upper(1), Verdict: analyze.Pass})
		add(analyze.Measurement{Cycle: c, Event: "", Signal: "OUT3", Quantity: analyze.LowLevel, Value: -0.0004, Expanded: 0.0051, Limit: none})
		add(analyze.Measurement{Cycle: c, Event: "disarm", Signal: "OUT3", Quantity: analyze.TransitionDuration, Value: 0.0015, Expanded: nan, Limit: none, Doubts: analyze.InWords("shorter than the samples can resolve: an upper bound")})
	}
	return ms
}

func stream(ms []analyze.Measurement) iter.Seq2[analyze.Measurement, error] {
	return func(yield func(analyze.Measurement, error) bool) {
		for _, m := range ms {
			if !yield(m, nil) {
				return
			}
		}
	}
}

// broken streams n good measurements and then a fault.
func broken(n int, fault error) iter.Seq2[analyze.Measurement, error] {
	return func(yield func(analyze.Measurement, error) bool) {
		for _, m := range inventedFigures()[:n] {
			if !yield(m, nil) {
				return
			}
		}
		yield(analyze.Measurement{}, fault)
	}
}

var errDisk = errors.New("the disk is gone")
