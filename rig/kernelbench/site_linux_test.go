package kernelbench_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"makebreak/rig/gpioline"
	"makebreak/rig/kernelbench"
	"makebreak/rig/line"
	"makebreak/rig/wiring/rigfile"
)

// TestMain lets the test's binary be the panel as well, or who looks at a page, in a process of
// its own.
func TestMain(m *testing.M) {
	if kind := os.Getenv("KERNELBENCH_LOOKERS"); kind != "" {
		if err := look(kind); err != nil {
			fmt.Fprintln(os.Stderr, "lookers:", err)
			os.Exit(1)
		}
		return
	}
	text := os.Getenv("KERNELBENCH_PANEL")
	if text == "" {
		os.Exit(m.Run())
	}
	var p kernelbench.Panel
	err := json.Unmarshal([]byte(text), &p)
	if err == nil {
		err = p.Work(os.Stdin, os.Stdout)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "panel:", err)
		os.Exit(1)
	}
}

// patience is how long anything may take in the guest, which can stand still for
// seconds while its host is busy.
const patience = 60 * time.Second

// site is the program's rig on the guest's simulated hardware, and the panel on it.
type site struct {
	t        *testing.T
	program  string
	dir, log string
	rig      string // file
	sequence string // file
	text     string // of the rig

	lines, contacts *kernelbench.Chip
	referenceAt     *kernelbench.Chip
	makeLine        int // of the contacts' chip; the break contact's is the next

	keyAway, keyOff, reference int // lines of the drives' chip

	adc   *kernelbench.Converters
	edges *kernelbench.Edges
	pairs bool          // the panel's contacts make edges that the kernel merges
	panel *panelProcess // once started
}

// Lines of the chip "kb-drives".
const (
	keyAway = iota
	keyOff
	reference
	readyA
	readyB
	spare // and one more
)

const rigText = `name: kernel-bench
about: Invented rig on the kernel's simulated lines and converters.
bus: BUS
chips:
  A: {model: ADS1115, address: 0x48, rate: RATE /s, supply: 3.3 V, sample: follow, ready: {line: READY_A}}
  B: {model: ADS1115, address: 0x49, rate: 128 /s, supply: 3.3 V}
outputs:
  OUT1: {chip: A, channel: 0, divider: {upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}}
  OUT2: {chip: B, channel: 0, divider: {upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}}
  OUT3: {chip: B, channel: 1, divider: {upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}}
contacts:
  K1_NO: {chip: kb-contacts, line: 0, pull: none}
  K1_NC: {chip: kb-contacts, line: 1, pull: none}
references:
  REF: {line: REFERENCE}
drives:
  KEY_AWAY: {chip: kb-drives, line: 0, longest_on: 20 s}
  KEY_OFF: {line: KEY_OFF, longest_on: 20 s}
events:
  arm-away: {drive: KEY_AWAY, pulse: PULSE, reference: REF}
  disarm: {drive: KEY_OFF, pulse: PULSE, reference: REF}
`

const sequenceText = `name: kernel-bench
about: One output follows the armed state, with a relay behind it.
cycles: 3
steps:
  - {event: arm-away, hold: HOLD}
  - {event: disarm,   hold: HOLD}
outputs:
  OUT1:
    expect: {arm-away: high, disarm: low}
    limits: output-12V
    relay: K1
others: unmoved
relays:
  K1: {make: K1_NO, break: K1_NC, must_operate: 9 V, must_release: 1.2 V, limits: relay-12V}
limits:
  output-12V:
    high_level: {min: 12 V, max: 14.5 V}
    low_level: {max: 1 V}
    switching_delay: {max: 500 ms}
    ripple: {max: 0.5 V}
    hold: {max: 0 s}
  relay-12V:
    operate_time: {max: 40 ms}
    release_time: {max: 40 ms}
    bounce_time: {max: 20 ms}
    transfer_time: {min: 0 s}
    pull_in_margin: {min: 1 V}
    drop_out_margin: {min: 0.2 V}
`

