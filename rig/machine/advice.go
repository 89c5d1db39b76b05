package machine

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"makebreak/rig/capture"
	"makebreak/rig/table"
)

// hot is where a Raspberry Pi begins to hold its clock down, in degrees Celsius (the maker's
// documentation; some boards begin earlier).
const hot = 80

// Advice says what to do about facts that measuring suffers from.
func Advice(all []capture.MachineFact) []string {
	var advice []string
	is := map[capture.Fact]capture.MachineFact{}
	for _, m := range capture.MachineNow(all) {
		is[m.Fact] = m
	}
	add := func(when bool, format string, args ...any) {
		if when {
			advice = append(advice, fmt.Sprintf(format, args...))
		}
	}
	governor := is[capture.Governor].Text
	add(slices.Contains([]string{"ondemand", "conservative", "schedutil"}, governor),
		"The governor %s takes the processor's clock down between conversions, so that edges are stamped late. Write performance into /sys/devices/system/cpu/cpu0/cpufreq/scaling_governor (until the next start).", governor)
	add(governor == "powersave" && is[capture.ProcessorHz].Number < 0.9*is[capture.HighestHz].Number,
		"The governor powersave keeps the processor at %s, of %s: edges are stamped later than at full clock.", is[capture.ProcessorHz].Value(), is[capture.HighestHz].Value())
	add(is[capture.UnderVoltage].Number == 1,
		"The board is short of voltage: its 3.3 V, which converters and pull-ups run from, may sag. Give it a supply that holds 5 V, by a short thick cable.")
	add(is[capture.Throttled].Number == 1, "The processor is throttled, by heat or a weak supply: conversions may be missed. Cool the board, or give it a better supply.")
	add(is[capture.Temperature].Number >= hot, "The processor is at %s: above %d °C a Raspberry Pi holds its clock down. Cool the board.", is[capture.Temperature].Value(), hot)
	inSwap := is[capture.SwapUsed].Number > 0
	add(inSwap && is[capture.MemoryLock].Text == Refused,
		"Swap is in use, and this user may not lock memory: a page that comes back from a card takes longer than many conversions. Run the soak as the service, or raise the limit (ulimit -l unlimited), or switch swap off (swapoff -a).")
	add(inSwap && is[capture.MemoryLock].Text != Refused,
		"Swap is in use: makebreak locks its own memory on a real rig, but the card works and wears for the others. Give the board less to do, or switch swap off (swapoff -a).")
	add(is[capture.Priority].Text == NoPriority,
		"The kernel grants this user no priority: conversions may be missed beside other work. Run the soak as the service, or give the program CAP_SYS_NICE.")
	synced, known := is[capture.ClockSynced]
	add(known && synced.Number == 0, "No time server keeps the clock: dates of runs and calibrations may be wrong.")
	add(strings.HasPrefix(is[capture.Groups].Text, "none of "), "Put the user into the groups gpio and i2c (usermod -aG gpio,i2c USER) and log in again.")
	return advice
}

// Write writes what is known as a block for a person, with what to do about it.
func Write(w io.Writer, all []capture.MachineFact) error {
	if len(all) == 0 {
		return nil
	}
	fmt.Fprintln(w, "Computer")
	err := table.Write(w, []string{"what", "is"}, func(row func(...any)) {
		for _, m := range capture.MachineNow(all) {
			row(m.Fact.Label(), m.Value())
		}
	})
	for _, text := range Advice(all) {
		fmt.Fprintf(w, "Advice: %s\n", text)
	}
	return err
}
