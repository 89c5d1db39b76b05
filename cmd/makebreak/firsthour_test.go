package main

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// walk is how a page that leads a newcomer by the hand is followed, from its first command to
// its last, in a folder and with a home of its own.
type walk struct {
	page string
	// typed is what a person answers, by the beginning of the command.
	typed map[string]string
	// in is how a command is called here, in place of how it is called with hardware.
	in map[string]string
	// status is what ends a command that the page does not show the status of; 0 where none is given.
	status map[string]int
	// beside are commands of other programs, and what stands for each.
	beside map[string]func(t *testing.T)
}

// anyVerdict stands for the three exit statuses that are verdicts.
const anyVerdict = -1

// A battery of 0.65 V at the simulated output that is off is what the check finds there.
var checked = "s\n0.65\n" + strings.Repeat("\n", 20)

func walks() []walk {
	return []walk{
		{
			page:   "rig/sim/first-hour.md",
			in:     map[string]string{"exercise answer CAUSE@PLACE": "exercise answer nothing"},
			status: map[string]int{"exercise try": anyVerdict}, // it is sealed
			beside: map[string]func(*testing.T){
				"go build -o makebreak ./cmd/makebreak": nil, // the test is the program
				`export PATH="$PWD:$PATH"`:              nil,
			},
		},
		{
			page: "rig/commission/first-hour.md",
			typed: map[string]string{
				"rig check":     checked,
				"rig calibrate": "4711\n0.5 % + 2 digits\n0.665\n13.21\n\n\n",
			},
			in: map[string]string{
				"rig check --rig rig.yaml -o check.txt": "rig check --rig rig.yaml --steps -o check.txt",
				"rig watch --rig rig.yaml":              "rig watch --rig rig.yaml --for 100ms",
				"install --yes":                         "install --yes --root root",
			},
			status: map[string]int{"rig check": exitUndecided, "rig scan": exitRig}, // nobody is there to do all of it; nor are chips
			beside: map[string]func(*testing.T){
				"GOOS=linux GOARCH=arm64 go build -o makebreak ./cmd/makebreak": nil, // .ci/run builds for the boards
				"cp testdata/rigs/starter.yaml rig.yaml":                        copySimulated,
				"scp makebreak rig.yaml pi@raspberrypi.local:":                  func(t *testing.T) { there(t, "rig.yaml") },
				`export PATH="$PWD:$PATH"`:                                      nil,
				"sudo systemd-sysusers":                                         func(t *testing.T) { there(t, "root/usr/local/lib/sysusers.d/makebreak.conf") },
				"sudo udevadm control --reload && sudo udevadm trigger":         func(t *testing.T) { there(t, "root/usr/local/lib/udev/rules.d/60-makebreak.rules") },
				"sudo systemctl daemon-reload":                                  nil,
				"sudo cp rig.yaml rig.calibration.yaml /etc/makebreak/":         func(t *testing.T) { there(t, "rig.yaml", "rig.calibration.yaml", "root/etc/makebreak") },
				"sudo nano /etc/makebreak/soak.conf":                            func(t *testing.T) { there(t, "root/etc/makebreak/soak.conf") },
				"sudo systemctl enable --now makebreak-soak@soak":               func(t *testing.T) { there(t, "root/usr/local/lib/systemd/system/makebreak-soak@.service") },
				"systemctl status makebreak-soak@soak":                          nil,
			},
		},
	}
}

// TestFirstHour runs every command of the pages in their order, as a newcomer types them. What needs
// hardware is done on a simulated bench of the same wiring, with a person's answers typed; what
// belongs to other programs is looked at as far as this one prepares it.
func TestFirstHour(t *testing.T) {
	if testing.Short() {
		t.Skip("it goes through two hours' work")
	}
	for _, w := range walks() {
		t.Run(filepath.Base(filepath.Dir(w.page)), func(t *testing.T) {
			text := documentText(t, filepath.Join(root, w.page))
			module, err := filepath.Abs(root)
			if err != nil {
				t.Fatal(err)
			}
			t.Setenv(moduleVariable, module)
			t.Chdir(t.TempDir())
			if err := os.Mkdir("root", 0o755); err != nil { // for what is installed
				t.Fatal(err)
			}
			calls := 0
			for _, m := range shellBlock.FindAllStringSubmatch(text, -1) {
				calls += w.follow(t, slices.Collect(strings.Lines(m[1])))
			}
			if calls < 10 {
				t.Errorf("the page calls the program only %d times", calls)
			}
			there(t, ".local/share/makebreak/log.db")
		})
	}
}

