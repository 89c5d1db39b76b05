package rigfile

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"math"
	"slices"
	"strings"
	"time"

	"makebreak/rig/ads1x15"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/problem"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/rig/yamlfile"
)

//go:embed bench.yaml relay.yaml supply.yaml
var builtin embed.FS

// Builtin returns the simulated benches that need no file, the panel's first.
func Builtin() []*wiring.Rig { return slices.Collect(EachBuiltin()) }

// EachBuiltin reads them one by one: who has found the one that is looked for reads no more.
func EachBuiltin() iter.Seq[*wiring.Rig] {
	return func(yield func(*wiring.Rig) bool) {
		for _, name := range []string{"bench.yaml", "relay.yaml", "supply.yaml"} {
			src, err := builtin.ReadFile(name)
			if err != nil {
				panic(err) // the file is compiled in
			}
			r, err := Parse(name, src)
			if err != nil {
				panic(err) // a test reads every built-in file
			}
			if !yield(r) {
				return
			}
		}
	}
}

// Load reads a rig: a built-in name first, then a file. Waiting for a pipe ends with the
// context.
func Load(ctx context.Context, nameOrPath string) (*wiring.Rig, error) {
	rig, _, err := LoadSource(ctx, nameOrPath)
	return rig, err
}

// LoadSource is Load, and returns the file's text as well, of a built-in rig none. A pipe can
// be read only once.
func LoadSource(ctx context.Context, nameOrPath string) (*wiring.Rig, []byte, error) {
	var names []string
	for r := range EachBuiltin() {
		if r.Name == nameOrPath {
			return r, nil, nil
		}
		names = append(names, r.Name)
	}
	src, err := yamlfile.ReadFile(ctx, nameOrPath)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, problem.Of(problem.Input, problem.Instead(fs.ErrNotExist, "rig "+words.Safe(nameOrPath)+": there is no such file; built in are "+words.And(names)))
	}
	if err != nil {
		return nil, nil, problem.Reading(fmt.Errorf("rig: %w", err))
	}
	rig, err := Parse(nameOrPath, src)
	return rig, src, err
}

// Parse reads a rig file and checks it. The error is one or more *yamlfile.Error,
// joined. What Check calls a warning is no error here.
func Parse(file string, src []byte) (*wiring.Rig, error) {
	doc, err := yamlfile.Parse(file, src)
	if err != nil {
		return nil, err
	}
	if doc.Root.Has("steps") && !doc.Root.Has("chips") {
		doc.Root.Fail("this is a sequence, not a rig file", "give a rig file by --rig, and the sequence without an option")
		return nil, doc.Err()
	}
	r := readRig(doc.Root)
	for _, p := range r.Check() {
		p.Path = written(doc.Root, p.Path)
		switch {
		case p.Warning:
		case p.Key:
			doc.ReportKey(p.Path, p.Read, p.Why, p.Remedy)
		case !doc.Refused(p.Path):
			doc.Report(p.Path, p.Read, p.Why, p.Remedy)
		}
	}
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return r, nil
}

func readRig(root *yamlfile.Node) *wiring.Rig {
	r := &wiring.Rig{BusHz: wiring.FastestBusHz}
	f, ok := root.Fields("must be the keys of a rig, as in name: bench-1")
	if !ok {
		return r
	}
	name := f.Need("name", "bench-1")
	if s, ok := name.Text(); ok && words.NameFault(s) != "" {
		name.Refuse(words.NameFault(s), "")
	} else {
		r.Name = s
	}
	r.About, _ = f.May("about").Text()
	r.Bus, _ = f.Need("bus", `"1"`).Text()
	if r.Bus == "simulated" {
		r.Simulated, r.Bus = true, ""
	}
	readBusSpeed(f.May("bus_speed"), r)
	for _, e := range f.Need("chips", "{A: {model: ADS1115, address: 0x48, supply: 3.3 V}}").Entries("must be converters by name, as in A: {model: ADS1115, address: 0x48, supply: 3.3 V}") {
		r.Chips = append(r.Chips, readChip(e))
	}
	for _, e := range f.Need("outputs", "{OUT1: {chip: A, channel: 0, divider: none}}").Entries("must be outputs by name, as in OUT1: {chip: A, channel: 0, divider: none}") {
		r.Outputs = append(r.Outputs, readOutput(e))
	}
	for _, e := range f.May("contacts").Entries("must be lines by name, as in K1_NO: {chip: gpiochip0, line: 22}") {
		r.Contacts = append(r.Contacts, readLine(e, line.Line{ActiveLow: true, Pull: line.PullUp}))
	}
	for _, e := range f.May("references").Entries("must be lines by name, as in K1_NO: {chip: gpiochip0, line: 22}") {
		r.References = append(r.References, readLine(e, line.Line{Pull: line.PullNone}))
	}
	for _, e := range f.May("drives").Entries("must be lines by name, as in K1_NO: {chip: gpiochip0, line: 22}") {
		r.Drives = append(r.Drives, readDrive(e))
	}
	for _, e := range f.May("events").Entries("must be events by name, as in arm-away: {drive: KEY, pulse: 300 ms}") {
		r.Causes = append(r.Causes, readCause(e))
	}
	r.Supply = readSupply(f.May("supply"))
	if w, ok := f.May("overdue_calibrations").Word(string(capture.OverdueUndecided), string(capture.OverdueJudged)); ok {
		r.Overdue = capture.OverdueRule(w)
	}
	readFields(f.May("fields"), r)
	own := readUnits(f.May("units"), r)
	readShared(f.May("shared"), r)
	if len(r.Units) > 0 {
		r.Causes = spread(root, r, own)
	}
	f.Done()
	return r
}

