package sim

import (
	"fmt"
	"time"
)

// drive is a line by which the rig acts on the unit.
type drive struct {
	name   string
	active bool
	coil   *output // what it switches itself; nil: nothing
	// supplies says that it switches the unit's supply.
	supplies bool
	// What happens when it becomes active and inactive. Where several events
	// share it, they take turns in the file's order, as with a key-switch that arms
	// and disarms in turn.
	on, off turns
	held    []int32 // references that are active because of it
}

type turns struct {
	causes []cause
	next   int
}

// cause is one of the rig file's causes with everything found.
type cause struct {
	event     int32
	reference int32 // -1: none
}

func (t *turns) take() (cause, bool) {
	if len(t.causes) == 0 {
		return cause{}, false
	}
	c := t.causes[t.next]
	t.next = (t.next + 1) % len(t.causes)
	return c, true
}

// reference is a line that reports the instant of an event.
type reference struct {
	name     string
	index    int32
	active   bool
	line     int
	seen     int64 // when the kernel stamps the last edge
	other    bool  // a person has set the other polarity
	inverted bool  // the line reads the opposite
}

// Times of the bench's own electronics: how late a reference reports, how long a
// coil's driver takes, and how long a reference stays active at a key press.
const (
	referenceLag = int64(time.Microsecond)
	coilDriver   = int64(5 * time.Microsecond)
	keyPress     = int64(300 * time.Millisecond)
)

// addCauses wires the rig's causes to their drives and references.
func (w *World) addCauses() error {
	for i := range w.rig.Causes {
		c := &w.rig.Causes[i]
		k := cause{event: w.panel.event(c.Event), reference: -1}
		if c.Reference != "" {
			if k.reference = w.reference(c.Reference); k.reference < 0 {
				return fmt.Errorf("event %s: the rig has no reference %q", c.Event, c.Reference)
			}
		}
		w.acts = append(w.acts, k)
		if c.Drive == "" {
			continue
		}
		d := w.drive(c.Drive)
		if d == nil {
			return fmt.Errorf("event %s: the rig has no drive %q", c.Event, c.Drive)
		}
		if c.Pulse > 0 || c.On {
			d.on.causes = append(d.on.causes, k)
		} else {
			d.off.causes = append(d.off.causes, k)
		}
	}
	return nil
}

// setDrive switches a drive.
func (w *World) setDrive(d *drive, active bool) {
	if d.active == active {
		return
	}
	d.active = active
	if d.coil != nil {
		w.plan(happening{at: w.now + coilDriver, kind: coilCommand, index: d.coil.index, flag: active})
	}
	if d.supplies {
		w.setStage(active)
	}
	side := &d.on
	if !active {
		side = &d.off
	}
	c, ok := side.take()
	if ok {
		w.tell(c.event)
	}
	if !active {
		w.letGo(d, c, ok)
		return
	}
	if ok && c.reference >= 0 {
		d.held = append(d.held, c.reference)
		w.plan(happening{at: w.now + referenceLag, kind: referenceSet, index: c.reference, flag: true})
	}
}

// letGo makes the references inactive that followed the drive. A reference that
// reports an event of its own when the drive goes off gives a pulse.
func (w *World) letGo(d *drive, c cause, told bool) {
	own := told && c.reference >= 0
	for _, r := range d.held {
		own = own && r != c.reference
		w.plan(happening{at: w.now + referenceLag, kind: referenceSet, index: r})
	}
	d.held = d.held[:0]
	if own {
		w.pressReference(c.reference)
	}
}

func (w *World) pressReference(r int32) {
	w.plan(happening{at: w.now + referenceLag, kind: referenceSet, index: r, flag: true})
	w.plan(happening{at: w.now + referenceLag + keyPress, kind: referenceSet, index: r})
}

func (w *World) setReference(r *reference, active bool) {
	if r.active == active {
		return
	}
	r.active = active
	r.seen = max(w.now+w.kernel.Next(), r.seen+1)
	w.plan(happening{at: r.seen, kind: referenceSeen, index: r.index, flag: active != r.inverted})
}

// press is the person at the bench bringing an event about at the panel.
func (w *World) press(event string) {
	for i := range w.rig.Causes {
		if w.rig.Causes[i].Event != event {
			continue
		}
		c := w.acts[i]
		w.tell(c.event)
		if c.reference >= 0 {
			w.pressReference(c.reference)
		}
		return
	}
	w.tell(w.panel.event(event))
}

// Rigs are small, and these run while the world is built.

func (w *World) output(name string) *output {
	for _, o := range w.outputs {
		if o.name == name {
			return o
		}
	}
	return nil
}

func (w *World) contact(name string) *contact {
	for _, c := range w.contacts {
		if c.name == name {
			return c
		}
	}
	return nil
}

func (w *World) drive(name string) *drive {
	for _, d := range w.drives {
		if d.name == name {
			return d
		}
	}
	return nil
}

func (w *World) reference(name string) int32 {
	for i, r := range w.references {
		if r.name == name {
			return int32(i)
		}
	}
	return -1
}

// driven reports whether a drive switches the output itself.
func (w *World) driven(o *output) bool {
	for _, d := range w.drives {
		if d.coil == o {
			return true
		}
	}
	return false
}
