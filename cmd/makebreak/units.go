package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"

	"makebreak/rig/capture"
	"makebreak/rig/prompt"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/live"
	"makebreak/sequences/setup"
)

// What is noted with a run on a rig with several units: the unit's name in the rig file, and a mark
// that runs share which were made at the same time.
const (
	positionField = journal.PositionField
	togetherField = journal.TogetherField
)

// serial is the flag --unit: the last one counts where there is one unit.
type serial app

func (s *serial) Set(text string) error {
	s.unit, s.unitFlags = text, append(s.unitFlags, text)
	return nil
}

func (s *serial) String() string { return s.unit }

func (s *serial) Type() string { return "string" }

// severalUnits says that a command is about one unit.
func severalUnits(rig *wiring.Rig) error {
	return badUsage("rig %s has the units %s, and this is for one at a time; name it with --only, as in --only %s", rig.Name, words.And(rig.UnitNames()), rig.Units[0].Name)
}

// meant are the units of a rig that --only names, or all; nil where the rig has no units.
func (a *app) meant(rig *wiring.Rig) ([]*wiring.Unit, error) {
	if len(rig.Units) == 0 && len(a.only) > 0 {
		return nil, badUsage("--only: rig %s has no units by name; leave it out", rig.Name)
	}
	var units []*wiring.Unit
	for i := range rig.Units {
		if len(a.only) == 0 || slices.Contains(a.only, rig.Units[i].Name) {
			units = append(units, &rig.Units[i])
		}
	}
	for i, name := range a.only {
		if rig.Unit(name) == nil {
			return nil, badUsage("--only %q: rig %s has no unit of this name; %s", name, rig.Name, words.UseOneOf(name, rig.UnitNames()))
		}
		if slices.Contains(a.only[:i], name) {
			return nil, badUsage("--only names %s twice", name)
		}
	}
	return units, nil
}

// oneMeant is the rig as it is, or as the one of its units sees it that is tested.
func (a *app) oneMeant(rig *wiring.Rig) (*wiring.Rig, error) {
	units, err := a.meant(rig)
	switch {
	case err != nil:
		return nil, err
	case len(units) > 1:
		return nil, severalUnits(rig)
	case len(units) == 1:
		return a.testedAt(rig, units[0])
	}
	return rig, nil
}

// testedAt has the one unit tested of a rig with units, and returns the rig as that one sees it.
// Whose serial is given must not be another one.
func (a *app) testedAt(rig *wiring.Rig, u *wiring.Unit) (*wiring.Rig, error) {
	for _, text := range a.unitFlags {
		name, serial, named := strings.Cut(text, "=")
		switch {
		case named && name == u.Name && serial == "":
			return nil, badUsage("--unit %s: the serial is missing", u.Name)
		case named && name != u.Name && rig.Unit(name) != nil:
			return nil, badUsage("--unit %s is the serial of unit %s, and unit %s is meant; leave it out", words.Short(text, words.MostName), name, u.Name)
		}
	}
	a.unit = strings.TrimPrefix(a.unit, u.Name+"=")
	a.place, a.whole = u, rig
	return rig.For(u), nil
}

// asMeant is the rig as it is, or as the one unit sees it that --only names.
func (a *app) asMeant(rig *wiring.Rig) (*wiring.Rig, error) {
	if len(a.only) == 0 {
		return rig, nil
	}
	units, err := a.meant(rig)
	if err == nil && len(units) > 1 {
		err = severalUnits(rig)
	}
	if err != nil {
		return nil, err
	}
	return rig.For(units[0]), nil
}

// fit says whether the units can run a sequence, or the rig where it has none by name.
func fit(seq *sequences.Sequence, rig *wiring.Rig, units []*wiring.Unit) ([]string, error) {
	if len(units) == 0 {
		return seq.Fits(rig)
	}
	var cautions []string
	for _, u := range units {
		some, err := seq.Fits(rig.For(u))
		if err != nil {
			return nil, fmt.Errorf("unit %s: %w", u.Name, err)
		}
		for _, text := range some {
			if !slices.Contains(cautions, text) {
				cautions = append(cautions, text)
			}
		}
	}
	if chips := rig.Followed(seq.Sample, units); len(chips) > 0 {
		return nil, fmt.Errorf("%s: one output of converter %s would be followed, and more than one unit has outputs there; use sample: sweep in the sequence, or --only", words.Safe(seq.Name), words.And(chips))
	}
	return cautions, nil
}

