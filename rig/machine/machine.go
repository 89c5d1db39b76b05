// Package machine reads what is known of the computer at the bench and bears on what is
// measured there: the board and its kernel, the processor's clock, heat and supply, swap, and
// what the kernel grants the program. It watches some of it while a run lasts.
//
// What a system does not tell is left out: nothing here fails.
package machine

import (
	"io/fs"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"

	"makebreak/rig/capture"
	"makebreak/rig/words"
)

// A System is where facts are read from.
type System struct {
	// Root is the tree of files, as / has it.
	Root fs.FS
	// Throttling asks a Raspberry Pi's firmware for its state of supply and clock, in bits;
	// false: it cannot be asked. nil: nobody can.
	Throttling func() (bits uint32, ok bool)
	// Synchronised asks the kernel whether its clock is kept by a time server; false: it does
	// not say. nil: nobody can.
	Synchronised func() (yes, ok bool)
}

// Read returns what is known now.
func (s System) Read() []capture.MachineFact {
	var all []capture.MachineFact
	word := func(f capture.Fact, text string) {
		if text != "" {
			all = append(all, said(f, text))
		}
	}
	amount := func(f capture.Fact, v float64, ok bool) {
		if ok {
			all = append(all, capture.Is(f, v))
		}
	}
	word(capture.Model, s.model())
	word(capture.Kernel, s.text("proc/sys/kernel/osrelease"))
	all = append(all, s.clock()...)
	celsius, ok := s.temperature()
	amount(capture.Temperature, celsius, ok)
	all = append(all, s.supply()...)
	size, used, ok := s.swap()
	amount(capture.Swap, size, ok)
	amount(capture.SwapUsed, used, ok)
	word(capture.MemoryLock, s.memoryLock())
	word(capture.Priority, s.priority())
	word(capture.Groups, s.groups())
	if yes, ok := s.synchronised(); ok {
		all = append(all, capture.Yes(capture.ClockSynced, yes))
	}
	return all
}

// longestWord is how much is kept of a text, in bytes.
const longestWord = 100

// said is a fact by a text from outside.
func said(f capture.Fact, text string) capture.MachineFact {
	return capture.Said(f, words.Safe(text[:min(len(text), longestWord)]))
}

// text is what stands in a file, without blanks and zeros around it; empty: it cannot be read.
func (s System) text(name string) string {
	b, err := fs.ReadFile(s.Root, name)
	if err != nil {
		return ""
	}
	return strings.Trim(string(b), "\x00 \t\n")
}

func (s System) number(name string) (float64, bool) {
	v, err := strconv.ParseFloat(s.text(name), 64)
	return v, err == nil && !math.IsNaN(v) && !math.IsInf(v, 0)
}

// matches are the paths that a pattern has in the tree, rising.
func (s System) matches(pattern string) []string {
	names, _ := fs.Glob(s.Root, pattern) // the patterns are well formed
	slices.Sort(names)
	return names
}

// model is the board's name by its device tree, or what a PC's firmware calls it.
func (s System) model() string {
	if text := s.text("proc/device-tree/model"); text != "" {
		return text
	}
	const dmi = "sys/class/dmi/id/"
	return strings.TrimSpace(s.text(dmi+"sys_vendor") + " " + s.text(dmi+"product_name"))
}

// clock is the first processor's (Documentation/admin-guide/pm/cpufreq.rst; in kHz).
func (s System) clock() []capture.MachineFact {
	const dir = "sys/devices/system/cpu/cpu0/cpufreq/"
	var all []capture.MachineFact
	if text := s.text(dir + "scaling_governor"); text != "" {
		all = append(all, said(capture.Governor, text))
	}
	if khz, ok := s.number(dir + "scaling_cur_freq"); ok {
		all = append(all, capture.Is(capture.ProcessorHz, 1e3*khz))
	}
	if khz, ok := s.number(dir + "cpuinfo_max_freq"); ok {
		all = append(all, capture.Is(capture.HighestHz, 1e3*khz))
	}
	return all
}

// temperature is the hottest zone's, of the processor where one is named so
// (Documentation/driver-api/thermal/sysfs-api.rst; in thousandths of a degree Celsius).
func (s System) temperature() (celsius float64, ok bool) {
	var processor, others []float64
	for _, zone := range s.matches("sys/class/thermal/thermal_zone*") {
		milli, readable := s.number(path.Join(zone, "temp"))
		switch {
		case !readable:
		case strings.HasPrefix(s.text(path.Join(zone, "type")), "cpu"):
			processor = append(processor, milli/1e3)
		default:
			others = append(others, milli/1e3)
		}
	}
	if len(processor) == 0 {
		processor = others
	}
	if len(processor) == 0 {
		return 0, false
	}
	return slices.Max(processor), true
}

// Bits of a Raspberry Pi's firmware on its supply and clock, those that hold now (the maker's
// documentation of vcgencmd get_throttled). Above them are the same since the last start, which
// the kernel's driver clears each time that it looks.
const (
	lowSupply = 1 << iota
	capped
	heldDown
	softLimit
)

