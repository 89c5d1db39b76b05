package report

import (
	"bufio"
	"bytes"
	"encoding/json"
	"io"
	"time"

	"makebreak/rig/capture"
)

// Format is the number of JSON's form. It grows when a member goes or changes its meaning.
const Format = 1

// JSON writes one object: a head (format, run, run_id, unit, sequence, rig, simulated,
// faults, by, fields, program, started, cycles, planned, complete, verdict, counts, cautions, calibrations),
// where the computer at the bench is known machine, measurements, findings, causes and, of a soak,
// soak. A measurement stands on one line and
// has the columns of CSV by name. Numbers have the digits that CSV has. What is missing is null.
// Measurements are written as they are read. Several records make an array of such
// objects.
func JSON(w io.Writer, records ...*Record) error {
	j := newJSONWriter(w)
	if len(records) == 1 {
		writeRecord(j, records[0])
	} else {
		j.raw("[\n")
		for i, r := range records {
			if i > 0 {
				j.raw(",\n")
			}
			writeRecord(j, r)
		}
		j.raw("]\n")
	}
	return j.end()
}

type jsonFinding struct {
	Signal  *string `json:"signal"`
	Verdict *string `json:"verdict"`
	Text    *string `json:"text"`
	// Causes are the names of the record's causes that may be behind it, the likeliest first.
	Causes []string `json:"causes,omitempty"`
}

// jsonCounts are the measuring problems by their names in JSON.
type jsonCounts struct {
	MissedConversions  uint64 `json:"missed_conversions"`
	DoubledConversions uint64 `json:"doubled_conversions"`
	BusErrors          uint64 `json:"bus_errors"`
	LostEdges          uint64 `json:"lost_edges"`
	ChipResets         uint64 `json:"chip_resets"`
	LostReadyEdges     uint64 `json:"lost_ready_edges"`
}

func writeRecord(j *jsonWriter, r *Record) {
	j.open()
	writeHead(j, r)
	j.list("measurements", func(item func(any) bool) error {
		return resultsOf(r).all(func(one *result) bool { return item(one) })
	})
	trends := trendsOf(r)
	causes := causesOf(r)
	j.list("findings", func(item func(any) bool) error {
		for _, f := range findingsOf(r, trends) {
			item(jsonFinding{textOrNil(f.Signal), textOrNil(string(f.Verdict)), textOrNil(f.Text), causesBehind(r.Plan, f.Signal, causes)})
		}
		return nil
	})
	j.list("causes", func(item func(any) bool) error {
		for _, c := range causes {
			item(jsonCause{c.Cause, textOrNil(c.Place), c.Share, textOrNil(c.Next)})
		}
		return nil
	})
	if r.Tally != nil {
		j.member("soak", soakObjectOf(r, trends))
	}
	j.close()
}

// writeHead writes what a record says besides its figures. It comes first, so that a reader
// of a long record knows it before them.
func writeHead(j *jsonWriter, r *Record) {
	j.member("format", Format)
	j.member("run", textOrNil(r.Run))
	j.member("run_id", textOrNil(r.RunID))
	j.member("unit", textOrNil(r.Unit))
	j.member("sequence", textOrNil(r.Sequence))
	j.member("rig", textOrNil(r.Rig))
	j.member("simulated", r.Simulated)
	j.member("faults", faultsOrNil(r))
	j.member("by", textOrNil(r.By))
	j.member("fields", objectOrNil(FieldObject(r.Fields)))
	j.member("program", textOrNil(r.Program))
	j.member("started", textOrNil(MachineTime(r.Started)))
	j.member("cycles", r.Cycles)
	j.member("planned", OrNil(r.Planned))
	j.member("complete", r.Complete)
	if r.Ending.Code != "" {
		j.member("ending", endingOf(r.Ending))
	}
	j.member("verdict", textOrNil(string(r.Verdict)))
	j.member("counts", jsonCounts(r.Counts))
	if len(r.Converters) > 0 {
		j.member("converters", convertersOf(r.Converters))
	}
	j.member("cautions", plainTexts(cautionsOf(r)))
	j.member("calibrations", calibrationsOrNil(r))
	if r.Machine != nil {
		j.member("machine", machineOf(r.Machine))
	}
}

// cautionsOf are a record's cautions. Why a run is incomplete is one, too.
func cautionsOf(r *Record) []string {
	if r.Complete || r.Reason == "" {
		return r.Cautions
	}
	return append([]string{"incomplete: " + r.Reason}, r.Cautions...)
}

