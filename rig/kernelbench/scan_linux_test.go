package kernelbench_test

import (
	"encoding/json"
	"os"
	"strings"
	"syscall"
	"testing"

	"makebreak/rig/gpioline"
	"makebreak/rig/i2cbus"
	"makebreak/rig/kernelbench"
	"makebreak/rig/line"
)

// found is what makebreak rig scan --as json gives.
type found struct {
	Buses []struct {
		Bus     string
		Answers []struct {
			Address, What string
			Converter     bool
		}
	}
	Chips []struct {
		Chip, Label string
		Lines       int
		Named       []struct {
			Line   int
			Name   string
			GPIO   string
			Used   bool
			UsedBy string `json:"used_by"`
		} `json:"lines_named_or_used"`
	} `json:"gpio_chips"`
	Closed []string
}

func (s *site) scan(as *syscall.SysProcAttr) (got found, status int) {
	s.t.Helper()
	r := s.start(as, "rig", "scan", "--as", "json")
	status = r.wait()
	if err := json.Unmarshal(r.out.Bytes(), &got); err != nil {
		s.t.Fatalf("exit %d, %v\n%s%s", status, err, r.out.String(), r.err.String())
	}
	return got, status
}

// resetThresholds writes to converters what their thresholds are after power-up (SBAS444).
func resetThresholds(t *testing.T, addresses ...uint16) {
	t.Helper()
	bus, err := i2cbus.OpenBus(kernelbench.Bus)
	if err != nil {
		t.Fatal(err)
	}
	defer bus.Close()
	for _, a := range addresses {
		for _, w := range [][]byte{{2, 0x80, 0x00}, {3, 0x7F, 0xFF}} {
			if err := bus.Tx(a, w, nil); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// Without a rig file the program finds what the machine has, and who uses it.
func TestKernel_Scan(t *testing.T) {
	s := newSite(t, faultRate, "100 ms", "600 ms")
	resetThresholds(t, 0x48, 0x4A) // earlier tests have left their own
	s.adc.SetPresent([4]bool{true, false, true, false})
	header := kernelbench.NewChip(t, "kb-header", "GPIO17", "GPIO27", "GPIO28")
	held, err := gpioline.Open([]line.Request{{Line: line.Line{Name: "X", Chip: header.Name, Number: 1}, Role: line.Contact}})
	if err != nil {
		t.Fatal(err)
	}
	defer held.Close()
	got, status := s.scan(nil)
	if status != exitPass || len(got.Closed) != 0 || len(got.Buses) != 1 || got.Buses[0].Bus != kernelbench.Bus {
		t.Fatalf("exit %d, %+v", status, got)
	}
	answers := got.Buses[0].Answers
	if len(answers) != 2 || answers[0].Address != "0x48" || answers[1].Address != "0x4A" || !answers[0].Converter || !answers[1].Converter {
		t.Errorf("what answers: %+v", answers)
	}
	chips := 0
	for _, c := range got.Chips {
		if c.Chip != header.Name {
			continue
		}
		chips++
		if c.Label != "kb-header" || c.Lines != 3 || len(c.Named) != 2 {
			t.Fatalf("%+v", c)
		}
		if l := c.Named[0]; l.Name != "GPIO17" || l.Used {
			t.Errorf("%+v", l)
		}
		if l := c.Named[1]; l.Name != "GPIO27" || !l.Used || l.UsedBy != gpioline.Consumer {
			t.Errorf("%+v", l)
		}
	}
	if chips != 1 || len(got.Chips) != 3 {
		t.Errorf("%d GPIO chips, %d of them %s", len(got.Chips), chips, header.Name)
	}
}

// A user who may open nothing is told which groups would help.
func TestKernel_ScanClosed(t *testing.T) {
	s := newSite(t, faultRate, "100 ms", "600 ms")
	for path, gid := range map[string]int{kernelbench.Bus: 987, s.lines.Path: 986, s.contacts.Path: 986} {
		if err := os.Chown(path, 0, gid); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(path, 0o660); err != nil {
			t.Fatal(err)
		}
	}
	const bench = 1000 // the guest's user
	as := &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: bench, Gid: bench}}
	got, status := s.scan(as)
	said := strings.Join(got.Closed, "\n")
	if status != exitRig || len(got.Buses)+len(got.Chips) != 0 || !strings.Contains(said, "usermod -aG i2c USER") || strings.Count(said, "usermod -aG gpio USER") != 2 {
		t.Errorf("exit %d, %+v", status, got)
	}
	as.Credential.Groups = []uint32{986}
	got, status = s.scan(as)
	if status != exitPass || len(got.Chips) != 2 || len(got.Closed) != 1 {
		t.Errorf("in the group gpio: exit %d, %+v", status, got)
	}
}

// The guest's bus takes no time for a byte, which rig check says instead of a figure.
func TestKernel_CheckSpeed(t *testing.T) {
	s := newSite(t, faultRate, "100 ms", "600 ms")
	r := s.start(nil, "rig", "check", "--rig", s.rig)
	if status := r.wait(); status != exitUndecided { // nobody tries its wires
		t.Errorf("exit %d", status)
	}
	if text := strings.Join(strings.Fields(r.out.String()), " "); !strings.Contains(text, "faster than 3.4 MHz: transfers take no time that could be measured, 400 kHz in the rig file") || strings.Contains(text, "Warning: the bus runs") {
		t.Errorf("it says:\n%s", r.out.String())
	}
}
