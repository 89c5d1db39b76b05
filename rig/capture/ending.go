package capture

import (
	"context"
	"errors"
	"math"

	"makebreak/rig/problem"
)

// Ending is why something ended before all that was planned was done: a code, and what it is
// about. Logs hold it; sentences are made of it when it is told.
type Ending struct {
	Code EndCode
	// Place is the converter, line, reference or drive that the code is about, by its name in
	// the rig file; Other is a second one. Empty: none.
	Place, Other string
	// Value is the code's figure, in the unit that the code states; NaN where it has none.
	Value float64
}

// EndCode names a reason. Logs hold the codes: none is ever changed or given another meaning.
type EndCode string

// The reasons of the bench.
const (
	ConverterSilent   EndCode = "converter-silent"    // Place does not answer on the bus
	ConverterReset    EndCode = "converter-reset"     // Place loses its settings again and again
	ConverterNoEdges  EndCode = "converter-no-edges"  // Place is in order, and its ready edges stay away
	ConverterStopped  EndCode = "converter-stopped"   // Place answers and does not convert
	SupplySilent      EndCode = "supply-silent"       // the converter that sets the supply does not answer, or loses its setting again and again
	LinesLost         EndCode = "lines-lost"          // lines can no longer be read; Place: which, where it is known
	DriveLost         EndCode = "drive-lost"          // Place cannot be switched any more
	DriveTooLong      EndCode = "drive-too-long"      // Place had been on for its longest time
	ReferenceSilent   EndCode = "reference-silent"    // Place reported nothing of the drive Other; Value: seconds waited
	ReferenceReversed EndCode = "reference-reversed"  // Place went inactive as the drive Other brought its event about; Value: seconds waited
	NobodyThere       EndCode = "nobody-at-the-bench" // nobody answered who was asked
	RigCannot         EndCode = "rig-cannot"          // the rig cannot do what was asked
)

// The reasons of a program.
const (
	Stopped        EndCode = "interrupted"      // by a person or a signal
	NotPassed      EndCode = "cycle-not-passed" // the run was to stop then
	LogFailed      EndCode = "log-failed"       // the log could not be written
	ProgramAtFault EndCode = "program-at-fault"
	OtherEnd       EndCode = "other" // what has no code
)

// EndCodes returns all codes, in the order in which they are told.
func EndCodes() []EndCode {
	return []EndCode{ConverterSilent, ConverterReset, ConverterNoEdges, ConverterStopped, SupplySilent, LinesLost, DriveLost, DriveTooLong,
		ReferenceSilent, ReferenceReversed, NobodyThere, RigCannot, Stopped, NotPassed, LogFailed, ProgramAtFault, OtherEnd}
}

// ended is an error that says why something ended.
type ended struct {
	error
	ending Ending
}

func (e *ended) Unwrap() error  { return e.error }
func (e *ended) Ending() Ending { return e.ending }

// Ended returns the error with an ending.
func Ended(err error, e Ending) error {
	if err == nil {
		return nil
	}
	return &ended{err, e}
}

// EndingOf returns the ending that an error has, else one by the error's kind; the zero Ending
// for nil.
func EndingOf(err error) Ending {
	var with interface{ Ending() Ending }
	code := OtherEnd
	switch {
	case err == nil:
		return Ending{}
	case errors.Is(err, context.Canceled):
		code = Stopped
	case errors.As(err, &with):
		return with.Ending()
	default:
		switch problem.KindOf(err) {
		case problem.Interrupted:
			code = Stopped
		case problem.Input:
			code = RigCannot
		case problem.Storage:
			code = LogFailed
		case problem.Internal:
			code = ProgramAtFault
		}
	}
	return Ending{Code: code, Value: math.NaN()}
}
