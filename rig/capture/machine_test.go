package capture

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestMachineLines(t *testing.T) {
	at := time.Date(2031, 4, 5, 9, 30, 0, 0, time.UTC)
	all := []MachineFact{
		Said(Model, "Raspberry Pi 4 Model B Rev 1.4"), Said(Kernel, "6.12.34"), Said(Governor, "ondemand"), Is(ProcessorHz, 1.5e9), Is(Temperature, 48.3),
		Yes(UnderVoltage, false), Is(Swap, 99.9e6), Is(SwapUsed, 0), Said(MemoryLock, "locked"), Is(BusHz, 249_800), Is(TransferTime, 47.2e-6), Yes(ClockSynced, true),
		{Fact: Throttled, Number: math.NaN()},
	}
	for i := range all {
		all[i].At = at
	}
	all = append(all, MachineFact{Fact: UnderVoltage, Number: 1, At: at.Add(time.Minute), After: 12}, MachineFact{Fact: UnderVoltage, At: at.Add(62 * time.Second), After: 12})
	want := []string{
		"Raspberry Pi 4 Model B Rev 1.4, kernel 6.12.34",
		"governor of the processor's clock ondemand, processor's clock 1.5 GHz, temperature 48 °C, under-voltage no, throttled not known",
		"swap 100 MB, swap in use none, lock on memory locked, clock synchronised yes",
		"bus, measured 250 kHz, a transfer besides its bits 47 µs",
		"2031-04-05 09:31:00 UTC, after cycle 12: under-voltage yes",
		"2031-04-05 09:31:02 UTC, after cycle 12: under-voltage no",
	}
	if diff := cmp.Diff(want, MachineLines(all)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if c := MachineCautions(all); len(c) != 1 || !strings.HasPrefix(c[0], "the board reported under-voltage during the run, first after cycle 12 at 2031-04-05 09:31:00 UTC: ") {
		t.Errorf("cautions: %q", c)
	}
	all[5].Number = 1
	if c := MachineCautions(all); len(c) != 1 || !strings.Contains(c[0], "when the run began") {
		t.Errorf("from the beginning on: %q", c)
	}
	if c := MachineCautions(all[:4]); len(c) != 0 {
		t.Errorf("nothing happened: %q", c)
	}
}

// Each fact has words of its own, and stands in one line.
func TestFacts_Told(t *testing.T) {
	var told []Fact
	for _, g := range machineGroups {
		told = append(told, g...)
	}
	if diff := cmp.Diff(Facts(), told); diff != "" {
		t.Errorf("facts and lines (-facts +lines):\n%s", diff)
	}
	var labels []string
	for _, f := range Facts() {
		labels = append(labels, f.Label())
		if f.Label() == "" || f.Kind() == Amount && f.info().write == nil {
			t.Errorf("%s: label %q", f, f.Label())
		}
	}
	slices.Sort(labels)
	if len(slices.Compact(labels)) != len(Facts()) {
		t.Errorf("labels are there twice: %q", labels)
	}
}
