package kernelbench_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"makebreak/rig/guard/process"
	"makebreak/rig/kernelbench"
)

const killRig = `name: kill-bench
about: Invented rig whose drives and supply stay as they are when nobody holds them.
bus: "1"
chips:
  A: {model: ADS1115, address: 0x48, rate: 64 /s, supply: 3.3 V, ready: {line: READY_A}}
outputs:
  OUT3: {chip: A, channel: 0, divider: {upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}}
  COIL: {chip: A, channel: 1, divider: {upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}}
contacts:
  K1_NO: {chip: kb-contacts, line: 0, pull: none}
  K1_NC: {chip: kb-contacts, line: 1, pull: none}
references:
  REF: {line: REFERENCE}
drives:
  KEY: {chip: kb-drives, line: 0, longest_on: 5 s}
  COIL_DRIVE: {chip: kb-drives, line: 1, longest_on: 40 s, coil: true}
events:
  arm-away: {drive: KEY, pulse: 2500 ms}
  arm-stay: {drive: KEY, pulse: 2500 ms}
  disarm: {drive: KEY, pulse: 2500 ms}
  energize: {drive: COIL_DRIVE, set: on}
  release: {drive: COIL_DRIVE, set: off}
supply: {model: MCP4725, address: 0x60, reference: 3.3 V, gain: 5 V/V, highest: 15 V, usual: 13.8 V, rest: 0.5 V}
`

const (
	driveKey, driveCoil = keyAway, keyOff
	restCode            = 124 // 0.5 V of 5 × 3.3 V in 4096 steps
)

const rampText = `name: ramp
about: The supply goes up and down with the coil switched on.
cycles: 5
steps:
  - {event: energize, hold: 150 ms}
  - {supply: {from: 0 V, to: 13.8 V, over: 2 s}, as: rise, hold: 2200 ms}
  - {supply: {from: 13.8 V, to: 0 V, over: 2 s}, as: fall, hold: 2200 ms}
  - {event: release, hold: 150 ms}
outputs:
  COIL: {expect: {energize: any, release: any}}
`

// acts are what the program is at when it is killed.
var acts = []struct {
	name  string
	args  func(s *site) []string
	panel bool // the reference follows the key
	draw  time.Duration
}{
	{"armed-high", func(s *site) []string { return s.runOf("armed-high", 1) }, false, 9 * time.Second},
	{"relay-only", func(s *site) []string { return s.runOf("relay-only", 10) }, false, 2500 * time.Millisecond},
	{"ramp", func(s *site) []string { return s.runOf(s.sequence, 2) }, false, 8 * time.Second},
	{"loop-back", func(s *site) []string {
		return []string{"rig", "check", "--rig", s.rig, "--loop-back", "KEY,REF", "--yes"}
	}, true, 300 * time.Millisecond},
}

func (s *site) runOf(sequence string, cycles int) []string {
	return []string{"run", sequence, "--rig", s.rig, "--yes", "--cycles", strconv.Itoa(cycles)}
}

// soonAtRest is how long drives and supply may stay on after a kill, in the guest's time.
const soonAtRest = 50 * time.Millisecond

// helpless is how soon after the first of its two processes the other one may be killed so
// that nobody is left who could do anything. What happens in less is noted, not judged. Of
// 160 kills of both the longest time in between that left something on was 14 ms.
const helpless = 20 * time.Millisecond

