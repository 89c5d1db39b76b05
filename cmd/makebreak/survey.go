package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"makebreak/analyze/report"
	"makebreak/rig/infile"
	"makebreak/rig/outfile"
	"makebreak/rig/problem"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/record"
	"makebreak/sequences/setup"
	"makebreak/sequences/survey"
)

// surveyOpts are the flags of survey.
type surveyOpts struct {
	runOpts
	of, resume           string
	events               []string
	arming, disarming    []string
	times                int
	schema               bool
	watch                string
	programmedAs         string
	write, limits        string
	coverage, confidence string
	watched              time.Duration // of watch; 0: the default
	held, sure           float64       // of coverage and confidence, shares
	limiting             *sequences.Sequence
}

func (a *app) surveyCommand() *cobra.Command {
	var o surveyOpts
	c := &cobra.Command{
		Use:   "survey",
		Short: "Learn what a unit's outputs and relays do, and write it as a sequence",
		Long: `Learn what a unit does that nobody has a sequence for: bring about each of the rig's
events in each state that the events lead to, several times, and say what every
output and relay does. How long that takes is said beforehand.

What is brought about is a run as any other, in the log. The table is made of its
captures; --of makes it again. A run that was cut off goes on with --resume.

With --write, the table becomes a sequence: expectations as seen, limits from what
was measured or, with --limits, those of a sequence. It says what the unit does and
not what it should do: read every line of it before you use it.

On the simulated bench the unit is programmed at random, by the seed.`,
		Example: `  makebreak survey --rig rig.yaml --unit 4711 --write kind.yaml
  makebreak survey --seed 1 --write invented.yaml
  makebreak survey --of last --as html -o survey.html
  makebreak survey --of last --limits armed-high --write kind.yaml`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return a.survey(c, &o) },
	}
	f := c.Flags()
	f.StringVar(&o.of, "of", "", "make the table again of a `run` in the log; nothing is brought about")
	f.StringVar(&o.resume, "resume", "", "go on with a survey that was cut off, a `run` in the log")
	f.StringArrayVar(&o.events, "event", nil, "bring about this `event` only; may be repeated (default: all that do not move the supply)")
	f.IntVar(&o.times, "times", survey.DefaultTimes, "`number` of times that each event follows each")
	f.StringVar(&o.watch, "watch", "", "watch each state for this `time`, as in 60s; longer delays are not seen (default: 45 s)")
	f.StringArrayVar(&o.arming, "arming", nil, "say that this `event` arms; may be repeated (default: as the events' names say)")
	f.StringArrayVar(&o.disarming, "disarming", nil, "say that this `event` disarms; may be repeated")
	f.StringVar(&o.write, "write", "", "write what was learnt as a sequence to a `file`")
	f.StringVar(&o.limits, "limits", "", "take the limits of a `sequence`, a built-in name or a file, instead of what was measured")
	f.StringVar(&o.coverage, "coverage", "95 %", "limits hold this `share` of all cycles of such a unit")
	f.StringVar(&o.confidence, "confidence", "95 %", "limits hold them with this probability, a `share`")
	f.StringVar(&o.programmedAs, "programmed-as", "", "programme the simulated unit as a `sequence` expects it, a built-in name or a file")
	f.BoolVar(&o.schema, "schema", false, "write the JSON Schema of the results")
	o.benchFlags(f)
	a.forms(c, "text", "csv", "json", "html")
	return c
}

// survey brings a survey about, or makes the table of one that is in the log.
func (a *app) survey(c *cobra.Command, o *surveyOpts) error {
	if o.schema {
		return a.deliver(survey.Schema)
	}
	if err := a.checkSurvey(c, o); err != nil {
		return err
	}
	switch {
	case o.of != "":
		return a.surveyed(c.Context(), o.of, o)
	case o.resume != "":
		return a.resumeSurvey(c, o)
	}
	return a.beginSurvey(c, o)
}