// supply is whether the board is supplied well and its clock held down. The kernel's driver
// looks every 2 s, and its alarm says whether the supply was too low since the look before
// (drivers/hwmon/raspberrypi-hwmon.c). Old kernels of the maker's have a file with the bits.
func (s System) supply() []capture.MachineFact {
	bits, known := s.throttling()
	low, asked := known && bits&lowSupply != 0, known
	for _, dir := range s.matches("sys/class/hwmon/hwmon*") {
		if s.text(path.Join(dir, "name")) != "rpi_volt" {
			continue
		}
		if v, ok := s.number(path.Join(dir, "in0_lcrit_alarm")); ok {
			low, asked = low || v != 0, true
		}
	}
	var all []capture.MachineFact
	if asked {
		all = append(all, capture.Yes(capture.UnderVoltage, low))
	}
	if known {
		all = append(all, capture.Yes(capture.Throttled, bits&(capped|heldDown|softLimit) != 0))
	}
	return all
}

func (s System) throttling() (bits uint32, ok bool) {
	if text := s.text("sys/devices/platform/soc/soc:firmware/get_throttled"); text != "" {
		v, err := strconv.ParseUint(strings.TrimPrefix(text, "0x"), 16, 32)
		return uint32(v), err == nil
	}
	if s.Throttling == nil {
		return 0, false
	}
	return s.Throttling()
}

// swap is how much there is and how much of it is in use, in bytes (proc(5); in kB).
func (s System) swap() (size, used float64, ok bool) {
	text := s.text("proc/swaps")
	for i, line := range strings.Split(text, "\n") {
		f := strings.Fields(line)
		if i == 0 || len(f) < 5 {
			continue
		}
		all, err1 := strconv.ParseFloat(f[len(f)-3], 64)
		in, err2 := strconv.ParseFloat(f[len(f)-2], 64)
		if err1 == nil && err2 == nil {
			size, used = size+1024*all, used+1024*in
		}
	}
	return size, used, text != ""
}

// Numbers of capabilities (include/uapi/linux/capability.h).
const (
	capLockMemory = 14
	capNice       = 23
)

// status is a line of the program's own /proc/self/status (proc(5)).
func (s System) status(key string) string {
	for line := range strings.Lines(s.text("proc/self/status")) {
		if text, ok := strings.CutPrefix(line, key+":"); ok {
			return strings.TrimSpace(text)
		}
	}
	return ""
}

// limit is a soft limit of the program's own /proc/self/limits.
func (s System) limit(name string) string {
	for line := range strings.Lines(s.text("proc/self/limits")) {
		if text, ok := strings.CutPrefix(line, name); ok {
			if f := strings.Fields(text); len(f) > 0 {
				return f[0]
			}
		}
	}
	return ""
}

func (s System) may(capability int) bool {
	set, err := strconv.ParseUint(s.status("CapEff"), 16, 64)
	return err == nil && set&(1<<capability) != 0
}

// What the facts that are words can be.
const (
	Locked    = "locked"
	Permitted = "permitted"
	Refused   = "refused"

	ByDeadline = "deadline"
	ByNice     = "nice"
	NoPriority = "none"
)

// memoryLock says whether the program's memory is locked, or may be (package realtime).
func (s System) memoryLock() string {
	locked := s.status("VmLck")
	switch {
	case locked == "":
		return "" // no Linux
	case !strings.HasPrefix(locked, "0 "):
		return Locked
	case s.limit("Max locked memory") == "unlimited" || s.may(capLockMemory):
		return Permitted
	}
	return Refused
}

// urgent is the limit of the nice value that lets the loop that samples have its own, 20 less
// the value (getrlimit(2), package realtime).
const urgent = 35

// priority says which of what package realtime asks for the kernel grants.
func (s System) priority() string {
	nice, err := strconv.Atoi(s.limit("Max nice priority"))
	switch {
	case s.may(capNice):
		return ByDeadline
	case err != nil:
		return ""
	case nice >= urgent:
		return ByNice
	}
	return NoPriority
}

// doors are the groups that open buses, lines and the firmware on Debian and its relatives.
var doors = []string{"gpio", "i2c", "video"}

// groups names those of the doors that the user is in.
func (s System) groups() string {
	if strings.HasPrefix(s.status("Uid"), "0\t") {
		return "root"
	}
	ids := append(strings.Fields(s.status("Groups")), strings.Fields(s.status("Gid"))...)
	var in, there []string
	for line := range strings.Lines(s.text("etc/group")) {
		f := strings.Split(strings.TrimSpace(line), ":")
		if len(f) < 3 || !slices.Contains(doors, f[0]) {
			continue
		}
		there = append(there, f[0])
		if slices.Contains(ids, f[2]) {
			in = append(in, f[0])
		}
	}
	slices.Sort(in)
	switch {
	case len(in) > 0:
		return words.And(in)
	case len(there) > 0:
		return "none of " + words.And(there)
	}
	return "" // a system without them
}

// synchronised asks Debian's time service first: a service that may not set the clock may not
// ask the kernel for it either.
func (s System) synchronised() (yes, ok bool) {
	if _, err := fs.Stat(s.Root, "run/systemd/timesync/synchronized"); err == nil {
		return true, true
	}
	if s.Synchronised == nil {
		return false, false
	}
	return s.Synchronised()
}
