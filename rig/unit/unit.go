// Package unit reads and writes quantities that carry their unit, as in
// "12 V", "500 ms", "1.2 kohm" or "10 %". A bare number is refused: on a bench
// that mixes volts, millivolts and milliseconds it is a mistake waiting.
//
// All values are in base units: volts, seconds, ohms, and shares of one for
// percentages. A battery's figures are an exception, in the trade's ampere-hours and hours, and
// so are cross-sections in mm² and temperatures in °C. Types such as Volts keep quantities apart
// where they meet.
//
// A Kind reads text with Parse and writes it with Format. Figures that belong together,
// as a value, its uncertainty and its limit, are written by one Scaler.
package unit

// Kind is a kind of quantity.
type Kind struct {
	Name    string // as in "a voltage"
	Base    string // its base unit as printed; empty for a plain number
	Example string // how a value may be written
	units   []word
	letters string // what can take the place of the decimal point in a component's marking, see marking
}

// word is one of a kind's unit words: "mV" is 10^-3 V.
type word struct {
	text  string
	power int     // of ten; how many base units it is
	times float64 // where it is no power of ten, as an hour; else 0
	shown bool    // written too, and not only read
}

// The kinds in use. Units are matched exactly: "mV" and "MV" differ.
var (
	Voltage    = Kind{"a voltage", "V", "12 V or 350 mV", prefixed("V", 0, -3, -6), "V"}
	Time       = Kind{"a time", "s", "3 s or 500 ms", append(prefixed("s", 0, -3, -6, -9), word{text: "min", times: 60}, word{text: "h", times: 3600}), ""}
	Resistance = Kind{"a resistance", "ohm", "4.7 kohm or 390 ohm", append(prefixed("ohm", 0, 3, 6),
		word{text: "Ω"}, word{text: "kΩ", power: 3}, word{text: "MΩ", power: 6}, // as written by hand and by makers
		word{text: "R"}, word{text: "k", power: 3}, word{text: "K", power: 3}, word{text: "M", power: 6}), "RkKM"}
	Share       = Kind{"a share", "%", "5 % or 0.1 %", []word{{text: "%", power: -2, shown: true}, {text: "ppm", power: -6}}, ""}
	Current     = Kind{"a current", "A", "10 mA or 0.5 A", prefixed("A", 0, -3, -6), ""}
	Power       = Kind{"a power", "W", "250 mW or 1 W", prefixed("W", 0, -3, -6), ""}
	Inductance  = Kind{"an inductance", "H", "520 mH or 1.2 H", prefixed("H", 0, -3, -6), ""}
	Frequency   = Kind{"a rate", "/s", "860 /s or 400 kHz", []word{{text: "/s", shown: true}, {text: "Hz"}, {text: "kHz", power: 3, shown: true}}, ""}
	Slope       = Kind{"a slope", "V/s", "2 V/s or 50 mV/s", prefixed("V/s", 0, -3, -6), ""}
	Capacitance = Kind{"a capacitance", "F", "100 nF or 2.2 µF", prefixed("F", 0, -3, -6, -9, -12), ""}
	Length      = Kind{"a length", "m", "25 m or 0.6 mm", append(prefixed("m", 0, 3, -3), word{text: "ft", times: 0.3048}), ""}
	Area        = Kind{"a cross-section", "mm²", "0.5 mm2 or 1.5 mm²", []word{{text: "mm²", shown: true}, {text: "mm2"}}, ""}
	Charge      = Kind{"a capacity", "Ah", "7 Ah or 800 mAh", []word{{text: "Ah", shown: true}, {text: "mAh", power: -3, shown: true}}, ""}
	Hours       = Kind{"a duration", "h", "24 h or 30 min", []word{{text: "h", shown: true}, {text: "min", times: 1.0 / 60}, {text: "s", times: 1.0 / 3600}, {text: "d", times: 24}}, ""}
	Celsius     = Kind{"a temperature", "°C", "20 °C or -5 C", []word{{text: "°C", shown: true}, {text: "C"}, {text: "degC"}}, ""}
	Kelvin      = Kind{"a temperature rise", "K", "40 K", []word{{text: "K", shown: true}}, ""}
	Number      = Kind{Name: "a number", Example: "3"} // has no unit; Parse refuses it
)

// prefixed returns a unit's words with the prefixes of the powers. Micro is read in
// letters too.
func prefixed(base string, powers ...int) []word {
	var all []word
	for _, p := range powers {
		all = append(all, word{text: map[int]string{0: "", 3: "k", 6: "M", -3: "m", -6: "µ", -9: "n", -12: "p"}[p] + base, power: p, shown: true})
		if p == -6 {
			all = append(all, word{text: "u" + base, power: p})
		}
	}
	return all
}

// Of returns the kind with the base unit: "V" gives Voltage, "1" and "" give Number. A unit
// that no kind has is printed without prefixes.
func Of(base string) Kind {
	if base == "1" || base == "" {
		return Number
	}
	for _, k := range []Kind{Voltage, Time, Resistance, Share, Current, Power, Inductance, Frequency, Slope, Capacitance, Length, Area, Charge, Hours, Celsius, Kelvin} {
		if k.Base == base {
			return k
		}
	}
	return Kind{Name: "a quantity", Base: base, units: prefixed(base, 0)}
}
