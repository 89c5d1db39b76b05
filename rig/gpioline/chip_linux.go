package gpioline

import (
	"errors"
	"fmt"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"

	"golang.org/x/sys/unix"
	"periph.io/x/host/v3/gpioioctl"

	"makebreak/rig/board"
	"makebreak/rig/header"
	"makebreak/rig/line"
	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// chip is an open GPIO chip.
type chip struct {
	fd    int
	path  string   // the node by which it was opened
	nodes []string // all its nodes
	name  string
	label string
	lines int
}

func openChip(path string) (*chip, error) {
	fd, err := unix.Open(path, unix.O_RDWR|unix.O_CLOEXEC, 0)
	if err != nil {
		return nil, fmt.Errorf("%s: %s%w", path, openAdvice(path, err), err)
	}
	var info chipInfo
	if err := ioctl(fd, getChipInfo, &info); err != nil {
		unix.Close(fd)
		if errors.Is(err, unix.ENOTTY) {
			return nil, fmt.Errorf("%s is not a GPIO chip: %w", path, err)
		}
		return nil, fmt.Errorf("%s: %s%w", path, removedAdvice(err), err)
	}
	return &chip{fd: fd, path: path, nodes: []string{path}, name: text(info.name), label: text(info.label), lines: int(info.lines)}, nil
}

func (c *chip) close() { unix.Close(c.fd) }

func (c *chip) info(offset int) (LineInfo, error) {
	in := lineInfo{offset: uint32(offset)}
	if err := ioctl(c.fd, getLineInfo, &in); err != nil {
		if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOTTY) {
			return LineInfo{}, fmt.Errorf("%s line %d: the kernel knows no GPIO interface version 2 (5.10 or later is needed): %w", c.name, offset, err)
		}
		return LineInfo{}, fmt.Errorf("%s line %d: %s%w", c.name, offset, removedAdvice(err), err)
	}
	return in.info(), nil
}

func (c *chip) infos() ([]LineInfo, error) {
	all := make([]LineInfo, 0, c.lines)
	for i := range c.lines {
		in, err := c.info(i)
		if err != nil {
			return all, err
		}
		all = append(all, in)
	}
	return all, nil
}

// openAdvice says in plain words what to do about a chip that cannot be
// opened; it ends so that the cause can follow.
func openAdvice(path string, err error) string {
	switch {
	case errors.Is(err, unix.EACCES), errors.Is(err, unix.EPERM):
		return "this user may not open it; " + groupAdvice(path) + ": "
	case errors.Is(err, unix.ENOENT), errors.Is(err, unix.ENXIO):
		return "there is no such chip: "
	}
	return removedAdvice(err)
}

// groupAdvice says which group may open the node.
func groupAdvice(path string) string {
	var st unix.Stat_t
	if err := unix.Stat(path, &st); err != nil || st.Mode&0o060 != 0o060 || st.Gid == 0 {
		return "a udev rule must give its node to the group gpio, and the user must be in that group"
	}
	group := strconv.Itoa(int(st.Gid))
	if g, err := user.LookupGroupId(group); err == nil {
		group = g.Name
	}
	return fmt.Sprintf("put the user into the group %s (usermod -aG %s USER) and log in again", group, group)
}

func removedAdvice(err error) string {
	if errors.Is(err, unix.ENODEV) {
		return "the chip has gone (unplugged, or its driver was removed): "
	}
	return ""
}

// reachable opens every chip that the board has, each once: those that periph
// found, then those that came since. For chips that cannot be opened it returns
// why.
func reachable() ([]*chip, error) {
	if err := board.Init(); err != nil {
		return nil, err
	}
	var paths []string
	for _, c := range gpioioctl.Chips {
		paths = append(paths, c.Path())
	}
	nodes, err := filepath.Glob("/dev/gpiochip*")
	if err != nil {
		return nil, err
	}
	for _, n := range nodes {
		if !slices.Contains(paths, n) {
			paths = append(paths, n)
		}
	}
	var chips []*chip
	var failed []error
	for _, p := range paths {
		c, err := openChip(p)
		if errors.Is(err, unix.ENOENT) {
			continue // gone since
		}
		if err != nil {
			failed = append(failed, err)
			continue
		}
		chips = addChip(chips, c)
	}
	return chips, errors.Join(failed...)
}

// addChip adds a chip, or another node to a chip that is there already.
func addChip(chips []*chip, c *chip) []*chip {
	for _, known := range chips {
		if known.name == c.name {
			known.nodes = append(known.nodes, c.path)
			c.close()
			return chips
		}
	}
	return append(chips, c)
}

// match returns the chips that a rig file's name for a chip can mean: a
// kernel name, a node or a driver's label; all for an empty name.
func match(chips []*chip, word string) []*chip {
	if word == "" {
		return chips
	}
	var byName, byLabel []*chip
	for _, c := range chips {
		if c.name == word || slices.Contains(c.nodes, word) || slices.Contains(c.nodes, "/dev/"+word) {
			byName = append(byName, c)
		}
		if c.label == word {
			byLabel = append(byLabel, c)
		}
	}
	if len(byName) > 0 {
		return byName
	}
	return byLabel
}

// mostNamed is how many chips or lines an error names.
const mostNamed = 10