// atPlace takes the unit's name off the places of faults where one of several units is meant.
func (a *app) atPlace(faults []sim.Fault) error {
	for i := range faults {
		unit, name := wiring.CutPlace(faults[i].Place)
		if unit == "" {
			continue
		}
		if a.place == nil || unit != a.place.Name {
			return badUsage("--fault: there is no unit %q here; leave the unit out of the place, as in %s@%s", unit, faults[i].Name, name)
		}
		faults[i].Place = name
	}
	return nil
}

// calibratePlace corrects the rig of a job on one of several units: calibrations stand under the
// rig's own names.
func (a *app) calibratePlace(j *job) error {
	all, err := a.calibratedUnits(a.whole, []*wiring.Unit{a.place}, j)
	if err != nil {
		return err
	}
	j.calibrations = seenBy(a.place, all)
	j.rig = a.whole.For(a.place)
	return nil
}

// calibratedUnits corrects the rig for the outputs that a job samples of the units.
func (a *app) calibratedUnits(rig *wiring.Rig, units []*wiring.Unit, j *job) ([]capture.Calibration, error) {
	return a.calibrated(rig, setup.OverdueRule(rig, j.seq), j.sim.Seed, setup.SampledOf(rig, units, j.seq))
}

// seenBy are the calibrations of a unit's outputs, under its names.
func seenBy(u *wiring.Unit, all []capture.Calibration) (own []capture.Calibration) {
	for _, c := range all {
		if as := u.AsOf(c.Output); as != "" {
			c.Output = as
			own = append(own, c)
		}
	}
	return own
}

// readyUnits readies what is common to all units: the calibrations, and who may look at them.
func (a *app) readyUnits(j *job) (err error) {
	if (a.as == "html" || a.as == "pdf") && !a.folder {
		return badUsage("--as %s writes a page for each unit: name a folder that is there with -o, as in -o .", a.as)
	}
	if j.calibrations, err = a.calibratedUnits(j.rig, j.units, j); err != nil {
		return err
	}
	work := &sync.Mutex{}
	for _, u := range j.units {
		j.hubs = append(j.hubs, live.New(live.Of{Sequence: j.seq, Rig: j.rig, Unit: u, Now: a.now, Program: version(), Lower: setup.Measurer(j.rig), Work: work}))
	}
	return nil
}

// mark is what the runs share that begin now.
func (a *app) mark() string {
	return fmt.Sprintf("%s-%04x", a.now().UTC().Format("20060102T150405Z"), rand.Uint32()&0xffff)
}

// serialsOf are the serials of the units, as --unit gave them or the person at the terminal types
// them.
func (a *app) serialsOf(ctx context.Context, units []*wiring.Unit) (map[string]string, error) {
	names := words.Texts(units, func(u *wiring.Unit) string { return u.Name })
	known, taken := map[string]string{}, map[string]string{}
	take := func(unit, serial string) error {
		if other := taken[serial]; other != "" {
			return badUsage("unit %s and unit %s cannot both have the serial %q", other, unit, words.Short(serial, words.MostName))
		}
		known[unit], taken[serial] = serial, unit
		return nil
	}
	for _, text := range a.unitFlags {
		unit, serial, ok := strings.Cut(text, "=")
		serial = strings.TrimSpace(serial)
		switch {
		case !ok || !slices.Contains(names, unit):
			return nil, badUsage("--unit %q: say which unit's serial it is, as in --unit %s=4711; the units are %s", words.Short(text, words.MostName), names[0], words.And(names))
		case serial == "":
			return nil, badUsage("--unit %s: the serial is missing", unit)
		case known[unit] != "":
			return nil, badUsage("--unit %s is given twice", unit)
		}
		if err := take(unit, serial); err != nil {
			return nil, err
		}
	}
	_, in := terminal(a.in)
	_, out := terminal(a.err)
	for _, unit := range names {
		if known[unit] != "" {
			continue
		}
		if !in || !out {
			return nil, badUsage("the serial of unit %s is missing: give it, as in --unit %s=4711", unit, unit)
		}
		for known[unit] == "" {
			answer, err := prompt.Answer(ctx, a.in, a.prompts(), "Serial of unit "+unit+": ", true)
			if err != nil {
				return nil, err
			}
			answer = strings.TrimSpace(answer)
			err = words.CheckName(answer)
			if err == nil && answer != "" {
				err = take(unit, answer)
			}
			if err != nil {
				fmt.Fprintln(a.prompts(), err)
			}
		}
	}
	return known, nil
}
