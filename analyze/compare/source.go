package compare

import (
	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/rig/capture"
)

// A part says for how long a source of uncertainty keeps its error.
type part int

// The parts. What is not named in the table below is run's: it neither cancels nor averages.
const (
	ofRun   part = iota // it stays within a run, and may be another in the next
	ofCycle             // it is another in each cycle
	ofChain             // it stays with resistors, converter and calibration of an output
	ofChip              // it stays with the converter, whatever the calibration
)

// parts say what is known of a source's error from cycle to cycle and from run to run.
//
// Of a chain: tolerances are those of parts that stay in their places, and what a calibration
// got wrong it gets wrong until the next one. Of a chip: its filter, which misplaces the
// crossings of all cycles by the same rule.
//
// What comes with temperature and age is a run's: their drifts, and the ageing since a
// calibration. So is what depends on where a reading lies (nonlinearity, resolution), how late
// the kernel stamps an edge, and how much of the samples' noise is taken for ripple.
var parts = map[gum.Source]part{
	gum.Source(capture.UpperResistor):     ofChain,
	gum.Source(capture.LowerResistor):     ofChain,
	gum.Source(capture.ADCGain):           ofChain,
	gum.Source(capture.ADCGainAtRange):    ofChain,
	gum.Source(capture.ADCOffset):         ofChain,
	gum.Source(capture.ADCInputImpedance): ofChain,
	gum.Source(capture.ADCInputReturn):    ofChain,
	gum.Source(capture.MeterAccuracy):     ofChain,
	gum.Source(capture.CalibrationPoints): ofChain,
	gum.Source(capture.CalibrationSlope):  ofChain,

	analyze.FilterUnknown: ofChip,

	analyze.Repeatability:     ofCycle,
	analyze.NoiseOfTwo:        ofCycle,
	analyze.ScatterOfSamples:  ofCycle,
	analyze.ConversionMean:    ofCycle,
	analyze.LevelDrift:        ofCycle,
	analyze.SamplingInterval:  ofCycle,
	analyze.ConversionGap:     ofCycle,
	analyze.EdgeNotClean:      ofCycle,
	analyze.SingleSample:      ofCycle,
	analyze.FarthestOfSeveral: ofCycle,
	analyze.OutputBounces:     ofCycle,
	analyze.HiddenEdge:        ofCycle,
	analyze.HiddenEdgeSwept:   ofCycle,
	analyze.EdgesMayMerge:     ofCycle,

	gum.Source(capture.ADCNonlinearity):    ofRun,
	gum.Source(capture.ADCGainDrift):       ofRun,
	gum.Source(capture.ADCOffsetDrift):     ofRun,
	gum.Source(capture.UpperResistorDrift): ofRun,
	gum.Source(capture.LowerResistorDrift): ofRun,
	gum.Source(capture.CalibrationAgeing):  ofRun,

	analyze.RippleOrNoise:      ofRun,
	analyze.StateLevels:        ofRun,
	analyze.Resolution:         ofRun,
	analyze.ConversionTime:     ofRun,
	analyze.FilterMeasured:     ofRun, // a loop-back in between may have found another
	analyze.StepShape:          ofRun,
	analyze.SamplesMayBeMeans:  ofRun,
	analyze.SamplesMayBeValues: ofRun,
	analyze.EventInstant:       ofRun,
	analyze.TimeStamp:          ofRun,
	analyze.ContactTimeStamp:   ofRun,
	analyze.SupplyMoves:        ofRun,
}