// noChip says what exists instead of the chip, or why nothing can be seen.
func noChip(word string, chips []*chip, closed error) error {
	what := "no GPIO chip found"
	if word != "" {
		what = fmt.Sprintf("no GPIO chip %q", word)
	}
	switch {
	case closed != nil:
		return fmt.Errorf("%s among those that can be opened; %w", what, closed)
	case len(chips) > 0:
		return fmt.Errorf("%s; there is %s: %w", what, words.First(descriptions(chips), mostNamed), unix.ENOENT)
	}
	return fmt.Errorf("%s: there is no /dev/gpiochip*; check that the board has GPIO lines and the kernel the GPIO character device: %w", what, unix.ENOENT)
}

func descriptions(chips []*chip) []string {
	var out []string
	for _, c := range chips {
		out = append(out, fmt.Sprintf("%s (%s, %d lines)", c.name, c.label, c.lines))
	}
	return out
}

// Inventory lists the GPIO chips and their lines. Chips that cannot be opened
// are told of in the error; what could be read is returned beside it.
func Inventory() ([]ChipInfo, error) {
	chips, err := reachable()
	failed := []error{err}
	var out []ChipInfo
	for _, c := range chips {
		lines, err := c.infos()
		failed = append(failed, err)
		out = append(out, ChipInfo{Name: c.name, Path: c.path, Label: c.label, Lines: lines})
		c.close()
	}
	if err := errors.Join(failed...); err != nil {
		return out, problem.Of(problem.Rig, err)
	}
	return out, nil
}

// Find returns the device node of the line's chip and the line's number on it.
// The chip may be given by its kernel name ("gpiochip0"), its node
// ("/dev/gpiochip0") or its driver's label ("pinctrl-bcm2711"), and may be left
// out where the line's name is the only one of its kind or the board has one
// chip only.
func Find(l line.Line) (chipPath string, offset int, err error) {
	at, err := find(l)
	if err != nil {
		return "", 0, fail(lineTitle(l), "", err)
	}
	defer at.chip.close()
	return at.chip.path, at.offset, nil
}

// place is where a line was found.
type place struct {
	chip   *chip // open
	offset int
}

func find(l line.Line) (place, error) {
	all, closed := reachable()
	chips := match(all, l.Chip)
	if len(chips) == 0 {
		defer closeAll(all, nil)
		return place{}, noChip(l.Chip, all, closed)
	}
	at, err := findOn(chips, l)
	closeAll(all, at.chip)
	return at, err
}

// closeAll closes the chips but one.
func closeAll(chips []*chip, but *chip) {
	for _, c := range chips {
		if c != but {
			c.close()
		}
	}
}

func findOn(chips []*chip, l line.Line) (place, error) {
	if l.LineName != "" {
		return findName(chips, l.LineName)
	}
	if len(chips) > 1 {
		return place{}, fmt.Errorf("line %d could be on any of %s: the chip must be named: %w", l.Number, words.First(descriptions(chips), mostNamed), unix.EINVAL)
	}
	c := chips[0]
	if l.Number < 0 || l.Number >= c.lines {
		return place{}, fmt.Errorf("%s has the lines 0 to %d, not %d: %w", c.name, c.lines-1, l.Number, unix.EINVAL)
	}
	return place{c, l.Number}, nil
}

// named is a chip with what the kernel says of its lines.
type named struct {
	chip  *chip
	lines []LineInfo
}

func findName(chips []*chip, name string) (place, error) {
	var all []named
	for _, c := range chips {
		lines, err := c.infos()
		if err != nil {
			return place{}, err
		}
		all = append(all, named{c, lines})
	}
	return placeOf(all, name)
}

// placeOf returns the line that has the name. Where none has it and the name is that of a line
// of a Raspberry Pi's header, it is the line with that number of the header's chip: kernels
// name some of these lines differently, and number all of them alike.
func placeOf(all []named, name string) (place, error) {
	found := placesWhere(all, func(_ *chip, in LineInfo) bool { return in.Name == name })
	if gpio, ok := header.Number(name); ok && len(found) == 0 {
		found = placesWhere(all, func(c *chip, in LineInfo) bool { return header.Controller(c.label) && in.Offset == gpio })
	}
	switch len(found) {
	case 0:
		return place{}, noName(name, all)
	case 1:
		return found[0], nil
	}
	var where []string
	for _, f := range found {
		where = append(where, fmt.Sprintf("%s line %d", f.chip.name, f.offset))
	}
	return place{}, fmt.Errorf("the name %q is there more than once (%s): chip and number must be given: %w", name, words.First(where, mostNamed), unix.EINVAL)
}

func placesWhere(all []named, is func(*chip, LineInfo) bool) (found []place) {
	for _, n := range all {
		for _, in := range n.lines {
			if is(n.chip, in) {
				found = append(found, place{n.chip, in.Offset})
			}
		}
	}
	return found
}

func noName(name string, all []named) error {
	var names []string
	var chips []*chip
	for _, n := range all {
		chips = append(chips, n.chip)
		for _, in := range n.lines {
			if in.Name != "" {
				names = append(names, in.Name)
			}
		}
	}
	hint := "none of its lines has a name"
	if near := words.Nearest(name, names); len(near) > 0 {
		hint = "near it are " + words.List(near[:min(len(near), 5)])
	} else if len(names) > 0 {
		hint = "its named lines are " + words.First(names, mostNamed)
	}
	return fmt.Errorf("no line named %q on %s; %s: %w", name, words.First(descriptions(chips), mostNamed), hint, unix.ENOENT)
}

// lineTitle names a line for a message, by its name in the rig file where it has one.
func lineTitle(l line.Line) string {
	if l.Name != "" {
		return l.Name
	}
	if l.LineName != "" {
		return l.LineName
	}
	return fmt.Sprintf("%s line %d", l.Chip, l.Number)
}
