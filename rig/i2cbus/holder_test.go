package i2cbus

import (
	"os"
	"path/filepath"
	"testing"
)

// As the kernel names its chips: bus, dash, address with four hexadecimal digits
// (Documentation/i2c/i2c-sysfs.rst).
func TestHolder(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"1-0048", "1-0060"} {
		if err := os.Mkdir(filepath.Join(dir, name), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink("../../../bus/i2c/drivers/ads1015", filepath.Join(dir, "1-0048", "driver")); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		node string
		addr uint16
		want string
	}{
		{"/dev/i2c-1", 0x48, "ads1015"}, // bound
		{"/dev/i2c-1", 0x60, ""},        // known, without a driver
		{"/dev/i2c-1", 0x49, ""},
		{"/dev/i2c-11", 0x48, ""},
		{"adapter", 0x48, ""},
	} {
		if got := holder(dir, c.node, c.addr); got != c.want {
			t.Errorf("%s, %#02x: %q, want %q", c.node, c.addr, got, c.want)
		}
	}
}