// readFields reads what the workshop wants noted with each run.
func readFields(n *yamlfile.Node, r *wiring.Rig) {
	all := n.Entries("must be names, as in job: required")
	if len(all) > wiring.MostFields {
		n.Fail(fmt.Sprintf("%d fields are named", len(all)), fmt.Sprintf("name at most %d", wiring.MostFields))
		return
	}
	for _, e := range all {
		name := strings.TrimSpace(e.Name())
		if fault := wiring.FieldFault(name); fault != "" {
			e.Key.Refuse(fault, "")
			continue
		}
		if slices.ContainsFunc(r.Fields, func(o wiring.Field) bool { return strings.EqualFold(o.Name, name) }) {
			e.Key.Refuse("it is named already, but for capitals", "")
			continue
		}
		if w, ok := e.Value.Word("ask", "required"); ok {
			r.Fields = append(r.Fields, wiring.Field{Name: name, Required: w == "required"})
		}
	}
}

// slowestBusHz is the lowest bus_speed in hertz.
const slowestBusHz = 10_000

func readBusSpeed(n *yamlfile.Node, r *wiring.Rig) {
	v, ok := n.Quantity(unit.Frequency)
	if !ok {
		return
	}
	if v < slowestBusHz || v > wiring.FastestBusHz || v != math.Trunc(v) {
		n.Refuse("", fmt.Sprintf("must be from %s to %s", unit.Frequency.Format(slowestBusHz), unit.Frequency.Format(wiring.FastestBusHz)))
		return
	}
	r.BusHz = int(v)
}

func readChip(e yamlfile.Entry) wiring.Chip {
	c := wiring.Chip{Name: e.Name(), Range: 4.096, Mode: wiring.Sweep}
	f, ok := e.Value.Fields("must be a converter, as in {model: ADS1115, address: 0x48, supply: 3.3 V}")
	if !ok {
		return c
	}
	model, _ := f.Need("model", "ADS1115").Word(string(ads1x15.ADS1115), string(ads1x15.ADS1015))
	c.Model = ads1x15.Model(model)
	address, _ := f.Need("address", "0x48").Whole(0, 0x7f)
	c.Address = uint16(address)
	if v, ok := f.May("range").Quantity(unit.Voltage); ok {
		c.Range = v
	}
	c.Rate = c.Model.Fastest()
	if n := f.May("rate"); n != nil {
		v, ok := n.Quantity(unit.Frequency)
		if ok && v != math.Trunc(v) || v > 1e6 {
			v = -1 // no rate of any model: Check refuses it
		}
		c.Rate = int(v)
	}
	c.Supply, _ = f.Need("supply", "3.3 V").Quantity(unit.Voltage)
	if w, ok := f.May("sample").Word(string(wiring.Sweep), string(wiring.Follow)); ok {
		c.Mode = wiring.Mode(w)
	}
	if n := f.May("ready"); n != nil {
		// The pin is an open drain that the converter pulls low (SBAS444, 8.3.8).
		l := line.Line{Name: c.Name + " ready", ActiveLow: true, Pull: line.PullUp}
		readLineInto(n, &l, true)
		c.Ready = &l
	}
	f.Done()
	return c
}

func readOutput(e yamlfile.Entry) wiring.Output {
	o := wiring.Output{Name: e.Name(), Highest: wiring.DefaultHighest, Nominal: wiring.DefaultNominal}
	f, ok := e.Value.Fields("must be an output, as in {chip: A, channel: 0, divider: {upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}}")
	if !ok {
		return o
	}
	o.Chip, _ = f.Need("chip", "A").Text()
	channel, _ := f.Need("channel", "0").Whole(0, 3)
	o.Channel = int(channel)
	readDivider(f.Need("divider", "{upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}"), &o)
	if v, ok := f.May("highest").Quantity(unit.Voltage); ok {
		o.Highest, o.Nominal = v, min(o.Nominal, v)
	}
	if v, ok := f.May("nominal").Quantity(unit.Voltage); ok {
		o.Nominal = v
	}
	if v, ok := f.May("protected").Bool(); ok {
		o.Divider.Protected = v
	}
	f.Done()
	return o
}

