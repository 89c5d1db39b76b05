package machine

import (
	"bytes"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/rogpeppe/go-internal/txtar"

	"makebreak/rig/capture"
	"makebreak/rig/words"
)

// board returns the tree of files of a board, which a test may change.
func board(t *testing.T, name string) fstest.MapFS {
	t.Helper()
	a, err := txtar.ParseFile(filepath.Join("testdata", name+".txtar"))
	if err != nil {
		t.Fatal(err)
	}
	tree := fstest.MapFS{}
	for _, f := range a.Files {
		tree[f.Name] = &fstest.MapFile{Data: f.Data}
	}
	return tree
}

// told are facts as a person reads them, by their words.
func told(facts []capture.MachineFact) map[string]string {
	by := map[string]string{}
	for _, m := range facts {
		by[string(m.Fact)] = m.Value()
	}
	return by
}

func TestRead(t *testing.T) {
	for name, c := range map[string]struct {
		facts  map[string]string
		advice []string // how each begins
	}{
		"zero": {map[string]string{"model": "Raspberry Pi Zero W Rev 1.1", "kernel": "6.12.34+rpt-rpi-v6", "governor": "ondemand", "processor_hz": "700 MHz", "processor_highest_hz": "1 GHz",
			"temperature_celsius": "41 °C", "under_voltage": "yes", "swap_bytes": "105 MB", "swap_used_bytes": "33 MB", "memory_lock": "refused", "priority": "none", "groups": "gpio, i2c and video"},
			[]string{"The governor ondemand", "The board is short of voltage", "Swap is in use, and this user may not lock memory", "The kernel grants this user no priority"}},
		"pi3": {map[string]string{"model": "Raspberry Pi 3 Model B Plus Rev 1.3", "kernel": "4.14.34-v7+", "governor": "performance", "processor_hz": "1.2 GHz", "processor_highest_hz": "1.4 GHz",
			"temperature_celsius": "83 °C", "under_voltage": "no", "throttled": "yes", "swap_bytes": "none", "swap_used_bytes": "none", "memory_lock": "refused", "priority": "nice", "groups": "gpio"},
			[]string{"The processor is throttled", "The processor is at 83 °C"}},
		"pi4": {map[string]string{"model": "Raspberry Pi 4 Model B Rev 1.4", "kernel": "6.1.0-21-arm64", "governor": "performance", "processor_hz": "1.5 GHz", "processor_highest_hz": "1.5 GHz",
			"temperature_celsius": "48 °C", "under_voltage": "no", "swap_bytes": "none", "swap_used_bytes": "none", "memory_lock": "locked", "priority": "deadline", "groups": "gpio and i2c", "clock_synchronised": "yes"}, nil},
		"pi5": {map[string]string{"model": "Raspberry Pi 5 Model B Rev 1.0", "kernel": "6.12.47+rpt-rpi-2712", "governor": "ondemand", "processor_hz": "1.5 GHz", "processor_highest_hz": "2.4 GHz",
			"temperature_celsius": "56 °C", "under_voltage": "no", "swap_bytes": "2148 MB", "swap_used_bytes": "none", "memory_lock": "permitted", "priority": "none", "groups": "none of video, i2c and gpio"},
			[]string{"The governor ondemand", "The kernel grants this user no priority", "Put the user into the groups"}},
		"pc": {map[string]string{"model": `Example Works Box \x1b[31m7`, "kernel": "6.12.0-amd64", "governor": "powersave", "processor_hz": "800 MHz", "processor_highest_hz": "3.6 GHz",
			"temperature_celsius": "51 °C", "swap_bytes": "1025 MB", "swap_used_bytes": "none", "memory_lock": "permitted", "priority": "deadline", "groups": "root"},
			[]string{"The governor powersave keeps the processor at 800 MHz, of 3.6 GHz"}},
	} {
		t.Run(name, func(t *testing.T) {
			facts := System{Root: board(t, name)}.Read()
			if diff := cmp.Diff(c.facts, told(facts)); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
			advice := Advice(facts)
			if !slices.EqualFunc(advice, c.advice, strings.HasPrefix) {
				t.Errorf("advice:\n%s", strings.Join(advice, "\n"))
			}
		})
	}
}

// What is missing or unreadable is left out, whichever file it is.
func TestRead_Missing(t *testing.T) {
	for _, name := range []string{"zero", "pi3", "pi4", "pi5", "pc"} {
		for file := range board(t, name) {
			for _, text := range []string{"", "\x00\xff", "garbage\n", "-", "NaN", "-Inf", strings.Repeat("7 ", 5000)} {
				tree := board(t, name)
				tree[file].Data = []byte(text)
				for _, m := range (System{Root: tree}).Read() {
					if math.IsNaN(m.Number) || math.IsInf(m.Number, 0) || len(m.Text) > 2*longestWord || words.Safe(m.Text) != m.Text {
						t.Errorf("%s with %s as %.10q: %v", name, file, text, m)
					}
				}
			}
		}
		tree := board(t, name)
		maps.DeleteFunc(tree, func(file string, _ *fstest.MapFile) bool { return !strings.HasPrefix(file, "proc/sys/") })
		if got := told(System{Root: tree}.Read()); len(got) != 1 || got["kernel"] == "" {
			t.Errorf("%s with one file: %v", name, got)
		}
	}
	if facts := (System{Root: fstest.MapFS{}}).Read(); len(facts) != 0 {
		t.Errorf("of nothing: %v", facts)
	}
}

