package sheet

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"

	"makebreak/analyze/picture"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
	"makebreak/sequences/setup"
)

// eachBench calls f with each built-in bench and each built-in sequence that fits it.
func eachBench(t *testing.T, f func(t *testing.T, rig *wiring.Rig, relays []sim.Relay, seq *sequences.Sequence)) {
	n := 0
	for _, rig := range rigfile.Builtin() {
		for _, seq := range sequences.Builtin() {
			if _, err := seq.Fits(rig); err != nil {
				continue
			}
			n++
			relays := setup.Unit(rig, seq).Relays
			if relays == nil {
				relays = sim.DefaultRelays(rig, nil)
			}
			t.Run(rig.Name+" "+seq.Name, func(t *testing.T) { f(t, rig, relays, seq) })
		}
	}
	if n == 0 {
		t.Error("no sequence fits a bench")
	}
}

// Each point and each wire of the simulated bench is in the drawing, in that for a terminal and
// in words, and nothing else is.
func TestBench_Whole(t *testing.T) {
	t.Parallel()
	eachBench(t, func(t *testing.T, rig *wiring.Rig, relays []sim.Relay, _ *sequences.Sequence) {
		b := Bench(rig, relays)
		w := picture.NewWiring(b)
		var svg, text bytes.Buffer
		if err := w.SVG(&svg); err != nil {
			t.Fatal(err)
		}
		if err := WriteWiring(&text, b); err != nil {
			t.Fatal(err)
		}
		layout := sim.NewLayout(rig, sim.Opts{Relays: relays})
		drawn := map[string]int{}
		for _, p := range w.Places {
			drawn[p.Name]++
		}
		for _, p := range layout.Points {
			if drawn[p.Name] != 1 {
				t.Errorf("point %s is drawn %d times", p.Name, drawn[p.Name])
			}
			delete(drawn, p.Name)
			if !strings.Contains(text.String(), "o "+p.Terminal) && !strings.Contains(text.String(), "o "+p.Name) && !strings.Contains(text.String(), p.Terminal+" o") {
				t.Errorf("point %s is not in\n%s", p.Name, text.String())
			}
		}
		if len(drawn) > 0 {
			t.Errorf("what the bench lacks is drawn: %v", drawn)
		}
		said := strings.Join(Sentences(b), "\n")
		for _, j := range layout.Wires {
			if strings.Count(svg.String(), ">"+j.Name+"<") != 1 || !strings.Contains(text.String(), j.Name+"─") || !strings.Contains(said, j.Name+" (") {
				t.Errorf("wire %s is not drawn, or not told", j.Name)
			}
		}
		if svg.Len() > 60_000 {
			t.Errorf("the drawing has %d bytes", svg.Len())
		}
	})
}

// The drawing for a terminal is 80 columns wide at most.
func TestWriteWiring_Width(t *testing.T) {
	t.Parallel()
	eachBench(t, func(t *testing.T, rig *wiring.Rig, relays []sim.Relay, _ *sequences.Sequence) {
		b := Bench(rig, relays)
		b.Words = nil
		var text bytes.Buffer
		if err := WriteWiring(&text, b); err != nil {
			t.Fatal(err)
		}
		for _, line := range strings.Split(text.String(), "\n") {
			if n := utf8.RuneCountInString(line); n > 80 {
				t.Errorf("%d columns: %s", n, line)
			}
		}
	})
}

// A job card has a line for each signal of the sequence, in each form.
func TestCard_Lines(t *testing.T) {
	t.Parallel()
	eachBench(t, func(t *testing.T, rig *wiring.Rig, relays []sim.Relay, seq *sequences.Sequence) {
		var text, page, svg bytes.Buffer
		if err := WriteCard(&text, seq); err != nil {
			t.Fatal(err)
		}
		if err := HTML(&page, Bench(rig, relays), seq, true); err != nil {
			t.Fatal(err)
		}
		if err := Card(seq).SVG(&svg); err != nil {
			t.Fatal(err)
		}
		lines := Lines(seq)
		for _, signal := range append(signalsOf(seq), "every other output") {
			found := 0
			for _, l := range lines {
				if l.Signal == signal && l.Demanded != "" {
					found++
				}
			}
			if found != 1 && (signal != "every other output" || seq.Plan.OthersUnmoved) {
				t.Errorf("%s has %d lines of %+v", signal, found, lines)
			}
			if found == 1 && (!strings.Contains(text.String(), signal) || !strings.Contains(page.String(), fmt.Sprintf(`<th scope="row">%s</th>`, signal))) {
				t.Errorf("%s is not on the card", signal)
			}
		}
		for _, s := range seq.Steps {
			if !strings.Contains(svg.String(), ">"+s.Event+"<") || !strings.Contains(text.String(), s.Event) {
				t.Errorf("the event %s is not on the card", s.Event)
			}
		}
	})
}

func signalsOf(seq *sequences.Sequence) (all []string) {
	for i := range seq.Plan.Outputs {
		all = append(all, seq.Plan.Outputs[i].Signal)
	}
	for i := range seq.Plan.Relays {
		all = append(all, seq.Plan.Relays[i].Signal)
	}
	return all
}

// Of a rig of which no relay is known, none is drawn, and its contacts are drawn by themselves.
func TestBench_NoRelay(t *testing.T) {
	t.Parallel()
	rig := rigfile.Builtin()[0]
	b := Bench(rig, nil)
	if len(b.Relays) > 0 || len(b.Contacts) != 2 {
		t.Errorf("%d relays, %d contacts", len(b.Relays), len(b.Contacts))
	}
	var text bytes.Buffer
	if err := WriteWiring(&text, b); err != nil || !strings.Contains(text.String(), "K1_NO") {
		t.Errorf("%v:\n%s", err, text.String())
	}
}
