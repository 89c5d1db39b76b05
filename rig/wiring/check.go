package wiring

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"makebreak/rig/ads1x15"
	"makebreak/rig/header"
	"makebreak/rig/line"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// What an output is taken to be where the file does not say.
const (
	DefaultHighest = 15.0 // volts: above the charging voltage of a 12 V battery
	DefaultNominal = 12.0 // volts
)

// Problem is one thing that Check found.
type Problem struct {
	Path    string // where, as in outputs.OUT3.divider
	Read    string // what stands there, as the file would have it; may be empty
	Why     string // what is wrong; may be empty
	Remedy  string // what to do; may be empty
	Warning bool   // the rig can be used all the same
	Key     bool   // the name itself is wrong, not what stands under it
}

// String renders the problem on one line.
func (p Problem) String() string {
	return words.Complaint(p.Path, p.Read, p.Why, p.Remedy)
}

// CheckName says what is wrong with the name of a signal, chip or event, nil where
// nothing is. Names become columns, labels and words of the command line.
func CheckName(s string) error {
	switch {
	case s == "":
		return fmt.Errorf("a name cannot be empty")
	case len(s) > 32:
		return fmt.Errorf("a name has at most 32 characters")
	case s[0] == '-' || s[0] == '_':
		return fmt.Errorf("a name starts with a letter or a digit")
	}
	for _, r := range s {
		if !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '_' || r == '-') {
			return fmt.Errorf("a name has no %q", r)
		}
	}
	return nil
}

// NameRule says in messages what a name must be.
const NameRule = "must be up to 32 letters, digits, _ and -, a letter or digit first"

// CheckSignal says what is wrong with a signal's name. Beside CheckName's rules it
// keeps clear of the names that a capture file gives a meaning to.
func CheckSignal(s string) error {
	if err := CheckName(s); err != nil {
		return err
	}
	lower := strings.ToLower(s)
	if strings.HasSuffix(lower, "_v") || lower == "time_s" || lower == "event" || lower == "samples_kept" {
		return fmt.Errorf("a capture file would take it for a column of its own")
	}
	return nil
}

// checker gathers problems.
type checker struct {
	rig  *Rig
	list []Problem
}

func (c *checker) add(path, read, why, remedy string) {
	c.list = append(c.list, Problem{Path: path, Read: read, Why: why, Remedy: remedy})
}

// addName adds a problem of a name.
func (c *checker) addName(path, read, why, remedy string) {
	c.list = append(c.list, Problem{Path: path, Read: read, Why: why, Remedy: remedy, Key: true})
}

// Check returns everything that is wrong with the rig, and what is doubtful as
// warnings.
func (r *Rig) Check() []Problem {
	c := &checker{rig: r}
	if r.Name == "" {
		c.add("name", "", "the rig has no name", "give it one, for example name: bench-1")
	}
	c.chips()
	c.signalNames()
	c.outputs()
	c.lines()
	c.drives()
	c.causes()
	c.supply()
	c.units()
	return c.list
}

func (c *checker) chips() {
	if len(c.rig.Chips) == 0 || len(c.rig.Chips) > 4 {
		c.add("chips", "", fmt.Sprintf("there are %d chips", len(c.rig.Chips)), "must be one to four, each with its own address")
	}
	taken := map[uint16]string{}
	for i := range c.rig.Chips {
		chip := &c.rig.Chips[i]
		path := "chips." + chip.Name
		if err := CheckName(chip.Name); err != nil {
			c.addName(path, chip.Name, err.Error(), NameRule)
		}
		c.chipOptions(chip, path)
		switch other, used := taken[chip.Address]; {
		case chip.Address < 0x48 || chip.Address > 0x4b:
			c.add(path+".address", hex(chip.Address), "", "use one of: 0x48, 0x49, 0x4A, 0x4B")
		case used:
			c.add(path+".address", hex(chip.Address), "chip "+other+" has this address", "use another of: 0x48, 0x49, 0x4A, 0x4B")
		}
		taken[chip.Address] = chip.Name
	}
}

func hex(a uint16) string { return fmt.Sprintf("0x%02X", a) }

// LeastChipSupply and MostChipSupply are between which voltages a converter works (recommended
// operating conditions, SBAS444 6.3).
const LeastChipSupply, MostChipSupply = 2.0, 5.5

// highestPullUp is the highest voltage in volts that the pins of a board at 3.3 V can be
// pulled up to: its own supply and a tenth (common practice, no source).
const highestPullUp = 3.6