// kills is how many kills the bench was started for.
func kills(t *testing.T) int {
	t.Helper()
	n, err := strconv.Atoi(os.Getenv("MAKEBREAK_BENCH_KILLS"))
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// newKillSite is a site with drives and a supply and nothing that answers them.
func newKillSite(t *testing.T) *site {
	t.Helper()
	s := newSite(t, faultRate, "100 ms", "600 ms")
	s.text = killRig
	s.rig = s.writeRig("rig.yaml", `"1"`)
	s.write(s.sequence, rampText)
	s.adc.SetSupply(restCode)
	return s
}

// Whoever of the program's processes is killed, in whatever order and wherever it is, drives
// and supply are at rest soon, as long as one was left to see to it, and none of them stays.
func TestKernel_Kills(t *testing.T) {
	s := newKillSite(t)
	random := rand.New(rand.NewPCG(11, 10))
	var tally killTally
	for i := range kills(t) {
		s.killOnce(i, random, &tally)
		if t.Failed() && tally.wrong > 5 {
			t.Fatal("too many went wrong: no more are tried")
		}
	}
	t.Logf("%+v", tally)
	if tally.on*3 < tally.all {
		t.Errorf("only %d of %d kills found something switched on, which shows little", tally.on, tally.all)
	}
}

// killTally is what kills have come to.
type killTally struct {
	all, on, wrong int
	// programOnly, guardOnly and both count who was killed.
	programOnly, guardOnly, both int
	slowest                      time.Duration // from a kill to rest
	slowestOf                    string
	// Of both killed: the shortest time between them that left all at rest, and the longest
	// that did not.
	shortestGood, longestBad time.Duration
}

// killOnce starts the program, kills at a drawn instant in a drawn order, and looks.
func (s *site) killOnce(i int, random *rand.Rand, tally *killTally) {
	s.t.Helper()
	act := acts[i%len(acts)]
	if act.panel {
		s.startPanel()
		defer s.panel.end()
	}
	r := s.start(nil, act.args(s)...)
	for end := time.Now().Add(20 * time.Second); !s.somethingOn() && time.Now().Before(end); {
		time.Sleep(2 * time.Millisecond)
	}
	time.Sleep(time.Duration(random.Int64N(int64(act.draw))))
	on := s.whatIsOn()
	processes := s.processes()
	what := fmt.Sprintf("kill %d, %s, %q on", i, act.name, on)
	if len(processes) < 2 {
		s.wrong(tally, "%s: the processes are %v, want a program and a guard\n%s", what, processes, r.err.String())
		s.clear(r)
		return
	}
	random.Shuffle(len(processes), func(a, b int) { processes[a], processes[b] = processes[b], processes[a] })
	second, between := random.IntN(2) == 0, time.Duration(random.Int64N(int64(2*helpless)))
	if !second {
		processes, between = processes[:1], 0
	}
	took, between := s.killAll(processes, between)
	what = fmt.Sprintf("%s, %s killed first", what, processes[0])
	if second {
		what = fmt.Sprintf("%s, the other %v later", what, between)
	}
	tally.count(what, processes[0].guard, second, len(on) > 0, took, between)
	switch {
	case took > soonAtRest && !(second && between < helpless):
		s.wrong(tally, "%s: %q still on after %v", what, s.whatIsOn(), took)
	case processes[0].guard && !second:
		s.endsUnguarded(r, tally, what)
	}
	if left := s.leftAfter(r); len(left) > 0 {
		s.wrong(tally, "%s: %v are left over", what, left)
	}
	s.clear(r)
}

// endsUnguarded checks that a program whose guard was killed has stopped by itself, and says so.
func (s *site) endsUnguarded(r *running, tally *killTally, what string) {
	s.t.Helper()
	status := r.waitFor(time.Second)
	if status != exitRig && status != exitOwnFault || !strings.Contains(r.err.String(), "guard") {
		s.wrong(tally, "%s: exit %d, want %d or %d and a word of the guard; it says:\n%s", what, status, exitRig, exitOwnFault, r.err.String())
	}
}

func (s *site) wrong(tally *killTally, format string, args ...any) {
	s.t.Helper()
	tally.wrong++
	s.t.Errorf(format, args...)
}

func (k *killTally) count(what string, guardFirst, second, on bool, took, between time.Duration) {
	k.all++
	if on {
		k.on++
	}
	switch {
	case second:
		k.both++
	case guardFirst:
		k.guardOnly++
	default:
		k.programOnly++
	}
	switch {
	case !second || took <= soonAtRest && between >= helpless:
		if took > k.slowest {
			k.slowest, k.slowestOf = took, what
		}
	case took > soonAtRest:
		k.longestBad = max(k.longestBad, between)
	case on && (k.shortestGood == 0 || between < k.shortestGood):
		k.shortestGood = between
	}
}

// ofProgram is one process of the program's.
type ofProgram struct {
	pid   int
	guard bool
}

func (p ofProgram) String() string {
	if p.guard {
		return "the guard"
	}
	return "the program"
}

// processes are all of the program's, by what they are an image of; a dead one has none.
func (s *site) processes() (all []ofProgram) {
	s.t.Helper()
	links, err := filepath.Glob("/proc/[0-9]*/exe")
	if err != nil {
		s.t.Fatal(err)
	}
	for _, l := range links {
		if to, err := os.Readlink(l); err != nil || to != s.program {
			continue // ended since, or another's
		}
		dir := filepath.Dir(l)
		args, err := os.ReadFile(filepath.Join(dir, "cmdline"))
		if err != nil {
			continue
		}
		pid, err := strconv.Atoi(filepath.Base(dir))
		if err != nil {
			s.t.Fatal(err)
		}
		all = append(all, ofProgram{pid, strings.HasPrefix(string(args), process.Name)})
	}
	return all
}

func (s *site) kill(p ofProgram) {
	s.t.Helper()
	if err := unix.Kill(p.pid, unix.SIGKILL); err != nil && err != unix.ESRCH {
		s.t.Fatal(err)
	}
}

// whatIsOn names the drives that are on, and the supply where it is not at rest.
func (s *site) whatIsOn() (on []string) {
	s.t.Helper()
	for _, d := range []struct {
		name string
		line int
	}{{"KEY", driveKey}, {"COIL_DRIVE", driveCoil}} {
		if s.lines.High(d.line) {
			on = append(on, d.name)
		}
	}
	b, err := os.ReadFile(kernelbench.SupplyFile)
	if err != nil {
		s.t.Fatal(err)
	}
	if code := strings.TrimSpace(string(b)); code != fmt.Sprintf("%d 0", restCode) {
		on = append(on, "supply at "+code)
	}
	return on
}

func (s *site) somethingOn() bool { return len(s.whatIsOn()) > 0 }

// killAll kills one process and, where there is another, that one some time later. It returns
// how long after the first kill nothing was on any more, and how much later the other one was
// in fact. It gives up waiting when it has taken far too long.
func (s *site) killAll(processes []ofProgram, between time.Duration) (took, later time.Duration) {
	s.t.Helper()
	defer kernelbench.Prefer(s.t)()
	first := time.Now()
	s.kill(processes[0])
	for took == 0 || later == 0 && len(processes) > 1 {
		since := time.Since(first)
		if later == 0 && len(processes) > 1 && since >= between {
			s.kill(processes[1])
			later = since
		}
		if took == 0 && (!s.somethingOn() || since > 4*soonAtRest) {
			took = since
		}
		kernelbench.Nap(500 * time.Microsecond)
	}
	return took, later
}

// leftAfter returns the processes that are left once the program has been waited for.
func (s *site) leftAfter(r *running) (left []ofProgram) {
	for end := time.Now().Add(time.Second); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		if left = s.processes(); len(left) == 0 {
			break
		}
	}
	return left
}