// follow does a block's commands, and returns how many of them call the program.
func (w *walk) follow(t *testing.T, lines []string) (calls int) {
	t.Helper()
	console := slices.ContainsFunc(lines, func(l string) bool { return strings.HasPrefix(l, "$ ") })
	for i, line := range lines {
		command, is := strings.CutPrefix(strings.TrimSpace(line), "$ ")
		if console && !is || command == "echo $?" {
			continue
		}
		command, note, _ := strings.Cut(command, "  #")
		command = strings.TrimSpace(command)
		args, ok := arguments(prefixes.ReplaceAllString(command, ""))
		if !ok {
			other, known := w.beside[command]
			if !known {
				t.Errorf("nobody knows how %q is followed", command)
			} else if other != nil {
				other(t)
			}
			continue
		}
		calls++
		want := w.wanted(strings.Join(args, " "), note, lines[i+1:])
		args, answers := w.asDone(t, args)
		out, status := called(t, args, answers)
		switch {
		case status == exitPass && want == exitRig: // this machine has a bus or lines
			continue
		case want == anyVerdict && status <= exitUndecided:
			continue
		}
		if status != want {
			t.Errorf("%s: exit status %d, want %d\n%s", command, status, want, out)
		}
	}
	return calls
}

// wanted is the exit status of a command: as the page shows it after it, as it is noted beside it,
// or as the walk has it.
func (w *walk) wanted(command, note string, after []string) int {
	for i, l := range after {
		if strings.HasPrefix(l, "$ echo $?") {
			if n, err := strconv.Atoi(strings.TrimSpace(after[i+1])); err == nil {
				return n
			}
		}
		if strings.HasPrefix(l, "$ ") {
			break
		}
	}
	if n, err := strconv.Atoi(strings.TrimSpace(note)); err == nil {
		return n
	}
	for begins, status := range w.status {
		if strings.HasPrefix(command, begins) {
			return status
		}
	}
	return exitPass
}

// asDone is a command as it is called here, with what is typed.
func (w *walk) asDone(t *testing.T, args []string) (called []string, answers string) {
	t.Helper()
	command := strings.Join(args, " ")
	if other, is := w.in[command]; is {
		args = strings.Fields(other)
	}
	for begins, typed := range w.typed {
		if strings.HasPrefix(command, begins) {
			answers = typed
		}
	}
	return args, answers
}

// there says which of the files that a step needs are missing.
func there(t *testing.T, files ...string) {
	t.Helper()
	for _, f := range files {
		if _, err := os.Stat(f); err != nil {
			t.Errorf("a step of the page needs %s: %v", f, err)
		}
	}
}

// moduleVariable holds the top of the module while a page is followed elsewhere.
const moduleVariable = "MAKEBREAK_TEST_MODULE"

// called calls the program as a process of its own, whose home is the folder.
func called(t *testing.T, args []string, answers string) (out string, status int) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	folder, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), processPatience)
	defer cancel()
	c := exec.CommandContext(ctx, self, args...)
	c.Args[0] = "makebreak"
	c.Env = append(os.Environ(), "HOME="+folder, "XDG_DATA_HOME=", "GORACE=atexit_sleep_ms=0")
	c.Stdin = strings.NewReader(answers)
	b, err := c.CombinedOutput()
	var ended *exec.ExitError
	if err != nil && !errors.As(err, &ended) {
		t.Fatal(err)
	}
	return string(b), c.ProcessState.ExitCode()
}

// copySimulated takes the rig file of the drawing, with a simulated bus.
func copySimulated(t *testing.T) {
	t.Helper()
	text := documentText(t, filepath.Join(os.Getenv(moduleVariable), starter))
	simulated := strings.Replace(text, `bus: "1"   `, "bus: simulated", 1)
	if simulated == text {
		t.Fatal("the file names its bus in another way")
	}
	if err := os.WriteFile("rig.yaml", []byte(simulated), 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestFirstHour_Pins: the page for a workshop wires the pins of the header that the drawing has, and
// no others.
func TestFirstHour_Pins(t *testing.T) {
	_, section, found := strings.Cut(prose(t, "rig/commission/first-hour.md"), "\n## 4. ")
	section, _, _ = strings.Cut(section, "\n## ")
	if !found {
		t.Fatal("the page has no such section")
	}
	var wired []string
	for _, m := range pinsOf.FindAllStringSubmatch(section, -1) {
		wired = append(wired, strings.FieldsFunc(m[1], func(r rune) bool { return r < '0' || r > '9' })...)
	}
	drawn := []string{"1", "6"} // 3.3 V and 0 V
	cells, rows := firstCells(t, "rig/wiring/README.md", "## Header pins")
	for _, pin := range anyPin.FindAllString(drawnWiring(t), -1) {
		if i := slices.Index(cells, pin); i >= 0 {
			drawn = append(drawn, strings.TrimSpace(rows[i][1]))
		}
	}
	slices.Sort(wired)
	slices.Sort(drawn)
	if !slices.Equal(wired, slices.Compact(drawn)) {
		t.Errorf("the page wires pins %v, the drawing has %v", wired, drawn)
	}
}

// pinsOf finds pins of the header, as in "pins 29, 31 and 33".
var pinsOf = regexp.MustCompile(`\bpins? ((?:\d+(?:, | and )?)+)`)
