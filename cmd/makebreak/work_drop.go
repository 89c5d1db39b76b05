package main

import (
	"errors"
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"makebreak/rig/sums"
	"makebreak/rig/unit"
)

// mostMetres and mostArea bound a cable of a building.
const (
	mostMetres = 100e3
	mostArea   = 1000
)

func (a *app) workDropCommand() *cobra.Command {
	in := sums.DropInput{}
	var gauge string
	var diameter float64
	c := &cobra.Command{
		Use:   "drop",
		Short: "Work out the voltage drop along a cable, its longest length and least cross-section",
		Long: `Work out what a cable of two conductors leaves of the voltage for a load: a relay that
must operate, a strobe that needs its least voltage. Without a length the longest is
found, without a cross-section the least, with the next size that is made.`,
		Example: `  makebreak work drop --voltage 10.5V --current 300mA --least 9V --length 40m --area 0.5mm2
  makebreak work drop --voltage 10.5V --load 400ohm --least 9V --length 40m
  makebreak work drop --voltage 10.5V --power 2W --least 8V --gauge 22 --parallel 2`,
	}
	a.sumCommand(c, quantities{
		{name: "voltage", kind: unit.Voltage, into: &in.Voltage, needed: true, most: mostVolts, usage: "the least `voltage` at the near end"},
		{name: "least", kind: unit.Voltage, into: &in.Least, most: mostVolts, usage: "the `voltage` that the load needs: a relay's must-operate, a strobe's least"},
		{name: "current", kind: unit.Current, into: &in.Current, most: mostAmperes, usage: "the load's `current`"},
		{name: "load", kind: unit.Resistance, into: &in.Load, most: mostOhms, usage: "the load's `resistance`, as of a coil; instead of --current"},
		{name: "power", kind: unit.Power, into: &in.Power, most: 100e3, usage: "the load's `power`, where it takes the more current the less voltage it has; instead of --current"},
		{name: "length", kind: unit.Length, into: &in.Length, most: mostMetres, usage: "`length` of the cable, one way"},
		{name: "area", kind: unit.Area, into: &in.Area, most: mostArea, usage: "`cross-section` of a conductor"},
		{name: "diameter", kind: unit.Length, into: &diameter, most: 0.1, usage: "diameter of a solid conductor, a `length`; instead of --area"},
		{name: "temperature", kind: unit.Celsius, into: &in.Temperature, text: "20C", least: -40, most: 90, usage: "the conductors' highest `temperature`"},
		{name: "tolerance", kind: unit.Share, into: &in.Tolerance, text: "16%", zero: true, most: 1, usage: "by how much a conductor may have more resistance, a `share`; 16 % covers IEC 60228's flexible ones"},
		{name: "joints", kind: unit.Resistance, into: &in.Joints, text: "0ohm", zero: true, most: mostOhms, usage: "`resistance` of all joints and terminals together"},
	}, func() (*sums.Sheet, error) {
		if err := dropArea(&in, gauge, diameter); err != nil {
			return nil, err
		}
		return sums.Drop(in)
	})
	f := c.Flags()
	f.StringVar(&gauge, "gauge", "", "American wire `gauge` of a conductor, 4/0 to 40; instead of --area")
	f.IntVar(&in.Parallel, "parallel", 1, "`number` of conductors in parallel, each way")
	return c
}

// dropArea finds the cross-section in the way in which it was given.
func dropArea(in *sums.DropInput, gauge string, diameter float64) error {
	given := 0
	for _, is := range []bool{!math.IsNaN(in.Area), gauge != "", !math.IsNaN(diameter)} {
		if is {
			given++
		}
	}
	switch {
	case given > 1:
		return errors.New("give one of --area, --gauge and --diameter")
	case gauge != "":
		area, err := sums.GaugeArea(gauge)
		if err != nil {
			return fmt.Errorf("--gauge: %w", err)
		}
		in.Area = area
	case !math.IsNaN(diameter):
		mm := diameter * 1e3
		in.Area = math.Pi / 4 * mm * mm
	}
	return nil
}
