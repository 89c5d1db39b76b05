package sums

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"makebreak/rig/unit"
)

// BatteryInput is a lead-acid battery that stands by and then carries an alarm, in volts,
// amperes, ampere-hours and hours. What is not known is NaN.
type BatteryInput struct {
	Nominal     float64 // volts, a multiple of 2: a cell has 2 V
	Capacity    float64 // ampere-hours as rated; NaN: it is to be found
	RatedHours  float64 // hours that the rating is for
	Exponent    float64 // of Peukert's law, 1 or more
	Table       []Rate  // of the maker, in place of the law; empty: none
	CutOff      float64 // volts at which the unit stops; NaN: 1.75 V a cell
	Standby     float64 // amperes
	StandbyTime float64 // hours wanted; NaN: none
	Alarm       float64 // amperes; NaN: no alarm
	AlarmTime   float64 // hours that the alarm lasts, after standby
	Temperature float64 // °C, the lowest
	Ageing      float64 // share by which the battery is chosen larger
	Charger     float64 // amperes that the charger has for the battery; NaN: unknown
	Factor      float64 // charge put in for each that was taken out
	RechargeIn  float64 // hours wanted; NaN: none
}

// Rate is what a battery gives when it is emptied in so many hours.
type Rate struct {
	Hours    float64 // of the discharge
	Capacity float64 // ampere-hours
}

// amperes is the current of the rate.
func (r Rate) amperes() float64 { return r.Capacity / r.Hours }

const (
	cellVolts  = 2.0
	endPerCell = 1.75 // volts: makers' sheets, for discharges up to a tenth of the capacity

	// mostCharge is the current, as a share of the capacity for an hour, above which makers'
	// sheets of small sealed batteries no longer agree (a limit of 1 A for 4 Ah).
	mostCharge = 0.25

	warmEnough     = 25.0 // °C: warmer adds nothing to what is counted on
	coldest        = -20.0
	hottest        = 50.0
	lastTenthHours = 3.0 // to fill what the charge factor does not, a maker's rule
)

// sizes are capacities, in ampere-hours, that small sealed batteries of 12 V are sold with
// (common practice, no source).
var sizes = []float64{1.2, 2, 2.3, 2.8, 3.2, 4, 5, 7, 9, 10, 12, 15, 17, 24, 26, 38, 40, 55, 65, 80, 100, 120, 150, 200}

// SizeAbove returns the next usual capacity, in ampere-hours, that is not below; infinite
// where there is none.
func SizeAbove(ampereHours float64) float64 {
	for _, s := range sizes {
		if s >= ampereHours*(1-1e-9) {
			return s
		}
	}
	return math.Inf(1)
}

func (in *BatteryInput) check() error {
	known := func(v float64) bool { return !math.IsNaN(v) }
	cells := in.Nominal / cellVolts
	switch {
	case cells != math.Trunc(cells):
		return fmt.Errorf("a lead-acid battery of %s has no whole number of cells of 2 V", volts(in.Nominal))
	case !known(in.Capacity) && !known(in.StandbyTime):
		return errors.New("either the capacity or the standby time is needed: each follows from the other")
	case in.Exponent < 1 || in.Exponent > 2:
		return fmt.Errorf("the exponent %s must be from 1 to 2", plain(in.Exponent))
	case in.Temperature < coldest || in.Temperature > hottest:
		return fmt.Errorf("the temperature %s must be from %s to %s", show(unit.Celsius, in.Temperature), show(unit.Celsius, coldest), show(unit.Celsius, hottest))
	case known(in.Alarm) && in.Alarm < in.Standby:
		return fmt.Errorf("the alarm's current of %s is below the standby current of %s: it is the whole current while in alarm", amperes(in.Alarm), amperes(in.Standby))
	case known(in.CutOff) && in.CutOff >= in.Nominal:
		return fmt.Errorf("the cut-off of %s is not below the battery's %s", volts(in.CutOff), volts(in.Nominal))
	case known(in.CutOff) && in.CutOff < 1.5*cells:
		return fmt.Errorf("the cut-off of %s would ruin the battery: it must be at least 1.5 V a cell, %s", volts(in.CutOff), volts(1.5*cells))
	case in.Factor < 1:
		return fmt.Errorf("the charge factor %s must be 1 or more", plain(in.Factor))
	}
	return in.checkTable()
}

