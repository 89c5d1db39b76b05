package analyze

import (
	"makebreak/analyze/gum"
	"makebreak/rig/capture"
)

// Sources of uncertainty that measuring adds to those of the readings, which package
// capture declares. A log holds the names: none is ever given another meaning.
const (
	Repeatability      gum.Source = "repeatability of the samples"
	NoiseOfTwo         gum.Source = "noise of two samples"
	RippleOrNoise      gum.Source = "ripple or noise"
	ScatterOfSamples   gum.Source = "scatter of the samples"
	ConversionMean     gum.Source = "conversion's mean"
	StateLevels        gum.Source = "state levels"
	LevelDrift         gum.Source = "drift during the state"
	Resolution         gum.Source = "resolution"
	SamplingInterval   gum.Source = "sampling interval"
	ConversionGap      gum.Source = "gap between conversions"
	ConversionTime     gum.Source = "conversion time"
	FilterUnknown      gum.Source = "converter's filter, not measured"
	FilterMeasured     gum.Source = "converter's filter, as measured"
	StepShape          gum.Source = "shape of the step"
	EdgeNotClean       gum.Source = "edge not a clean step"
	SingleSample       gum.Source = "only one sample of a state"
	OutputBounces      gum.Source = "the output bounces"
	HiddenEdge         gum.Source = "edge too fast to be seen"    // conversions touch; the sensitivity is the time of one
	HiddenEdgeSwept    gum.Source = "edge too fast for the sweep" // there are gaps between conversions; likewise
	SamplesMayBeMeans  gum.Source = "samples may be means"
	SamplesMayBeValues gum.Source = "samples may be no means"
	EventInstant       gum.Source = "instant of the event"
	TimeStamp          gum.Source = "time stamp"
	ContactTimeStamp   gum.Source = "time stamp of the contact's edge"
	EdgesMayMerge      gum.Source = "edges that may have been taken for one"
	FarthestOfSeveral  gum.Source = "the farthest of several"
	SupplyMoves        gum.Source = "change of the supply while the armature moves"
)

// Sources returns all sources that are declared, those of readings among them.
func Sources() []gum.Source {
	all := []gum.Source{Repeatability, NoiseOfTwo, RippleOrNoise, ScatterOfSamples, ConversionMean, StateLevels, LevelDrift, Resolution,
		SamplingInterval, ConversionGap, ConversionTime, FilterUnknown, FilterMeasured, StepShape, EdgeNotClean, SingleSample, OutputBounces, HiddenEdge,
		HiddenEdgeSwept, SamplesMayBeMeans, SamplesMayBeValues, EventInstant, TimeStamp, ContactTimeStamp, EdgesMayMerge, FarthestOfSeveral, SupplyMoves}
	for _, s := range capture.Sources() {
		all = append(all, gum.Source(s))
	}
	return all
}
