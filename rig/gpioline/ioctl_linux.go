package gpioline

import (
	"unsafe"

	"golang.org/x/sys/unix"

	"makebreak/rig/capture"
)

// ioctl calls the kernel with one structure. It is tried again when a signal
// came in between; the errno is kept.
func ioctl[T any](fd int, number uint32, arg *T) error {
	for {
		_, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), uintptr(number), uintptr(unsafe.Pointer(arg)))
		switch errno {
		case 0:
			return nil
		case unix.EINTR:
		default:
			return errno
		}
	}
}

// now reads CLOCK_MONOTONIC, the clock that stamps the events.
func now() capture.Instant {
	var ts unix.Timespec
	// It cannot fail: the clock always exists and the address is ours.
	_ = unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts)
	return capture.Instant(ts.Nano())
}

// getValue returns whether the single line of a request is active.
func getValue(fd int) (bool, error) {
	v := lineValues{mask: 1}
	if err := ioctl(fd, getLineValues, &v); err != nil {
		return false, err
	}
	return v.bits&1 != 0, nil
}

// setValue makes the single line of a request active or inactive.
func setValue(fd int, active bool) error {
	v := lineValues{mask: 1}
	if active {
		v.bits = 1
	}
	return ioctl(fd, setLineValues, &v)
}