// The firmware's present bits count, those since the start do not: the kernel's driver clears
// them.
func TestSupply_Firmware(t *testing.T) {
	for bits, want := range map[uint32][2]string{0: {"no", "no"}, 1: {"yes", "no"}, 2: {"no", "yes"}, 4: {"no", "yes"}, 8: {"no", "yes"}, 0xF0000: {"no", "no"}, 0x50005: {"yes", "yes"}} {
		s := System{Root: fstest.MapFS{}, Throttling: func() (uint32, bool) { return bits, true }, Synchronised: func() (bool, bool) { return false, true }}
		if got := told(s.Read()); got["under_voltage"] != want[0] || got["throttled"] != want[1] || got["clock_synchronised"] != "no" {
			t.Errorf("%#x: %v", bits, got)
		}
	}
	tree := board(t, "zero")
	s := System{Root: tree, Throttling: func() (uint32, bool) { return 0, true }}
	if got := told(s.Read()); got["under_voltage"] != "yes" || got["throttled"] != "no" {
		t.Errorf("the driver's alarm beside the firmware: %v", got)
	}
}

// A watch keeps what changes, with when, once; the end looks at everything again.
func TestWatch(t *testing.T) {
	tree := board(t, "pi4")
	at := time.Date(2031, 4, 5, 9, 30, 0, 0, time.UTC)
	now := func() time.Time { at = at.Add(time.Second); return at }
	s := System{Root: tree}
	w := newWatch(s, At(s.Read(), at), now)
	if first := told(w.Seen()); first["model"] == "" || first["under_voltage"] != "no" {
		t.Errorf("what is known at first: %v", first)
	}
	look := func(alarm, governor string) []capture.MachineFact {
		tree["sys/class/hwmon/hwmon1/in0_lcrit_alarm"].Data = []byte(alarm)
		tree["sys/devices/system/cpu/cpu0/cpufreq/scaling_governor"].Data = []byte(governor)
		tree["sys/devices/system/cpu/cpu0/cpufreq/scaling_cur_freq"].Data = []byte("600000")
		w.look(append(s.supply(), s.clock()...))
		return w.Seen()
	}
	if got := look("0", "performance"); len(got) != 0 {
		t.Errorf("nothing changed: %v", got)
	}
	got := look("1", "ondemand")
	if diff := cmp.Diff(map[string]string{"under_voltage": "yes", "governor": "ondemand"}, told(got)); diff != "" || got[0].At.IsZero() {
		t.Errorf("%v (-want +got):\n%s", got, diff)
	}
	if got := look("1", "ondemand"); len(got) != 0 {
		t.Errorf("said already: %v", got)
	}
	for i := range 2 * mostChanges {
		look([]string{"0", "1"}[i%2], "ondemand")
	}
	if w.kept != mostChanges {
		t.Errorf("%d changes are kept, %d at the most", w.kept, mostChanges)
	}
	close(w.done) // nobody works it
	tree["proc/self/status"].Data = bytes.Replace(tree["proc/self/status"].Data, []byte("1234567 kB"), []byte("0 kB"), 1)
	if told(s.Read())["memory_lock"] == Locked {
		t.Error("the bench is closed, and memory is locked")
	}
	end := told(w.End())
	if end["processor_hz"] != "600 MHz" || end["under_voltage"] != "yes" || end["memory_lock"] != "" {
		t.Errorf("at the end: %v", end)
	}
	if again := w.End(); len(again) != 0 {
		t.Errorf("a second end: %v", again)
	}
}

// A watch that works by itself sees an alarm that lasts as long as the kernel's driver has it.
func TestWatch_Works(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for the clock")
	}
	alarm := make(chan uint32, 1)
	alarm <- 0
	s := System{Root: fstest.MapFS{}, Throttling: func() (uint32, bool) {
		bits := <-alarm
		alarm <- bits
		return bits, true
	}}
	w := NewWatch(s, At(s.Read(), time.Now()), time.Now)
	w.Seen()
	<-alarm
	alarm <- 1
	for len(w.Seen()) == 0 {
		time.Sleep(10 * time.Millisecond)
	}
	w.End()
}

func TestWrite(t *testing.T) {
	var b strings.Builder
	if err := Write(&b, System{Root: board(t, "zero")}.Read()); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Computer\n", "Raspberry Pi Zero W Rev 1.1", "under-voltage", "Advice: The board is short of voltage"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("it does not say %q:\n%s", want, b.String())
		}
	}
}
