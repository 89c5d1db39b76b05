package machine

import (
	"os"
	"runtime"
	"unsafe"

	"golang.org/x/sys/unix"
)

// This is the system that the program runs on.
func This() System {
	return System{Root: os.DirFS("/"), Throttling: askFirmware, Synchronised: askClock}
}

// askClock asks the kernel, and changes nothing (adjtimex(2)).
func askClock() (yes, ok bool) {
	state, err := unix.Adjtimex(&unix.Timex{})
	return state != unix.TIME_ERROR, err == nil
}

// The mailbox to a Raspberry Pi's firmware: words of 32 bits, and one request for a property
// with room for its answer (the maker's mailbox property interface, from memory).
const (
	mailbox      = "/dev/vcio"
	getThrottled = 0x00030046
	answered     = 0x80000000
	inWords      = 7
	valueAt      = 5
)

// question is the message that asks for the property. Its value says which of the bits since
// the last start are to be cleared: none.
func question() [inWords]uint32 { return [inWords]uint32{inWords * 4, 0, getThrottled, 4, 0, 0, 0} }

// propertyCall is _IOWR(100, 0, char *).
const propertyCall = 3<<30 | unsafe.Sizeof(uintptr(0))<<16 | 100<<8

// askFirmware asks for the state of supply and clock.
func askFirmware() (bits uint32, ok bool) {
	fd, err := unix.Open(mailbox, unix.O_RDWR|unix.O_CLOEXEC, 0)
	if err != nil {
		return 0, false
	}
	defer unix.Close(fd)
	message := question()
	_, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), propertyCall, uintptr(unsafe.Pointer(&message)))
	runtime.KeepAlive(&message)
	return message[valueAt], errno == 0 && message[1] == answered
}
