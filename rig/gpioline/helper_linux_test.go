package gpioline

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"strconv"
	"time"

	"golang.org/x/sys/unix"

	"makebreak/rig/line"
)

// helperMain runs this process as a helper of a kernel test, where the
// environment says so, and does not return then.
func helperMain() {
	chip := os.Getenv("GPIOLINE_TEST_CHIP")
	switch os.Getenv("GPIOLINE_TEST_HELPER") {
	case "":
	case "open":
		os.Exit(helpOpen(chip))
	case "drive":
		os.Exit(helpDrive(chip))
	case "work":
		os.Exit(helpWork(chip))
	case "write":
		os.Exit(helpSafeWrite())
	default:
		os.Exit(64)
	}
}

// helpOpen opens a line and prints the result.
func helpOpen(chip string) int {
	s, err := Open([]Request{{Line: line.Line{Name: "K1_NO", Chip: chip}, Role: line.Contact}})
	if err != nil {
		fmt.Printf("%v\nEACCES: %v\n", err, errors.Is(err, unix.EACCES))
		return 1
	}
	if err := s.Close(); err != nil {
		fmt.Println(err)
		return 1
	}
	fmt.Println("opened")
	return 0
}

// helpSafeWrite sets what its safe write is to set otherwise, and waits to be killed.
func helpSafeWrite() int {
	s, err := Open(nil, keeps)
	if err != nil {
		fmt.Println(err)
		return 1
	}
	if err := s.safe[0].bus.Tx(keeps.Address, working, nil); err != nil {
		fmt.Println(err)
		return 1
	}
	fmt.Println("guarded", s.Guarded())
	signal.Reset()
	select {}
}

// longestOn is how long the drive of helpWork may be on.
const longestOn = 200 * time.Millisecond

// helpWork switches line 0 on, prints the number of its descriptor and goes on as a bench does,
// until it cannot. Then it prints why, and whether the drive can be switched on once more.
func helpWork(chip string) int {
	s, err := Open([]Request{{Line: line.Line{Name: "coil", Chip: chip}, Role: line.Drive, LongestOn: longestOn}})
	if err != nil {
		fmt.Println(err)
		return 1
	}
	on := func() error {
		_, _, err := s.Drive(0, true)
		return err
	}
	fmt.Println(strconv.Itoa(s.lines[0].fd), s.Guarded())
	for err == nil {
		if err = on(); err == nil {
			err = s.Wait(context.Background(), s.Now().Add(longestOn/4))
		}
		if _, _, off := s.Drive(0, false); err == nil {
			err = off
		}
	}
	fmt.Println(err)
	fmt.Println("on again:", on() == nil)
	_ = s.Close() // of a drive that is off
	return 3
}

// helpDrive switches line 0 on, prints the number of its descriptor and ends
// as it is told, without releasing anything.
func helpDrive(chip string) int {
	s, err := Open([]Request{{Line: line.Line{Name: "coil", Chip: chip}, Role: line.Drive}})
	if err != nil {
		fmt.Println(err)
		return 1
	}
	if _, _, err := s.Drive(0, true); err != nil {
		fmt.Println(err)
		return 1
	}
	fmt.Println(strconv.Itoa(s.lines[0].fd), s.Guarded())
	var word [1]byte
	switch os.Getenv("GPIOLINE_TEST_END") {
	case "panic":
		_, _ = os.Stdin.Read(word[:])
		panic("as a program that is broken would")
	case "exit":
		_, _ = os.Stdin.Read(word[:])
		return 3
	default: // wait to be killed
		signal.Reset()
		select {}
	}
}
