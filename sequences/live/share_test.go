package live_test

import (
	"errors"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/live"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
)

func twoPanels(t *testing.T) *wiring.Rig {
	t.Helper()
	rig, err := rigfile.Load(t.Context(), "../../testdata/rigs/two-panels.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return rig
}

// What a unit is shown of the rig is its own, by the rig file's own table: each sample and each
// line of the whole has a figure that tells which it is.
func TestShare(t *testing.T) {
	t.Parallel()
	rig := twoPanels(t)
	sampled := []string{"R3", "L8", "L3", "R1"}
	all := bench.Requests(rig)
	g := &bench.Glance{}
	for i := range sampled {
		g.Outputs = append(g.Outputs, bench.SampleGlance{Seen: true, Volts: float64(i)})
	}
	for i, r := range all {
		if r.Line.Name != "" && i < len(rig.Contacts)+len(rig.References)+len(rig.Drives) {
			g.Lines = append(g.Lines, bench.LineGlance{Since: capture.Instant(i)})
		}
	}
	for name, want := range map[string]struct{ outputs, lines string }{
		"left":  {"OUT8=L8 OUT3=L3", "K1_NO=LK1_NO K1_NC=LK1_NC REF=L_REF KEY_AWAY=L_AWAY KEY_STAY=L_STAY KEY_OFF=L_OFF ZONE=L_ZONE CHIME=CHIME"},
		"right": {"OUT3=R3 OUT1=R1", "K1_NO=RK1_NO K1_NC=RK1_NC REF=R_REF KEY_AWAY=R_AWAY KEY_STAY=R_STAY KEY_OFF=R_OFF ZONE=R_ZONE CHIME=CHIME"},
	} {
		u := rig.Unit(name)
		own, names := live.ShareOf(rig, u, sampled, g)
		var outputs, lines []string
		for i, o := range own.Outputs {
			outputs = append(outputs, names[i]+"="+sampled[int(o.Volts)])
		}
		seen := bench.Requests(rig.For(u))
		for i, l := range own.Lines {
			lines = append(lines, seen[i].Line.Name+"="+all[l.Since].Line.Name)
		}
		if got := strings.Join(outputs, " "); got != want.outputs {
			t.Errorf("%s: outputs %s", name, got)
		}
		if got := strings.Join(lines, " "); got != want.lines {
			t.Errorf("%s: lines %s", name, got)
		}
	}
}

// Units that run at the same time each tell of their own: what is wrong with one is no other's, and
// one that ends early has ended while the other goes on.
func TestHub_Units(t *testing.T) {
	t.Parallel()
	rig := twoPanels(t)
	seq, err := sequences.Load(t.Context(), "armed-high")
	if err != nil {
		t.Fatal(err)
	}
	const cycles = 4
	s := setup.Simulation{Seed: 7}
	if err := s.Plant([]string{"welded@right/K1"}); err != nil {
		t.Fatal(err)
	}
	units := []*wiring.Unit{&rig.Units[0], &rig.Units[1]}
	var hubs []*live.Hub
	opts := bench.Opts{}
	work := &sync.Mutex{}
	for _, u := range units {
		h := live.New(live.Of{Sequence: seq, Rig: rig, Unit: u, Work: work})
		h.Quicken(time.Millisecond)
		hubs, opts.Glances = append(hubs, h), append(opts.Glances, h.Glances())
	}
	b, err := setup.OpenTogether(rig, units, seq, s, opts)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	last, seen := make([]*live.State, len(units)), make([]*live.State, len(units))
	var all sync.WaitGroup
	together := runner.Together{Rig: rig, Sequence: seq}
	for i, u := range units {
		hubs[i].Begin(journal.RunInfo{ID: u.Name, UUID: u.Name, Planned: cycles, Fields: []journal.Field{{Name: journal.PositionField, Value: u.Name}, {Name: journal.TogetherField, Value: "m"}}}, live.Before{}, b.Sampled())
		all.Go(func() {
			for since := uint64(0); last[i] == nil || last[i].End == nil; {
				state, number, err := hubs[i].Next(t.Context(), since)
				if err != nil {
					t.Error(err)
					return
				}
				if last[i], since = state, number; state.Seen {
					seen[i] = state
				}
			}
		})
		o := runner.Opts{First: 1, Last: cycles, StopOnFail: true, Now: time.Now}
		hubs[i].Hears(&o)
		together.Parts = append(together.Parts, runner.Part{Unit: u, Opts: o, OnEnd: func(err error) { hubs[i].End(time.Unix(60, 0), err == nil, "") }})
	}
	ended := runner.RunTogether(t.Context(), b, together)
	all.Wait()
	if ended[0].Err != nil || !errors.Is(ended[1].Err, runner.ErrStopped) {
		t.Fatalf("%+v", ended)
	}
	for i, want := range []analyze.Verdict{analyze.Pass, analyze.Fail} {
		l := last[i]
		if l.End.Verdict != want || l.Done != []int{cycles, 1}[i] || l.Position != units[i].Name || l.Together != "m" || (len(l.Results.Findings) > 0) != (i == 1) {
			t.Errorf("%s: %+v", units[i].Name, l)
		}
		if l.Results.Last == nil || !slices.ContainsFunc(l.Results.Figures, func(f live.Figure) bool { return f.Signal == "OUT3" }) {
			t.Errorf("%s: no figures of its own", units[i].Name)
		}
	}
	if x := seen[0]; x == nil || len(x.Outputs) != 8 || x.Outputs[2].Name != "OUT3" || len(x.Lines) != 8 || x.Lines[0].Name != "K1_NO" || x.Lines[7].Name != "CHIME" {
		t.Errorf("left was seen as %+v", x)
	}
}
