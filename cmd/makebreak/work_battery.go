package main

import (
	"errors"
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"makebreak/rig/sums"
	"makebreak/rig/unit"
)

// What a battery of a panel can have to do with.
const (
	mostAmpereHours = 10000
	mostHours       = 10000
	mostAmperes     = 1000
)

func (a *app) workBatteryCommand() *cobra.Command {
	in := sums.BatteryInput{}
	var table string
	c := &cobra.Command{
		Use:   "battery",
		Short: "Work out a standby battery: how long it lasts, which one is needed, its recharge",
		Long: `Work out how long a lead-acid battery carries standby and then an alarm, which one
is needed for the hours wanted, and how long it charges.

Fast discharges give less: by Peukert's law with the exponent given, or by the
maker's table for your cut-off. Cold and age are allowed for.`,
		Example: `  makebreak work battery --capacity 7Ah --standby 150mA --alarm 1.2A --standby-time 24h
  makebreak work battery --standby 150mA --alarm 1.2A --standby-time 24h --lowest 5C
  makebreak work battery --capacity 17Ah --standby 800mA --table "20h=17Ah 10h=16Ah 5h=15.1Ah 1h=12.7Ah"
  makebreak work battery --capacity 7Ah --standby 150mA --charger 500mA --recharge-time 24h`,
	}
	a.sumCommand(c, quantities{
		{name: "voltage", kind: unit.Voltage, into: &in.Nominal, text: "12V", most: mostVolts, usage: "nominal `voltage` of the battery"},
		{name: "capacity", kind: unit.Charge, into: &in.Capacity, most: mostAmpereHours, usage: "`capacity` as rated (default: it is found)"},
		{name: "rated-hours", kind: unit.Hours, into: &in.RatedHours, text: "20h", most: mostHours, usage: "the `time` that the rating is for"},
		{name: "exponent", kind: unit.Number, into: &in.Exponent, text: "1.15", least: 1, most: 2, usage: "exponent of Peukert's law, a `number`; 1.05 to 1.15 is usual for sealed glass mat, 1.1 to 1.25 for gel"},
		{name: "cut-off", kind: unit.Voltage, into: &in.CutOff, most: mostVolts, usage: "`voltage` at which the unit stops (default: 1.75 V a cell)"},
		{name: "standby", kind: unit.Current, into: &in.Standby, needed: true, most: mostAmperes, usage: "`current` in standby"},
		{name: "standby-time", kind: unit.Hours, into: &in.StandbyTime, most: mostHours, usage: "the `time` wanted in standby"},
		{name: "alarm", kind: unit.Current, into: &in.Alarm, most: mostAmperes, usage: "the whole `current` in alarm, after standby"},
		{name: "alarm-time", kind: unit.Hours, into: &in.AlarmTime, text: "30min", most: mostHours, usage: "the `time` that the alarm lasts"},
		{name: "lowest", kind: unit.Celsius, into: &in.Temperature, text: "20C", least: -20, most: 50, usage: "the battery's lowest `temperature`"},
		{name: "ageing", kind: unit.Share, into: &in.Ageing, text: "25%", zero: true, most: 2, usage: "by how much it is chosen larger for its age, a `share`"},
		{name: "charger", kind: unit.Current, into: &in.Charger, most: mostAmperes, usage: "`current` that the charger has for the battery alone"},
		{name: "charge-factor", kind: unit.Number, into: &in.Factor, text: "1.2", least: 1, most: 3, usage: "charge put in for what was taken out, a `number`"},
		{name: "recharge-time", kind: unit.Hours, into: &in.RechargeIn, most: mostHours, usage: "the `time` wanted for a full recharge"},
	}, func() (*sums.Sheet, error) {
		if err := batteryNeeds(c, &in); err != nil {
			return nil, err
		}
		var err error
		if in.Table, err = sums.ParseRates(table); err != nil {
			return nil, fmt.Errorf("--table: %w", err)
		}
		return sums.Battery(in)
	})
	c.Flags().StringVar(&table, "table", "", "the maker's `rates` for your cut-off, as in \"20h=7Ah 10h=6.5Ah 1h=4.2Ah\"; in place of --exponent")
	return c
}

// batteryNeeds refuses flags that would do nothing.
func batteryNeeds(c *cobra.Command, in *sums.BatteryInput) error {
	set := c.Flags().Changed
	switch {
	case set("table") && (set("exponent") || set("rated-hours")):
		return errors.New("give --table or --exponent and --rated-hours, not both: each says what fast discharges give")
	case set("alarm-time") && math.IsNaN(in.Alarm):
		return errors.New("--alarm-time needs --alarm, the current in alarm")
	case set("charge-factor") && math.IsNaN(in.Charger) && math.IsNaN(in.RechargeIn):
		return errors.New("--charge-factor needs --charger or --recharge-time")
	}
	return nil
}