// checkSurvey reads the flags.
func (a *app) checkSurvey(c *cobra.Command, o *surveyOpts) (err error) {
	changed := c.Flags().Changed
	if err := o.checkAccess(); err != nil {
		return err
	}
	if o.of != "" && o.resume != "" || changed("of") && o.of == "" || changed("resume") && o.resume == "" {
		return badUsage("--of and --resume each name a run in the log; give one of them")
	}
	began := []string{"event", "times", "watch", "fault", "seed", "real-time", "programmed-as", "field", "ask-field", "require-field"}
	if o.resume != "" {
		began = []string{"event", "times", "watch"}
	}
	for _, name := range began {
		if (o.of != "" || o.resume != "") && changed(name) {
			return badUsage("--%s says how a survey begins; leave it out with --of and --resume", name)
		}
	}
	if changed("write") {
		if o.write == "" || o.write == "-" {
			return badUsage("--write needs a file's name")
		}
		if err := outfile.Check(o.write); err != nil {
			return err
		}
		if err := replaceable(c.Context(), o.write); err != nil {
			return err
		}
	} else if changed("limits") || changed("coverage") || changed("confidence") {
		return badUsage("--limits, --coverage and --confidence say what is written; add --write")
	}
	if o.held, err = shareOf("coverage", o.coverage); err != nil {
		return err
	}
	if o.sure, err = shareOf("confidence", o.confidence); err != nil {
		return err
	}
	if o.watch != "" {
		s, err := unit.Time.Parse(o.watch)
		if err != nil {
			return badUsage("--watch: %w", err)
		}
		if s <= 0 || s > time.Hour.Seconds() {
			return badUsage("--watch %s: must be above 0 s and at most 1 h", o.watch)
		}
		o.watched = time.Duration(s * 1e9)
	}
	if changed("limits") {
		o.limiting, err = a.loadSequence(o.limits)
	}
	return err
}

// replaceable refuses a file that is there and that no survey has written, or that somebody has
// changed since: a sequence that is read and signed is not lost by writing another.
func replaceable(ctx context.Context, name string) error {
	info, err := os.Stat(name)
	if err != nil || info.Size() == 0 || outfile.Special(name) {
		return nil // what cannot be written, writing says
	}
	const most = 1 << 20 // longer than any that is written
	text, err := infile.Read(ctx, name, most)
	if problem.KindOf(err) == problem.Interrupted {
		return err
	}
	if err != nil || !survey.Unchanged(text) {
		return badUsage("%s is there, and is not as a survey wrote it; it is not replaced: name another file with --write", words.Safe(name))
	}
	return nil
}

// shareOf reads a share between 50 % and 99.9 %.
func shareOf(flag, text string) (float64, error) {
	v, err := unit.Share.Parse(text)
	if err != nil {
		return 0, badUsage("--%s: %w", flag, err)
	}
	if v < 0.5 || v > 0.999 {
		return 0, badUsage("--%s %s: must be from 50 %% to 99.9 %%", flag, text)
	}
	return v, nil
}

// surveyRig is the rig of a survey, the simulated panel where none is named.
func (a *app) surveyRig() (*wiring.Rig, error) {
	rig, err := a.rigFile()
	if rig == nil && err == nil {
		rig = rigfile.Builtin()[0]
	}
	if err != nil {
		return nil, err
	}
	return a.oneMeant(rig)
}

