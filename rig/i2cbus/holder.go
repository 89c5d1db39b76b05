package i2cbus

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// Holder returns the kernel's driver that holds the chip at an address of the bus; empty:
// none does. Transfers from here would come in between that driver's own.
func Holder(bus fmt.Stringer, addr uint16) string {
	return holder("/sys/bus/i2c/devices", bus.String(), addr)
}

func holder(devices, node string, addr uint16) string {
	number, isNode := strings.CutPrefix(node, nodePrefix)
	if !isNode {
		return ""
	}
	driver, err := os.Readlink(filepath.Join(devices, fmt.Sprintf("%s-%04x", number, addr), "driver"))
	if err != nil {
		return ""
	}
	return filepath.Base(driver)
}
