package gpioline

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"makebreak/rig/capture"
	"makebreak/rig/kernelbench"
	"makebreak/rig/line"
)

// These tests run against the GPIO character device of a real kernel, with
// its own simulator behind it, in the guest of .ci/kernel-bench. They assert on
// order, sequence numbers and stamps between readings of the clock; how fast
// the guest is changes nothing.

func contact(chip *kernelbench.Chip, n int) Request {
	return Request{Line: line.Line{Name: fmt.Sprintf("K%d_NO", n+1), Chip: chip.Name, Number: n, Pull: line.PullDown}, Role: line.Contact}
}

func mustOpen(t *testing.T, reqs ...Request) *Set {
	t.Helper()
	s, err := Open(reqs)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// next waits for at least one edge.
func next(t *testing.T, s *Set) []line.Edge {
	t.Helper()
	for {
		if err := s.Wait(t.Context(), s.Now().Add(10*time.Second)); err != nil {
			t.Fatal(err)
		}
		edges, err := s.Edges(nil)
		if err != nil {
			t.Fatal(err)
		}
		if len(edges) > 0 {
			return edges
		}
	}
}

func TestKernel_Stamps(t *testing.T) {
	for _, activeLow := range []bool{false, true} {
		t.Run(fmt.Sprintf("active low %v", activeLow), func(t *testing.T) {
			chip := kernelbench.NewChip(t, "stamps", "", "")
			req := contact(chip, 1)
			req.Line.ActiveLow = activeLow
			if activeLow {
				req.Line.Pull = line.PullUp
			}
			s := mustOpen(t, contact(chip, 0), req)
			for i := range 200 {
				active := i%2 == 0
				before := now()
				chip.Set(1, active != activeLow)
				got := next(t, s)
				after := now()
				if len(got) != 1 {
					t.Fatalf("edge %d: %d edges read", i, len(got))
				}
				e := got[0]
				if e.Line != 1 || e.Active != active || e.Seq != uint32(i+1) {
					t.Fatalf("edge %d: %+v", i, e)
				}
				if e.At < before || e.At > after {
					t.Fatalf("edge %d: stamped %d, not between %d and %d", i, e.At, before, after)
				}
				if a, err := s.Active(1); err != nil || a != active {
					t.Fatalf("edge %d: level %v, %v", i, a, err)
				}
			}
		})
	}
}

// pace makes n edges on a line, at random distances between shortest and
// longest, starting with a rise; it returns when the last has been made.
func pace(t *testing.T, chip *kernelbench.Chip, index, n int, shortest, longest time.Duration) {
	defer kernelbench.Pin(t, Consumer)()
	r := rand.New(rand.NewPCG(1, uint64(index)))
	due := now()
	for i := range n {
		for now() < due {
		}
		chip.Set(index, i%2 == 0)
		due = now().Add(shortest + time.Duration(r.Int64N(int64(longest-shortest))))
	}
}

// Every edge is read, or its loss is known. An even number of edges merged by
// the kernel leaves no sign; they are logged.
func TestKernel_TenThousandEdges(t *testing.T) {
	const edges = 10_000
	chip := kernelbench.NewChip(t, "train", "")
	s := mustOpen(t, contact(chip, 0))
	done := make(chan struct{})
	go func() {
		defer close(done)
		pace(t, chip, 0, edges, 50*time.Microsecond, 500*time.Microsecond)
	}()
	var ledger line.Ledger
	ledger.Begin(0, false)
	lost := 0
	var got []line.Edge
	for finished := false; !finished; {
		select {
		case <-done:
			finished = true // and read what waits, once more
		default:
		}
		if err := s.Wait(t.Context(), s.Now().Add(50*time.Millisecond)); err != nil {
			t.Fatal(err)
		}
		var err error
		if got, err = s.Edges(got); err != nil {
			t.Fatal(err)
		}
	}
	for i, e := range got {
		lost += ledger.Add(e).Edges()
		if i > 0 && e.At < got[i-1].At {
			t.Fatalf("edge %d stamped before the one before it", i)
		}
	}
	missing := edges - len(got)
	unseen := missing - lost
	t.Logf("%d edges made, %d read, %d known to be lost, %d lost unseen", edges, len(got), lost, unseen)
	if unseen < 0 || unseen%2 != 0 {
		t.Errorf("%d edges missing, %d counted: the rest must be an even number", missing, lost)
	}
	if len(got) < edges/2 {
		t.Errorf("only %d of %d edges read", len(got), edges)
	}
	if active, err := s.Active(0); err != nil || active {
		t.Errorf("after an even number of edges: active %v, %v", active, err)
	}
}

// toggle makes n edges on a line, each given time to be queued.
func toggle(t *testing.T, chip *kernelbench.Chip, index, n int) {
	t.Helper()
	pace(t, chip, index, n, 100*time.Microsecond, 101*time.Microsecond)
}

// An unread queue keeps the newest edges of its line; the loss shows, and the
// other line loses nothing.
func TestKernel_QueueOverflow(t *testing.T) {
	chip := kernelbench.NewChip(t, "overflow", "", "")
	s := mustOpen(t, contact(chip, 0), contact(chip, 1))
	const chatter, quiet = 3 * QueueLen, 10
	toggle(t, chip, 1, quiet/2)
	toggle(t, chip, 0, chatter)
	toggle(t, chip, 1, quiet/2+1)
	var ledger line.Ledger
	ledger.Begin(0, false)
	ledger.Begin(1, false)
	got, lost := [2][]line.Edge{}, [2]int{}
	all, err := s.Edges(nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range all {
		got[e.Line] = append(got[e.Line], e)
		lost[e.Line] += ledger.Add(e).Edges()
	}
	if len(got[0]) != QueueLen {
		t.Errorf("%d edges of the chattering line, want its queue of %d", len(got[0]), QueueLen)
	}
	if n := len(got[0]) + lost[0]; n > chatter || (chatter-n)%2 != 0 || lost[0] < QueueLen {
		t.Errorf("%d read and %d counted as lost of %d", len(got[0]), lost[0], chatter)
	}
	if n := len(got[1]) + lost[1]; n != quiet {
		t.Errorf("quiet line: %d read and %d lost of %d", len(got[1]), lost[1], quiet)
	}
	t.Logf("chattering line: %d read, %d lost of %d", len(got[0]), lost[0], chatter)
}

// Edges closer together than the kernel's interrupt thread can run become one
// event, without a gap in the number. A pair leads back to the level held, and
// is seen; three lead to the other level, and cannot be told from one.
func TestKernel_MergedEdges(t *testing.T) {
	chip := kernelbench.NewChip(t, "merged", "")
	s := mustOpen(t, contact(chip, 0))
	var ledger line.Ledger
	ledger.Begin(0, false)
	defer kernelbench.Pin(t, Consumer)()
	level := false
	for i, c := range []struct{ edges, lost int }{{1, 0}, {2, 1}, {3, 0}, {2, 1}, {4, 1}, {1, 0}} {
		inOneGo(t, func() {
			for range c.edges {
				level = !level
				chip.Set(0, level)
			}
		})
		got := next(t, s)
		if len(got) != 1 || got[0].Seq != uint32(i+1) || got[0].Active != level {
			t.Fatalf("%d edges in one go: read %+v", c.edges, got)
		}
		if lost := ledger.Add(got[0]).Edges(); lost != c.lost {
			t.Errorf("%d edges in one go: %d counted as lost, want %d", c.edges, lost, c.lost)
		}
	}
}

// inOneGo calls f with a priority above the interrupt threads', so that they
// run when f is done and not before.
func inOneGo(t *testing.T, f func()) {
	t.Helper()
	const above = 60 // theirs is 50
	before, err := unix.SchedGetAttr(0, 0)
	if err != nil {
		t.Fatal(err)
	}
	urgent := *before
	urgent.Policy, urgent.Priority, urgent.Nice = unix.SCHED_FIFO, above, 0
	if err := unix.SchedSetAttr(0, &urgent, 0); err != nil {
		t.Fatal(err)
	}
	f()
	if err := unix.SchedSetAttr(0, before, 0); err != nil {
		t.Fatal(err)
	}
}

func TestKernel_Busy(t *testing.T) {
	chip := kernelbench.NewChip(t, "busy", "", "")
	s := mustOpen(t, contact(chip, 0))
	_, err := Open([]Request{contact(chip, 1), contact(chip, 0)})
	if !errors.Is(err, unix.EBUSY) || !strings.Contains(err.Error(), `in use by "makebreak"`) {
		t.Errorf("%v", err)
	}
	// The line that could be had has been given back.
	other, err := Open([]Request{contact(chip, 1)})
	if err != nil {
		t.Fatal(err)
	}
	if err := other.Close(); err != nil {
		t.Error(err)
	}
	twice := contact(chip, 1)
	twice.Line.Name = "K9_NC"
	if _, err := Open([]Request{contact(chip, 1), twice}); !errors.Is(err, unix.EBUSY) || !strings.Contains(err.Error(), "already taken by K2_NO") {
		t.Errorf("one line under two names: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := Open([]Request{contact(chip, 0)})
	if err != nil {
		t.Fatal("a line that was given back:", err)
	}
	if err := again.Close(); err != nil {
		t.Error(err)
	}
}

func TestKernel_Find(t *testing.T) {
	a := kernelbench.NewChip(t, "header", "GPIO4", "GPIO17", "", "SHARED")
	b := kernelbench.NewChip(t, "expander", "X0", "SHARED")
	link := "/dev/gpiochip98"
	if err := os.Symlink(a.Name, link); err != nil {
		t.Fatal(err)
	}
	defer os.Remove(link)
	// A second node of a chip is another way to say it, and not another chip.
	for _, word := range []string{a.Name, a.Path, "header", "gpiochip98", link} {
		path, n, err := Find(line.Line{Chip: word, Number: 2})
		if err != nil || (path != a.Path && path != link) || n != 2 {
			t.Errorf("chip %q: %s, %d, %v", word, path, n, err)
		}
	}
	for name, want := range map[string]int{"GPIO17": 1, "X0": 0} {
		if _, n, err := Find(line.Line{LineName: name, Number: -1}); err != nil || n != want {
			t.Errorf("%s: %d, %v", name, n, err)
		}
	}
	if path, n, err := Find(line.Line{Chip: b.Name, LineName: "SHARED", Number: -1}); err != nil || path != b.Path || n != 1 {
		t.Errorf("SHARED on one chip: %s, %d, %v", path, n, err)
	}
	for _, c := range []struct {
		name string
		line line.Line
		is   error
		want []string
	}{
		{"no such chip", line.Line{Name: "K1_NO", Chip: "gpiochip97"}, unix.ENOENT, []string{"K1_NO: ", `no GPIO chip "gpiochip97"`, a.Name + " (header, 4 lines)", b.Name + " (expander, 2 lines)"}},
		{"number too high", line.Line{Name: "K1_NO", Chip: a.Name, Number: 4}, unix.EINVAL, []string{"lines 0 to 3, not 4"}},
		{"neither name nor number", line.Line{Name: "K1_NO", Chip: a.Name, Number: -1}, unix.EINVAL, []string{"lines 0 to 3, not -1"}},
		{"chip not named", line.Line{Name: "K1_NO", Number: 1}, unix.EINVAL, []string{"the chip must be named"}},
		{"no such name", line.Line{LineName: "GPIO71", Number: -1}, unix.ENOENT, []string{`no line named "GPIO71"`, "GPIO17"}},
		{"name there twice", line.Line{LineName: "SHARED", Number: -1}, unix.EINVAL, []string{"more than once", a.Name + " line 3", b.Name + " line 1"}},
	} {
		_, _, err := Find(c.line)
		if !errors.Is(err, c.is) {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %q lacks %q", c.name, err, w)
			}
		}
		t.Logf("%s: %v", c.name, err)
	}
}

func TestKernel_Inventory(t *testing.T) {
	chip := kernelbench.NewChip(t, "inventory", "GPIO4", "", "GPIO6")
	drive := Request{Line: line.Line{Name: "coil", Chip: chip.Name, Number: 2, ActiveLow: true}, Role: line.Drive}
	mustOpen(t, contact(chip, 0), drive)
	chips, err := Inventory()
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(chips, func(c ChipInfo) bool { return c.Name == chip.Name })
	if i < 0 {
		t.Fatalf("%s not in %+v", chip.Name, chips)
	}
	want := []LineInfo{
		{Offset: 0, Name: "GPIO4", Used: true, Consumer: Consumer, Pull: line.PullDown},
		{Offset: 1},
		{Offset: 2, Name: "GPIO6", Used: true, Consumer: Consumer, Output: true, ActiveLow: true},
	}
	if got := chips[i]; got.Label != "inventory" || got.Path != chip.Path || !slices.Equal(got.Lines, want) {
		t.Errorf("%+v, want the lines %+v", got, want)
	}
}

func helper(t *testing.T, word string, chip *kernelbench.Chip, more ...string) *exec.Cmd {
	t.Helper()
	cmd := exec.Command("/proc/self/exe")
	cmd.Env = append(os.Environ(), "GPIOLINE_TEST_HELPER="+word, "GPIOLINE_TEST_CHIP="+chip.Name)
	cmd.Env = append(cmd.Env, more...)
	return cmd
}

func TestKernel_Permission(t *testing.T) {
	chip := kernelbench.NewChip(t, "permission", "")
	const bench, gpio = 1000, 986 // the guest's user and group
	if err := os.Chown(chip.Path, 0, gpio); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(chip.Path, 0o660); err != nil {
		t.Fatal(err)
	}
	run := func(groups ...uint32) string {
		cmd := helper(t, "open", chip)
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: bench, Gid: bench, Groups: groups}}
		out, _ := cmd.CombinedOutput()
		return string(out)
	}
	out := run()
	for _, want := range []string{"may not open it", "usermod -aG gpio USER", "EACCES: true"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q lacks %q", out, want)
		}
	}
	t.Log(out)
	if out := run(gpio); out != "opened\n" {
		t.Errorf("in the group gpio: %q", out)
	}
}