// beginSurvey runs a new survey.
func (a *app) beginSurvey(c *cobra.Command, o *surveyOpts) error {
	rig, err := a.surveyRig()
	if err != nil {
		return err
	}
	p, err := survey.Prepare(survey.Request{Rig: rig, Events: o.events, Times: o.times, Watch: o.watched})
	if err != nil {
		return err
	}
	if c.Flags().Changed("times") && o.times < 1 {
		return badUsage("--times %d: must be a whole number, 1 or more", o.times)
	}
	if err := survey.CheckRoles(p.Events, o.arming, o.disarming); err != nil {
		return err
	}
	j := job{seq: p.Sequence, cycles: p.Sequence.Cycles}
	if err := a.surveyJob(c, &j, o); err != nil {
		return err
	}
	a.tellSurvey(&j, p)
	if err := a.noteFields(c.Context(), &j, &o.runOpts); err != nil {
		return err
	}
	return a.runSurvey(c.Context(), &j, o)
}

// surveyJob readies the rig and the unit on it.
func (a *app) surveyJob(c *cobra.Command, j *job, o *surveyOpts) (err error) {
	if j.rig, err = a.surveyRig(); err != nil {
		return err
	}
	cautions, err := j.seq.Fits(j.rig)
	if err != nil {
		return problem.Of(problem.Input, err)
	}
	j.seq.Cautions = append(j.seq.Cautions, cautions...)
	for _, x := range j.rig.Check() {
		j.seq.Cautions = append(j.seq.Cautions, x.String())
	}
	if j.sim, err = o.simulation(c, j.rig); err != nil {
		return err
	}
	if o.programmedAs != "" && !j.rig.Simulated {
		return badUsage("--programmed-as is for the simulated bench only; leave it out with a real rig")
	}
	if err := a.calibrateFor(j); err != nil {
		return err
	}
	if j.goesOn != nil && j.goesOn.rec.Seed != nil {
		if err := j.sim.Again(*j.goesOn.rec.Seed, j.goesOn.rec.Faults); err != nil {
			return fmt.Errorf("run %s: %w", words.Safe(j.goesOn.rec.ID), err)
		}
	}
	if j.rig.Simulated {
		if err := a.programme(j, o); err != nil {
			return err
		}
	}
	a.readyBench(j)
	return nil
}

// programme programmes the simulated unit, at random where nobody says as what.
func (a *app) programme(j *job, o *surveyOpts) error {
	if o.programmedAs == "" {
		j.sim.Unit, j.notes = setup.DrawnUnit(j.rig, j.sim.Seed), "the simulated unit is programmed at random, by the seed"
		return nil
	}
	seq, err := a.loadSequence(o.programmedAs)
	if err != nil {
		return err
	}
	if _, err := seq.Fits(j.rig); err != nil {
		return problem.Of(problem.Input, fmt.Errorf("--programmed-as: %w", err))
	}
	u := setup.Unit(j.rig, seq)
	j.sim.Unit, j.notes = &u, "the simulated unit is programmed as "+seq.Name+" expects it"
	return nil
}

// tellSurvey says what will be done and how long it takes.
func (a *app) tellSurvey(j *job, p *survey.Prepared) {
	n := len(p.Sequence.Steps)
	a.note("Survey of %s on rig %s: %s, %s of %s each, watched for %s each", words.Count(len(p.Events), "event"), j.rig.Name, words.List(p.Events),
		words.Count(j.cycles, "round"), words.Count(n, "state"), unit.Time.Format(p.Watch.Seconds()))
	a.note("It takes %s%s", survey.Took(p.Lasts()), map[bool]string{true: " of simulated time"}[j.rig.Simulated && !j.sim.RealTime])
	if p.Short != "" {
		a.note("Drive %s may not be on for longer: delays of more than %s are not seen", p.Short, unit.Time.Format(p.Watch.Seconds()))
	} else {
		a.note("Delays of more than %s are not seen; --watch makes that longer", unit.Time.Format(p.Watch.Seconds()))
	}
	if len(p.LeftOut) > 0 {
		a.note("Left out, as they move the supply: %s", words.List(p.LeftOut))
	}
	if j.rig.Simulated {
		a.note("Simulated bench, seed %d: %s. Nothing real is measured", j.sim.Seed, j.notes)
	}
}

