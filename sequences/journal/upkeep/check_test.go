package upkeep

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"makebreak/sequences/journal"
)

// Each part of a check can be what is wrong, and is told in its own line.
func TestCheckup_Text(t *testing.T) {
	corrupt := fmt.Errorf("log x.db: %w: page 7", journal.ErrCorrupt)
	unread := errors.New("no such disk")
	whole := journal.Contents{Run: "r1", Cycles: 2, Figures: 10, Captures: 1}
	for _, c := range []struct {
		name string
		u    Checkup
		want []string
		err  error
	}{
		{"sound", Checkup{Runs: []journal.Contents{whole}}, []string{"Read        1 run, 2 cycles, 10 figures, 1 capture\n", "Pages       sound\n", "Runs        1 of 1 whole\n", "The log is sound."}, nil},
		{"pages", Checkup{Pages: corrupt, Runs: []journal.Contents{whole}}, []string{"Pages       damaged: page 7\n", "  r1: whole, 2 cycles\n", "The log is damaged."}, journal.ErrCorrupt},
		{"references", Checkup{References: corrupt}, []string{"References  damaged: page 7\n"}, journal.ErrCorrupt},
		{"list", Checkup{List: unread}, []string{"Runs        no such disk\n"}, unread},
		{"a run", Checkup{Runs: []journal.Contents{whole, {Run: "r2", Err: corrupt}}}, []string{"Runs        1 of 2 whole\n", "  r2: damaged: page 7\n"}, journal.ErrCorrupt},
		{"a run of a hostile name", Checkup{Runs: []journal.Contents{{Run: "r\nForged", Err: corrupt}}}, []string{"  r\\nForged: damaged: page 7\n"}, journal.ErrCorrupt},
		{"a part", Checkup{Runs: []journal.Contents{{Run: "r3", Partial: true}}}, []string{"  r3: only a part, as its copying or its removal was cut off\n", "The log is sound."}, nil},
		{"stray", Checkup{Stray: 3}, []string{"Captures    3 of no run; they do no harm\n", "The log is sound."}, nil},
	} {
		var w strings.Builder
		if err := c.u.Text(&w); err != nil {
			t.Fatal(err)
		}
		for _, want := range c.want {
			if !strings.Contains(w.String(), want) {
				t.Errorf("%s: %q is missing:\n%s", c.name, want, w.String())
			}
		}
		if err := c.u.Err(); !errors.Is(err, c.err) {
			t.Errorf("%s: %v, want %v", c.name, err, c.err)
		}
	}
}
