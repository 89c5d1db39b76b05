package commission

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/hardware"
	"makebreak/rig/machine"
	"makebreak/rig/problem"
	"makebreak/rig/table"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
)

// A Report is what a check of a rig has found. Look makes it, Try and LoopBack add steps.
type Report struct {
	Rig   *wiring.Rig
	Parts []Part    // of a real rig
	Speed *BusSpeed // nil: not measured
	Steps []Step
	By    string // who tried the rig; empty: not said
	// Calibrations are those stored of the rig's outputs; nil: none can be.
	Calibrations []capture.Calibration
	// Computer is what is known of the machine that a real rig is on.
	Computer []capture.MachineFact

	fault    error     // why the rig could not be looked at
	stepwise bool      // Try was called
	at       time.Time // when the last step ended; zero: none was tried
	early    error     // what ended the steps before all were done
}

// Try tries the rig with a person, as the function Try does, and adds the steps. Where the
// rig has the parts for a loop-back, one step says that it was not done.
func (r *Report) Try(ctx context.Context, b *bench.Bench, asker Asker) error {
	steps, err := Try(ctx, r.Rig, b, asker)
	r.stepwise = true
	if err == nil {
		steps = append(steps, noLoopBack(r.Rig)...)
	}
	return r.add(steps, err)
}

// LoopBack times the rig's lines, as LoopBack.Run does, and adds the steps.
func (r *Report) LoopBack(ctx context.Context, l *LoopBack, b *bench.Bench, path string) error {
	r.Steps = slices.DeleteFunc(r.Steps, func(s Step) bool { return s.What == clockCheck })
	steps, err := l.Run(ctx, r.Rig, b, path)
	return r.add(steps, err)
}

// Fail keeps that the steps could not begin.
func (r *Report) Fail(err error) error { return r.add(nil, err) }

func (r *Report) add(steps []Step, err error) error {
	r.Steps, r.early, r.at = append(r.Steps, steps...), err, time.Now()
	return err
}

// Whole reports whether all parts of the rig were found, so that it can be tried.
func (r *Report) Whole() bool { return r.fault == nil && r.missing() == 0 }

// missing is how many parts were not found.
func (r *Report) missing() (n int) {
	for _, p := range r.Parts {
		if p.Err != nil {
			n++
		}
	}
	return n
}

// Err returns what the check found to be wrong: nil where nothing was, an error of the kind
// Rig where a part is missing or a step came out wrong, and what ended the steps early.
func (r *Report) Err() error {
	switch n := r.missing(); {
	case r.fault != nil:
		return r.fault
	case n > 0:
		return problem.New(problem.Rig, words.Count(n, "part of the rig is missing or does not answer", "parts of the rig are missing or do not answer")+"; see the report")
	case r.early != nil:
		return r.early
	case r.count(Wrong) > 0:
		return problem.New(problem.Rig, "at least one step came out wrong; see the report")
	}
	return nil
}

func (r *Report) count(o Outcome) (n int) {
	for _, s := range r.Steps {
		if s.Outcome == o {
			n++
		}
	}
	return n
}

// Text writes the report for a person: what the rig file says, what was found of it, the
// steps, and what the check proves.
func (r *Report) Text(w io.Writer) error {
	fmt.Fprintf(w, "Rig %s: %s\n\n", r.Rig.Name, r.Rig.About)
	if err := writeDividers(w, r.Rig); err != nil {
		return err
	}
	writeSupply(w, r.Rig)
	writeUnits(w, r.Rig)
	problems := r.Rig.Check()
	for _, p := range problems {
		fmt.Fprintf(w, "\nWarning: %s\n", p)
	}
	r.writeCalibrations(w)
	var err error
	if len(r.Computer) > 0 {
		fmt.Fprintln(w)
		err = machine.Write(w, r.Computer)
	}
	r.writeParts(w)
	off := r.Speed.off()
	if off {
		fmt.Fprintf(w, "\nWarning: %s\n", r.Speed.advice())
	}
	if slow := r.carried(); slow != nil {
		off = true
		fmt.Fprintf(w, "\nWarning: %v\n", slow)
	}
	switch {
	case !r.at.IsZero():
		err = errors.Join(err, r.writeSteps(w))
	case r.Whole() && !r.Rig.Simulated:
		fmt.Fprintln(w, "\nNot tried: converters' rates, dividers, contacts and drives. Use a terminal, or --steps.")
	}
	if r.Err() != nil {
		return err
	}
	_, lineErr := fmt.Fprintf(w, "\n%s\n%s", r.conclusion(len(problems) > 0 || off || len(r.doubted()) > 0), undoneText(r.undone()))
	return errors.Join(err, lineErr)
}