// runSurvey runs a survey and tells what was learnt.
func (a *app) runSurvey(ctx context.Context, j *job, o *surveyOpts) error {
	if err := a.cautioned(ctx, j.rig, j.seq, o.yes); err != nil {
		return err
	}
	a.tellRecord = func(r *report.Record) error {
		how := *o
		if !r.Complete && o.write != "" {
			how.write = ""
			a.note("nothing was written, as the survey is not complete; makebreak survey --resume %s goes on with it", r.Run)
		}
		err := a.surveyed(ctx, r.Run, &how)
		if problem.KindOf(err) == problem.Usage && !r.Complete {
			return nil // nothing was watched to its end
		}
		return err
	}
	defer func() { a.tellRecord = nil }()
	return a.runLogged(ctx, j, &o.runOpts)
}

// resumeSurvey goes on with a survey in the log.
func (a *app) resumeSurvey(c *cobra.Command, o *surveyOpts) error {
	db, err := a.openLogWith(journal.Open)
	if err != nil {
		return err
	}
	defer db.Close()
	rec, seq, err := survey.Resumed(c.Context(), db, o.resume)
	if err != nil {
		return err
	}
	if err := survey.CheckRoles(seq.Causes(), o.arming, o.disarming); err != nil {
		return err
	}
	if c.Flags().Changed("unit") && a.unit != rec.Unit {
		return badUsage("run %s is of the unit %q, not %q", rec.ID, rec.Unit, a.unit)
	}
	a.unit = rec.Unit
	j := job{seq: seq, cycles: rec.Planned - rec.Cycles, goesOn: &resumption{db, rec}}
	if err := a.surveyJob(c, &j, o); err != nil {
		return err
	}
	if err := survey.SameUnit(rec, j.rig.Name, a.rigSource, j.notes); err != nil {
		return err
	}
	if c.Flags().Changed("seed") && rec.Seed != nil && o.seed != *rec.Seed {
		return badUsage("the seed of run %s stands in the log (%d); leave --seed out", rec.ID, *rec.Seed)
	}
	a.note("Survey %s goes on: %d of %d rounds are done, %s to go", rec.ID, rec.Cycles, rec.Planned, survey.Took(time.Duration(j.cycles)*seq.Duration()))
	return a.runSurvey(c.Context(), &j, o)
}

// surveyed makes the table of a run in the log and, where asked, the sequence of it.
func (a *app) surveyed(ctx context.Context, run string, o *surveyOpts) error {
	db, err := a.openLog()
	if err != nil {
		return err
	}
	defer db.Close()
	rec, err := db.Find(run)
	if err != nil {
		return readFailed(err)
	}
	r, err := survey.Read(rec, survey.Settings{Rig: record.RigOf(rec), Arming: o.arming, Disarming: o.disarming})
	if err != nil {
		return readFailed(err)
	}
	if err := a.print(a.chosen(writers{"text": r.Text, "csv": r.CSV, "json": r.JSON, "html": r.HTML})); err != nil {
		return err
	}
	if o.write == "" {
		return nil
	}
	return a.writeSurvey(ctx, r, o)
}

// writeSurvey writes what was learnt as a sequence.
func (a *app) writeSurvey(ctx context.Context, r *survey.Report, o *surveyOpts) error {
	if !r.Complete {
		return problem.Of(problem.Usage, errors.New("nothing was written, as the survey is not complete; makebreak survey --resume "+r.Run+" goes on with it"))
	}
	if err := replaceable(ctx, o.write); err != nil {
		return err
	}
	how := survey.Writing{Limiting: survey.Limiting{Coverage: o.held, Confidence: o.sure}, Named: o.limiting, Now: a.now(), Program: version()}
	if err := outfile.Write(ctx, o.write, func(w io.Writer) error { return r.Sequence(w, how) }); err != nil {
		return err
	}
	a.note("Sequence written to %s: read every line of it before you use it", o.write)
	return nil
}
