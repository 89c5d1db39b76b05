package i2cbus

import (
	"errors"
	"fmt"
	"os"
	"os/user"
	"strconv"
	"sync"
	"unsafe"

	"golang.org/x/sys/unix"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"makebreak/rig/problem"
)

// Numbers of include/uapi/linux/i2c-dev.h and i2c.h.
const (
	ioctlFuncs      = 0x0705 // I2C_FUNCS
	ioctlRdwr       = 0x0707 // I2C_RDWR
	ioctlSlaveForce = 0x0706 // I2C_SLAVE_FORCE
	funcI2C         = 0x0001 // I2C_FUNC_I2C
	flagRead        = 0x0001 // I2C_M_RD
	longestMsg      = 8192   // what i2c-dev takes in one message
)

// message is struct i2c_msg.
type message struct {
	addr, flags, length uint16
	data                *byte
}

// transfer is struct i2c_rdwr_ioctl_data.
type transfer struct {
	msgs  *message
	count uint32
}

// Bus is an I²C bus of the kernel.
type Bus struct {
	node string

	mu   sync.Mutex
	fd   int // -1 once closed
	msgs [2]message
	job  transfer
}

var _ i2c.BusCloser = (*Bus)(nil)

func openNode(node string) (i2c.BusCloser, error) {
	fd, err := unix.Open(node, unix.O_RDWR|unix.O_CLOEXEC, 0)
	if err != nil {
		return nil, fmt.Errorf("%s%w", openAdvice(node, err), err)
	}
	var funcs uintptr // unsigned long
	if err := ioctl(fd, ioctlFuncs, unsafe.Pointer(&funcs)); err != nil {
		unix.Close(fd)
		return nil, fmt.Errorf("%s is not an I²C bus: %w", node, err)
	}
	if funcs&funcI2C == 0 {
		unix.Close(fd)
		return nil, fmt.Errorf("%s does SMBus commands only, no plain I²C transfers; the converters need another bus: %w", node, unix.EOPNOTSUPP)
	}
	return &Bus{node: node, fd: fd}, nil
}

// OpenAddress opens a bus for writing alone, to the chip at one address. What is written to
// the descriptor goes to that chip, whoever holds it.
func OpenAddress(name string, address uint16) (*os.File, error) {
	bus, err := OpenBus(name)
	if err != nil {
		return nil, err
	}
	defer bus.Close()
	f, err := os.OpenFile(bus.String(), os.O_RDWR, 0)
	if err != nil {
		return nil, err
	}
	// Forced, as a transfer of Bus is: a driver of the kernel's may have the address.
	if _, _, errno := unix.Syscall(unix.SYS_IOCTL, f.Fd(), ioctlSlaveForce, uintptr(address)); errno != 0 {
		return nil, errors.Join(fail(fmt.Sprintf("%s, address %#02x", bus, address), errno), f.Close())
	}
	return f, nil
}

// openAdvice says in plain words what to do about a node that cannot be
// opened.
func openAdvice(node string, err error) string {
	switch {
	case errors.Is(err, unix.EACCES), errors.Is(err, unix.EPERM):
		group := nodeGroup(node)
		return fmt.Sprintf("this user may not open %s; put the user into the group %s (usermod -aG %s USER) and log in again: ", node, group, group)
	case errors.Is(err, unix.ENXIO), errors.Is(err, unix.ENODEV):
		return node + " has no bus behind it; was its adapter unplugged?: "
	}
	return node + ": "
}

// nodeGroup returns the group that may open the node, i2c where there is no
// telling.
func nodeGroup(node string) string {
	var st unix.Stat_t
	if err := unix.Stat(node, &st); err != nil || st.Mode&0o060 != 0o060 || st.Gid == 0 {
		return "i2c"
	}
	id := strconv.FormatUint(uint64(st.Gid), 10)
	if g, err := user.LookupGroupId(id); err == nil {
		return g.Name
	}
	return id
}

// ioctl calls the kernel, again when a signal came in between.
func ioctl(fd int, number uintptr, arg unsafe.Pointer) error {
	for {
		_, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), number, uintptr(arg))
		switch errno {
		case 0:
			return nil
		case unix.EINTR:
		default:
			return errno
		}
	}
}

// String returns the bus's device node.
func (b *Bus) String() string { return b.node }

// Tx writes w to the chip at the 7 bit address, then reads r from it, in one
// transfer without a stop in between. Either may be empty.
func (b *Bus) Tx(addr uint16, w, r []byte) error {
	if addr > 0x7f {
		return problem.Of(problem.Internal, fmt.Errorf("address %#x: must be at most 0x7f", addr))
	}
	if len(w) > longestMsg || len(r) > longestMsg {
		return problem.Of(problem.Internal, fmt.Errorf("%d bytes out and %d in: must be at most %d each way", len(w), len(r), longestMsg))
	}
	if len(w) == 0 && len(r) == 0 {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.fd < 0 {
		return fail(b.node, fmt.Errorf("closed: %w", unix.EBADF))
	}
	if err := b.transfer(addr, w, r); err != nil {
		return fail(fmt.Sprintf("%s, address %#02x", b.node, addr), fmt.Errorf("%s%w", transferAdvice(err), err))
	}
	return nil
}

// transfer makes the messages and has them sent; the lock is held.
func (b *Bus) transfer(addr uint16, w, r []byte) error {
	n := 0
	if len(w) > 0 {
		b.msgs[n] = message{addr: addr, length: uint16(len(w)), data: &w[0]}
		n++
	}
	if len(r) > 0 {
		b.msgs[n] = message{addr: addr, flags: flagRead, length: uint16(len(r)), data: &r[0]}
		n++
	}
	b.job = transfer{msgs: &b.msgs[0], count: uint32(n)}
	err := ioctl(b.fd, ioctlRdwr, unsafe.Pointer(&b.job))
	b.msgs = [2]message{} // keeps none of the caller's bytes
	return err
}

// transferAdvice says in plain words what a failed transfer means (Linux,
// Documentation/i2c/fault-codes.rst).
func transferAdvice(err error) string {
	switch {
	case errors.Is(err, unix.ENXIO), errors.Is(err, unix.EREMOTEIO):
		return "no chip answers; check its address pin, its supply and the two bus wires: "
	case errors.Is(err, unix.ETIMEDOUT):
		return "the bus is held; check for a short, for missing pull-ups and for a chip that holds the clock: "
	case errors.Is(err, unix.EAGAIN):
		return "another master had the bus: "
	case errors.Is(err, unix.ENODEV):
		return "the bus has gone (unplugged, or its driver was removed): "
	}
	return ""
}

// SetSpeed cannot be had: Linux sets a bus's clock when it starts the driver.
func (b *Bus) SetSpeed(f physic.Frequency) error {
	return fail(b.node, fmt.Errorf("clock of %s asked for: Linux sets it at the start (on a Raspberry Pi: dtparam=i2c_arm_baudrate=%d in config.txt): %w",
		f, f/physic.Hertz, errors.ErrUnsupported))
}

// Close gives the bus back. It may be called again, without effect.
func (b *Bus) Close() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.fd < 0 {
		return nil
	}
	err := unix.Close(b.fd)
	b.fd = -1
	if err != nil {
		return fail(b.node, err)
	}
	return nil
}
