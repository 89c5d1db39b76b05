package i2cbus

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2creg"

	"makebreak/rig/problem"
)

// nodePrefix is what the nodes of Linux's I²C buses begin with.
const nodePrefix = "/dev/i2c-"

// OpenBus opens the bus with the name: a number ("1"), periph's name for it
// ("I2C1") or its device node ("/dev/i2c-1"). The error says which buses there
// are, and keeps the errno where the kernel gave one. The bus may be used from
// several goroutines.
func OpenBus(name string) (i2c.BusCloser, error) {
	bus, err := open(name)
	if err != nil {
		return nil, fail(fmt.Sprintf("bus %q", name), err)
	}
	return bus, nil
}

func open(name string) (i2c.BusCloser, error) {
	for _, r := range i2creg.All() {
		if !answersTo(r, name) {
			continue
		}
		if strings.HasPrefix(r.Name, nodePrefix) {
			return openNode(r.Name)
		}
		return r.Open() // a bus that is no device node, on an adapter of its own
	}
	if node := nodeOf(name); node != "" {
		if _, err := os.Stat(node); !errors.Is(err, fs.ErrNotExist) {
			return openNode(node)
		}
	}
	return nil, noBus()
}

// answersTo reports whether the bus is meant by the name.
func answersTo(r *i2creg.Ref, name string) bool {
	if r.Name == name || (r.Number >= 0 && strconv.Itoa(r.Number) == name) {
		return true
	}
	for _, a := range r.Aliases {
		if a == name {
			return true
		}
	}
	return false
}

// nodeOf returns the device node of a bus named by number, by periph's name or
// by node; nothing for other names.
func nodeOf(name string) string {
	number := strings.TrimPrefix(strings.TrimPrefix(name, nodePrefix), "I2C")
	if _, err := strconv.ParseUint(number, 10, 16); err != nil {
		return ""
	}
	return nodePrefix + number
}

// Names returns the names of the buses that there are, as OpenBus takes them:
// the kernel's by number, then those that others have registered with periph.
func Names() ([]string, error) {
	nodes, err := filepath.Glob(nodePrefix + "*")
	if err != nil {
		return nil, fail("", err)
	}
	slices.SortFunc(nodes, func(a, b string) int {
		return cmp.Or(cmp.Compare(len(a), len(b)), cmp.Compare(a, b))
	})
	for _, r := range i2creg.All() {
		if !slices.Contains(nodes, r.Name) {
			nodes = append(nodes, r.Name)
		}
	}
	return nodes, nil
}

// noBus says what there is instead of the bus asked for.
func noBus() error {
	names, err := Names()
	if err != nil {
		return err
	}
	if len(names) == 0 {
		return problem.Instead(fs.ErrNotExist, "there is no I²C bus: switch it on (on a Raspberry Pi: dtparam=i2c_arm=on in config.txt, then restart) and load the module i2c-dev")
	}
	return problem.Instead(fs.ErrNotExist, "there is no such bus; there is "+strings.Join(names, ", "))
}

// fail returns an error of the rig; place may be empty.
func fail(place string, err error) error {
	return &problem.Error{Kind: problem.Rig, Place: place, Err: err}
}
