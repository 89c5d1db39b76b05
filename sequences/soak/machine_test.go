package soak_test

import (
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/machine"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/record"
	"makebreak/sequences/setup"
	"makebreak/sequences/soak"
)

// firmware is a board's supply, as its firmware tells of it.
type firmware struct {
	mu   sync.Mutex
	bits uint32
}

func (f *firmware) ask() (uint32, bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.bits, true
}

func (f *firmware) set(bits uint32) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.bits = bits
}

// A supply that sags during a soak, also while a lost rig is waited for, stands in its record
// with a caution, and after which cycle it was seen.
func TestSoak_Computer(t *testing.T) {
	seq, err := sequences.Load(t.Context(), "relay-only")
	if err != nil {
		t.Fatal(err)
	}
	rig, sim := setup.BenchFor(seq), setup.Simulation{Seed: 1}
	if err := sim.Plant([]string{"adc-lost=1 s"}); err != nil {
		t.Fatal(err)
	}
	board := &firmware{}
	opened, at := 0, time.Unix(1_900_000_000, 0).UTC()
	now := func() time.Time { at = at.Add(time.Second); return at }
	system := machine.System{Root: fstest.MapFS{"proc/device-tree/model": {Data: []byte("Raspberry Pi 4 Model B Rev 1.4\x00")}}, Throttling: board.ask}
	hears := &listener{}
	w := soak.Work{Sequence: seq, Hear: hears, WaitForRig: time.Minute,
		Bench: func() (*bench.Bench, error) {
			if opened++; opened == 2 {
				sim = setup.Simulation{Seed: 1} // the fault has gone, and the supply is low
				board.set(1)
			}
			return setup.Open(rig, seq, sim, bench.Opts{})
		},
		Watch: func(*bench.Bench) *machine.Watch {
			return machine.NewWatch(system, machine.At(system.Read(), now()), now)
		}}
	db, err := journal.Open(filepath.Join(t.TempDir(), "log.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	b, err := w.Open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	s, err := soak.Begin(db, journal.RunInfo{Sequence: seq.Name, SequenceSource: string(seq.Source), Rig: rig.Name, Started: at, Planned: 6,
		Soak: &journal.Retention{Bad: 10}, Machine: machine.At(system.Read(), at)}, w)
	if err != nil {
		t.Fatal(err)
	}
	runErr := s.Run(t.Context(), b)
	board.set(0)
	if err := s.End(runErr, ""); err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(hears.rig, []string{"lost", "back", "interrupted"}) {
		t.Errorf("heard of the rig: %q", hears.rig)
	}
	rec, err := db.Find("last")
	if err != nil {
		t.Fatal(err)
	}
	facts, err := rec.Machine()
	if err != nil {
		t.Fatal(err)
	}
	changes := capture.MachineChanges(facts)
	if opened < 2 || len(changes) != 2 || changes[0].Fact != capture.UnderVoltage || changes[0].Number != 1 || changes[1].Number != 0 || changes[1].After < 6 {
		t.Fatalf("bench opened %d times, changes %+v", opened, changes)
	}
	r, err := record.Of(rec, "")
	if err != nil {
		t.Fatal(err)
	}
	if said := strings.Join(r.Cautions, "\n"); !strings.Contains(said, "the board reported under-voltage during the run, first after cycle ") {
		t.Errorf("cautions:\n%s", said)
	}
}