// newSite plugs everything in and writes the rig's and the sequence's files. The
// program converts followRate times a second where it follows; the keys are pressed
// for pulse and each state is watched for hold.
func newSite(t *testing.T, followRate int, pulse, hold string) *site {
	t.Helper()
	s := &site{t: t, program: os.Getenv("MAKEBREAK_BIN"), dir: t.TempDir()}
	kernelbench.Need(t)
	for _, dir := range []string{s.dir, filepath.Dir(s.dir)} { // another user reads there too
		if err := os.Chmod(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := os.Stat(s.program); err != nil {
		t.Skip("the guest has no program: .ci/kernel-bench/run was given -n")
	}
	s.adc, s.edges = kernelbench.NewConverters(t), kernelbench.NewEdges(t)
	s.lines = kernelbench.NewChip(t, "kb-drives", "KEY_AWAY", "KEY_OFF", "REFERENCE", "READY_A", "READY_B", "", "")
	s.keyAway, s.keyOff = keyAway, keyOff
	s.referenceAt, s.reference = s.lines, reference
	s.contacts = kernelbench.NewChip(t, "kb-contacts", "", "")
	s.adc.WireReady(0, s.lines, readyA)
	s.log = filepath.Join(s.dir, "log.db")
	s.text = strings.NewReplacer("RATE", strconv.Itoa(followRate), "PULSE", pulse).Replace(rigText)
	s.rig = s.writeRig("rig.yaml", `"1"`)
	s.sequence = filepath.Join(s.dir, "sequence.yaml")
	s.write(s.sequence, strings.ReplaceAll(sequenceText, "HOLD", hold))
	return s
}

// onOneChip has the contacts on the chip of the ready lines, as a board with one bank of lines
// does. The reference goes to another chip: a run whose reference gets lost ends there.
func (s *site) onOneChip() {
	s.t.Helper()
	s.referenceAt, s.reference = s.contacts, 0
	s.contacts, s.makeLine = s.lines, spare
	for i := range 2 {
		s.replace(fmt.Sprintf("chip: kb-contacts, line: %d", i), fmt.Sprintf("chip: kb-drives, line: %d", spare+i))
	}
	s.replace("{line: REFERENCE}", "{chip: kb-contacts, line: 0}")
}

// replace puts another text into the rig's file, in place of one that is there.
func (s *site) replace(old, text string) {
	s.t.Helper()
	if !strings.Contains(s.text, old) {
		s.t.Fatalf("the rig's file has no %q", old)
	}
	s.text = strings.ReplaceAll(s.text, old, text)
	s.rig = s.writeRig("rig.yaml", `"1"`)
}

// undrive takes away what still drives lines of the drives' chip that nobody holds: who asks
// for a line as an input switches its output off.
func (s *site) undrive(lines ...int) {
	s.t.Helper()
	for _, l := range lines {
		set, err := gpioline.Open([]line.Request{{Line: line.Line{Name: "undrive", Chip: s.lines.Name, Number: l}, Role: line.Reference}})
		if err != nil {
			s.t.Fatal(err)
		}
		if err := set.Close(); err != nil {
			s.t.Fatal(err)
		}
		s.lines.Set(l, true)
		s.lines.Set(l, false)
	}
}

func (s *site) write(path, text string) {
	s.t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		s.t.Fatal(err)
	}
}

// writeRig writes the rig's file with a bus.
func (s *site) writeRig(name, bus string) string {
	s.t.Helper()
	path := filepath.Join(s.dir, name)
	s.write(path, strings.Replace(s.text, "BUS", bus, 1))
	return path
}

// The converters' inputs in the panel's two states: OUT1, and OUT2 and OUT3 which
// keep theirs.
const (
	onVolts, offVolts = 2.6939, 0.1327 // at the pin; some 13.2 V and 0.65 V at the terminal
	restVolts         = 0.1293
	panelDelay        = 142 * time.Millisecond
)

// panelProcess is the panel at work, and what it has done.
type panelProcess struct {
	t     *testing.T
	end   func() // may be called again
	mu    sync.Mutex
	deeds []kernelbench.Deed
}

// startPanel starts the panel; it ends with the test.
func (s *site) startPanel() *panelProcess {
	s.t.Helper()
	inputs := func(out1 float64) []int {
		v := make([]int, 16)
		v[0], v[4], v[5] = int(out1*1e6), int(restVolts*1e6), int(restVolts*1e6)
		return v
	}
	config, err := json.Marshal(kernelbench.Panel{
		Keys:      map[string]string{"arm-away": s.lines.ValueFile(s.keyAway), "disarm": s.lines.ValueFile(s.keyOff)},
		On:        map[string]bool{"arm-away": true},
		Reference: s.referenceAt.PullFile(s.reference), Make: s.contacts.PullFile(s.makeLine), Break: s.contacts.PullFile(s.makeLine + 1),
		OnMicrovolts: inputs(onVolts), OffMicrovolts: inputs(offVolts),
		Delay: panelDelay, Pairs: s.pairs,
	})
	if err != nil {
		s.t.Fatal(err)
	}
	p := &panelProcess{t: s.t}
	cmd := exec.Command("/proc/self/exe")
	cmd.Env = append(os.Environ(), "KERNELBENCH_PANEL="+string(config))
	cmd.Stderr = os.Stderr
	stop, err := cmd.StdinPipe()
	if err != nil {
		s.t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		s.t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	read := make(chan struct{})
	go p.read(out, read)
	var once sync.Once
	p.end = func() {
		once.Do(func() {
			stop.Close()
			<-read
			_ = cmd.Wait() // where it failed, its error has been shown
		})
	}
	s.t.Cleanup(p.end)
	p.await(kernelbench.BreakCloses, 0)
	s.panel = p
	return p
}

func (p *panelProcess) read(out io.Reader, done chan<- struct{}) {
	defer close(done)
	for d := json.NewDecoder(bufio.NewReader(out)); ; {
		var deed kernelbench.Deed
		if err := d.Decode(&deed); err != nil {
			return
		}
		p.mu.Lock()
		p.deeds = append(p.deeds, deed)
		p.mu.Unlock()
	}
}

// all returns every deed of that kind, oldest first.
func (p *panelProcess) all(what string) []kernelbench.Deed {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.DeleteFunc(slices.Clone(p.deeds), func(d kernelbench.Deed) bool { return d.What != what })
}

// await waits for more than n deeds of that kind.
func (p *panelProcess) await(what string, n int) {
	p.t.Helper()
	until(p.t, "the panel: "+what, func() bool { return len(p.all(what)) > n })
}

func until(t *testing.T, what string, yes func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); !yes(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited in vain for %s", what)
		}
	}
}

