package capture

// Source names where a part of a reading's uncertainty comes from. The names are declared
// here once: an uncertainty budget shows them, and advice is found by them.
type Source string

// Sources of a reading through a divider and a converter.
const (
	UpperResistor      Source = "upper resistor"
	LowerResistor      Source = "lower resistor"
	ADCGain            Source = "ADC gain"
	ADCGainAtRange     Source = "ADC gain at this range"
	ADCOffset          Source = "ADC offset"
	ADCNonlinearity    Source = "ADC nonlinearity"
	ADCInputImpedance  Source = "ADC input impedance"
	ADCInputReturn     Source = "ADC input return"
	ADCGainDrift       Source = "ADC gain drift"
	ADCOffsetDrift     Source = "ADC offset drift"
	UpperResistorDrift Source = "upper resistor's drift"
	LowerResistorDrift Source = "lower resistor's drift"
)

// Sources of a calibrated reading.
const (
	MeterAccuracy     Source = "meter accuracy"
	CalibrationPoints Source = "calibration points"
	CalibrationSlope  Source = "calibration slope"
	CalibrationAgeing Source = "ageing since the calibration"
)

// Sources returns all sources that are declared.
func Sources() []Source {
	return []Source{UpperResistor, LowerResistor, ADCGain, ADCGainAtRange, ADCOffset, ADCNonlinearity, ADCInputImpedance,
		ADCInputReturn, ADCGainDrift, ADCOffsetDrift, UpperResistorDrift, LowerResistorDrift,
		MeterAccuracy, CalibrationPoints, CalibrationSlope, CalibrationAgeing}
}