// clear ends what is left, and switches all off by hand.
func (s *site) clear(r *running) {
	s.t.Helper()
	for _, p := range s.processes() {
		s.kill(p)
	}
	r.wait()
	until(s.t, "the end of all processes", func() bool { return len(s.processes()) == 0 })
	s.undrive(driveKey, driveCoil)
	s.adc.SetSupply(restCode)
}

// A program that is stopped as a whole, by SIGSTOP or a debugger, releases a drive by its
// longest_on all the same: its guard does. When it goes on it says so and does not pass.
func TestKernel_Stopped(t *testing.T) {
	s := newKillSite(t)
	r := s.start(nil, s.runOf("armed-high", 1)...)
	until(t, "the key", func() bool { return s.lines.High(driveKey) })
	pressed := time.Now()
	time.Sleep(300 * time.Millisecond)
	i := slices.IndexFunc(s.processes(), func(p ofProgram) bool { return !p.guard })
	if i < 0 {
		t.Fatal("there is no program")
	}
	s.signal(r, unix.SIGSTOP)
	const longestOn, late = 5 * time.Second, 100 * time.Millisecond
	for s.lines.High(driveKey) && time.Since(pressed) < longestOn+10*late {
		time.Sleep(time.Millisecond)
	}
	took := time.Since(pressed)
	t.Logf("released %v after it was pressed; on now: %q", took, s.whatIsOn())
	if s.lines.High(driveKey) || took > longestOn+late {
		t.Errorf("the key has been down for %v; longest_on is %v", took, longestOn)
	}
	s.signal(r, unix.SIGCONT)
	status := r.waitFor(30 * time.Second)
	t.Logf("exit %d\n%s", status, r.err.String())
	if status == exitPass || status == -1 {
		t.Errorf("exit %d; it was stopped for longer than a drive may be on", status)
	}
	if left := s.leftAfter(r); len(left) > 0 {
		t.Errorf("%v are left over", left)
	}
	s.clear(r)
}