// jsonCalibration says by which calibration an output's readings were corrected.
type jsonCalibration struct {
	Output    *string                  `json:"output"`
	State     capture.CalibrationState `json:"state"`
	Judged    bool                     `json:"judged"`
	Since     *int                     `json:"since_cycle"`
	Meter     *string                  `json:"meter"`
	By        *string                  `json:"by"`
	Made      *string                  `json:"made"`
	Due       *string                  `json:"due"`
	Rig       *string                  `json:"rig"`
	Simulated bool                     `json:"simulated"`
	Gain      *float64                 `json:"gain"`
	Offset    *float64                 `json:"offset"`
}

// calibrationsOrNil are a record's calibrations, nil where they are not known.
func calibrationsOrNil(r *Record) []jsonCalibration {
	if r.Calibrations == nil {
		return nil
	}
	all := make([]jsonCalibration, len(r.Calibrations))
	for i := range all {
		c := &r.Calibrations[i]
		all[i] = jsonCalibration{Output: textOrNil(c.Output), State: c.State, Judged: c.Judged, Since: OrNil(max(0, c.Since)), Meter: textOrNil(c.Meter), By: textOrNil(c.By),
			Made: textOrNil(c.Made), Due: textOrNil(c.Due), Rig: textOrNil(c.Rig), Simulated: c.Seed != nil, Gain: FiniteOrNil(c.Gain), Offset: FiniteOrNil(c.Offset)}
	}
	return all
}

// machineOf is what was known of the computer at first, by its names in JSON, and what
// changed.
func machineOf(all []capture.MachineFact) map[string]any {
	o := capture.MachineObject(all)
	changes := []jsonFact{}
	for _, m := range capture.MachineChanges(all) {
		changes = append(changes, jsonFact{string(m.Fact), m.After, textOrNil(MachineTime(m.At)), m.Plain()})
	}
	o["changes"] = changes
	return o
}

// jsonFact is a fact of the computer that changed.
type jsonFact struct {
	Fact  string  `json:"fact"`
	After int     `json:"after_cycle"`
	At    *string `json:"at"`
	Value any     `json:"value"`
}

// faultsOrNil are the planted faults as an array, nil where it is not known whether there
// were any.
func faultsOrNil(r *Record) []string {
	if r.Simulated && r.Faults == nil {
		return nil
	}
	return FaultNames(r.Faults)
}

// plainTexts are texts as an array, which may be empty and is never missing.
func plainTexts(all []string) []string {
	texts := make([]string, len(all))
	for i, s := range all {
		texts[i] = plainText(s)
	}
	return texts
}

// jsonWriter writes objects member by member, so that a list of any length is never in
// memory as a whole. encoding/json writes each value, in a quarter of the time of a record.
type jsonWriter struct {
	w       *bufio.Writer // a fault of the writer below shows at its flush
	value   bytes.Buffer  // of one value
	encoder *json.Encoder // into value
	comma   string        // before the object's next member
	failed  error         // the first fault of a value or of what a list is read from
}

func newJSONWriter(w io.Writer) *jsonWriter {
	j := &jsonWriter{w: bufio.NewWriter(w)}
	j.encoder = json.NewEncoder(&j.value)
	j.encoder.SetEscapeHTML(false)
	return j
}

func (j *jsonWriter) raw(s string) { j.w.WriteString(s) }

func (j *jsonWriter) open() { j.comma = "{\n" }

func (j *jsonWriter) close() { j.raw("\n}\n") }

// name begins a member.
func (j *jsonWriter) name(name string) {
	j.raw(j.comma + `"` + name + `":`)
	j.comma = ",\n"
}

func (j *jsonWriter) member(name string, value any) {
	j.name(name)
	j.write(value)
}

// list writes a member that is an array, one item a line. An item reports whether more
// can be written.
func (j *jsonWriter) list(name string, items func(item func(any) bool) error) {
	j.name(name)
	comma := "[\n"
	err := items(func(value any) bool {
		j.raw(comma)
		comma = ",\n"
		return j.write(value)
	})
	if comma == "[\n" {
		j.raw("[")
	}
	j.raw("\n]")
	j.fail(err)
}

// write writes a value and reports whether it could.
func (j *jsonWriter) write(value any) bool {
	j.value.Reset()
	j.fail(j.encoder.Encode(value))
	_, err := j.w.Write(bytes.TrimSuffix(j.value.Bytes(), []byte("\n")))
	return err == nil && j.failed == nil
}

// end writes what is left and returns what went wrong.
func (j *jsonWriter) end() error {
	if j.failed != nil {
		return readingFailed(j.failed)
	}
	return writingFailed("JSON", j.w.Flush())
}

func (j *jsonWriter) fail(err error) {
	if j.failed == nil {
		j.failed = err
	}
}

// MachineTime is an instant as machines read it, by RFC 3339 to the second; empty where it
// is not known.
func MachineTime(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.RFC3339)
}
