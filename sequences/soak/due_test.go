package soak

import (
	"testing"
	"time"

	"makebreak/rig/capture"
)

func TestDueBefore(t *testing.T) {
	end := time.Date(2026, 3, 31, 0, 30, 0, 0, time.FixedZone("east", 3600))
	for _, c := range []struct {
		state  capture.CalibrationState
		due    string
		judged bool
		want   string
	}{
		{capture.InDate, "2026-04-01", false, ""},
		{capture.InDate, "2026-03-31", false, "the calibration of OUT3 falls due on 2026-03-31, before the soak can end: figures that rest on it are undecided from that day on"},
		{capture.InDate, "2026-03-31", true, ""},
		{capture.Overdue, "2026-03-01", false, ""}, // that has been said
		{capture.OtherBench, "2026-03-01", false, ""},
	} {
		got := DueBefore([]capture.Calibration{{Output: "OUT3", State: c.state, Made: "2025-03-31", Due: c.due, Judged: c.judged}}, end)
		if len(got) > 1 || (len(got) == 1) != (c.want != "") || len(got) == 1 && got[0] != c.want {
			t.Errorf("%+v: %q", c, got)
		}
	}
}
