package capture

import (
	"fmt"
	"math"
	"strings"
	"time"

	"makebreak/rig/unit"
)

// A Fact names one thing that is known of the computer at the bench and bears on what is
// measured there. Logs and JSON hold the words: none is ever changed or given another meaning.
type Fact string

// The facts.
const (
	Model        Fact = "model"
	Kernel       Fact = "kernel"
	Governor     Fact = "governor" // of the processor's clock
	ProcessorHz  Fact = "processor_hz"
	HighestHz    Fact = "processor_highest_hz"
	Temperature  Fact = "temperature_celsius"
	UnderVoltage Fact = "under_voltage" // now, or within the last two seconds
	Throttled    Fact = "throttled"     // the processor's clock is held down now
	Swap         Fact = "swap_bytes"
	SwapUsed     Fact = "swap_used_bytes"
	MemoryLock   Fact = "memory_lock" // locked, permitted or refused
	Priority     Fact = "priority"    // deadline, nice or none: what the kernel grants
	Groups       Fact = "groups"      // of the user, those that open buses and lines
	ClockSynced  Fact = "clock_synchronised"
	BusAskedHz   Fact = "bus_asked_hz" // by the device tree
	BusFileHz    Fact = "bus_file_hz"  // by the rig file
	BusHz        Fact = "bus_measured_hz"
	TransferTime Fact = "transfer_overhead_seconds" // of a transfer, besides its bits
)

// FactKind is what a fact's value is.
type FactKind int

// The kinds.
const (
	Word FactKind = iota
	YesNo
	Amount
)

// factInfo says how a fact is told.
type factInfo struct {
	fact  Fact
	kind  FactKind
	label string
	write func(float64) string // of an amount
}

var factTable = []factInfo{
	{Model, Word, "board", nil},
	{Kernel, Word, "kernel", nil},
	{Governor, Word, "governor of the processor's clock", nil},
	{ProcessorHz, Amount, "processor's clock", unit.Hertz},
	{HighestHz, Amount, "its highest", unit.Hertz},
	{Temperature, Amount, "temperature", func(v float64) string { return fmt.Sprintf("%.0f °C", v) }},
	{UnderVoltage, YesNo, "under-voltage", nil},
	{Throttled, YesNo, "throttled", nil},
	{Swap, Amount, "swap", megabytes},
	{SwapUsed, Amount, "swap in use", megabytes},
	{MemoryLock, Word, "lock on memory", nil},
	{Priority, Word, "priority granted", nil},
	{Groups, Word, "groups", nil},
	{ClockSynced, YesNo, "clock synchronised", nil},
	{BusAskedHz, Amount, "bus, in the device tree", unit.Hertz},
	{BusFileHz, Amount, "bus, in the rig file", unit.Hertz},
	{BusHz, Amount, "bus, measured", unit.Hertz},
	{TransferTime, Amount, "a transfer besides its bits", func(v float64) string { return unit.Time.Short(v, 2) }},
}

func megabytes(v float64) string {
	if v == 0 {
		return "none"
	}
	return fmt.Sprintf("%.0f MB", math.Ceil(v/1e6))
}

// Facts are all facts, in the order in which they are told.
func Facts() []Fact {
	all := make([]Fact, len(factTable))
	for i := range factTable {
		all[i] = factTable[i].fact
	}
	return all
}

func (f Fact) info() factInfo {
	for _, in := range factTable {
		if in.fact == f {
			return in
		}
	}
	return factInfo{fact: f, label: string(f)} // of a later program's log
}

// Kind returns what the fact's value is.
func (f Fact) Kind() FactKind { return f.info().kind }

// Label is the fact as a person reads it.
func (f Fact) Label() string { return f.info().label }

// A MachineFact is a fact of the computer with its value, and when it was seen.
type MachineFact struct {
	Fact   Fact
	Text   string  // of a word; empty: there is none
	Number float64 // of an amount in the fact's unit; of yes 1, of no 0; NaN: not known
	At     time.Time
	After  int // the last cycle that was stored before; 0: none
}

// Said is a fact that is a word.
func Said(f Fact, text string) MachineFact { return MachineFact{Fact: f, Text: text} }

// Is is a fact that is an amount.
func Is(f Fact, v float64) MachineFact { return MachineFact{Fact: f, Number: v} }

// Yes is a fact that is so or not.
func Yes(f Fact, yes bool) MachineFact {
	if yes {
		return MachineFact{Fact: f, Number: 1}
	}
	return MachineFact{Fact: f}
}

// Same reports whether two say the same, whenever they were seen.
func (m MachineFact) Same(o MachineFact) bool {
	return m.Fact == o.Fact && m.Text == o.Text && (m.Number == o.Number || math.IsNaN(m.Number) && math.IsNaN(o.Number))
}

