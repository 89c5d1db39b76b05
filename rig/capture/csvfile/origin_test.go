package csvfile

import (
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"makebreak/rig/capture"
)

// originIn reads a file to its end and returns what it says that it is of.
func originIn(t *testing.T, text string) (*Reader, error) {
	t.Helper()
	r, err := NewReader(strings.NewReader(text), "in.csv", 0)
	if err != nil {
		return nil, err
	}
	for err == nil {
		_, err = r.Next()
	}
	if err == io.EOF {
		err = nil
	}
	return r, err
}

// What a capture is of comes back as it was written, and adds no line to it.
func TestOrigin_RoundTrip(t *testing.T) {
	t.Parallel()
	for _, of := range []Origin{
		{},
		{Simulated: true, Faults: []string{}},
		{Simulated: true, Faults: []string{"adc-lost=2s", "merged-edges=250µs", "welded"}},
		{Simulated: true},
	} {
		c := &capture.Capture{End: 1000, Tracks: []*capture.Track{{Signal: "K1_NO", Known: true, Edges: []capture.Edge{{At: 500, Closed: true}}}}}
		var b strings.Builder
		if err := Write(&b, c, of); err != nil {
			t.Fatal(err)
		}
		r, err := originIn(t, b.String())
		if err != nil {
			t.Fatalf("%v\n%s", err, b.String())
		}
		if diff := cmp.Diff(of, r.Origin()); diff != "" {
			t.Errorf("(-want +got):\n%s\n%s", diff, b.String())
		}
		if n := len(r.Capture().Tracks); n != 1 || len(r.Capture().Tracks[0].Edges) != 1 {
			t.Errorf("%d lines\n%s", n, b.String())
		}
		if strings.Contains(b.String(), simulatedName) != of.Simulated {
			t.Errorf("%+v is written as\n%s", of, b.String())
		}
	}
}

// The columns may be written by hand: anywhere, with 0 for what is not so.
func TestOrigin_ByHand(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]Origin{
		"time_s,simulated,K1_NO\n0,0,1\n1,,0\n":                                {},
		"time_s,planted:welded,K1_NO\n0,0,1\n1,,0\n":                           {},
		"time_s,planted:welded,K1_NO\n0,1,1\n1,,0\n":                           {Simulated: true, Faults: []string{"welded"}},
		"time_s,K1_NO,planted:unknown,planted:welded\n0,1,1.0,1\n1,0,,\n":      {Simulated: true, Faults: []string{"welded"}},
		"time_s,K1_NO,simulated,planted:welded\n0,1,,\n1,0,1,\n2,,,\"1\"\n":    {Simulated: true, Faults: []string{"welded"}},
		"time_s,K1_NO,Simulated\n0,1,1\n1,0,\n":                                {},
		"time_s,K1_NO,simulated,planted:a,planted:b\n0,1,1,1,0\n1,0,,,\n2,,,,": {Simulated: true, Faults: []string{"a"}},
	} {
		r, err := originIn(t, text)
		if err != nil {
			t.Errorf("%v\n%s", err, text)
			continue
		}
		if diff := cmp.Diff(want, r.Origin()); diff != "" {
			t.Errorf("(-want +got):\n%s\n%s", diff, text)
		}
	}
}

func TestOrigin_Refused(t *testing.T) {
	t.Parallel()
	_, err := originIn(t, "time_s,K1_NO,simulated\n0,1,yes\n")
	if err == nil || !strings.Contains(err.Error(), `"yes": must be 1 (so it is: nothing real was measured) or 0`) {
		t.Errorf("neither 0 nor 1: %v", err)
	}
	if _, err = originIn(t, "time_s,simulated\n0,1\n"); err == nil || !strings.Contains(err.Error(), "there is no column of volts") {
		t.Errorf("nothing but the mark: %v", err)
	}
	for _, name := range []string{"simulated", "planted:welded"} {
		c := &capture.Capture{End: 1, Tracks: []*capture.Track{{Signal: name, Known: true}}}
		if err := Write(io.Discard, c, Origin{}); err == nil || !strings.Contains(err.Error(), "would say that it is something else") {
			t.Errorf("a line named %s: %v", name, err)
		}
	}
}