// checkTable refuses a table in which more hours give less.
func (in *BatteryInput) checkTable() error {
	if len(in.Table) == 1 {
		return errors.New("the table needs two rates or more")
	}
	if len(in.Table) > 0 && math.IsNaN(in.Capacity) {
		return errors.New("the table needs the capacity: it says what that one battery gives")
	}
	for i := 1; i < len(in.Table); i++ {
		a, b := in.Table[i-1], in.Table[i]
		if a.Hours <= b.Hours || a.Capacity < b.Capacity || a.amperes() >= b.amperes() {
			return fmt.Errorf("the table must fall: %s for %s stands before %s for %s", ampereHours(a.Capacity), hours(a.Hours), ampereHours(b.Capacity), hours(b.Hours))
		}
	}
	return nil
}

// lasts returns for how many hours a battery of so many ampere-hours, as rated, carries a
// current, in amperes. Below the rating's current it has its rated capacity and no more.
//
// By Peukert's law that is H·(C/(I·H))^k. By a table, the law holds between each two of its
// rates, with the exponent that goes through both; beyond the fastest that of the last two.
func (in *BatteryInput) lasts(capacity, current float64) float64 {
	if len(in.Table) == 0 {
		ratio := capacity / (current * in.RatedHours)
		return in.RatedHours * math.Pow(ratio, in.exponentFor(ratio))
	}
	current *= in.Capacity / capacity // what the battery of the table would be asked for
	if slowest := in.Table[0]; current <= slowest.amperes() {
		return slowest.Capacity / current
	}
	r, k := in.between(current)
	return r.Hours * math.Pow(r.amperes()/current, k)
}

// between is the rate of the table that is slower than a current, in amperes, and the exponent
// of the law through it and the next.
func (in *BatteryInput) between(current float64) (Rate, float64) {
	i := 1
	for i < len(in.Table)-1 && current > in.Table[i].amperes() {
		i++
	}
	a, b := in.Table[i-1], in.Table[i]
	return a, math.Log(a.Hours/b.Hours) / math.Log(b.amperes()/a.amperes())
}

// exponentFor is Peukert's exponent, 1 where the current is not above the rating's.
func (in *BatteryInput) exponentFor(ratio float64) float64 {
	if ratio >= 1 {
		return 1
	}
	return in.Exponent
}

