package progress

import (
	"makebreak/analyze"
	"makebreak/analyze/metrics"
	"makebreak/analyze/report"
	"makebreak/rig/capture"
	"makebreak/sequences/journal"
)

// A Unit is what is shown of the run of one unit. It is used from one goroutine.
type Unit struct {
	shown   *Shown
	metrics *metrics.Collector // nil: none asked for
	verdict analyze.Verdict    // of the run so far
	// calibrations are those that the metrics show.
	calibrations []capture.Calibration
}

// Begin says which run it is, and what its verdict is so far.
func (u *Unit) Begin(run journal.RunInfo, so analyze.Verdict) {
	if u.metrics == nil {
		return
	}
	u.metrics.SetRun(metrics.Run{Name: run.ID, ID: run.UUID, Unit: run.Unit, Sequence: run.Sequence, Program: u.shown.opts.Program, Rig: run.Rig,
		Simulated: run.Seed != nil, Faults: report.FaultNames(run.Faults), Planned: run.Planned})
	u.metrics.SetRunning(true)
	u.judged(so)
	u.showCalibrations(run.Calibrations)
}

// Cycle takes in a cycle that has been stored.
func (u *Unit) Cycle(c *journal.Cycle) {
	if u.metrics == nil {
		return
	}
	u.metrics.ObserveCycle(c.N, analyze.RunVerdict(c.Complete, c.Verdict), analyze.Result{Measurements: c.Measurements, Symptoms: c.Symptoms}, c.Counts)
	u.judged(c.Verdict)
	u.showCalibrations(c.Calibrations)
}

// RigLost says whether what the unit is tested by does not answer.
func (u *Unit) RigLost(lost bool) {
	if u.metrics != nil {
		u.metrics.SetRigLost(lost)
		u.shown.fileNow()
	}
}

// Interrupted counts an interruption after which the run goes on.
func (u *Unit) Interrupted() {
	if u.metrics != nil {
		u.metrics.Interrupted()
	}
}

// judged takes in the verdict of a part of the run.
func (u *Unit) judged(v analyze.Verdict) {
	if worse := u.verdict.Worse(v); worse != u.verdict {
		u.verdict = worse
		u.metrics.SetVerdict(worse)
	}
}

// showCalibrations shows what the outputs' calibrations are worth. Cycles share a list until
// one of them changes.
func (u *Unit) showCalibrations(all []capture.Calibration) {
	if len(all) == 0 || len(u.calibrations) == len(all) && &u.calibrations[0] == &all[0] {
		return
	}
	u.calibrations = all
	u.metrics.SetCalibrations(all)
}

// Verdict says what the run's verdict is, once it has ended.
func (u *Unit) Verdict(v analyze.Verdict) {
	if u.metrics != nil {
		u.metrics.SetVerdict(v)
	}
}

// End says that no more cycles of the unit will come.
func (u *Unit) End() {
	if u.metrics != nil {
		u.metrics.SetRunning(false)
	}
}