// Value is the fact's value as a person reads it.
func (m MachineFact) Value() string {
	in := m.Fact.info()
	switch {
	case in.kind == Word:
		return m.Text
	case math.IsNaN(m.Number):
		return "not known"
	case in.kind == YesNo && m.Number == 0:
		return "no"
	case in.kind == YesNo:
		return "yes"
	case in.write == nil:
		return fmt.Sprintf("%g", m.Number)
	}
	return in.write(m.Number)
}

// MachineNow returns the latest value of each fact, in the order in which they are told.
func MachineNow(all []MachineFact) []MachineFact {
	latest := map[Fact]MachineFact{}
	for _, m := range all {
		latest[m.Fact] = m
	}
	return ordered(latest)
}

// MachineAtFirst returns the first value of each fact, in the order in which they are told.
func MachineAtFirst(all []MachineFact) []MachineFact {
	first := map[Fact]MachineFact{}
	for _, m := range all {
		if _, known := first[m.Fact]; !known {
			first[m.Fact] = m
		}
	}
	return ordered(first)
}

func ordered(by map[Fact]MachineFact) []MachineFact {
	var list []MachineFact
	for _, f := range Facts() {
		if m, ok := by[f]; ok {
			list = append(list, m)
		}
	}
	return list
}

// MachineChanges returns what changed since the first value of each fact.
func MachineChanges(all []MachineFact) []MachineFact {
	var changes []MachineFact
	last := map[Fact]MachineFact{}
	for _, m := range all {
		if was, known := last[m.Fact]; known && !was.Same(m) {
			changes = append(changes, m)
		}
		last[m.Fact] = m
	}
	return changes
}

// machineGroups are the facts that are told in one line.
var machineGroups = [][]Fact{
	{Model, Kernel},
	{Governor, ProcessorHz, HighestHz, Temperature, UnderVoltage, Throttled},
	{Swap, SwapUsed, MemoryLock, Priority, Groups, ClockSynced},
	{BusAskedHz, BusFileHz, BusHz, TransferTime},
}

// MachineLines tells of a computer in a few lines: how it was at first, then what changed.
func MachineLines(all []MachineFact) []string {
	first := map[Fact]MachineFact{}
	for _, m := range MachineAtFirst(all) {
		first[m.Fact] = m
	}
	var lines []string
	for _, group := range machineGroups {
		var words []string
		for _, f := range group {
			if m, ok := first[f]; ok && m.Value() != "" {
				words = append(words, m.words())
			}
		}
		if len(words) > 0 {
			lines = append(lines, strings.Join(words, ", "))
		}
	}
	for _, m := range MachineChanges(all) {
		lines = append(lines, fmt.Sprintf("%s, after cycle %d: %s %s", m.At.UTC().Format("2006-01-02 15:04:05 UTC"), m.After, m.Fact.Label(), m.Value()))
	}
	return lines
}

// MachineObject gives the first value of each fact by its name, as JSON has it: a text, a number
// or yes or no; nil where it is not known.
func MachineObject(all []MachineFact) map[string]any {
	o := map[string]any{}
	for _, f := range Facts() {
		o[string(f)] = nil
	}
	for _, m := range MachineAtFirst(all) {
		o[string(m.Fact)] = m.Plain()
	}
	return o
}

// Plain is the fact's value as JSON has it.
func (m MachineFact) Plain() any {
	switch kind := m.Fact.Kind(); {
	case kind == Word && m.Text == "", kind != Word && math.IsNaN(m.Number):
		return nil
	case kind == Word:
		return m.Text
	case kind == YesNo:
		return m.Number != 0
	}
	return m.Number
}

// words are the fact as one of several in a line.
func (m MachineFact) words() string {
	if m.Fact == Model {
		return m.Text
	}
	return m.Fact.Label() + " " + m.Value()
}

// MachineCautions says what of a computer's facts makes figures doubtful that were taken with
// it.
func MachineCautions(all []MachineFact) []string {
	var cautions []string
	for _, c := range []struct {
		fact Fact
		what string
	}{
		{UnderVoltage, "the board reported under-voltage %s: its 3.3 V, which converters and pull-ups run from, may have sagged; give it a supply that holds 5 V"},
		{Throttled, "the processor was throttled %s: edges are stamped late then, and conversions may be missed; cool the board, or give it a better supply"},
	} {
		for _, m := range all {
			if m.Fact == c.fact && m.Number == 1 {
				when := "when the run began"
				if m.After > 0 || !m.At.Equal(all[0].At) {
					when = fmt.Sprintf("during the run, first after cycle %d at %s", m.After, m.At.UTC().Format("2006-01-02 15:04:05 UTC"))
				}
				cautions = append(cautions, fmt.Sprintf(c.what, when))
				break
			}
		}
	}
	return cautions
}
