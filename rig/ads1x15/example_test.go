package ads1x15_test

import (
	"fmt"

	"periph.io/x/conn/v3/i2c/i2ctest"

	"makebreak/rig/ads1x15"
)

// One conversion of AIN0 behind a divider of 39 kΩ and 10 kΩ, polled. On a rig
// the bus comes from periph's i2creg.
func Example() {
	bus := &i2ctest.Playback{Ops: []i2ctest.IO{
		{Addr: 0x48, W: []byte{0x01, 0x43, 0xE3}},
		{Addr: 0x48, W: []byte{0x01, 0xC3, 0xE3}},
		{Addr: 0x48, R: []byte{0x43, 0xE3}},
		{Addr: 0x48, R: []byte{0xC3, 0xE3}},
		{Addr: 0x48, W: []byte{0x00}, R: []byte{0x4C, 0x88}},
	}}
	defer bus.Close()

	chip, err := ads1x15.New(bus, 0x48, &ads1x15.DefaultOpts)
	if err != nil {
		fmt.Println(err)
		return
	}
	if err := chip.Setup(); err != nil {
		fmt.Println(err)
		return
	}
	if err := chip.Start(0); err != nil {
		fmt.Println(err)
		return
	}
	for busy := true; busy; {
		if busy, err = chip.Busy(); err != nil {
			fmt.Println(err)
			return
		}
	}
	code, err := chip.Read()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s: %.3f V at the pin, %.2f V at the terminal\n", chip, chip.Volts(code), chip.Volts(code)*4.9)
	// Output: ADS1115 at 0x48: 2.449 V at the pin, 12.00 V at the terminal
}