// needed is the rated capacity, in ampere-hours, with which the used shares are one.
func (in *BatteryInput) needed() float64 {
	low, high := 0.0, 1.0
	for in.used(high) > 1 {
		low, high = high, 2*high
	}
	for range 200 { // halved until nothing is left to halve
		mid := (low + high) / 2
		if in.used(mid) > 1 {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// used is the share of a battery that standby and alarm use together.
func (in *BatteryInput) used(capacity float64) float64 {
	share := in.StandbyTime / in.lasts(capacity, in.Standby)
	if in.alarms() {
		share += in.AlarmTime / in.lasts(capacity, in.Alarm)
	}
	return share
}

func (in *BatteryInput) alarms() bool { return !math.IsNaN(in.Alarm) }

// coldFactor is by what a battery must be larger in the cold: the polynomial, of °C/100,
// that a program for sizing batteries fits to the table of IEEE Std 485, for cells rated at
// 25 °C. It is 1 from 25 °C on.
func coldFactor(celsius float64) float64 {
	if celsius >= warmEnough {
		return 1
	}
	x := celsius / 100
	return math.Max(1, ((-2.8117*x+4.1916)*x-2.4941)*x+1.405)
}

// Battery works out how long a lead-acid battery carries standby and alarm, or which one is
// needed, and how long it charges.
func Battery(in BatteryInput) (*Sheet, error) {
	if math.IsNaN(in.CutOff) {
		in.CutOff = endPerCell * in.Nominal / cellVolts
	}
	if err := in.check(); err != nil {
		return nil, err
	}
	s := &Sheet{Title: fmt.Sprintf("Lead-acid battery of %s, standby at %s", volts(in.Nominal), amperes(in.Standby))}
	if in.alarms() {
		s.Title += ", alarm at " + amperes(in.Alarm)
	}
	s.Cautions = []string{
		"a lead-acid battery drives hundreds of amperes into a short: fuse its lead at the battery, take off rings and watches",
		"it gives off explosive gas while charging: ventilate, keep sparks away, never charge it in a closed box or frozen",
		"left empty it is ruined within days: recharge at once, and replace it by its age, not when it fails",
		"capacity fades unseen: prove the time once a year with the real load",
		theCodeFirst,
	}
	s.givenOfBattery(&in)
	factor := s.derating(&in)
	s.endVoltage(&in)
	if !math.IsNaN(in.Capacity) {
		s.batteryTimes(&in, factor)
	}
	s.batteryNeeded(&in, factor)
	s.recharge(&in)
	return s, nil
}

func (s *Sheet) givenOfBattery(in *BatteryInput) {
	s.given("battery_volts", "battery", unit.Voltage, in.Nominal)
	s.given("rated_ampere_hours", "capacity as rated", unit.Charge, in.Capacity)
	if len(in.Table) == 0 {
		s.given("rated_hours", "the rating is for", unit.Hours, in.RatedHours)
		s.given("peukert_exponent", "exponent of Peukert's law", unit.Number, in.Exponent)
	}
	for _, r := range in.Table {
		s.given(fmt.Sprintf("table_%s_hours_ampere_hours", underscored(r.Hours)), "table: gives in "+hours(r.Hours), unit.Charge, r.Capacity)
	}
	s.given("cut_off_volts", "cut-off", unit.Voltage, in.CutOff)
	s.given("standby_amperes", "standby", unit.Current, in.Standby)
	s.given("wanted_standby_hours", "standby wanted", unit.Hours, in.StandbyTime)
	s.given("alarm_amperes", "alarm, the whole current", unit.Current, in.Alarm)
	if in.alarms() {
		s.given("alarm_hours", "alarm lasts", unit.Hours, in.AlarmTime)
	}
	s.given("lowest_celsius", "lowest temperature", unit.Celsius, in.Temperature)
	s.given("ageing_share", "allowance for ageing", unit.Share, in.Ageing)
	s.given("charger_amperes", "charger, for the battery alone", unit.Current, in.Charger)
	s.given("wanted_recharge_hours", "recharge wanted within", unit.Hours, in.RechargeIn)
}

// derating adds by what a battery must be larger, or what it gives is less.
func (s *Sheet) derating(in *BatteryInput) float64 {
	cold := s.step("cold_factor", "larger for the cold by", unit.Number, coldFactor(in.Temperature), coldSum(in.Temperature))
	return s.step("derating_factor", "larger for cold and ageing by", unit.Number, cold*(1+in.Ageing),
		fmt.Sprintf("%s × %s", plain(cold), plain(1+in.Ageing)))
}

func coldSum(celsius float64) string {
	if celsius >= warmEnough {
		return "rated at 25 °C, warmer adds nothing"
	}
	x := plain(celsius / 100)
	return fmt.Sprintf("1.405 − 2.4941 × %s + 4.1916 × %s² − 2.8117 × %s³ (fit to IEEE 485)", x, x, x)
}

// endVoltage warns where the rating does not hold for the cut-off.
func (s *Sheet) endVoltage(in *BatteryInput) {
	cells := in.Nominal / cellVolts
	per := s.step("cut_off_volts_a_cell", "cut-off of each cell", unit.Voltage, in.CutOff/cells, fmt.Sprintf("%s/%s", volts(in.CutOff), plain(cells)))
	switch {
	case per > endPerCell+1e-9 && len(in.Table) == 0:
		s.warn(fmt.Sprintf("a cut-off of %s a cell leaves some of the rated capacity unused, which holds down to %s: take the maker's table for your cut-off (--table)", volts(per), volts(endPerCell)))
	case per < endPerCell-1e-9:
		s.warn(fmt.Sprintf("a cut-off of %s a cell wears the battery at small currents: makers ask for %s up to a tenth of the capacity", volts(per), volts(endPerCell)))
	}
}

// batteryTimes adds how long the battery at hand lasts, when new and counted on.
func (s *Sheet) batteryTimes(in *BatteryInput, factor float64) {
	usable := s.step("usable_ampere_hours", "capacity counted on", unit.Charge, in.Capacity/factor, fmt.Sprintf("%s/%s", ampereHours(in.Capacity), plain(factor)))
	s.step("new_standby_hours", "standby alone, new and warm", unit.Hours, in.lasts(in.Capacity, in.Standby), in.lastsSum(in.Capacity, in.Standby))
	alone := s.step("standby_hours", "standby alone, cold and at its age", unit.Hours, in.lasts(usable, in.Standby), in.lastsSum(usable, in.Standby))
	if !in.alarms() {
		s.judgeStandby(in, alone)
		s.Bars = batteryBars(in.Capacity, usable, in.orAll(alone)/alone, 0, in.orAll(alone), 0)
		return
	}
	alarm := s.step("alarm_alone_hours", "alarm alone", unit.Hours, in.lasts(usable, in.Alarm), in.lastsSum(usable, in.Alarm))
	share := s.step("alarm_share", "share that the alarm uses", unit.Share, in.AlarmTime/alarm, fmt.Sprintf("%s/%s", hours(in.AlarmTime), hours(alarm)))
	before := s.step("standby_before_alarm_hours", "standby that leaves the alarm", unit.Hours, math.Max(0, 1-share)*alone,
		fmt.Sprintf("(1 − %s) × %s", percent(share), hours(alone)))
	if share >= 1 {
		s.answer("carries_alarm", false, fmt.Sprintf("It cannot carry the alarm: that needs %s of it.", percent(share)))
		return
	}
	s.judgeStandby(in, before)
	s.Bars = batteryBars(in.Capacity, usable, in.orAll(before)/alone, share, in.orAll(before), in.AlarmTime)
}

// orAll is the standby time wanted, in hours, or all that there is where none is.
func (in *BatteryInput) orAll(there float64) float64 {
	if math.IsNaN(in.StandbyTime) {
		return there
	}
	return in.StandbyTime
}

func (s *Sheet) judgeStandby(in *BatteryInput, lasts float64) {
	if math.IsNaN(in.StandbyTime) {
		return
	}
	then := ""
	if in.alarms() {
		then = fmt.Sprintf(", then %s of alarm", hours(in.AlarmTime))
	}
	if lasts >= in.StandbyTime {
		s.answer("lasts", true, fmt.Sprintf("It lasts: %s of standby%s; %s are wanted.", hours(lasts), then, hours(in.StandbyTime)))
		return
	}
	s.answer("lasts", false, fmt.Sprintf("It does not last: %s of standby%s; %s are wanted.", hours(lasts), then, hours(in.StandbyTime)))
}

// lastsSum is how the hours at a current come about.
func (in *BatteryInput) lastsSum(capacity, current float64) string {
	if len(in.Table) > 0 {
		slowest := in.Table[0]
		if scale := capacity / in.Capacity; current <= slowest.amperes()*scale {
			return fmt.Sprintf("%s/%s, no faster than the table", ampereHours(slowest.Capacity*scale), amperes(current))
		}
		r, k := in.between(current * in.Capacity / capacity)
		return fmt.Sprintf("%s × (%s/(%s × %s))^%s", hours(r.Hours), ampereHours(r.Capacity*capacity/in.Capacity), amperes(current), hours(r.Hours), plain(k))
	}
	if ratio := capacity / (current * in.RatedHours); ratio >= 1 {
		return fmt.Sprintf("%s/%s, no faster than rated", ampereHours(capacity), amperes(current))
	}
	return fmt.Sprintf("%s × (%s/(%s × %s))^%s", hours(in.RatedHours), ampereHours(capacity), amperes(current), hours(in.RatedHours), plain(in.Exponent))
}

// batteryNeeded adds the capacity for the time wanted.
func (s *Sheet) batteryNeeded(in *BatteryInput, factor float64) {
	if math.IsNaN(in.StandbyTime) {
		return
	}
	bare := in.needed()
	sum := fmt.Sprintf("%s/%s", hours(in.StandbyTime), hours(in.lasts(bare, in.Standby)))
	if in.alarms() {
		sum += fmt.Sprintf(" + %s/%s", hours(in.AlarmTime), hours(in.lasts(bare, in.Alarm)))
	}
	s.step("new_warm_ampere_hours", "capacity that a new, warm battery needs", unit.Charge, bare, "used up: "+sum+" = 1")
	least := s.step("least_ampere_hours", "the same with cold and ageing", unit.Charge, bare*factor, fmt.Sprintf("%s × %s", ampereHours(bare), plain(factor)))
	size := SizeAbove(least)
	if math.IsInf(size, 1) {
		none := fmt.Sprintf("usual battery has %s: more in parallel are a job for their maker's instructions", ampereHours(least))
		if math.IsNaN(in.Capacity) {
			s.answer("usual_size", false, "No "+none+".")
		} else {
			s.warn("no " + none)
		}
		return
	}
	s.step("size_ampere_hours", "next usual size", unit.Charge, size, "not below "+ampereHours(least))
	if math.IsNaN(in.Capacity) {
		in.Capacity = size
		usable := size / factor
		share := 0.0
		if in.alarms() {
			share = in.AlarmTime / in.lasts(usable, in.Alarm)
		}
		s.Bars = batteryBars(size, usable, in.StandbyTime/in.lasts(usable, in.Standby), share, in.StandbyTime, in.AlarmTime)
	}
}

// recharge adds how long an empty battery charges, and the current for a time wanted.
func (s *Sheet) recharge(in *BatteryInput) {
	if math.IsNaN(in.Capacity) {
		return
	}
	if !math.IsNaN(in.Charger) {
		filled := s.step("recharge_hours", "recharged to about 90 %", unit.Hours, in.Factor*in.Capacity/in.Charger,
			fmt.Sprintf("%s × %s/%s", plain(in.Factor), ampereHours(in.Capacity), amperes(in.Charger)))
		full := s.step("full_recharge_hours", "recharged in full", unit.Hours, filled+lastTenthHours, fmt.Sprintf("%s + %s", hours(filled), hours(lastTenthHours)))
		s.step("supply_amperes", "supply, standby and charger together", unit.Current, in.Standby+in.Charger, fmt.Sprintf("%s + %s", amperes(in.Standby), amperes(in.Charger)))
		if rate := in.Charger / in.Capacity; rate > mostCharge {
			s.warn(fmt.Sprintf("%s are %s of the capacity an hour: small sealed batteries are often limited to 25 %%, see the maker's sheet", amperes(in.Charger), percent(rate)))
		}
		if !math.IsNaN(in.RechargeIn) {
			s.judgeRecharge(in, full)
		}
	}
	switch {
	case math.IsNaN(in.RechargeIn):
	case in.RechargeIn > lastTenthHours:
		s.step("least_charger_amperes", "least current of the charger", unit.Current, in.Factor*in.Capacity/(in.RechargeIn-lastTenthHours),
			fmt.Sprintf("%s × %s/(%s − %s)", plain(in.Factor), ampereHours(in.Capacity), hours(in.RechargeIn), hours(lastTenthHours)))
	case math.IsNaN(in.Charger):
		s.answer("recharges", false, fmt.Sprintf("No charger recharges it in full in %s: the last tenth alone takes %s.", hours(in.RechargeIn), hours(lastTenthHours)))
	}
}

func (s *Sheet) judgeRecharge(in *BatteryInput, full float64) {
	if full <= in.RechargeIn {
		s.answer("recharges", true, fmt.Sprintf("It is recharged in time: in %s, %s are wanted.", hours(full), hours(in.RechargeIn)))
		return
	}
	s.answer("recharges", false, fmt.Sprintf("It is not recharged in time: that takes %s, %s are wanted.", hours(full), hours(in.RechargeIn)))
}

// ParseRates reads a maker's table as "20h=7Ah 10h=6.5Ah 1h=4.2Ah", the longest time first.
func ParseRates(text string) ([]Rate, error) {
	var all []Rate
	for _, word := range strings.Fields(strings.ReplaceAll(text, ",", " ")) {
		t, c, found := strings.Cut(word, "=")
		if !found {
			return nil, fmt.Errorf("%q must be a time, = and a capacity, as in 10h=6.5Ah", word)
		}
		h, err := unit.Hours.Parse(t)
		if err != nil {
			return nil, err
		}
		ah, err := unit.Charge.Parse(c)
		if err != nil {
			return nil, err
		}
		if !(h > 0 && ah > 0) {
			return nil, fmt.Errorf("%q must have a time and a capacity above 0", word)
		}
		all = append(all, Rate{h, ah})
	}
	return all, nil
}
