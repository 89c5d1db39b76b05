package i2cbus

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unsafe"

	"golang.org/x/sys/unix"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2creg"
	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"
)

// As a C compiler lays out struct i2c_msg and struct i2c_rdwr_ioctl_data of
// Linux's include/uapi/linux/i2c.h and i2c-dev.h, with pointers of 8 and of 4
// bytes.
func TestLayout(t *testing.T) {
	const pointer = unsafe.Sizeof(uintptr(0))
	if got, want := unsafe.Offsetof(message{}.data), uintptr(8); got != want {
		t.Errorf("i2c_msg.buf at %d, want %d", got, want)
	}
	if got, want := unsafe.Sizeof(message{}), 8+pointer; got != want {
		t.Errorf("i2c_msg: %d bytes, want %d", got, want)
	}
	if got, want := unsafe.Offsetof(transfer{}.count), pointer; got != want {
		t.Errorf("nmsgs at %d, want %d", got, want)
	}
}

func TestNodeOf(t *testing.T) {
	for name, want := range map[string]string{
		"1": "/dev/i2c-1", "I2C1": "/dev/i2c-1", "/dev/i2c-12": "/dev/i2c-12",
		"": "", "I2C": "", "i2c": "", "-1": "", "/dev/null": "", "/dev/i2c-../null": "", "99999999": "",
	} {
		if got := nodeOf(name); got != want {
			t.Errorf("%q: %q, want %q", name, got, want)
		}
	}
}

func TestOpenBus_NoSuchBus(t *testing.T) {
	if nodes, _ := filepath.Glob(nodePrefix + "*"); len(nodes) > 0 {
		t.Skip("this machine has I²C buses; the kernel bench checks the messages with buses")
	}
	_, err := OpenBus("1")
	if !errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), "i2c-dev") {
		t.Errorf("%v", err)
	}
	// A bus that is no device node is opened by whoever registered it, and is
	// named where another is asked for.
	play := &i2ctest.Playback{Ops: []i2ctest.IO{{Addr: 0x48, W: []byte{1}, R: []byte{0x85, 0x83}}}}
	if err := i2creg.Register("adapter", []string{"A"}, -1, func() (i2c.BusCloser, error) { return play, nil }); err != nil {
		t.Fatal(err)
	}
	defer i2creg.Unregister("adapter")
	bus, err := OpenBus("A")
	if err != nil {
		t.Fatal(err)
	}
	got := make([]byte, 2)
	if err := bus.Tx(0x48, []byte{1}, got); err != nil || got[0] != 0x85 || got[1] != 0x83 {
		t.Errorf("read % x, %v", got, err)
	}
	if err := bus.Close(); err != nil {
		t.Error(err)
	}
	if _, err := OpenBus("7"); !errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), "adapter") {
		t.Errorf("%v", err)
	}
}

func TestOpenNode_NotABus(t *testing.T) {
	if _, err := openNode("/dev/null"); !errors.Is(err, unix.ENOTTY) || !strings.Contains(err.Error(), "not an I²C bus") {
		t.Errorf("%v", err)
	}
	missing := filepath.Join(t.TempDir(), "i2c-1")
	if _, err := openNode(missing); !errors.Is(err, unix.ENOENT) {
		t.Errorf("%v", err)
	}
}

func TestOpenAdvice(t *testing.T) {
	node := filepath.Join(t.TempDir(), "i2c-1")
	if err := os.WriteFile(node, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if got := openAdvice(node, unix.EACCES); !strings.Contains(got, "usermod -aG i2c USER") {
		t.Errorf("%s", got)
	}
	if got := openAdvice(node, unix.ENXIO); !strings.Contains(got, "unplugged") {
		t.Errorf("%s", got)
	}
}

func TestBus_Tx_Refused(t *testing.T) {
	null, err := unix.Open("/dev/null", unix.O_RDWR|unix.O_CLOEXEC, 0)
	if err != nil {
		t.Fatal(err)
	}
	b := &Bus{node: "/dev/i2c-1", fd: null}
	for _, c := range []struct {
		name string
		addr uint16
		w, r []byte
		want string
	}{
		{"address beyond 7 bits", 0x80, []byte{1}, nil, "0x7f"},
		{"too long", 0x48, make([]byte, longestMsg+1), nil, "8193"},
		{"not a bus", 0x48, []byte{1}, make([]byte, 2), "/dev/i2c-1, address 0x48"},
	} {
		if err := b.Tx(c.addr, c.w, c.r); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
	if err := b.Tx(0x48, nil, nil); err != nil {
		t.Errorf("nothing to do: %v", err)
	}
	if err := b.SetSpeed(400 * physic.KiloHertz); !errors.Is(err, errors.ErrUnsupported) || !strings.Contains(err.Error(), "i2c_arm_baudrate=400000") {
		t.Errorf("%v", err)
	}
	for range 2 {
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	}
	if err := b.Tx(0x48, []byte{1}, nil); !errors.Is(err, unix.EBADF) {
		t.Errorf("after Close: %v", err)
	}
}

func TestTransferAdvice(t *testing.T) {
	for errno, want := range map[error]string{
		unix.ENXIO: "no chip answers", unix.EREMOTEIO: "no chip answers", unix.ETIMEDOUT: "bus is held",
		unix.EAGAIN: "another master", unix.ENODEV: "gone",
	} {
		if got := transferAdvice(errno); !strings.Contains(got, want) {
			t.Errorf("%v: %q, want %q", errno, got, want)
		}
	}
}
