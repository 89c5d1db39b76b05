package kernelbench

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sys/unix"

	"makebreak/rig/capture"
)

// Panel is an invented alarm panel with one output and a change-over relay behind
// it, wired to the guest's simulated lines and converters. It runs as a process of
// its own beside the program under test and knows nothing of it: it watches its
// key-switch inputs, and acts on the pins that the program's rig reads.
type Panel struct {
	// Keys are its inputs by event: the files that show the lines' levels.
	Keys map[string]string
	// On says whether the output goes on at the event.
	On map[string]bool
	// Reference, Make and Break are the pull files of the lines: the reference is
	// high while a key is, the contacts are low while they are closed.
	Reference, Make, Break string
	// OnMicrovolts and OffMicrovolts are the converters' 16 inputs in either state.
	OnMicrovolts, OffMicrovolts []int
	// Delay is the time from a key to the output.
	Delay time.Duration
	// Pairs are two edges of the contact that closes, before its other ones, which nothing else
	// in the guest runs between: to the kernel they are one.
	Pairs bool
}

// Deed is one thing that the panel did, between two readings of CLOCK_MONOTONIC.
type Deed struct {
	What     string
	From, To capture.Instant
}

// At is the middle of the two readings.
func (d Deed) At() capture.Instant { return d.From + (d.To-d.From)/2 }

// The deeds, besides the event's own name, which is the reference's rise.
const (
	OutputOn     = "output on"
	OutputOff    = "output off"
	MakeCloses   = "make closes"
	MakeOpens    = "make opens"
	BreakCloses  = "break closes"
	BreakOpens   = "break opens"
	ReferenceOff = "reference off"
	MakePair     = "make closes and opens at once"
	BreakPair    = "break closes and opens at once"
)

// travel is what the contacts do after the output has switched on or off. A bounce's
// edges stand far enough apart for the guest's interrupt threads to see each.
var travel = map[bool][]struct {
	after time.Duration
	what  string
}{
	true: {
		{2500 * time.Microsecond, BreakOpens},
		{5000 * time.Microsecond, MakeCloses},
		{6000 * time.Microsecond, MakeOpens},
		{7000 * time.Microsecond, MakeCloses},
	},
	false: {
		{1500 * time.Microsecond, MakeOpens},
		{4000 * time.Microsecond, BreakCloses},
		{5000 * time.Microsecond, BreakOpens},
		{6000 * time.Microsecond, BreakCloses},
	},
}

// pairAfter is when a pair of edges comes after the output has switched.
const pairAfter = 3 * time.Millisecond

var pairOf = map[bool]string{true: MakePair, false: BreakPair}

// glance is how often the panel looks at its keys. Delays are counted from the
// reference, so it does not matter how late it sees one.
const glance = 2 * time.Millisecond

// working is a panel at work.
type working struct {
	*Panel
	keys   map[string]*os.File
	down   map[string]bool
	agenda []intention
	log    *json.Encoder
}

type intention struct {
	at   capture.Instant
	what string
}

// Work is the panel's life: it starts with its output off and ends when stop does.
// What it does is written to the log as it happens, one JSON object a line.
func (p *Panel) Work(stop io.Reader, log io.Writer) error {
	w := &working{Panel: p, keys: map[string]*os.File{}, down: map[string]bool{}, log: json.NewEncoder(log)}
	for event, path := range p.Keys {
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		defer f.Close()
		w.keys[event] = f
	}
	for _, what := range []string{ReferenceOff, OutputOff, MakeOpens, BreakCloses} {
		if err := w.do(what); err != nil {
			return err
		}
	}
	w.agenda = nil // it has been off all along
	ended := make(chan struct{})
	go func() {
		_, _ = io.Copy(io.Discard, stop)
		close(ended)
	}()
	for {
		select {
		case <-ended:
			return nil
		default:
		}
		if err := w.step(); err != nil {
			return err
		}
	}
}

// step does what is due, looks at the keys and rests.
func (w *working) step() error {
	for len(w.agenda) > 0 && w.agenda[0].at <= monotonic() {
		what := w.agenda[0].what
		w.agenda = w.agenda[1:]
		if err := w.do(what); err != nil {
			return err
		}
	}
	for event, f := range w.keys {
		if err := w.look(event, f); err != nil {
			return err
		}
	}
	rest := glance
	if len(w.agenda) > 0 {
		rest = min(rest, w.agenda[0].at.Sub(monotonic()))
	}
	time.Sleep(rest)
	return nil
}

// look reacts to a key that has changed.
func (w *working) look(event string, f *os.File) error {
	var b [4]byte
	n, err := f.ReadAt(b[:], 0)
	if n == 0 {
		return fmt.Errorf("key of %s: %w", event, err)
	}
	down := b[0] == '1'
	if down == w.down[event] {
		return nil
	}
	w.down[event] = down
	if !down {
		return w.do(ReferenceOff)
	}
	what := OutputOff
	if w.On[event] {
		what = OutputOn
	}
	err = w.do(event)
	w.agenda = append(w.agenda, intention{monotonic().Add(w.Delay), what})
	return err
}

// do does one thing, and plans what follows from it.
func (w *working) do(what string) error {
	d := Deed{What: what, From: monotonic()}
	var err error
	switch what {
	case OutputOn, OutputOff:
		err = w.switchOutput(what == OutputOn)
	case MakeCloses, MakeOpens:
		err = pull(w.Make, what == MakeOpens)
	case BreakCloses, BreakOpens:
		err = pull(w.Break, what == BreakOpens)
	case MakePair:
		err = pullPair(w.Make)
	case BreakPair:
		err = pullPair(w.Break)
	case ReferenceOff:
		err = pull(w.Reference, false)
	default:
		err = pull(w.Reference, true)
	}
	d.To = monotonic()
	if err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	if what == OutputOn || what == OutputOff {
		w.plan(d.At(), what == OutputOn)
	}
	return w.log.Encode(d)
}

// plan plans the contacts' travel, in place of one that has not ended.
func (w *working) plan(from capture.Instant, on bool) {
	w.agenda = w.agenda[:0]
	for _, t := range travel[on] {
		w.agenda = append(w.agenda, intention{from.Add(t.after), t.what})
	}
	if w.Pairs {
		w.agenda = append(w.agenda, intention{from.Add(pairAfter), pairOf[on]})
	}
	slices.SortStableFunc(w.agenda, func(a, b intention) int { return int(a.at - b.at) })
}

func (w *working) switchOutput(on bool) error {
	v := w.OffMicrovolts
	if on {
		v = w.OnMicrovolts
	}
	var words []string
	for _, uv := range v {
		words = append(words, strconv.Itoa(uv))
	}
	return os.WriteFile(knobDir+"microvolts", []byte(strings.Join(words, ",")), 0)
}

func pull(path string, high bool) error { return os.WriteFile(path, pullText[high], 0) }

// pullPair pulls a line low and high again with a thread that comes before those that serve
// the kernel's interrupts.
func pullPair(path string) error {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	const first = 90 // theirs is 50
	if err := schedule(unix.SCHED_FIFO, first); err != nil {
		return err
	}
	return errors.Join(pull(path, false), pull(path, true), schedule(unix.SCHED_NORMAL, 0))
}

// monotonic reads the clock that stamps edges and samples.
func monotonic() capture.Instant {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts); err != nil {
		panic(err) // Linux has this clock
	}
	return capture.Instant(ts.Nano())
}