func TestKernel_Unplug(t *testing.T) {
	chip := kernelbench.NewChip(t, "unplug", "", "")
	drive := Request{Line: line.Line{Name: "coil", Chip: chip.Name, Number: 1}, Role: line.Drive}
	s, err := Open([]Request{contact(chip, 0), drive})
	if err != nil {
		t.Fatal(err)
	}
	waiting := make(chan error)
	go func() { waiting <- s.Wait(context.Background(), s.Now().Add(time.Hour)) }()
	chip.Unplug()
	if err := <-waiting; !errors.Is(err, unix.ENODEV) || !strings.Contains(err.Error(), "K1_NO") || !strings.Contains(err.Error(), "unplugged") {
		t.Errorf("Wait: %v", err)
	}
	if _, err := s.Edges(nil); !errors.Is(err, unix.ENODEV) {
		t.Errorf("Edges: %v", err)
	}
	if _, err := s.Active(0); !errors.Is(err, unix.ENODEV) {
		t.Errorf("Active: %v", err)
	}
	if _, _, err := s.Drive(1, true); !errors.Is(err, unix.ENODEV) {
		t.Errorf("Drive: %v", err)
	}
	if err := s.Release(); !errors.Is(err, unix.ENODEV) || !strings.Contains(err.Error(), "coil") {
		t.Errorf("Release: %v", err)
	}
	if err := s.Close(); !errors.Is(err, unix.ENODEV) {
		t.Errorf("Close must say that the drive could not be released: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Errorf("Close again: %v", err)
	}
}

func TestKernel_Drive(t *testing.T) {
	for _, activeLow := range []bool{false, true} {
		t.Run(fmt.Sprintf("active low %v", activeLow), func(t *testing.T) {
			chip := kernelbench.NewChip(t, "drive", "")
			chip.Set(0, !activeLow) // the level that would be active
			s := mustOpen(t, Request{Line: line.Line{Name: "coil", Chip: chip.Name, ActiveLow: activeLow}, Role: line.Drive})
			expect := func(when string, active bool) {
				t.Helper()
				if got := chip.High(0); got != (active != activeLow) {
					t.Errorf("%s: electrically high %v", when, got)
				}
				if got, err := s.Active(0); err != nil || got != active {
					t.Errorf("%s: active %v, %v", when, got, err)
				}
			}
			expect("opened", false)
			for _, active := range []bool{true, false, true, true} {
				before := now()
				at, within, err := s.Drive(0, active)
				after := now()
				if err != nil {
					t.Fatal(err)
				}
				if at.Add(-time.Duration(within)) < before-1 || at.Add(time.Duration(within)) > after+1 || within <= 0 {
					t.Errorf("set at %d ± %d, not between %d and %d", at, within, before, after)
				}
				expect("driven", active)
			}
			released := make(chan error)
			go func() { released <- s.Release() }()
			if err := <-released; err != nil {
				t.Error(err)
			}
			expect("released", false)
			if err := s.Release(); err != nil {
				t.Error("released again:", err)
			}
			// A copy of the descriptor keeps the line as Close leaves it.
			if _, _, err := s.Drive(0, true); err != nil {
				t.Fatal(err)
			}
			spare, err := unix.Dup(s.lines[0].fd)
			if err != nil {
				t.Fatal(err)
			}
			defer unix.Close(spare)
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			if active, err := getValue(spare); err != nil || active {
				t.Errorf("closed: active %v, %v", active, err)
			}
		})
	}
}

// dying is a helper process that has switched a drive on.
type dying struct {
	cmd     *exec.Cmd
	spare   int // a copy of the drive's descriptor
	guarded bool
	stdin   io.Closer
	stdout  *bufio.Reader
	errors  bytes.Buffer
}

// guard is the process of its guard.
func (d *dying) guard(t *testing.T) int {
	t.Helper()
	all, err := filepath.Glob("/proc/[0-9]*/stat")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range all {
		b, _ := os.ReadFile(path) // it may have ended
		_, rest, _ := strings.Cut(string(b), ") ")
		f := strings.Fields(rest)
		if len(f) > 1 && f[1] == strconv.Itoa(d.cmd.Process.Pid) {
			pid, _ := strconv.Atoi(filepath.Base(filepath.Dir(path)))
			return pid
		}
	}
	t.Fatal("there is no guard")
	return 0
}

// ends reads what it says as it ends: why, and that its drive stays off.
func (d *dying) ends(t *testing.T, why string) {
	t.Helper()
	rest, err := io.ReadAll(d.stdout)
	if err != nil {
		t.Fatal(err)
	}
	if text := string(rest); !strings.Contains(text, why) || !strings.Contains(text, "on again: false") {
		t.Errorf("it said %q, which lacks %q", text, why)
	}
	_ = d.cmd.Wait()
	if active, err := getValue(d.spare); err != nil || active {
		t.Errorf("after its end: active %v, %v", active, err)
	}
}

func startDying(t *testing.T, chip *kernelbench.Chip, env ...string) *dying {
	t.Helper()
	d := startDriving(t, chip, "drive", env...)
	if active, err := getValue(d.spare); err != nil || !active {
		t.Fatalf("before the end: active %v, %v", active, err)
	}
	return d
}

// startDriving starts a helper process that has a drive.
func startDriving(t *testing.T, chip *kernelbench.Chip, word string, env ...string) *dying {
	t.Helper()
	d := &dying{cmd: helper(t, word, chip, env...)}
	d.cmd.Stderr = &d.errors
	var err error
	if d.stdin, err = d.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	stdout, err := d.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := d.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = d.cmd.Process.Kill() }) // no harm where it has ended
	d.stdout = bufio.NewReader(stdout)
	said, err := d.stdout.ReadString('\n')
	var fd int
	if _, scanErr := fmt.Sscan(said, &fd, &d.guarded); err != nil || scanErr != nil {
		t.Fatalf("helper said %q: %v %v", said, err, scanErr)
	}
	d.spare = stealDescriptor(t, d.cmd.Process.Pid, fd)
	return d
}