const dividerRule = "must be resistors, as in {upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}, or none where the output goes straight to the converter"

func readDivider(n *yamlfile.Node, o *wiring.Output) {
	if n.IsText() {
		if w, _ := n.Text(); w != "none" {
			n.Refuse("", dividerRule)
		}
		return
	}
	f, ok := n.Fields(dividerRule)
	if !ok {
		return
	}
	o.Divider.Upper, _ = f.Need("upper", "39 kohm").Quantity(unit.Resistance)
	o.Divider.Lower, _ = f.Need("lower", "10 kohm").Quantity(unit.Resistance)
	o.Divider.Tolerance, _ = f.Need("tolerance", "1 %").Quantity(unit.Share)
	f.Done()
}

func readLine(e yamlfile.Entry, l line.Line) line.Line {
	l.Name = e.Name()
	readLineInto(e.Value, &l, true)
	return l
}

const lineRule = "must be a line, as in {chip: gpiochip0, line: 22}"

func readLineInto(n *yamlfile.Node, l *line.Line, input bool) {
	if f, ok := n.Fields(lineRule); ok {
		readLineFields(f, l, input)
		f.Done()
	}
}

// readLineFields reads the keys that every line has. Only a line that is read has a
// bias.
func readLineFields(f *yamlfile.Fields, l *line.Line, input bool) {
	l.Number = -1
	l.Chip, _ = f.May("chip").Text()
	n := f.Need("line", "GPIO22")
	if s, ok := n.Text(); ok {
		if s[0] >= '0' && s[0] <= '9' {
			number, ok := n.Whole(0, 65535)
			if l.Number = int(number); !ok {
				l.Number = 0
			}
		} else {
			l.LineName = s
		}
	}
	if input {
		if w, ok := f.May("pull").Word(string(line.PullUp), string(line.PullDown), string(line.PullNone)); ok {
			l.Pull = line.Pull(w)
		}
	} else {
		l.Pull = line.PullNone
	}
	if w, ok := f.May("active").Word("high", "low"); ok {
		l.ActiveLow = w == "low"
	}
}

func readDrive(e yamlfile.Entry) wiring.Drive {
	d := wiring.Drive{Line: line.Line{Name: e.Name()}}
	f, ok := e.Value.Fields("must be a drive, as in {chip: gpiochip0, line: 5, longest_on: 5 s}")
	if !ok {
		return d
	}
	readLineFields(f, &d.Line, false)
	d.LongestOn = readTime(f.Need("longest_on", "5 s"))
	d.Coil, _ = f.May("coil").Bool()
	f.Done()
	return d
}

// readTime reads a time above zero and up to a week.
func readTime(n *yamlfile.Node) time.Duration {
	v, ok := n.Quantity(unit.Time)
	if !ok {
		return 0
	}
	if v < 1e-6 || v > 7*24*3600 {
		n.Refuse("", "must be from 1 µs to 168 h")
		return 0
	}
	return time.Duration(math.Round(v * 1e9))
}

func readCause(e yamlfile.Entry) wiring.Cause {
	c := wiring.Cause{Event: e.Name()}
	f, ok := e.Value.Fields("must be what causes the event, as in {drive: KEY, pulse: 300 ms} or {prompt: Arm the panel.}")
	if !ok {
		return c
	}
	c.Drive, _ = f.May("drive").Text()
	pulse, set := f.May("pulse"), f.May("set")
	prompt := f.May("prompt")
	c.Pulse = readTime(pulse)
	w, _ := set.Word("on", "off")
	c.On = w == "on"
	c.Prompt, _ = prompt.Text()
	c.Reference, _ = f.May("reference").Text()
	switch {
	case f.Has("drive") == f.Has("prompt"):
		e.Value.Refuse("an event has either a drive or a prompt", "use one of: {drive: …, pulse: …}, {drive: …, set: on}, {prompt: …}")
	case f.Has("drive") && f.Has("pulse") == f.Has("set"):
		e.Value.Refuse("a drive is either pulsed or set", "use one of: {drive: …, pulse: 300 ms}, {drive: …, set: on}, {drive: …, set: off}")
	case f.Has("prompt") && f.Has("pulse"):
		pulse.Refuse("a prompt has no pulse", "leave it out")
	case f.Has("prompt") && f.Has("set"):
		set.Refuse("a prompt sets no drive", "leave it out")
	}
	f.Done()
	return c
}