func (c *checker) chipOptions(chip *Chip, path string) {
	if !chip.Model.Known() {
		c.add(path+".model", string(chip.Model), "", "use one of: ADS1115, ADS1015")
		return
	}
	if !slices.Contains(ads1x15.Ranges(), chip.Range) {
		c.add(path+".range", unit.Voltage.Format(chip.Range), "", "use one of: "+words.List(words.Texts(ads1x15.Ranges(), unit.Voltage.Format)))
	}
	if rates := chip.Model.Rates(); !slices.Contains(rates, chip.Rate) {
		c.add(path+".rate", fmt.Sprintf("%d /s", chip.Rate), "", "use one of: "+words.List(words.Texts(rates, func(r int) string { return strconv.Itoa(r) + " /s" })))
	}
	switch {
	case chip.Supply < LeastChipSupply || chip.Supply > MostChipSupply:
		c.add(path+".supply", unit.Voltage.Format(chip.Supply), "", "must be from "+unit.Voltage.Format(LeastChipSupply)+" to "+unit.Voltage.Format(MostChipSupply))
	case chip.Supply > highestPullUp:
		c.list = append(c.list, Problem{Path: path + ".supply", Read: unit.Voltage.Format(chip.Supply), Warning: true,
			Why:    "converter boards pull SDA, SCL and ALERT/RDY up to the converter's supply, and that can destroy the pins of a board that works at 3.3 V",
			Remedy: "supply it with 3.3 V, or take the pull-ups off or put a level shifter between"})
	}
	if chip.Mode != Sweep && chip.Mode != Follow {
		c.add(path+".sample", string(chip.Mode), "", "use one of: sweep, follow")
	}
}

// signalNames checks that the names of all signals are sound and differ, letter
// case aside.
func (c *checker) signalNames() {
	taken := map[string]string{}
	check := func(group, name string) {
		path := group + "." + name
		if err := CheckSignal(name); err != nil {
			c.addName(path, name, err.Error(), NameRule+", not ending in _V")
		}
		if other, used := taken[strings.ToLower(name)]; used {
			c.addName(path, name, other+" has this name", "use another name")
			return
		}
		taken[strings.ToLower(name)] = path
	}
	for _, o := range c.rig.Outputs {
		check("outputs", o.Name)
	}
	for _, l := range c.rig.Contacts {
		check("contacts", l.Name)
	}
	for _, l := range c.rig.References {
		check("references", l.Name)
	}
	for _, d := range c.rig.Drives {
		check("drives", d.Name)
	}
}

func (c *checker) outputs() {
	if len(c.rig.Outputs) == 0 {
		c.add("outputs", "", "there is no output", "add at least one")
	}
	type input struct {
		chip    string
		channel int
	}
	taken := map[input]string{}
	for i := range c.rig.Outputs {
		o := &c.rig.Outputs[i]
		path := "outputs." + o.Name
		if c.rig.Chip(o.Chip) == nil {
			c.add(path+".chip", o.Chip, "there is no chip of this name", words.UseOneOf(o.Chip, chipNames(c.rig)))
		}
		if o.Channel < 0 || o.Channel > 3 {
			c.add(path+".channel", strconv.Itoa(o.Channel), "", "use one of: 0, 1, 2, 3")
		}
		if other, used := taken[input{o.Chip, o.Channel}]; used {
			c.add(path+".channel", strconv.Itoa(o.Channel), "output "+other+" has this channel of chip "+o.Chip, "use another channel")
		}
		taken[input{o.Chip, o.Channel}] = o.Name
		if o.Highest <= 0 || o.Highest > 1000 {
			c.add(path+".highest", unit.Voltage.Format(o.Highest), "", "must be the highest voltage that the output can reach, above 0 V")
		}
		if o.Nominal <= 0 || o.Nominal > o.Highest {
			c.add(path+".nominal", unit.Voltage.Format(o.Nominal), "", "must be above 0 V and up to "+unit.Voltage.Format(o.Highest)+" (highest)")
		}
		c.divider(o, path+".divider")
	}
}

func chipNames(r *Rig) []string {
	names := make([]string, len(r.Chips))
	for i := range r.Chips {
		names[i] = r.Chips[i].Name
	}
	return names
}

// lines checks that every line can be found, that the board leaves it free, and that it is
// used once, however it is named.
func (c *checker) lines() {
	taken := map[string]string{}
	check := func(path string, l *line.Line) {
		switch {
		case l.LineName == "" && l.Number < 0:
			c.add(path+".line", "", "the line is not given", "give its number or its name")
			return
		case l.LineName == "" && l.Chip == "":
			c.add(path+".chip", "", "a line number needs its chip", "add it, for example chip: gpiochip0")
			return
		}
		where := c.place(path+".line", l)
		if other, used := taken[where]; used {
			c.add(path+".line", lineRead(l), other+" uses this line", "use another line")
		}
		taken[where] = path
	}
	for i := range c.rig.Chips {
		if l := c.rig.Chips[i].Ready; l != nil {
			check("chips."+c.rig.Chips[i].Name+".ready", l)
		}
	}
	for i := range c.rig.Contacts {
		check("contacts."+c.rig.Contacts[i].Name, &c.rig.Contacts[i])
	}
	for i := range c.rig.References {
		check("references."+c.rig.References[i].Name, &c.rig.References[i])
	}
	for i := range c.rig.Drives {
		check("drives."+c.rig.Drives[i].Name, &c.rig.Drives[i].Line)
	}
}