// carried says whether the bus, as it was measured, carries what the rig follows; nil: it does,
// or it was not measured.
func (r *Report) carried() error {
	if r.Speed == nil || r.Rig.Simulated {
		return nil
	}
	return bench.Carries(r.Rig, hardware.Timing(r.Speed.Speed))
}

// Proven reports whether every step that there is for the rig has been done, and no stored
// calibration keeps levels from being judged.
func (r *Report) Proven() bool {
	return r.Err() == nil && len(r.undone()) == 0 && len(r.doubted()) == 0
}

// undone names the steps that were not done, those of the person included who was not asked.
func (r *Report) undone() (names []string) {
	if !r.stepwise {
		names = Planned(r.Rig)
	}
	for _, s := range r.known() {
		if s.Outcome == NotDone {
			names = append(names, s.What)
		}
	}
	return names
}

// known are the steps of which the report knows how they ended.
func (r *Report) known() []Step {
	if r.stepwise || !r.at.IsZero() {
		return r.Steps
	}
	return noLoopBack(r.Rig)
}

// undoneText lists steps that were not done: those with a name of their own on one line,
// and those that are done alike to several things on one line for each way.
func undoneText(steps []string) string {
	if len(steps) == 0 {
		return ""
	}
	var ways []string
	things := map[string][]string{}
	for _, s := range steps {
		thing, way, _ := strings.Cut(s, ", ")
		if things[way] == nil {
			ways = append(ways, way)
		}
		things[way] = append(things[way], thing)
	}
	var b strings.Builder
	b.WriteString("Not done:\n")
	for _, way := range ways {
		text := words.And(things[way])
		if way != "" {
			text += ", " + way
		}
		b.WriteString("  - " + text + "\n")
	}
	return b.String()
}

// conclusion says what a check proves that found no fault.
func (r *Report) conclusion(warned bool) string {
	undone := len(r.undone())
	done := 0
	for _, s := range r.known() {
		if s.Outcome == OK {
			done++
		}
	}
	text := fmt.Sprintf("%d of %s done, no fault found", done, words.Count(done+undone, "step"))
	if warned {
		text += ", with the warnings above"
	}
	if undone > 0 || len(r.doubted()) > 0 {
		text += "; not proven"
	}
	return text + "."
}

// writeParts writes what was found of a real rig, or the speed of a simulated bus.
func (r *Report) writeParts(w io.Writer) {
	if r.Rig.Simulated {
		if r.Speed != nil {
			fmt.Fprintf(w, "\nBus, simulated: %s.\n", r.Speed)
		}
		return
	}
	fmt.Fprintln(w)
	for _, p := range r.Parts {
		text := p.Found
		if p.Err != nil {
			text = p.Err.Error()
		}
		fmt.Fprintf(w, "%-24s %s\n", p.Name, text)
	}
}

// writeCalibrations writes what is known of the outputs' calibrations.
func (r *Report) writeCalibrations(w io.Writer) {
	if len(r.Calibrations) > 0 {
		fmt.Fprintln(w)
	}
	for _, line := range capture.CalibrationLines(r.Calibrations) {
		fmt.Fprintf(w, "Calibration: %s.\n", line)
	}
	if bad := r.doubted(); len(bad) > 0 {
		fmt.Fprintf(w, "\nWarning: no level of %s passes or fails: calibrations that are overdue or dated in the future prove nothing.\n", words.Or(bad))
	}
}

