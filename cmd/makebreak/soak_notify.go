package main

import (
	"strings"
	"sync/atomic"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"makebreak/sequences"
)

// notifier tells systemd, where it started the program, that it is ready, how far it
// is and that it still gets on. Elsewhere it does nothing.
type notifier struct {
	app      *app
	patience time.Duration // how long the soak may show no sign of life
	began    time.Time
	last     atomic.Int64 // the latest sign, in nanoseconds since then: the clock on the wall may be set meanwhile
	done     chan struct{}
}

// patienceMargin is added to the sequence's longest state.
const patienceMargin = time.Minute

func newNotifier(a *app, seq *sequences.Sequence) *notifier {
	n := &notifier{app: a, patience: seq.Baseline, began: time.Now(), done: make(chan struct{})}
	for _, s := range seq.Steps {
		n.patience = max(n.patience, s.Hold)
	}
	n.patience += patienceMargin
	n.alive()
	if every, err := daemon.SdWatchdogEnabled(false); err != nil {
		a.note("systemd's watchdog: %v", err)
	} else if every > 0 {
		go n.watchdog(every / 3)
	}
	return n
}

// watchdog passes signs of life on. A soak that hangs sends none and is restarted.
func (n *notifier) watchdog(every time.Duration) {
	t := time.NewTicker(every)
	defer t.Stop()
	for {
		select {
		case <-n.done:
			return
		case <-t.C:
			if time.Since(n.began)-time.Duration(n.last.Load()) < n.patience {
				n.send(daemon.SdNotifyWatchdog)
			}
		}
	}
}

// alive is a sign of life.
func (n *notifier) alive() { n.last.Store(int64(time.Since(n.began))) }

func (n *notifier) ready(text string) { n.send(daemon.SdNotifyReady + "\nSTATUS=" + oneLine(text)) }

func (n *notifier) status(text string) { n.send("STATUS=" + oneLine(text)) }

func (n *notifier) stopping() { n.send(daemon.SdNotifyStopping) }

func (n *notifier) send(text string) {
	if _, err := daemon.SdNotify(false, text); err != nil {
		n.app.note("systemd could not be told: %v", err)
	}
}

func (n *notifier) stop() { close(n.done) }

func oneLine(s string) string { return strings.ReplaceAll(s, "\n", " ") }
