package measure

import (
	"math"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/rig/capture"
)

// A calibration that is overdue, or dated in the future, vouches for nothing: no figure that
// rests on it may pass or fail. A figure rests on one where its budget has a line of it.

// SetCalibrations says by which calibrations the readings of the states to come are
// corrected. Those of signals that are no outputs are not looked at.
func (m *Meter) SetCalibrations(all []capture.Calibration) {
	m.doubted = nil
	for i := range all {
		c := &all[i]
		if !c.Doubted() {
			continue
		}
		if m.doubted == nil {
			m.doubted = map[string]analyze.DoubtCode{}
		}
		m.doubted[c.Output] = analyze.CalibrationOverdue
		if c.State == capture.InFuture {
			m.doubted[c.Output] = analyze.CalibrationInFuture
		}
	}
}

// doubtCalibration leaves a judged figure undecided where it rests on a calibration that
// vouches for nothing.
func (m *Meter) doubtCalibration(x *analyze.Measurement) {
	if len(m.doubted) == 0 {
		return
	}
	if slices.ContainsFunc(x.Budget, func(line gum.Component) bool { return capture.Source(line.Source).RestsOnCalibration() }) {
		m.leaveToCalibration(x, m.outputOf(x.Signal))
	}
}

// leaveToCalibration leaves a judged figure undecided where the calibration of the output that it
// rests on vouches for nothing.
func (m *Meter) leaveToCalibration(x *analyze.Measurement, output string) {
	code, doubted := m.doubted[output]
	if !doubted || x.Verdict == analyze.NoVerdict {
		return
	}
	d := analyze.Doubt{Code: code, Value: math.NaN()}
	if output != x.Signal {
		d.Signal = output
	}
	x.Doubts = append(slices.Clip(x.Doubts), d)
	x.LeaveUndecided()
}

// outputOf is the output that figures of a signal are measured at: itself, or the one that
// drives the relay.
func (m *Meter) outputOf(signal string) string {
	for _, r := range m.relays {
		if r.plan.Signal == signal && r.output != nil {
			return r.output.signal
		}
	}
	return signal
}
