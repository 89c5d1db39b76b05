package process

import (
	"errors"
	"strconv"
	"syscall"
	"time"
	"unsafe"
)

// watch is what must be put at rest.
type watch struct {
	acts    []Act
	alarms  []int // descriptors that can be read when the program has let a thing be on for too long
	tripped bool  // it is put at rest again and again
}

// rest does the acts, each whatever becomes of the others.
func (w *watch) rest() error {
	var failed error
	for i := range w.acts {
		if err := w.acts[i].do(); err != nil {
			failed = err
		}
	}
	return failed
}

func (w *watch) close() {
	for _, a := range w.acts {
		syscall.Close(a.Descriptor)
	}
	for _, fd := range w.alarms {
		syscall.Close(fd) // which takes it out of what is waited for
	}
}

// readWatch reads what WatchMessage made, without its kind.
func readWatch(m []byte, descriptors []int) (number int, w *watch, err error) {
	r := reader{m: m}
	number = r.number()
	alarms := r.number()
	w = &watch{}
	for len(r.m) > 0 {
		w.acts = append(w.acts, Act{Ioctl: uint32(r.number()), Bytes: []byte(r.text())})
	}
	if err := r.end(); err != nil {
		return number, nil, err
	}
	if len(descriptors) != len(w.acts)+alarms {
		return number, nil, errors.New(strconv.Itoa(len(descriptors)) + " descriptors came along, want " + strconv.Itoa(len(w.acts)+alarms))
	}
	for i := range w.acts {
		w.acts[i].Descriptor = descriptors[i]
	}
	w.alarms = descriptors[len(w.acts):]
	return number, w, nil
}

// A writing is tried this often, with a pause in between that outlasts a disturbance of a bus.
const (
	writeAttempts = 4
	writePause    = 5 * time.Millisecond
)

// do puts the thing at rest.
func (a *Act) do() error {
	if a.Ioctl != 0 {
		return ioctl(a.Descriptor, a.Ioctl, a.Bytes)
	}
	var err error
	for attempt := range writeAttempts {
		if attempt > 0 {
			time.Sleep(writePause)
		}
		if _, err = syscall.Write(a.Descriptor, a.Bytes); err == nil {
			return nil
		}
	}
	return err
}

// ioctl calls the kernel with bytes as the argument, again when a signal came in between.
func ioctl(fd int, number uint32, arg []byte) error {
	b := append([]byte(nil), arg...) // the kernel may write into it
	for {
		_, _, errno := syscall.Syscall(syscall.SYS_IOCTL, uintptr(fd), uintptr(number), uintptr(unsafe.Pointer(&b[0])))
		switch errno {
		case 0:
			return nil
		case syscall.EINTR:
		default:
			return errno
		}
	}
}
