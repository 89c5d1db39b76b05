package report

import "makebreak/rig/capture"

// jsonEnding is why a run stopped, as data.
type jsonEnding struct {
	Code    capture.EndCode `json:"code"`
	Place   *string         `json:"place"`
	Other   *string         `json:"other"`
	Seconds *float64        `json:"seconds"`
}

func endingOf(e capture.Ending) *jsonEnding {
	if e.Code == "" {
		return nil
	}
	return &jsonEnding{e.Code, textOrNil(e.Place), textOrNil(e.Other), FiniteOrNil(e.Value)}
}

// jsonConverter is what one converter has of the measuring problems.
type jsonConverter struct {
	Converter          string `json:"converter"`
	MissedConversions  uint64 `json:"missed_conversions"`
	DoubledConversions uint64 `json:"doubled_conversions"`
	BusErrors          uint64 `json:"bus_errors"`
	ChipResets         uint64 `json:"chip_resets"`
	LostReadyEdges     uint64 `json:"lost_ready_edges"`
}

func convertersOf(all []capture.ConverterCounts) []jsonConverter {
	out := make([]jsonConverter, len(all))
	for i, c := range all {
		out[i] = jsonConverter{plainText(c.Converter), c.MissedConversions, c.DoubledConversions, c.BusErrors, c.ChipResets, c.LostReadyEdges}
	}
	return out
}