// running is the program at work.
type running struct {
	t        *testing.T
	cmd      *exec.Cmd
	out, err bytes.Buffer
}

// start starts the program with its arguments.
func (s *site) start(as *syscall.SysProcAttr, args ...string) *running {
	s.t.Helper()
	r := &running{t: s.t, cmd: exec.Command(s.program, append([]string{"--log", s.log}, args...)...)}
	r.cmd.Stdout, r.cmd.Stderr, r.cmd.SysProcAttr = &r.out, &r.err, as
	if err := r.cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { _ = r.cmd.Process.Kill() }) // no harm where it has ended
	return r
}

// startRun starts the run of the sequence on the rig.
func (s *site) startRun(more ...string) *running {
	s.t.Helper()
	return s.start(nil, append([]string{"run", s.sequence, "--rig", s.rig, "--yes"}, more...)...)
}

// wait returns the exit status; -1: killed by a signal.
func (r *running) wait() int { return r.waitFor(2 * patience) }

// waitFor is wait for what may take so long.
func (r *running) waitFor(longest time.Duration) int {
	late := time.AfterFunc(longest, func() { _ = r.cmd.Process.Kill() })
	defer late.Stop()
	_ = r.cmd.Wait() // its status says it all
	return r.cmd.ProcessState.ExitCode()
}

// runRow is a line of makebreak runs --as json.
type runRow struct {
	Run      string
	Cycles   int
	Verdict  string
	Complete bool
}

// lastRun is the newest run in the log, as the program lists it; nil: none.
func (s *site) lastRun() *runRow {
	s.t.Helper()
	if _, err := os.Stat(s.log); err != nil {
		return nil
	}
	r := s.start(nil, "runs", "--as", "json")
	if status := r.wait(); status != 0 {
		s.t.Fatalf("runs: %d\n%s", status, r.err.String())
	}
	var rows []runRow
	if err := json.Unmarshal(r.out.Bytes(), &rows); err != nil {
		s.t.Fatal(err)
	}
	if len(rows) == 0 {
		return nil
	}
	return &rows[0]
}

// terminal returns an output's voltage for one at its pin, by the rig's file.
func (s *site) terminal(output string, pin float64) float64 {
	s.t.Helper()
	rig, err := rigfile.Load(s.t.Context(), s.rig)
	if err != nil {
		s.t.Fatal(err)
	}
	return rig.TerminalVolts(output, pin)
}

// holdLines copies the descriptors of all GPIO lines that a process holds. While a
// copy is open the kernel does not put a line back to its pull, so a drive that goes
// low has been released by somebody.
func (s *site) holdLines(pid int) (drop func()) {
	s.t.Helper()
	process, err := unix.PidfdOpen(pid, 0)
	if err != nil {
		s.t.Fatal(err)
	}
	defer unix.Close(process)
	links, err := filepath.Glob(fmt.Sprintf("/proc/%d/fd/*", pid))
	if err != nil {
		s.t.Fatal(err)
	}
	var copies []int
	for _, l := range links {
		to, err := os.Readlink(l)
		if err != nil || !strings.Contains(to, "gpio-line") {
			continue
		}
		n, err := strconv.Atoi(filepath.Base(l))
		if err != nil {
			s.t.Fatal(err)
		}
		fd, err := unix.PidfdGetfd(process, n, 0)
		if err != nil && !errors.Is(err, unix.EBADF) {
			s.t.Fatal(err)
		}
		if err == nil {
			copies = append(copies, fd)
		}
	}
	if len(copies) != 6 { // two contacts, a reference, two drives, a ready line
		s.t.Fatalf("the program holds %d lines", len(copies))
	}
	var once sync.Once
	drop = func() {
		once.Do(func() {
			for _, fd := range copies {
				unix.Close(fd)
			}
		})
	}
	s.t.Cleanup(drop)
	return drop
}
