package measure_test

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
	"makebreak/rig/capture/csvfile"
)

// Whatever a capture file holds that its reader accepts, measuring it ends in a
// result that is well formed, with a plan and without one.
func FuzzMeasure(f *testing.F) {
	f.Add([]byte("time_s,OUT1_V,K1_NO,K1_NC,event\n0,0.1,0,1,\n1,0.1,,,on\n1.1,12,,0,\n1.11,12,1,,\n1.2,12,,,\n2,12,,,off\n2.1,0,0,,\n2.2,0,,1,\n3,0,,,\n"))
	f.Add([]byte("time_s,OUT1_V,event\n0,0,on\n0,,\n1e-9,12,on\n1,-12,on\n1.000000001,nan,off\n"))
	f.Add([]byte("time_s,K1_NO\n5,1\n6,0\n6.1,1\n"))
	f.Add([]byte("time_s,OUT1_V,OUT2_V,event\n0,12,0,\n0.5,12.1,,late\n1,9,0.1,\n1.5,6,0,\n2,12,,pulse\n2.1,0,0,\n2.6,12,3,\n3.1,0,9,\n"))
	f.Fuzz(func(t *testing.T, file []byte) {
		if len(file) > 1<<16 {
			return
		}
		r, err := csvfile.NewReader(bytes.NewReader(file), "fuzz.csv", 0)
		if err != nil {
			return
		}
		for err == nil {
			_, err = r.Next()
		}
		if !errors.Is(err, io.EOF) {
			return
		}
		c := r.Capture()
		for _, plan := range []*analyze.Plan{nil, planFor(c)} {
			result, err := diagnose.Examine(plan, c)
			if err != nil {
				t.Fatal(err)
			}
			wellFormed(t, result)
			for _, f := range diagnose.Findings(plan, result.Symptoms, 1) {
				if strings.Contains(f.Text, "NaN") {
					t.Errorf("a finding without its figure: %s", f.Text)
				}
			}
		}
	})
}

// planFor demands something of the first output of a capture and of its relay.
func planFor(c *capture.Capture) *analyze.Plan {
	p := &analyze.Plan{OthersUnmoved: true}
	if len(c.Traces) == 0 {
		return p
	}
	p.Outputs = []analyze.OutputPlan{{Signal: c.Traces[0].Signal, Relay: "K1", Limits: usual(),
		Expect: map[string]analyze.Expectation{"on": goHigh, "off": goLow, "pulse": pulse1s, "late": delayed}}}
	if c.Track("K1_NO") != nil && c.Track("K1_NC") != nil {
		p.Relays = relayPlan().Relays
	}
	return p
}
