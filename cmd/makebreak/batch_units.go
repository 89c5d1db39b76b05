package main

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/rig/prompt"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/sequences/live"
)

// allRounds tests units at all places of the rig at the same time, round after round, until there
// is no serial any more.
func (b *batchRun) allRounds(ctx context.Context) error {
	for {
		serials, ended, err := b.round(ctx)
		if err != nil {
			return err
		}
		switch {
		case len(serials) > 0 && ended && b.terminal:
			b.note("Not tested: %s", words.List(byPlace(b.units, serials)))
		case len(serials) > 0:
			err = b.mendable(b.testRound(ctx, serials))
		case b.terminal && !ended:
			err = b.soFar()
		}
		if err != nil || ended {
			return err
		}
	}
}

// round asks for the serial at each place. It returns those that are to be tested, by the places'
// names, and whether there are no serials any more.
func (b *batchRun) round(ctx context.Context) (serials map[string]string, ended bool, err error) {
	serials = map[string]string{}
	for i, u := range b.units {
		question := fmt.Sprintf("Serial at %s (Enter: empty): ", words.Safe(u.Name))
		if i == 0 {
			question = fmt.Sprintf("\nSerial at %s (Enter: empty; all empty: how it stands; Ctrl-D: end): ", words.Safe(u.Name))
		}
		for {
			serial, err := b.line(ctx, question)
			switch {
			case errors.Is(err, prompt.ErrEnded):
				return serials, true, nil
			case err != nil:
				return nil, false, err
			}
			if serial != "" && b.takenAt(u, serial, serials) {
				serials[u.Name] = serial
			} else if serial != "" && b.terminal {
				continue // it is asked for again
			}
			break
		}
	}
	return serials, false, nil
}

// takenAt is taken for a serial at a place, where others have theirs already.
func (b *batchRun) takenAt(u *wiring.Unit, serial string, others map[string]string) bool {
	for _, o := range b.units {
		if others[o.Name] != serial {
			continue
		}
		b.note("%s is at %s already; it cannot be at %s as well", words.Short(serial, words.MostName), o.Name, u.Name)
		if !b.terminal {
			b.wrong++
		}
		return false
	}
	return b.taken(serial)
}

// byPlace are serials in the order of their places.
func byPlace(units []*wiring.Unit, serials map[string]string) (all []string) {
	for _, u := range units {
		if s := serials[u.Name]; s != "" {
			all = append(all, s)
		}
	}
	return all
}

// testRound runs the sequence on the units whose serials are given, by the places' names.
func (b *batchRun) testRound(ctx context.Context, serials map[string]string) error {
	o := b.o
	o.seed += uint64(b.n) // another bench for each round, the same ones each time
	b.n += len(serials)
	b.again = ""
	j, err := b.prepare(b.c, b.sequence, &o)
	if err != nil {
		return err
	}
	j.fields = b.fields
	var units []*wiring.Unit
	var hubs []*live.Hub
	for i, u := range j.units {
		if serials[u.Name] != "" {
			units, hubs = append(units, u), append(hubs, j.hubs[i])
		}
	}
	j.units, j.hubs = units, hubs
	j.sim.Faults = slices.DeleteFunc(j.sim.Faults, func(f sim.Fault) bool { // what is planted at an empty place is nowhere
		place, _ := wiring.CutPlace(f.Place)
		return j.rig.Unit(place) != nil && serials[place] == ""
	})
	b.tellRecords = b.tellRound
	defer func() { b.tellRecords = nil }()
	err = b.runOn(ctx, &j, &o, serials)
	b.verdict = analyze.NoVerdict // the batch has its own
	return err
}

// mostLarge is of how many units each verdict is shown large. Of more, those are that did not pass.
const mostLarge = 4

// tellRound shows the verdicts of units that were tested at the same time, and what was found.
func (b *batchRun) tellRound(list []unitLine, records []*report.Record) error {
	all := analyze.NoVerdict
	for i, r := range records {
		b.noteTest(r)
		all = all.Worse(r.Verdict)
		if b.terminal && (len(records) <= mostLarge || r.Verdict != analyze.Pass) {
			b.note("%s, %s:", list[i].place, r.Unit)
			b.showLarge(r.Verdict)
		}
	}
	if len(records) > mostLarge && all == analyze.Pass {
		b.showLarge(all)
	}
	for i, r := range records {
		b.note("%s, %s: %s, run %s", list[i].place, r.Unit, r.Verdict.Name(), r.Run)
		if err := b.tellFindings(r); err != nil {
			return err
		}
	}
	return nil
}
