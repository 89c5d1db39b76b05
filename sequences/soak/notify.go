package soak

import (
	"sync/atomic"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"makebreak/rig/task"
	"makebreak/rig/words"
	"makebreak/sequences"
)

// A Notifier tells systemd, where it started the program, that the soak is ready, how far
// it is and that it still gets on. Elsewhere it does nothing.
type Notifier struct {
	say   func(format string, args ...any)
	quiet time.Duration // how long the soak may show no sign of life
	began time.Time
	last  atomic.Int64 // the latest sign, in nanoseconds since then: the clock on the wall may be set meanwhile
	done  chan struct{}
}

// quietMargin is added to the sequence's longest state.
const quietMargin = time.Minute

// NewNotifier returns a notifier for a soak of the sequence. It says to the person what
// systemd could not be told.
func NewNotifier(seq *sequences.Sequence, say func(format string, args ...any)) *Notifier {
	n := &Notifier{say: say, quiet: seq.Baseline, began: time.Now(), done: make(chan struct{})}
	for _, s := range seq.Steps {
		n.quiet = max(n.quiet, s.Hold)
	}
	n.quiet += quietMargin
	n.Alive()
	if every, err := daemon.SdWatchdogEnabled(false); err != nil {
		say("systemd's watchdog: %v", err)
	} else if every > 0 {
		task.Go(func() { n.watchdog(every / 3) })
	}
	return n
}

// watchdog passes signs of life on. A soak that hangs sends none and is restarted.
func (n *Notifier) watchdog(every time.Duration) {
	t := time.NewTicker(every)
	defer t.Stop()
	for {
		select {
		case <-n.done:
			return
		case <-t.C:
			if time.Since(n.began)-time.Duration(n.last.Load()) < n.quiet {
				n.send(daemon.SdNotifyWatchdog)
			}
		}
	}
}

// Alive is a sign of life.
func (n *Notifier) Alive() { n.last.Store(int64(time.Since(n.began))) }

// Ready says that the soak has begun.
func (n *Notifier) Ready(text string) { n.send(daemon.SdNotifyReady + "\nSTATUS=" + words.Safe(text)) }

// Status says how far the soak is.
func (n *Notifier) Status(text string) { n.send("STATUS=" + words.Safe(text)) }

// Stopping says that the soak ends.
func (n *Notifier) Stopping() { n.send(daemon.SdNotifyStopping) }

// Told tells systemd of a program that has nothing to do and ends now. One that ends without
// that it was ready counts as failed, whatever its exit status, and would be started again.
func Told(text string, say func(format string, args ...any)) {
	n := &Notifier{say: say}
	n.Ready(text)
	n.Stopping()
}

func (n *Notifier) send(text string) {
	if _, err := daemon.SdNotify(false, text); err != nil {
		n.say("systemd could not be told: %v", err)
	}
}

// Stop ends the notifier.
func (n *Notifier) Stop() { close(n.done) }
