package board

import (
	"errors"

	"golang.org/x/sys/unix"
)

// guardInput keeps standard input safe while periph looks for GPIO chips. Where
// two device nodes lead to one chip (gpiochip4 on some Raspberry Pi systems is
// a link to gpiochip0), gpioioctl v3.8.5 closes file descriptor 0 with the
// spare chip. The function returned puts it back if that has happened.
func guardInput() (restore func() error, err error) {
	saved, err := unix.FcntlInt(0, unix.F_DUPFD_CLOEXEC, 3)
	if errors.Is(err, unix.EBADF) {
		// No standard input: something must stand at its number, or the close
		// would hit whatever file is opened there next.
		return func() error { return nil }, openNull()
	}
	if err != nil {
		return nil, err
	}
	return func() error {
		defer unix.Close(saved)
		return restoreInput(saved)
	}, nil
}

// errInputTaken says that another file has been opened at standard input's
// number. That file's owner counts on it, so it must stay.
var errInputTaken = errors.New("closed by the search for GPIO chips, and its number taken by another file; remove the second device node of the chip")

func restoreInput(saved int) error {
	var was, is unix.Stat_t
	if err := unix.Fstat(saved, &was); err != nil {
		return err
	}
	err := unix.Fstat(0, &is)
	switch {
	case errors.Is(err, unix.EBADF):
		return unix.Dup3(saved, 0, 0)
	case err != nil:
		return err
	case was.Dev != is.Dev || was.Ino != is.Ino || was.Rdev != is.Rdev:
		return errInputTaken
	}
	return nil
}

func openNull() error {
	fd, err := unix.Open("/dev/null", unix.O_RDONLY, 0)
	if err != nil || fd == 0 {
		return err
	}
	// Another file was opened at 0 in between: that one must stay.
	return unix.Close(fd)
}