// stealDescriptor copies a descriptor out of another process. While the copy is
// open the kernel keeps the line as it is, so that only the guard can change
// it.
func stealDescriptor(t *testing.T, pid, fd int) int {
	t.Helper()
	process, err := unix.PidfdOpen(pid, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(process)
	spare, err := unix.PidfdGetfd(process, fd, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { unix.Close(spare) })
	return spare
}

// becomesInactive waits for the drive to be released.
func becomesInactive(t *testing.T, fd int, patience time.Duration) bool {
	t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(time.Millisecond) {
		active, err := getValue(fd)
		if err != nil {
			t.Fatal(err)
		}
		if !active {
			return true
		}
	}
	return false
}

// However the program ends, its drives are released.
func TestKernel_Guard(t *testing.T) {
	// The end of their input is the word that panic and exit wait for.
	for _, c := range []struct {
		name string
		env  string
		end  func(d *dying) error
	}{
		{"kill -9", "", func(d *dying) error { return d.cmd.Process.Kill() }},
		{"terminated", "", func(d *dying) error { return d.cmd.Process.Signal(unix.SIGTERM) }},
		{"panic", "panic", func(d *dying) error { return d.stdin.Close() }},
		{"exit without closing", "exit", func(d *dying) error { return d.stdin.Close() }},
	} {
		t.Run(c.name, func(t *testing.T) {
			chip := kernelbench.NewChip(t, "guard", "")
			d := startDying(t, chip, "GPIOLINE_TEST_END="+c.env)
			if !d.guarded {
				t.Fatal("no guard")
			}
			began := now()
			if err := c.end(d); err != nil {
				t.Fatal(err)
			}
			if err := d.cmd.Wait(); err == nil {
				t.Error("the helper ended without complaint")
			}
			if !becomesInactive(t, d.spare, 30*time.Second) {
				t.Fatal("the drive stays on")
			}
			t.Logf("released %v after the end was asked for", now().Sub(began))
			if c.env == "panic" && !strings.Contains(d.errors.String(), "panic: as a program") {
				t.Errorf("no panic: %s", d.errors.String())
			}
		})
	}
}

// A program that is stopped while a drive is on has it released by its guard, again and again
// while it is stopped. Once it goes on it says so and leaves the drive off.
func TestKernel_StoodStill(t *testing.T) {
	for i := range 20 {
		t.Run(strconv.Itoa(i), func(t *testing.T) {
			chip := kernelbench.NewChip(t, "still", "")
			d := startDriving(t, chip, "work")
			time.Sleep(time.Duration(i) * longestOn / 16) // at any place of its loop
			if err := d.cmd.Process.Signal(unix.SIGSTOP); err != nil {
				t.Fatal(err)
			}
			time.Sleep(5 * time.Millisecond)
			stopped, err := getValue(d.spare)
			if err != nil {
				t.Fatal(err)
			}
			time.Sleep(2 * longestOn)
			if active, err := getValue(d.spare); err != nil || active {
				t.Fatalf("stopped for twice the longest time: active %v, %v", active, err)
			}
			if err := setValue(d.spare, true); err != nil { // as the program may that was stopped before
				t.Fatal(err)
			}
			if stopped && !becomesInactive(t, d.spare, 30*time.Second) {
				t.Fatal("the drive is on again")
			}
			if err := setValue(d.spare, false); err != nil {
				t.Fatal(err)
			}
			if err := d.cmd.Process.Signal(unix.SIGCONT); err != nil {
				t.Fatal(err)
			}
			if stopped {
				d.ends(t, "the program stood still while the drive was on")
				return
			}
			_ = d.cmd.Process.Kill() // it was stopped while the drive was off
			_ = d.cmd.Wait()
		})
	}
}

// Whichever of the two is killed first, the drive is released. The program says that its guard
// has gone.
func TestKernel_GuardKilledFirst(t *testing.T) {
	for i := range 20 {
		t.Run(strconv.Itoa(i), func(t *testing.T) {
			chip := kernelbench.NewChip(t, "first", "")
			d := startDriving(t, chip, "work")
			guard := d.guard(t)
			time.Sleep(time.Duration(i) * time.Millisecond)
			if err := unix.Kill(guard, unix.SIGKILL); err != nil {
				t.Fatal(err)
			}
			if i%2 == 0 {
				d.ends(t, "the guard over the drives has ended")
				return
			}
			time.Sleep(20 * time.Millisecond)
			_ = d.cmd.Process.Kill()
			_ = d.cmd.Wait()
			if active, err := getValue(d.spare); err != nil || active {
				t.Errorf("both killed, the guard first: active %v, %v", active, err)
			}
		})
	}
}

// The check of the check: without a guard the drive does stay on, so the test
// above tells something.
func TestKernel_NoGuard(t *testing.T) {
	chip := kernelbench.NewChip(t, "unguarded", "")
	d := startDying(t, chip, "GPIOLINE_TEST_UNGUARDED=1")
	if d.guarded {
		t.Fatal("a guard was posted unasked")
	}
	if err := d.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = d.cmd.Wait()
	if becomesInactive(t, d.spare, 500*time.Millisecond) {
		t.Error("the drive was released by something else than the guard")
	}
}

// The ready pin of a converting ADS1115 pulses at the end of each conversion,
// for 8 µs by the data sheet (Texas Instruments SBAS444, ALERT/RDY timing). Each
// pulse is reported as active.
func TestKernel_ReadyLine(t *testing.T) {
	chip := kernelbench.NewChip(t, "ready", "")
	adc := kernelbench.NewConverters(t)
	adc.WireReady(2, chip, 0)
	s := mustOpen(t, Request{Line: line.Line{Name: "ready", Chip: chip.Name, ActiveLow: true, Pull: line.PullUp}, Role: line.Ready})
	began := now()
	convert(t)
	var got []line.Edge
	for len(got) < 50 {
		got = append(got, next(t, s)...)
	}
	var last capture.Instant = began
	for i, e := range got {
		if !e.Active || e.At <= last {
			t.Fatalf("edge %d: %+v after %d", i, e, last)
		}
		last = e.At
	}
	t.Logf("%d conversions in %v, %d lost; nominal 7.8125 ms each", len(got), last.Sub(began), int(got[len(got)-1].Seq)-len(got))
	// 128 conversions a second: they cannot come faster than the chip makes them.
	if least := time.Duration(len(got)-1) * 7812500; last.Sub(began) < least {
		t.Errorf("%d conversions in %v, less than %v", len(got), last.Sub(began), least)
	}
}

// convert lets the converter at 0x4A run at 128 conversions a second with its
// ready pin in use: configuration 0x4480 (input 0, ±2.048 V, continuous,
// comparator on), thresholds that make the pin a ready pin.
func convert(t *testing.T) {
	t.Helper()
	fd, err := unix.Open(kernelbench.Bus, unix.O_RDWR|unix.O_CLOEXEC, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(fd)
	const i2cSlave = 0x0703
	if err := unix.IoctlSetInt(fd, i2cSlave, 0x4a); err != nil {
		t.Fatal(err)
	}
	for _, b := range [][]byte{{3, 0x80, 0}, {2, 0, 0}, {1, 0x44, 0x80}} {
		if n, err := unix.Write(fd, b); err != nil || n != 3 {
			t.Fatal(n, err)
		}
	}
}
