package bench

import (
	"fmt"

	"makebreak/rig/capture"
)

// checkLevels compares the state of each contact and reference with what its edges say, at
// the end of a recording. An edge that is lost and leads to no other edge gives no other sign:
// a contact that opened then looks welded.
func (b *Bench) checkLevels() error {
	for i := range b.drives {
		agrees, err := b.agrees(i)
		switch {
		case err != nil:
			return err
		case agrees:
			continue
		}
		// It may have changed just now.
		if err := b.takeEdges(); err != nil {
			return err
		}
		active, err := b.lines.Active(i)
		if err != nil {
			return b.unreadable(i, err)
		}
		if b.ledger.Level(i, active) {
			b.counts.LostEdges++
			b.c.Tracks[i].Lose(1, capture.Level, b.checked, b.lines.Now())
		}
	}
	b.checked = b.lines.Now()
	return nil
}

// agrees reports whether a line is as its edges say.
func (b *Bench) agrees(i int) (bool, error) {
	active, err := b.lines.Active(i)
	if err != nil {
		return false, b.unreadable(i, err)
	}
	is, known := b.c.Tracks[i].StateAt(b.lines.Now())
	return known && is == active, nil
}

func (b *Bench) unreadable(i int, err error) error {
	return lost(fmt.Errorf("%w: %s %s: %w", ErrLost, b.roles[i].Role, b.roles[i].Line.Name, err), capture.LinesLost, b.roles[i].Line.Name)
}
