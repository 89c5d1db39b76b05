package csvfile

import (
	"slices"
	"strings"

	"makebreak/rig/capture"
)

// Names of the columns that say what a capture is of. Each is 1 on the first row. To a reader
// that does not know them they are lines that never change.
const (
	simulatedName = "simulated" // it is of the simulated bench
	plantedStart  = "planted:"  // before a fault that was planted there, as in planted:adc-lost=2s
	plantedAny    = "unknown"   // in a fault's place: nobody knows whether there were any
)

// Origin says what a capture is of. The zero Origin is a real bench's, or one that a file does
// not tell of.
type Origin struct {
	Simulated bool
	// Faults were planted on the simulated bench, each as --fault takes it, without blanks;
	// nil: it is not known whether there were any, or the bench is real.
	Faults []string
}

// originTracks are the columns that say what a capture is of, as if they were lines.
func originTracks(o Origin) []*capture.Track {
	if !o.Simulated {
		return nil
	}
	names := []string{simulatedName}
	for _, f := range o.Faults {
		if name := plantedStart + f; !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	if o.Faults == nil {
		names = append(names, plantedStart+plantedAny)
	}
	tracks := make([]*capture.Track, len(names))
	for i, name := range names {
		tracks[i] = &capture.Track{Signal: name, Known: true, Initial: true}
	}
	return tracks
}

// originName reports whether a column of the name says what the capture is of.
func originName(name string) bool {
	return name == simulatedName || strings.HasPrefix(name, plantedStart)
}

// enterOrigin takes in what the capture is of.
func (r *Reader) enterOrigin(name string, so bool) {
	if !so {
		return
	}
	if !r.origin.Simulated {
		r.origin = Origin{Simulated: true, Faults: []string{}}
	}
	fault, planted := strings.CutPrefix(name, plantedStart)
	switch {
	case !planted:
	case fault == plantedAny:
		r.unknownFaults = true
	case !slices.Contains(r.origin.Faults, fault):
		r.origin.Faults = append(r.origin.Faults, fault)
	}
}

// Origin returns what the rows read so far say that the capture is of.
func (r *Reader) Origin() Origin {
	o := r.origin
	if r.unknownFaults && len(o.Faults) == 0 {
		o.Faults = nil
	}
	return o
}
