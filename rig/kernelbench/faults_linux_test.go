package kernelbench_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"

	"makebreak/rig/gpioline"
	"makebreak/rig/kernelbench"
	"makebreak/rig/line"
)

// Exit statuses of the contract.
const (
	exitPass        = 0
	exitFail        = 1
	exitUndecided   = 2
	exitInput       = 65
	exitRig         = 69
	exitOwnFault    = 70
	exitInterrupted = 130
)

// faultRate is how many conversions a second the followed converter makes here: faults
// need no fine sampling, and an emulated processor takes its time. A mean over a longer
// conversion smooths ripple too much for its limit to be shown to hold.
const faultRate = 250

// ends holds a program that could not begin against what it must say.
func (r *running) ends(status int, words ...string) {
	r.t.Helper()
	if got := r.wait(); got != status {
		r.t.Errorf("exit %d, want %d; standard output:\n%s", got, status, r.out.String())
	}
	for _, w := range words {
		if !strings.Contains(r.err.String(), w) {
			r.t.Errorf("it does not say %q", w)
		}
	}
	for _, w := range []string{"panic", "goroutine"} {
		if strings.Contains(r.err.String(), w) {
			r.t.Errorf("it says %q", w)
		}
	}
	r.t.Logf("exit %d, standard error:\n%s", r.cmd.ProcessState.ExitCode(), r.err.String())
}

// A rig that cannot be had is told of before anything is done.
func TestKernel_CannotBegin(t *testing.T) {
	t.Run("line in use", func(t *testing.T) {
		s := newSite(t, faultRate, "100 ms", "600 ms")
		held, err := gpioline.Open([]line.Request{{Line: line.Line{Name: "other", Chip: s.contacts.Name, Number: 1}, Role: line.Contact}})
		if err != nil {
			t.Fatal(err)
		}
		defer held.Close()
		s.startRun().ends(exitRig, "K1_NC", s.contacts.Name+" line 1", `in use by "makebreak"`, "device or resource busy")
		s.noRun()
	})
	t.Run("no such line", func(t *testing.T) {
		s := newSite(t, faultRate, "100 ms", "600 ms")
		s.text = strings.Replace(s.text, "REFERENCE", "REFERENCES", 1)
		s.rig = s.writeRig("rig.yaml", `"1"`)
		s.startRun().ends(exitRig, "REF", `no line named "REFERENCES"`, "REFERENCE")
		s.noRun()
	})
	t.Run("no such GPIO chip", func(t *testing.T) {
		s := newSite(t, faultRate, "100 ms", "600 ms")
		s.contacts.Unplug()
		s.startRun().ends(exitRig, "K1_NO", `no GPIO chip "kb-contacts"`, "kb-drives")
		s.noRun()
	})
	t.Run("chip missing", func(t *testing.T) {
		s := newSite(t, faultRate, "100 ms", "600 ms")
		s.adc.SetPresent([4]bool{true, false, true, true})
		s.startRun().ends(exitRig, "ADS1115 at 0x49", "no chip answers; check its address pin, its supply and the two bus wires")
		s.noRun()
	})
	t.Run("bus number absent", func(t *testing.T) {
		s := newSite(t, faultRate, "100 ms", "600 ms")
		s.rig = s.writeRig("rig.yaml", `"7"`)
		s.startRun().ends(exitRig, `bus "7"`, "there is no such bus; there is /dev/i2c-1")
		s.noRun()
	})
	t.Run("permission denied", func(t *testing.T) {
		s := newSite(t, faultRate, "100 ms", "600 ms")
		const bench = 1000 // the guest's user
		s.log = filepath.Join(s.dir, "own", "log.db")
		if err := os.Mkdir(filepath.Dir(s.log), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.Chown(filepath.Dir(s.log), bench, bench); err != nil {
			t.Fatal(err)
		}
		as := &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: bench, Gid: bench}}
		run := func() *running { return s.start(as, "run", s.sequence, "--rig", s.rig, "--yes") }
		give := func(path string, gid int, mode os.FileMode) {
			if err := os.Chown(path, 0, gid); err != nil {
				t.Fatal(err)
			}
			if err := os.Chmod(path, mode); err != nil {
				t.Fatal(err)
			}
		}
		give(kernelbench.Bus, 987, 0o660)
		run().ends(exitRig, "may not open /dev/i2c-1", "usermod -aG i2c USER", "permission denied")
		give(kernelbench.Bus, 987, 0o666)
		give(s.lines.Path, 986, 0o660)
		give(s.contacts.Path, 986, 0o660)
		run().ends(exitRig, "K1_NO", "may not open", "usermod -aG gpio USER", "permission denied")
		// The check of the check: in the groups, the same user's run passes.
		s.startPanel()
		as.Credential.Groups = []uint32{986, 987}
		run().ends(exitPass)
	})
}

// noRun checks that a run that could not begin is not in the log, and that no drive
// has been left on.
func (s *site) noRun() {
	s.t.Helper()
	if row := s.lastRun(); row != nil {
		s.t.Errorf("the log lists a run: %+v", row)
	}
	s.released()
}