// doubted names the outputs whose calibrations let no run judge their levels.
func (r *Report) doubted() (outputs []string) {
	for i := range r.Calibrations {
		if c := &r.Calibrations[i]; c.Doubted() {
			outputs = append(outputs, c.Output)
		}
	}
	return outputs
}

// writeDividers writes each output's divider with its worst case.
func writeDividers(w io.Writer, rig *wiring.Rig) error {
	reports := make([]wiring.DividerFigures, len(rig.Outputs))
	for i, o := range rig.Outputs {
		var err error
		if reports[i], err = rig.DividerReport(o.Name); err != nil {
			return err
		}
	}
	head := []string{"output", "chip", "divider", "at pin, worst", "allowed", "clips at", "step", "± at nominal"}
	return table.Write(w, head, func(row func(...any)) {
		for i, o := range rig.Outputs {
			d := reports[i]
			row(o.Name, fmt.Sprintf("%s.%d", o.Chip, o.Channel), dividerWords(o.Divider),
				fmt.Sprintf("%.3f V at %g V", d.WorstPinVolts, o.Highest),
				fmt.Sprintf("%.3f V (%s)", d.AllowedVolts, d.AllowedBy), fmt.Sprintf("%.1f V", d.ClipTerminalVolts),
				fmt.Sprintf("%.2f mV", d.StepVoltsAtTerminal*1e3), fmt.Sprintf("%.0f mV at %g V", coverage95*d.NominalUncertainty*1e3, o.Nominal))
		}
	})
}

func dividerWords(d wiring.Divider) string {
	if d.Upper == 0 {
		return "none"
	}
	return fmt.Sprintf("%s / %s, %s", unit.Resistance.Format(d.Upper), unit.Resistance.Format(d.Lower), unit.Share.Format(d.Tolerance))
}

// writeSupply writes what the rig's supply can do, where there is one.
func writeSupply(w io.Writer, rig *wiring.Rig) {
	s, v := rig.Supply, unit.Voltage.Format
	switch {
	case s == nil:
	case s.Stage != nil:
		longest := time.Duration(0)
		if d := rig.Drive(s.Stage.Drive); d != nil {
			longest = d.LongestOn
		}
		fmt.Fprintf(w, "\nSupply: %s, before a run, after it and at its beginning; %s with drive %s on, for up to %s.\n",
			v(s.Stage.Off), v(s.Stage.On), s.Stage.Drive, unit.Time.Format(longest.Seconds()))
	default:
		fmt.Fprintf(w, "\nSupply: 0 V to %s in steps of %.2f mV; %s during a run, %s before and after (%s at %#02x, %s × %g).\n",
			v(s.Highest), s.Step()*1e3, v(s.Usual), v(s.Rest), s.Model, s.Address, v(s.Reference), s.Gain)
	}
}

// writeSteps writes the steps for a second person to review, and what ended them early, if
// anything did.
func (r *Report) writeSteps(w io.Writer) error {
	fmt.Fprintf(w, "\nRig report: %s, %s", r.Rig.Name, r.at.UTC().Format("2006-01-02 15:04 UTC"))
	if r.By != "" {
		fmt.Fprintf(w, ", by %s", r.By)
	}
	fmt.Fprint(w, "\n\n")
	err := table.Write(w, []string{"step", "outcome", "what was seen"}, func(row func(...any)) {
		for _, s := range r.Steps {
			row(s.What, string(s.Outcome), s.Detail)
		}
	})
	if r.early != nil {
		why := r.early.Error()
		if errors.Is(r.early, context.Canceled) {
			why = "interrupted"
		}
		fmt.Fprintf(w, "\nNot finished: %s. Steps that are not listed were not done.\n", why)
	}
	fmt.Fprintf(w, "\n%s, %d of them wrong, %d not done.\nReviewed by: ____________________  date: ____________\n", words.Count(len(r.Steps), "step"), r.count(Wrong), r.count(NotDone))
	return err
}
