package survey_test

import (
	"math/rand/v2"
	"os"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/rig/sim"
	"makebreak/sequences"
	"makebreak/testdata/drawnpanel"
)

// firstPanel is the seed of the first panel drawn for the survey. The seeds of all other tests lie
// below it.
const firstPanel uint64 = 9_600_000_000

// firstWritten is the seed of the first panel of which the sequence that is written is run.
const firstWritten uint64 = 9_400_000_001

// What an output is said to do is what the simulated panel does, whatever order its events come
// in; and the same seed draws the same panel.
func TestDrawn_Truth(t *testing.T) {
	panels := 40
	if testing.Short() {
		panels = 8
	}
	moved := map[drawnpanel.Kind]bool{}
	for i := range panels {
		seed := firstPanel - 1 - uint64(i)
		p, err := drawnpanel.Draw(seed)
		if err != nil {
			t.Fatal(err)
		}
		again, err := drawnpanel.Draw(seed)
		if err != nil || again.RigFile != p.RigFile || len(again.Programme()) != len(p.Programme()) {
			t.Errorf("seed %d draws another panel the second time (%v)", seed, err)
		}
		d := rand.New(rand.NewPCG(seed, 5))
		all := p.Events.All()
		var events []string
		for range 30 {
			events = append(events, all[d.IntN(len(all))])
		}
		// No delay ends just where the next event begins.
		mistold, kinds, err := p.Play(seed, events, 15*time.Second+3777*time.Microsecond)
		if err != nil {
			t.Fatal(err)
		}
		for _, wrong := range mistold {
			t.Error(wrong)
		}
		for _, k := range kinds {
			moved[k] = true
		}
	}
	if testing.Short() {
		return
	}
	for _, k := range drawnpanel.Kinds() {
		if still := k == drawnpanel.NeverMoves || k == drawnpanel.AlwaysOn; moved[k] == still {
			t.Errorf("%q: moved %v", k, moved[k])
		}
	}
}

// onceWrong are panels that showed a mistake: a fast flashing that ended just as the next event
// came, a relay behind it, and relays behind one of two outputs that move together, one of
// them inverted.
var onceWrong = []uint64{9_000_000_046, 9_000_000_045, 9_000_000_031}

// TestDrawn surveys panels that are programmed at random, and counts of how many all is told
// right. MAKEBREAK_LONG=50 surveys 500 and holds the tables of the document to the letter.
func TestDrawn(t *testing.T) {
	panels := 12
	long, err := strconv.Atoi(os.Getenv("MAKEBREAK_LONG"))
	switch {
	case err == nil:
		panels = 10 * long
	case testing.Short():
		panels = 3
	}
	var seeds []uint64
	for i := range panels {
		seeds = append(seeds, firstPanel+uint64(i))
	}
	if long == 0 && !testing.Short() {
		seeds = append(seeds, onceWrong...)
	}
	began := time.Now()
	var counted drawnpanel.Counted
	for _, one := range surveyed(t, seeds) {
		counted.Add(one.told, one.relays)
	}
	t.Logf("%d panels in %v\n%s\n%s", len(seeds), time.Since(began), counted.Shares(), counted.Confusion())
	for i := range counted.Outputs {
		if x := &counted.Outputs[i]; !x.Right() {
			t.Logf("seed %d, %s: %s is told as %s: %s", x.Panel.Seed, x.Output.Name, x.Output.Behaviour, x.As, strings.Join(x.Wrong, "; "))
		}
	}
	for _, r := range counted.Relays {
		t.Log(r)
	}
	if wrong := counted.Panels - counted.Right; wrong*100 > max(counted.Panels, 100) {
		t.Errorf("%d panels of %d are not told right, at most 1 %% may be", wrong, counted.Panels)
	}
	if long == 50 && runtime.GOARCH == "amd64" {
		golden(t, "survey-shares.md", counted.Shares())
		golden(t, "survey-confusion.md", counted.Confusion())
	}
}

// What is written of a panel passes on it again and again, and fails where an output behaves
// otherwise. MAKEBREAK_LONG=100 counts 100 panels.
func TestDrawn_Written(t *testing.T) {
	panels := 3
	long, err := strconv.Atoi(os.Getenv("MAKEBREAK_LONG"))
	switch {
	case err == nil:
		panels = long
	case testing.Short():
		panels = 1
	}
	var passed, planted, told int
	for i := range panels {
		p, err := drawnpanel.Draw(firstWritten + uint64(i))
		if err != nil {
			t.Fatal(err)
		}
		seq, text, err := p.Written(t.Context(), t.TempDir(), 2)
		if err != nil {
			t.Fatalf("seed %d: %v", p.Seed, err)
		}
		if passes(t, p, seq, text) {
			passed++
		}
		for _, o := range p.Outputs {
			if o.Kind == drawnpanel.DelayedPulse {
				continue // which a sequence cannot say: it is left to be decided
			}
			fault := sim.Fault{Name: "inverted", Place: o.Name}
			if o.Moves() {
				fault.Name = "stuck-low"
			}
			planted++
			outcome, err := p.Run(t.Context(), seq, 0, nil, fault)
			if err != nil || outcome.Gravest == analyze.Fail {
				told++
				continue
			}
			t.Logf("seed %d, %s, which %s: %s ends as %s", p.Seed, o.Name, o.Behaviour, fault, outcome.Gravest)
		}
	}
	if passed*100 < panels*98 { // see measured.md
		t.Errorf("%d of %d written sequences pass on the same panel again and again, at least 98 %% must", passed, panels)
	}
	if told*100 < planted*99 { // some is left to be decided
		t.Errorf("%d of %d outputs that behave otherwise fail, at least 99 %% must", told, planted)
	}
	t.Logf("%d of %d written sequences pass, %d of %d outputs that behave otherwise fail", passed, panels, told, planted)
}

// passes runs what was written of a panel on it three times, which differ in noise, in the spread of
// delays and in where edges fall between samples.
func passes(t *testing.T, p *drawnpanel.Panel, seq *sequences.Sequence, text string) bool {
	t.Helper()
	all := true
	for take := range uint64(3) {
		complaints, verdict, err := p.Complaints(t.Context(), seq, take)
		if err != nil {
			t.Fatalf("seed %d: %v", p.Seed, err)
		}
		if verdict != analyze.Pass {
			all = false
			t.Logf("seed %d, take %d: what is written is %s on the same panel: %s\n%s", p.Seed, take, verdict, strings.Join(complaints, "; "), text)
		}
	}
	return all
}

// judged is what a survey told of a panel.
type judged struct {
	told   []drawnpanel.Told
	relays []string
}

// surveyed surveys panels on two processors.
func surveyed(t *testing.T, seeds []uint64) []judged {
	all := make([]judged, len(seeds))
	var group sync.WaitGroup
	next := make(chan int)
	for range 2 {
		group.Go(func() {
			for i := range next {
				p, err := drawnpanel.Draw(seeds[i])
				if err != nil {
					t.Error(err)
					continue
				}
				table, err := p.Survey(t.Context(), 2)
				if err != nil {
					t.Error(err)
					continue
				}
				all[i].told, all[i].relays = p.Judge(table)
			}
		})
	}
	for i := range all {
		next <- i
	}
	close(next)
	group.Wait()
	return all
}

// golden compares with a file, or writes it anew.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := "../../testdata/golden/" + name
	if os.Getenv("MAKEBREAK_UPDATE") == "1" {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil || string(want) != got {
		t.Errorf("%s is not as it was (%v); MAKEBREAK_UPDATE=1 writes it anew. Now:\n%s", name, err, got)
	}
}