// released checks that no drive is on.
func (s *site) released() {
	s.t.Helper()
	for _, l := range []int{keyAway, keyOff} {
		if s.lines.High(l) {
			s.t.Errorf("drive line %d is on", l)
		}
	}
}

// beginRun starts a run with long presses, and waits until in its second cycle a key
// is down. The lines are held then, so that only a release makes the drive inactive.
func (s *site) beginRun() (r *running, drop func()) {
	s.t.Helper()
	panel := s.startPanel()
	r = s.startRun()
	panel.await("arm-away", 1)
	panel.await(kernelbench.MakeCloses, 3)
	drop = s.holdLines(r.cmd.Process.Pid)
	if !s.lines.High(keyAway) {
		s.t.Fatal("the key is not down")
	}
	return r, drop
}

// keptAsIncomplete checks that the run is in the log with its first cycle whole, its
// second cut short, and both captures.
func (s *site) keptAsIncomplete(second bool) {
	s.t.Helper()
	row := s.lastRun()
	if row == nil || row.Complete || row.Cycles != 1 || row.Verdict != "incomplete" {
		s.t.Fatalf("makebreak runs lists %+v; wanted: not complete, 1 cycle, incomplete", row)
	}
	rec := s.logged()
	c := s.capture(rec, 1)
	if len(c.Events) != 2 || c.Trace("OUT1").Len() < 50 {
		s.t.Errorf("the first cycle's capture has %d events, %d samples of OUT1", len(c.Events), c.Trace("OUT1").Len())
	}
	if !second {
		return
	}
	c = s.capture(rec, 2)
	if len(c.Events) != 1 || c.Trace("OUT1").Len() == 0 || len(c.Track("K1_NO").Edges) < 3 {
		s.t.Errorf("the second cycle's capture has %d events, %d samples of OUT1, K1_NO's edges %v", len(c.Events), c.Trace("OUT1").Len(), c.Track("K1_NO").Edges)
	}
}

// Whatever ends a run that is under way, its drives are released and what was captured
// is kept.
func TestKernel_EndsMidRun(t *testing.T) {
	for _, c := range []struct {
		name   string
		end    func(s *site, r *running)
		status int
		words  []string
		// unreachable says that the drives' own chip has gone, again that the rig must
		// be usable at once.
		unreachable, again bool
	}{
		{"converter gone", func(s *site, _ *running) { s.adc.SetPresent([4]bool{false, true, true, true}) }, exitRig,
			[]string{"the rig is lost: chip A", "ADS1115 at 0x48", "no chip answers", "is in the log, marked as incomplete"}, false, true},
		{"bus held", func(s *site, _ *running) { s.adc.Fail(unix.ETIMEDOUT, 1<<30) }, exitRig,
			[]string{"the rig is lost", "the bus is held; check for a short", "is in the log, marked as incomplete"}, false, false},
		{"contacts' chip unplugged", func(s *site, _ *running) { s.contacts.Unplug() }, exitRig,
			[]string{"the rig is lost", "K1_NO", "the chip has gone (unplugged, or its driver was removed)", "is in the log, marked as incomplete"}, false, false},
		{"drives' chip unplugged", func(s *site, _ *running) {
			s.adc.WireReady(0, s.contacts, 0) // lets go of the chip
			s.lines.Unplug()
		}, exitRig, []string{"the rig is lost", "the chip has gone", "KEY_AWAY", "release the drive", "is in the log, marked as incomplete"}, true, false},
		{"SIGTERM", func(s *site, r *running) { s.signal(r, unix.SIGTERM) }, exitInterrupted, []string{"interrupted; run ", "is in the log, marked as incomplete"}, false, true},
		{"SIGINT", func(s *site, r *running) { s.signal(r, unix.SIGINT) }, exitInterrupted, []string{"interrupted; run ", "is in the log, marked as incomplete"}, false, false},
		{"kill -9", func(s *site, r *running) { s.signal(r, unix.SIGKILL) }, -1, nil, false, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newSite(t, faultRate, "900 ms", "1200 ms")
			r, drop := s.beginRun()
			c.end(s, r)
			r.ends(c.status, c.words...)
			if !c.unreachable {
				// After kill -9 the guard may still be on its way.
				until(t, "the drive's release", func() bool { return !s.lines.High(keyAway) })
				s.released()
			}
			s.adc.Fail(0, 0)
			s.adc.SetPresent([4]bool{true, true, true, true})
			s.keptAsIncomplete(c.status != -1)
			if c.unreachable {
				return
			}
			drop()
			if c.again {
				s.runAgain()
			}
		})
	}
}

// runAgain disarms the panel by hand and runs one more cycle, which must pass.
func (s *site) runAgain() {
	s.t.Helper()
	offs := len(s.panel.all(kernelbench.OutputOff))
	s.undrive(keyOff) // the program left it driven low
	s.lines.Set(keyOff, true)
	s.panel.await(kernelbench.OutputOff, offs)
	s.lines.Set(keyOff, false)
	s.startRun("--cycles", "1").ends(exitPass)
}

func (s *site) signal(r *running, sig unix.Signal) {
	s.t.Helper()
	if err := r.cmd.Process.Signal(sig); err != nil {
		s.t.Fatal(fmt.Errorf("%v: %w", sig, err))
	}
}