// lineRead is what stands in the file for a line.
func lineRead(l *line.Line) string {
	if l.LineName != "" {
		return l.LineName
	}
	return strconv.Itoa(l.Number)
}

// place returns one word for a line, the same for each way to write it. It adds problems of a
// line that a Raspberry Pi's header lacks, or that the board uses itself. A chip named
// otherwise than the header's is another one, and its lines are its own affair.
func (c *checker) place(path string, l *line.Line) string {
	if !header.OnHeader(l.Chip) {
		return strings.TrimPrefix(l.Chip, "/dev/") + " " + lineRead(l)
	}
	gpio, ok := l.Number, l.Number < header.Lines
	if l.LineName != "" {
		gpio, ok = header.Number(l.LineName)
		if _, numbered := header.Numbered(l.LineName); !ok && !numbered {
			return l.LineName // by its name alone: of another board
		}
	}
	last := header.Name(header.Lines - 1)
	switch taken := header.Taken(gpio); {
	case !ok:
		c.add(path, lineRead(l), "a Raspberry Pi's header has no such line", "use one of GPIO4 to "+last+"; on another board name the chip by its driver's label, as rig scan shows it")
	case taken != "":
		c.add(path, lineRead(l), "it is "+taken, "use one of GPIO4 to "+last)
	case header.Doubtful(gpio) != "":
		c.list = append(c.list, Problem{Path: path, Read: lineRead(l), Why: header.Doubtful(gpio), Remedy: "use another line, one of GPIO4 to GPIO13 and GPIO16 to " + last, Warning: true})
	}
	return header.Name(gpio)
}

func (c *checker) drives() {
	for i := range c.rig.Drives {
		if d := &c.rig.Drives[i]; d.LongestOn <= 0 {
			c.add("drives."+d.Name+".longest_on", d.LongestOn.String(), "", "must be above 0 s")
		}
	}
}

func (c *checker) causes() {
	taken := map[string]bool{}
	for i := range c.rig.Causes {
		k := &c.rig.Causes[i]
		path := "events." + k.Event
		if k.Unit != "" {
			path = "units." + k.Unit + ".events." + k.As
			c.ownCause(k, path)
		} else {
			c.sharedCause(k, path)
		}
		if err := CheckName(k.Named()); err != nil {
			c.addName(path, k.Named(), err.Error(), NameRule)
		}
		if taken[k.Event] {
			c.add(path, k.Named(), "this event is defined twice", "define it once")
		}
		taken[k.Event] = true
		if (k.Drive == "") == (k.Prompt == "") {
			c.add(path, "", "the event has neither a drive nor a prompt, or both", "give it either a drive or a prompt")
		}
		if k.Drive != "" && (k.Unit == "" || c.rig.Drive(k.Drive) != nil) {
			c.causeDrive(k, path)
		}
		if k.Reference != "" && k.Unit == "" && !slices.ContainsFunc(c.rig.References, func(l line.Line) bool { return l.Name == k.Reference }) {
			c.add(path+".reference", k.Reference, "there is no reference of this name", words.UseOneOf(k.Reference, lineNames(c.rig.References)))
		}
	}
}

func (c *checker) causeDrive(k *Cause, path string) {
	d := c.rig.Drive(k.Drive)
	switch {
	case d == nil:
		c.noDrive(path+".drive", k.Drive)
	case k.Pulse < 0 || k.Pulse > d.LongestOn:
		c.add(path+".pulse", unit.Time.Format(k.Pulse.Seconds()),
			"longer than drive "+d.Name+" may be on", "must be at most "+unit.Time.Format(d.LongestOn.Seconds())+" (longest_on)")
	case k.Pulse > 0 && k.Pulse < time.Millisecond:
		c.list = append(c.list, Problem{Path: path + ".pulse", Read: unit.Time.Format(k.Pulse.Seconds()),
			Why: "so short a pulse may be missed by the unit", Warning: true})
	}
}

// noDrive adds the problem of a drive that is not there.
func (c *checker) noDrive(path, name string) {
	names := make([]string, len(c.rig.Drives))
	for i := range c.rig.Drives {
		names[i] = c.rig.Drives[i].Name
	}
	c.add(path, name, "there is no drive of this name", words.UseOneOf(name, names))
}

func lineNames(lines []line.Line) []string {
	names := make([]string, len(lines))
	for i := range lines {
		names[i] = lines[i].Name
	}
	return names
}
