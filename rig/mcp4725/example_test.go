package mcp4725_test

import (
	"fmt"

	"periph.io/x/conn/v3/i2c/i2ctest"

	"makebreak/rig/mcp4725"
)

// A code is set and read back.
func Example() {
	bus := &i2ctest.Playback{Ops: []i2ctest.IO{
		{Addr: 0x60, W: []byte{0x04, 0xD9}},
		{Addr: 0x60, R: []byte{0xC0, 0x4D, 0x90, 0x08, 0x00}},
	}}
	d, err := mcp4725.New(bus, 0x60, &mcp4725.DefaultOpts)
	if err != nil {
		fmt.Println(err)
		return
	}
	if err := d.Set(1241); err != nil {
		fmt.Println(err)
		return
	}
	s, err := d.Status()
	fmt.Println(s, err)
	// Output: code 1241, on; at power-up code 2048, on <nil>
}
